"""The search for better near weeks: the model over layouts of the racks, round by round."""

from __future__ import annotations

import math
from dataclasses import replace

from scheduler.planning.near.layouts import ROUNDS_AROUND, ROUNDS_BY_CHANCE
from scheduler.planning.near.look import Looked
from scheduler.planning.near.weeks import NearWeeks
from scheduler.solving import Outcome
from scheduler.week.model import Spot, Start
from scheduler.week.prices import Prices
from scheduler.week.worth import worth_of

LAYOUT_SHARES = (0.55, 1.0)
"""Shares of the work and time left for each round with layouts."""

LEAST_ROUND = 0.05
"""Work left below which no further round with layouts is begun: reading the model alone takes more."""


def search(
    weeks: NearWeeks, looked: Looked, prices: Prices, start: Start, kept: Start, *, by_chance: bool
) -> tuple[Start, Outcome]:  # fmt: skip
    """The best that layouts of the racks, round by round, add to ``start``, and how the last round ended.

    ``kept``: what only keeps what was announced, a layout too. ``by_chance``: racks are filled by chance first. The bound of
    counts holds for a plan made again, since sessions only get shorter. What stands on the racks then is left in ``looked``.
    """
    for known in (_spots(start), _spots(kept), looked.told.spots):
        for rack, spots in known.items():
            looked.maker.exactly(rack, spots)
    if by_chance:
        looked.maker.by_chance(ROUNDS_BY_CHANCE)
    first = looked.outcome
    best, value = start, worth_of(weeks.farm, prices, weeks.limits, start)
    outcome = replace(first, outcome="feasible", value=float(value))
    for share in LAYOUT_SHARES:
        if outcome.reason == "interrupted" or weeks.budget.left < LEAST_ROUND:
            break
        looked.maker.around(looked.standing, ROUNDS_AROUND)
        model = weeks.model(looked.options, prices, tuple(looked.maker.made), looked.moving, looked.sales)
        if first.bound is not None:
            model.cap(first.bound)
        model.start_from(best)
        solved = weeks.solve(model, share, improve=True)
        seconds = outcome.seconds + solved.outcome.seconds
        if solved.outcome.found and (solved.outcome.value or 0.0) >= value - 1e-6:
            best, looked.standing, outcome = model.chosen(solved), model.standing(solved), solved.outcome
            value = worth_of(weeks.farm, prices, weeks.limits, best)
        outcome = replace(outcome, reason=solved.outcome.reason, seconds=seconds)
        if _reached(outcome, first):
            break
    return best, _ended(outcome, first)


def _ended(last: Outcome, first: Outcome) -> Outcome:
    """The last solve against the bound of the first, which sees counts of positions only and so holds for every plan."""
    proved = _reached(last, first)
    reason = "proved" if proved else last.reason if last.reason != "proved" else "best of the layouts tried"
    return replace(last, bound=first.bound, outcome="optimal" if proved else "feasible", reason=reason)


def _reached(last: Outcome, first: Outcome) -> bool:
    """Whether the value of one solve is the bound of another."""
    return first.bound is not None and last.value is not None and math.floor(first.bound + 1e-6) <= last.value + 1e-6


def _spots(start: Start) -> dict[str, list[Spot]]:
    """What a choice puts on each rack, as spots."""
    found: dict[str, list[Spot]] = {}
    for cut in start.cuts:
        found.setdefault(cut.section.rack, []).append(Spot(cut.option.name, cut.section.zone, cut.blocks))
    for moved in start.moves:
        found.setdefault(moved.section.rack, []).append(Spot(moved.move.lot, moved.section.zone, moved.blocks))
    return found
