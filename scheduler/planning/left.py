"""What stays at the horizon: frags still growing, and colonies, at what the coming months would pay for them."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from fractions import Fraction

from scheduler.biology.growth import curve, levels
from scheduler.biology.life import Life, life
from scheduler.farm.coral import SizeClass
from scheduler.farm.farm import Farm
from scheduler.farm.standard import standard
from scheduler.farm.units import exact
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView


def packing_cost(farm: Farm) -> Fraction:
    """Wage for packing one frag (boxes not included), money."""
    return Fraction(exact(farm.settings.pack_frag_minutes) * farm.settings.wage_per_hour) / 60


def net_price(farm: Farm, row: SizeClass, strain: str, *, discount: bool) -> Fraction:
    """Mean price of a frag by its grade, less packing."""
    good = exact(farm.traits(strain).good_share)
    price = row.discount_price if discount else row.list_price
    return Fraction(good * price + (1 - good) * row.b_price) - packing_cost(farm)


def first_class(farm: Farm, strain: str, found: Life) -> SizeClass | None:
    """The class a lot reaches first; of equals the smallest."""
    reached = [c for c in farm.size_classes(strain) if c.size_class in found.ready]
    return min(reached, key=lambda c: found.ready[c.size_class], default=None)


def end_market(farm: Farm, strain: str) -> Fraction:
    """Frags of a strain the market takes in the ``end_months`` after the horizon's last month."""
    _, month = farm.weeks.months[-1]
    total = Decimal(0)
    for step in range(1, farm.settings.end_months + 1):
        later = (month - 1 + step) % 12 + 1
        for c in farm.size_classes(strain):
            total += exact(farm.market_quantity(later, strain=strain, size_class=c.size_class) or 0)
    return Fraction(total)


def frags_left(farm: Farm, view: PlanView) -> tuple[dict[str, Fraction], dict[str, Fraction]]:
    """(value of frags left by strain, market of the coming months they use by strain)."""
    last = farm.weeks.count
    part = Fraction(exact(farm.settings.end_frag_share))
    entries: dict[str, list[tuple[Fraction, str, Fraction, Fraction]]] = defaultdict(list)
    values: dict[str, Fraction] = defaultdict(Fraction)
    for lot in view.lots.values():
        pieces = lot.left(last)
        if pieces <= 0:
            continue
        classes = farm.size_classes(lot.strain)
        reached = [c for c in classes if lot.life.reached(c.size_class, last)]
        alive = lot.life.alive[last]
        first = first_class(farm, lot.strain, lot.life)
        if lot.life.age[last] > farm.settings.max_rack_weeks or first is None:
            row = reached[-1] if reached else (classes[0] if classes else None)
            if row is not None:
                values[lot.strain] += part * Fraction(pieces * alive * row.discount_price)
            continue
        row = reached[-1] if reached else first
        frags = Fraction(pieces) * Fraction(alive if reached else lot.life.alive_when_ready[first.size_class])
        listed = net_price(farm, row, lot.strain, discount=False)
        beyond = max(Fraction(0), net_price(farm, row, lot.strain, discount=True))
        per_piece = listed * frags / pieces
        entries[lot.strain].append((-per_piece, lot.id, frags, listed))
        values[lot.strain] += part * frags * beyond
    used: dict[str, Fraction] = defaultdict(Fraction)
    for strain, rows in entries.items():
        room = end_market(farm, strain)
        for _, lot_id, frags, listed in sorted(rows):
            lot = view.lots[lot_id]
            fits = min(frags, room - used[strain])
            used[strain] += fits
            reached = [c for c in farm.size_classes(strain) if lot.life.reached(c.size_class, last)]
            row = reached[-1] if reached else first_class(farm, strain, lot.life)
            assert row is not None
            beyond = max(Fraction(0), net_price(farm, row, strain, discount=True))
            values[strain] += part * fits * (listed - beyond)
    return dict(values), dict(used)


def colonies_left(farm: Farm, plan: Plan, used: dict[str, Fraction]) -> dict[str, Fraction]:
    """Value of the colonies' spare size at the horizon by strain, in what market the frags left leave."""
    s, last = farm.settings, farm.weeks.count
    entries: dict[str, list[tuple[Fraction, str, Fraction, Fraction, Fraction]]] = defaultdict(list)
    for colony in farm.colonies:
        traits = farm.traits(colony.strain)
        sizes = curve(traits)
        cuts = {c.week: c.pieces for c in plan.cuts if c.colony == colony.colony}
        level = levels(farm, colony, cuts, until=last + 1)[last + 1]
        spare = exact(sizes[level]) - traits.keep_pieces
        if spare <= 0:
            continue
        fresh = life(farm, colony.strain, last, last, (colony.par_umol,))
        row = first_class(farm, colony.strain, fresh)
        if row is None:
            continue
        alive = Fraction(fresh.alive_when_ready[row.size_class])
        minutes = standard(farm, colony.strain, colony.on_rock)
        work = Fraction((minutes.cut + minutes.each) * s.wage_per_hour) / 60
        group = farm.strain[colony.strain].group
        supplies = sum(
            (
                exact(i.quantity_per) * i.unit_cost
                for i in farm.supplies
                if i.per == "piece" and (i.only_for is None or i.only_for in (traits.plug_kind, group))
            ),
            Decimal(0),
        )
        listed = max(Fraction(0), alive * net_price(farm, row, colony.strain, discount=False) - work - Fraction(supplies))
        beyond = max(Fraction(0), alive * net_price(farm, row, colony.strain, discount=True) - work - Fraction(supplies))
        entries[colony.strain].append((-listed, colony.colony, Fraction(spare), alive, beyond))
    values: dict[str, Fraction] = defaultdict(Fraction)
    for strain, rows in entries.items():
        room = end_market(farm, strain) - used.get(strain, Fraction(0))
        for negative, _, over, each, beyond in sorted(rows):
            fits = min(over, max(Fraction(0), room) / each) if each > 0 else Fraction(0)
            room -= fits * each
            values[strain] += Fraction(exact(s.end_colony_share)) * (fits * -negative + (over - fits) * beyond)
    return dict(values)
