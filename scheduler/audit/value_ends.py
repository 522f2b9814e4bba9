"""Lines of what is left at the horizon: frags and colonies, and how unevenly tanks were used."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction

from scheduler.audit.context import Context
from scheduler.audit.market import end_market
from scheduler.audit.money import Till, ratio
from scheduler.audit.room import unevenness
from scheduler.audit.trade import clear_class
from scheduler.audit.value_work import supply_for_piece
from scheduler.biology.growth import curve, levels
from scheduler.biology.life import Life, life
from scheduler.farm.coral import Colony, SizeClass
from scheduler.farm.standard import standard
from scheduler.plan.view import LotView


@dataclass(frozen=True)
class _Left:
    """Something left over: how many pieces, frags a piece gives, and what a piece is worth at list and at discount."""

    id: str
    pieces: Fraction
    frags: Fraction
    listed: Fraction
    discount: Fraction


def end_lines(ctx: Context, till: Till) -> None:
    """Frags left, then colonies left, strain by strain against one market."""
    s = ctx.farm.settings
    lots: dict[str, list[LotView]] = defaultdict(list)
    for lot in ctx.lots.values():
        if lot.left(ctx.weeks.count) > 0:
            lots[lot.strain].append(lot)
    for strain in ctx.farm.strain:
        room = end_market(ctx.farm, strain)
        cleared = [lot for lot in lots[strain] if _only_cleared(ctx, lot)]
        frags = sum((_clearing(ctx, lot) for lot in cleared), Fraction(0))
        rows = [_lot_left(ctx, lot) for lot in lots[strain] if lot not in cleared]
        worth, room = _sell(rows, room)
        till.add("frags left", strain, 0, (frags + worth) * ratio(s.end_frag_share))
        colonies = [_colony_left(ctx, c) for c in ctx.farm.colonies if c.strain == strain]
        worth, _ = _sell(colonies, room)
        till.add("colony left", strain, 0, worth * ratio(s.end_colony_share))


def uneven_line(ctx: Context, till: Till) -> Fraction:
    """The line of uneven use; hands back the percentage points."""
    points = unevenness(ctx)
    till.add("uneven", "tanks", 0, -points * ratio(ctx.farm.settings.uneven_cost))
    return points


def _sell(rows: list[_Left], room: Fraction) -> tuple[Fraction, Fraction]:
    """Worth of what is left, the dearest at list price while there is room; and the room still there."""
    worth = Fraction(0)
    for row in sorted(rows, key=lambda r: (-r.listed, r.id)):
        fits = row.pieces if row.frags == 0 else min(row.pieces, room / row.frags)
        room -= fits * row.frags
        worth += fits * row.listed + (row.pieces - fits) * row.discount
    return worth, room


def _only_cleared(ctx: Context, lot: LotView) -> bool:
    return ctx.weeks.count - lot.cut_week > ctx.farm.settings.max_rack_weeks or not lot.life.ready


def _clearing(ctx: Context, lot: LotView) -> Fraction:
    last = ctx.weeks.count
    name = clear_class(ctx, lot.id, last)
    price = next(c.discount_price for c in ctx.farm.size_classes(lot.strain) if c.size_class == name)
    return lot.left(last) * ratio(lot.life.alive[last]) * ratio(price)


def _first_class(ctx: Context, strain: str, of: Life) -> SizeClass | None:
    """The class reached first; of equals the smallest."""
    found = [c for c in ctx.farm.size_classes(strain) if c.size_class in of.ready]
    return min(found, key=lambda c: of.ready[c.size_class]) if found else None


def _net(ctx: Context, strain: str, row: SizeClass, price: Fraction) -> Fraction:
    """A frag's price, grade B included, less packing it."""
    s, good = ctx.farm.settings, ratio(ctx.farm.traits(strain).good_share)
    packing = ratio(s.pack_frag_minutes) * ratio(s.wage_per_hour) / 60
    return good * price + (1 - good) * ratio(row.b_price) - packing


def _lot_left(ctx: Context, lot: LotView) -> _Left:
    last = ctx.weeks.count
    reached = [c for c in ctx.farm.size_classes(lot.strain) if lot.life.reached(c.size_class, last)]
    if reached:
        row, alive = reached[-1], ratio(lot.life.alive[last])
    else:
        first = _first_class(ctx, lot.strain, lot.life)
        if first is None:
            raise ValueError(f"lot {lot.id} never reaches a class")
        row, alive = first, ratio(lot.life.alive_when_ready[first.size_class])
    listed = _net(ctx, lot.strain, row, ratio(row.list_price))
    discount = max(Fraction(0), _net(ctx, lot.strain, row, ratio(row.discount_price)))
    return _Left(lot.id, Fraction(lot.left(last)), alive, alive * listed, alive * discount)


def _spare(ctx: Context, colony: Colony) -> Fraction:
    traits = ctx.farm.traits(colony.strain)
    after = ctx.weeks.count + 1
    cuts: dict[int, int] = defaultdict(int)
    for cut in ctx.plan.cuts:
        if cut.colony == colony.colony:
            cuts[cut.week] += cut.pieces
    level = levels(ctx.farm, colony, dict(cuts), until=after)[after]
    return max(Fraction(0), ratio(curve(traits)[level]) - traits.keep_pieces)


def _colony_left(ctx: Context, colony: Colony) -> _Left:
    farm, last = ctx.farm, ctx.weeks.count
    s = farm.settings
    fresh = life(farm, colony.strain, last, last, (colony.par_umol,))
    row, spare = _first_class(ctx, colony.strain, fresh), _spare(ctx, colony)
    if row is None:
        return _Left(colony.colony, spare, Fraction(0), Fraction(0), Fraction(0))
    alive = ratio(fresh.alive_when_ready[row.size_class])
    each = standard(farm, colony.strain, colony.on_rock)
    minutes = Fraction(each.cut + each.mount + (each.label if s.labelling == "plug" else 0))
    items = [i for i in farm.supplies if i.per == "piece" and supply_for_piece(farm, i, colony.strain)]
    cost = minutes * ratio(s.wage_per_hour) / 60
    cost += sum((ratio(i.quantity_per) * ratio(i.unit_cost) for i in items), Fraction(0))
    listed = alive * _net(ctx, colony.strain, row, ratio(row.list_price)) - cost
    discount = alive * _net(ctx, colony.strain, row, ratio(row.discount_price)) - cost
    return _Left(colony.colony, spare, alive, max(Fraction(0), listed), max(Fraction(0), discount))
