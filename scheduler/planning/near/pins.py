"""Whether pins of the near weeks can hold together, and the fewest pieces they allow."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from scheduler.errors import NoPlanFound, PinConflict
from scheduler.planning.near.layouts import ROUNDS_BY_CHANCE, LayoutMaker
from scheduler.planning.near.places import shapes
from scheduler.planning.near.weeks import NearWeeks
from scheduler.planning.pins import asked_for, describe_pin
from scheduler.solving import Limits as SolveLimits
from scheduler.solving import Solved, minimal_conflict
from scheduler.week.model import NearModel, Space, Start
from scheduler.week.options import Option
from scheduler.week.prices import Prices
from scheduler.week.releases import Move

PIN_WORK = SolveLimits(seconds=30)
"""Most time for one question about pins; the work allowed depends on how exactly it is asked."""


def held(weeks: NearWeeks) -> Start:
    """The fewest pieces that the pins of the near weeks allow, with their places.

    Raises ``PinConflict`` with a smallest set of pins that cannot hold together, ``NoPlanFound`` if time was too short.
    """
    start = fewest(weeks, weeks.pins)
    if start is None:
        names = minimal_conflict(weeks.pins, lambda pins: _may_hold(weeks, pins))
        raise PinConflict(names, [describe_pin(weeks.farm, name) for name in names])
    return start


def _may_hold(weeks: NearWeeks, pins: Collection[str]) -> bool:
    """Whether pins can hold together, or at least are not shown to be impossible."""
    try:
        return fewest(weeks, pins) is not None
    except NoPlanFound:
        return True


def fewest(weeks: NearWeeks, pins: Collection[str]) -> Start | None:
    """The fewest pieces that pins allow, with their places; ``None`` if the pins cannot hold.

    Looked for with counts of positions alone (to see what cannot be), with some layouts, and last with every block.
    """
    asked = asked_for(weeks.farm, pins)
    if not asked:
        return Start()
    options = [o for o in weeks.options(pins)[0] if o.name in asked]
    moving, sales = (weeks.moves, weeks.sales) if list(pins) == weeks.pins else weeks.stirring(pins)
    comers: list[Option | Move] = [*options, *moving]
    prices = Prices(weeks.worth, options)

    def tried(space: Space, work: float) -> Solved:
        model = NearModel(
            weeks.farm, weeks.floor, options, space, prices, weeks.limits, pins, moves=moving, sales=sales, with_objective=False
        )
        solved = weeks.ask(model, replace(PIN_WORK, deterministic=work))
        found.extend([model.chosen(solved)] if solved.outcome.found and space is not None else [])
        return solved

    found: list[Start] = []
    if tried(None, 1).outcome.outcome == "infeasible":
        return None
    maker = LayoutMaker(weeks.farm, weeks.floor, comers, sales, dict.fromkeys((c.name for c in comers), 1.0), weeks.seed)
    maker.by_chance(ROUNDS_BY_CHANCE)
    if tried(tuple(maker.made), 1).outcome.found:
        return found[0]
    wanted = {o.name: max(asked[o.name], o.fewest) for o in options}
    last = tried(shapes(weeks.farm, comers, wanted), 5).outcome
    if not last.found and last.outcome != "infeasible":
        raise NoPlanFound(f"No plan for the near weeks was found: {last.reason}. Allow more time with --time-limit.")
    return found[0] if found else None
