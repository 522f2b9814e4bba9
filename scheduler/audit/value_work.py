"""Lines of work: labour and supplies."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from scheduler.audit.context import Context
from scheduler.audit.minutes import (
    box_minutes,
    boxes_in,
    cutter_minutes,
    frag_pack_minutes,
    frags_of,
    mounter_minutes,
    move_minutes,
)
from scheduler.audit.money import Till, ratio
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Supply
from scheduler.farm.work import sessions_in


def sessions_held(ctx: Context, week: int) -> Fraction:
    """Sessions of a week: near weeks, those with a cut; later weeks, all of them x bench minutes used / offered."""
    cuts = ctx.cuts_by_week[week]
    if week in ctx.weeks.near_weeks:
        return Fraction(len({c.session for c in cuts}))
    s, sessions = ctx.farm.settings, sessions_in(ctx.farm, week)
    used = sum((cutter_minutes(ctx.farm, c) + mounter_minutes(ctx, c) for c in cuts), Decimal(0))
    offered = sum(
        (max(Fraction(0), ratio(x.minutes) - ratio(s.session_minutes)) * ratio(s.bench_fill) * len(x.people) for x in sessions),
        Fraction(0),
    )
    return len(sessions) * Fraction(used) / offered if offered else Fraction(0)


def changes_in(ctx: Context, week: int) -> int:
    """Changes of water system in the sessions of a near week; 0 in later weeks."""
    if week not in ctx.weeks.near_weeks:
        return 0
    systems: dict[str | None, set[str]] = {}
    for cut in ctx.cuts_by_week[week]:
        systems.setdefault(cut.session, set()).add(ctx.home_of(cut.colony))
    return sum(len(s) - 1 for s in systems.values())


def labour_lines(ctx: Context, till: Till) -> None:
    """Minutes x wage, by kind of work and week."""
    s = ctx.farm.settings
    wage = ratio(s.wage_per_hour) / 60
    for week in ctx.weeks.all:
        cuts = ctx.cuts_by_week[week]
        minutes = {
            "sessions": sessions_held(ctx, week) * ratio(s.session_minutes),
            "cutting": sum((Fraction(cutter_minutes(ctx.farm, c)) for c in cuts), Fraction(0)),
            "mounting": sum((Fraction(mounter_minutes(ctx, c)) for c in cuts), Fraction(0)),
            "changeovers": changes_in(ctx, week) * ratio(s.changeover_minutes),
            "moves": Fraction(move_minutes(ctx, week)),
            "packing": Fraction(frag_pack_minutes(ctx, week)),
            "boxes": box_minutes(ctx, week),
        }
        for work, amount in minutes.items():
            till.add("labour", work, week, -amount * wage)
    more = (ratio(s.overtime_wage_per_hour) - ratio(s.wage_per_hour)) / 60
    for row in ctx.plan.overtime:
        till.add("labour", "overtime", row.week, -Fraction(row.minutes) * more)


def supply_for_piece(farm: Farm, item: Supply, strain: str) -> bool:
    """Whether a piece of a strain uses an item: no limit, or its plug kind or group."""
    return item.only_for in (None, farm.traits(strain).plug_kind, farm.strain[strain].group)


def supply_lines(ctx: Context, till: Till) -> None:
    """What is used up, by item and week."""
    for week in ctx.weeks.all:
        cuts = ctx.cuts_by_week[week]
        for item in ctx.farm.supplies:
            if item.per == "piece":
                used = Fraction(sum(c.pieces for c in cuts if supply_for_piece(ctx.farm, item, c.strain)))
            elif item.per == "colony":
                used = Fraction(sum(item.only_for in (None, ctx.farm.strain[c.strain].group) for c in cuts))
            elif item.per == "session":
                used = sessions_held(ctx, week)
            elif item.per == "frag packed":
                sales = [x for x in ctx.plan.sales if x.week == week]
                packed = [x for x in sales if supply_for_piece(ctx.farm, item, ctx.lots[x.lot].strain)]
                used = sum((Fraction(frags_of(ctx, x)) for x in packed), Fraction(0))
            else:
                used = boxes_in(ctx, week)
            till.add("supplies", item.item, week, -used * ratio(item.quantity_per) * ratio(item.unit_cost))
