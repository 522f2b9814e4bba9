"""Minutes of work and frags that leave, exactly, from the plan."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from scheduler.audit.context import Context
from scheduler.audit.money import ratio
from scheduler.farm.farm import Farm
from scheduler.farm.standard import standard
from scheduler.farm.units import exact
from scheduler.plan.model import Cut, Sale


def cutter_minutes(farm: Farm, cut: Cut) -> Decimal:
    """Standard minutes of the cutter: the colony and its pieces, more for a colony on rock."""
    minutes = standard(farm, cut.strain, farm.colony[cut.colony].on_rock)
    return minutes.colony + minutes.cut * cut.pieces


def mounter_minutes(ctx: Context, cut: Cut) -> Decimal:
    """Standard minutes of the mounter: gluing, and a label for every plug or for every block (later weeks: one a lot)."""
    minutes = standard(ctx.farm, cut.strain, False)
    blocks = len(ctx.lots[cut.lot].stands[0].blocks)
    labels = cut.pieces if ctx.farm.settings.labelling == "plug" else max(1, blocks)
    return minutes.mount * cut.pieces + minutes.label * labels


def frags_of(ctx: Context, sale: Sale) -> Decimal:
    """Expected frags of a sale: pieces x share alive in its week."""
    return sale.pieces * ctx.lots[sale.lot].life.alive.get(sale.week, Decimal(0))


def frags_by_channel(ctx: Context, week: int) -> dict[str, Decimal]:
    """Expected frags that leave in a week, by channel."""
    found: dict[str, Decimal] = {}
    for sale in ctx.plan.sales:
        if sale.week == week:
            found[sale.channel] = found.get(sale.channel, Decimal(0)) + frags_of(ctx, sale)
    return found


def boxes_of(ctx: Context, channel: str, frags: Decimal) -> Fraction:
    """Boxes, not rounded up."""
    return Fraction(frags) / ratio(ctx.farm.channel[channel].frags_per_box)


def frag_pack_minutes(ctx: Context, week: int) -> Decimal:
    """Packing minutes by frag in a week."""
    return exact(ctx.farm.settings.pack_frag_minutes) * sum(frags_by_channel(ctx, week).values(), Decimal(0))


def boxes_in(ctx: Context, week: int) -> Fraction:
    """Boxes of all channels in a week."""
    return sum((boxes_of(ctx, c, f) for c, f in frags_by_channel(ctx, week).items()), Fraction(0))


def box_minutes(ctx: Context, week: int) -> Fraction:
    """Packing minutes by box in a week."""
    return ratio(ctx.farm.settings.pack_box_minutes) * boxes_in(ctx, week)


def move_minutes(ctx: Context, week: int) -> Decimal:
    """Minutes of the moves of a week: each lot, and each piece left after the week's sales."""
    s = ctx.farm.settings
    pieces = [lot.left(week) for lot, _, after in ctx.moves() if after.week == week]
    return exact(s.move_lot_minutes) * len(pieces) + exact(s.move_frag_minutes) * sum(pieces)


def count_minutes(ctx: Context, week: int, *, old_only: bool = False) -> Decimal:
    """Minutes of counting: lots with pieces left after the week's sales whose age is a multiple of ``count_weeks``."""
    s = ctx.farm.settings
    due = [
        lot for lot in (ctx.old_lots if old_only else ctx.lots.values())
        if lot.first_week <= week and week > lot.cut_week and (week - lot.cut_week) % s.count_weeks == 0 and lot.left(week) > 0
    ]  # fmt: skip
    return exact(s.count_lot_minutes) * len(due)
