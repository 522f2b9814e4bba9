"""What near weeks are planned from, looked at once: what could be worth it, what counts of positions tell, layouts to come."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from scheduler.planning.near.layouts import LayoutMaker
from scheduler.planning.near.options import alone, foremost, worthwhile
from scheduler.planning.near.places import most_on
from scheduler.planning.near.start import Begin, begun
from scheduler.planning.near.told import ToldPlaces, told_places
from scheduler.planning.near.weeks import NearWeeks
from scheduler.solving import Outcome
from scheduler.week.model import MOST_PIECES, Start
from scheduler.week.options import Option
from scheduler.week.prices import Prices
from scheduler.week.releases import EarlySale, Move
from scheduler.week.worth import change_cost

COUNTED_SHARE = 0.3
"""Share of the work and time left for the bound, by counts of positions."""

MOST_OPTIONS = 600
"""Most cuts a large farm's search looks at: those that bring most for the bench minutes they take, and all pinned or announced."""

MOST_LOSS = 0.5
"""An early sale that loses more than this share of what it brings is made for pins only: farm choice, no published source."""


@dataclass
class Looked:
    """What stays when near weeks are planned again: how the solve with counts ended, what it or the last solve put on each rack,
    all options and those on the ground that what may move or leave early frees, announced places, and the layouts.
    """

    outcome: Outcome
    standing: Mapping[str, Sequence[tuple[str, int]]]
    every: list[Option]
    options: list[Option]
    moving: Sequence[Move]
    sales: Sequence[EarlySale]
    told: ToldPlaces
    maker: LayoutMaker


def look(
    weeks: NearWeeks, begin: Begin | None, options: Sequence[Option], prices: Prices, start: Start
) -> tuple[Start, Start, Looked]:  # fmt: skip
    """Where to begin, what only keeps what was announced, and what counts tell; a large farm only leaves out what cannot matter.

    Of all that lots of the book could do, the layouts look at what is worth it by counts. ``start``: what pins ask for.
    """
    offered = [s for s in weeks.sales if s in start.sales or s.loss <= MOST_LOSS * s.brings]
    options = weeks.beside(worthwhile(weeks.farm, options, prices, weeks.pins, weeks.limits), weeks.moves, offered)
    bound = float(alone(options, prices, weeks.limits))
    if weeks.many:
        options = foremost(weeks.farm, options, prices, weeks.pins, weeks.limits, MOST_OPTIONS)
    else:
        weeks.limits = replace(weeks.limits, most=most_on(weeks.farm, (*options, *weeks.moves)))
    told = told_places(weeks.farm, weeks.limits.announced, options)
    start, kept = begun(weeks, begin, options, prices, start, told, Start(), weeks.moves, offered)
    outcome = Outcome("unknown", "work limit", None, bound, 0.0)
    standing: Mapping[str, Sequence[tuple[str, int]]] = {}
    moved: Sequence[Move] = ()
    sold: Sequence[EarlySale] = ()
    if not weeks.many:
        counted = weeks.model(options, prices, None, weeks.moves, offered)
        first = weeks.solve(counted, COUNTED_SHARE, improve=False)
        outcome = first.outcome
        if outcome.found:
            standing, moved, sold = counted.standing(first), counted.moved(first), counted.sold(first)
    moving = [m for m in weeks.moves if m in moved or m in [c.move for c in start.moves] or m.lot in told.lots]
    sales = [s for s in offered if s in sold or s in start.sales or s.lot in told.lots]
    mine = weeks.beside(options, moving, sales)
    maker = _maker(weeks, mine, moving, sales, prices, told)
    return start, kept, Looked(outcome, standing, options, mine, moving, sales, told, maker)


def _maker(
    weeks: NearWeeks, options: Sequence[Option], moves: Sequence[Move], sales: Sequence[EarlySale], prices: Prices, told: ToldPlaces
) -> LayoutMaker:  # fmt: skip
    """Layouts of what could be worth it: a colony's best week, and every move."""
    worth = dict.fromkeys((m.lot for m in moves), 1.0)
    rows = {(a.colony, a.week): a for a in weeks.limits.announced}
    for o in options:
        row = rows.get((o.name, o.week))
        brings = prices.best(o, min(o.most, MOST_PIECES), row.pieces if row is not None else 0)
        brings += change_cost(weeks.farm, row) if row is not None else 0
        worth[o.name] = max(worth.get(o.name, 0.0), float(brings))
    return LayoutMaker(weeks.farm, weeks.floor, (*options, *moves), sales, worth, weeks.seed, told.spots)
