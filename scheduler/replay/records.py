"""The farm book of a week: what the crew knows, and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import timedelta

from scheduler.farm.blocks import trim
from scheduler.farm.coral import Lot
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Market
from scheduler.replay.state import Frags
from scheduler.replay.world import World


def book(world: World) -> Farm:
    """The book on the eve of a week, with all counts of the replay so far. Pins of the first book are not carried on."""
    base, eve = world.base, world.monday() - timedelta(days=1)
    return replace(
        base,
        settings=base.settings.model_copy(update={"book_date": eve, "plan_monday": world.monday()}),
        systems=tuple(s.model_copy(update={"hold_until": world.hold.get(s.system, s.hold_until)}) for s in base.systems),
        colonies=tuple(m.row for m in world.mothers.values()),
        lots=tuple(_lot(world, x) for x in world.lots.values()),
        orders=tuple(world.orders.values()),
        market=_market(world),
        pins=(),
        recorded=(),
        sales_done=(),
        counts=tuple(world.counts.values()),
        past_lots=tuple(world.past_lots),
        past_cuts=tuple(world.past_cuts),
    )


def _lot(world: World, lot: Frags) -> Lot:
    traits = world.base.traits(lot.strain)
    assert lot.rack is not None
    blocks = tuple(b.text(traits.plug_rows, traits.plug_cols) for b in trim(lot.blocks, lot.recorded))
    return Lot(
        lot=lot.id, strain=lot.strain, colony=lot.colony if lot.colony in world.mothers else None, cut_date=lot.cut_date,
        started=lot.started, alive=lot.recorded, count_date=lot.count_date, rack=lot.rack, blocks=blocks, moved_date=lot.moved_date,
    )  # fmt: skip


def market_left(world: World) -> Mapping[tuple[str, str], float]:
    """What the book's market of this month still leaves by (strain, class): nothing where customers wanted no more."""
    month = world.month()
    found = {}
    for strain in world.base.strains:
        for row in world.base.size_classes(strain.strain):
            key = strain.strain, row.size_class
            whole = world.base.market_quantity(month[1], strain=key[0], size_class=key[1])
            if whole is not None:
                found[key] = 0.0 if (month, *key) in world.dry else max(0.0, whole - world.list_sold[month, *key])
    return found


def _market(world: World) -> tuple[Market, ...]:
    """The market, with rows of its own for the present month, so that what is sold already is not counted on again.

    A plan takes a month's quantity by the share of its weeks still to come; the row is scaled to leave what is left.
    """
    base, month = world.base, world.month()
    week, every = world.week, base.weeks.weeks_in_month(month)
    left = sum(world.month(w) == month for w in range(week, week + every))
    scale = every / left
    sold: dict[str, int] = {}
    for (m, strain, _), count in world.list_sold.items():
        if m == month:
            group = base.strain[strain].group
            sold[group] = sold.get(group, 0) + count
    rows = [
        Market(month=month[1], strain=strain, size_class=size_class, quantity=round(quantity * scale, 6))
        for (strain, size_class), quantity in market_left(world).items()
    ]
    for row in base.groups:
        whole = base.market_quantity(month[1], group=row.group)
        if whole is not None:
            remaining = max(0.0, whole - sold.get(row.group, 0))
            rows.append(Market(month=month[1], group=row.group, quantity=round(remaining * scale, 6)))
    return (*(m for m in base.market if m.month != month[1]), *rows)
