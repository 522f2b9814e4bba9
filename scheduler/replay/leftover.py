"""What a farm is left with: frags on racks and size of mothers, at what they are truly like to bring.

Read as a plan reads its end lines, with the same settings (``end_frag_share``, ``end_months``, ``end_colony_share``), but from the
truth: real sizes, growth, losses, grades and mean customers. So ways of working that leave more to the next year are not
taken for worse than those that sell out.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from scheduler.farm.coral import Colony, SizeClass
from scheduler.farm.standard import standard
from scheduler.replay.state import Frags, Mother
from scheduler.replay.truth import Month
from scheduler.replay.world import World

NEVER = 520
"""Weeks after which a frag that has not reached a size is taken never to."""


@dataclass(frozen=True)
class Offer:
    """So many frags of a strain, and what each brings inside the market to come and beyond it, money."""

    frags: float
    listed: float
    beyond: float


def worth_left(world: World) -> float:
    """Money the frags and mothers of a farm stand for on the eve of its present week, 0 or more."""
    frags: dict[str, list[Offer]] = defaultdict(list)
    spare: dict[str, list[Offer]] = defaultdict(list)
    total = 0.0
    for lot in world.lots.values():
        for offer in _frags(world, lot):
            if offer.listed > offer.beyond:
                frags[lot.strain].append(offer)
            else:
                total += offer.frags * offer.beyond
    for mother in world.mothers.values():
        spare[mother.row.strain] += _spare(world, mother)
    for strain in sorted({*frags, *spare}):
        room = _customers(world, strain)
        for offers in (frags[strain], spare[strain]):
            for offer in sorted(offers, key=lambda o: -o.listed):
                inside = min(room, offer.frags)
                room -= inside
                total += inside * offer.listed + (offer.frags - inside) * offer.beyond
    return total


def _customers(world: World, strain: str) -> float:
    """Customers of the ``end_months`` months after the last one worked, all classes, on the average."""
    year, month = world.month(world.week - 1)
    total = 0.0
    for n in range(1, world.base.settings.end_months + 1):
        at: Month = (year + (month + n - 1) // 12, (month + n - 1) % 12 + 1)
        total += sum(world.truth.mean_walk_in(at, strain, row.size_class) for row in world.base.size_classes(strain))
    return total


def _prices(world: World, strain: str, row: SizeClass) -> tuple[float, float]:
    """(inside the market, beyond it) of a frag, its grade and packing reckoned in."""
    good, s = world.truth.good_share(strain), world.base.settings
    rest = (1 - good) * float(row.b_price) - s.pack_frag_minutes * float(s.wage_per_hour) / 60
    return good * float(row.list_price) + rest, good * float(row.discount_price) + rest


def _frags(world: World, lot: Frags) -> Iterator[Offer]:
    """A lot by the class each frag really has or will have first; what is too old or never gets there brings its discount price."""
    rows, s = world.base.size_classes(lot.strain), world.base.settings
    if not rows:
        return
    week, par = world.week - 1, world.par(lot)
    age, growth = week - lot.cut_week, world.truth.frag_mm_per_week(lot.strain, par)
    firm = world.truth.firm_from(world.base.traits(lot.strain))
    later = _alive_after(world, lot.strain, age, par, lot.tank)
    for size, pace in zip(lot.sizes, lot.pace, strict=True):
        has = [row for row in rows if row.min_mm <= size + 1e-9]
        row = has[-1] if has else rows[0]
        wait = max(_weeks_to(float(size), row.min_mm, float(pace) * growth), firm - age)
        if age > s.max_rack_weeks or age + wait > NEVER:
            yield Offer(1.0, 0.0, float(row.discount_price))
        else:
            listed, beyond = _prices(world, lot.strain, row)
            share = s.end_frag_share
            yield Offer(later(wait), share * max(0.0, listed), share * max(0.0, beyond))


def _spare(world: World, mother: Mother) -> Iterator[Offer]:
    """The pieces a mother has over its keep size, as if cut now."""
    colony, s = mother.row, world.base.settings
    traits, rows = world.base.traits(colony.strain), world.base.size_classes(colony.strain)
    spare = max(0.0, mother.units / traits.unit_per_piece - traits.keep_pieces)
    if not rows or not spare:
        return
    growth = world.truth.frag_mm_per_week(colony.strain, colony.par_umol)
    wait = max(_weeks_to(traits.frag_mm, rows[0].min_mm, growth), world.truth.firm_from(traits), 0)
    if wait > NEVER:
        return
    alive = _alive_after(world, colony.strain, 0, colony.par_umol, colony.tank)(wait)
    work, share = _making(world, colony), s.end_colony_share
    listed, beyond = (max(0.0, alive * price - work) for price in _prices(world, colony.strain, rows[0]))
    if alive > 0:
        yield Offer(spare * alive, share * listed / alive, share * beyond / alive)


def _making(world: World, colony: Colony) -> float:
    """Wages and supplies of cutting and mounting one piece, money."""
    base = world.base
    minutes = standard(base, colony.strain, colony.on_rock)
    uses = (base.traits(colony.strain).plug_kind, base.strain[colony.strain].group, None)
    items = [i for i in base.supplies if i.per == "piece" and i.only_for in uses]
    supplies = sum(i.quantity_per * float(i.unit_cost) for i in items)
    return float(minutes.cut + minutes.each) * float(base.settings.wage_per_hour) / 60 + supplies


def _weeks_to(size: float, least: float, mm_per_week: float) -> int:
    """Weeks a frag takes to a size."""
    if size >= least - 1e-9:
        return 0
    return math.ceil((least - size) / mm_per_week - 1e-9) if mm_per_week > 0 else NEVER + 1


def _alive_after(world: World, strain: str, age: int, par: float, tank: str) -> Callable[[int], float]:
    """Share of frags of an age still there after so many more weeks, by the strain's and the tank's own losses."""
    shares = [1.0]

    def after(weeks: int) -> float:
        while len(shares) <= weeks:
            n = len(shares) - 1
            death, detach = world.truth.losses(strain, age + n, par, tank, world.month(world.week - 1 + n))
            shares.append(shares[-1] * (1 - death - detach))
        return shares[max(0, weeks)]

    return after
