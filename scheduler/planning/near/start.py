"""Where the search for better near weeks begins: from pins, from what was announced, or from the near weeks planned before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

from scheduler.planning.near.told import ToldPlaces
from scheduler.planning.near.weeks import NearWeeks
from scheduler.week.model import ChosenCut, Layout, Limits, Start
from scheduler.week.options import Option
from scheduler.week.prices import Prices
from scheduler.week.releases import EarlySale, Move
from scheduler.week.worth import worth_of

TOLD_SHARE = 0.1
"""Share of the work and time left to see how lots of the book make way for announced cuts again."""


class Begin(Protocol):
    """Makes lawful cuts with their places, one after the other."""

    def __call__(
        self, options: Sequence[Option], prices: Prices, limits: Limits, start: Start, *, keep: bool, fill: bool,
        before: Start | None = None,
    ) -> Sequence[ChosenCut]:  # fmt: skip
        """The cuts of ``start`` and more beside them: with ``keep`` what was announced, with ``fill`` whatever is worth it.

        Of the cuts of ``before`` those stay that the sessions still have the time for. The options are what could be cut, the
        prices its worth, the limits what is left of everything.
        """


def begun(
    weeks: NearWeeks, begin: Begin | None, options: Sequence[Option], prices: Prices, start: Start, told: ToldPlaces, last: Start,
    moving: Sequence[Move], sales: Sequence[EarlySale],
) -> tuple[Start, Start]:  # fmt: skip
    """Where to begin: of what pins ask for, filled up with and without what was announced, the one worth most.

    And, for later, what pins ask for with what was announced and no more. ``start``: what pins ask for; ``last``: the near weeks
    as planned before, if they were, another place to begin from. ``moving`` and ``sales``: all that lots of the book may do.
    """
    if begin is None:
        return start, start

    def tried(one: Start, *, keep: bool, fill: bool, before: Start | None = None) -> Start:
        cuts = begin(options, prices, weeks.limits, one, keep=keep, fill=fill, before=before)
        return replace(before if before is not None else one, cuts=tuple(cuts))

    def worth(one: Start) -> int:
        return worth_of(weeks.farm, prices, weeks.limits, one)

    fresh = tried(start, keep=False, fill=True)
    if last.cuts and not start.cuts:
        fresh = max(tried(start, keep=False, fill=True, before=last), fresh, key=worth)
    if not weeks.limits.announced:
        return fresh, start
    bases = [start, *([_made_way(weeks, options, prices, told, moving, sales)] if told.lots and not start.cuts else [])]
    kept = max((tried(one, keep=True, fill=False) for one in bases), key=worth)
    return max(*(tried(one, keep=True, fill=True) for one in bases), fresh, key=worth), kept


def _made_way(
    weeks: NearWeeks, options: Sequence[Option], prices: Prices, told: ToldPlaces, moving: Sequence[Move], sales: Sequence[EarlySale]
) -> Start:  # fmt: skip
    """Announced cuts in their places, lots of the book that stand there making way again."""
    colonies = {(a.colony, a.week) for a in weeks.limits.announced}
    moving, sales = [m for m in moving if m.lot in told.lots], [s for s in sales if s.lot in told.lots]
    mine = weeks.beside([o for o in options if (o.name, o.week) in colonies], moving, sales)
    layouts = [Layout(rack, tuple(spots)) for rack, spots in told.spots.items()]
    model = weeks.model(mine, prices, layouts, moving, sales)
    solved = weeks.solve(model, TOLD_SHARE, improve=False)
    return model.chosen(solved) if solved.outcome.found else Start()
