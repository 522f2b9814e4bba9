"""L9 and the usable share of zones (L1): how full systems and zones are."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from fractions import Fraction

from scheduler.audit.context import SHARE_TOLERANCE, Context
from scheduler.farm.units import exact


def zone_holds(ctx: Context, week: int) -> dict[str, Decimal]:
    """Positions held in every zone in a week, mothers included."""
    found = {z.id: Decimal(z.mothers) for z in ctx.zones.values()}
    for h in ctx.holdings(week):
        found[h.stand.zone] += ctx.decimals(h.lot, h.pieces, week)
    return found


def book_holds(ctx: Context, week: int) -> dict[str, Decimal]:
    """P2: what the lots of the book alone would hold in every zone, unmoved, after the plan's sales, with the mothers."""
    found = {z.id: Decimal(z.mothers) for z in ctx.zones.values()}
    for lot in ctx.old_lots:
        if (left := lot.left(week)) > 0:
            found[lot.stands[0].zone] += ctx.decimals(lot, left, week)
    return found


def check_room(ctx: Context) -> None:
    """Systems in all weeks, zones in later weeks, closed tanks."""
    for week in ctx.weeks.all:
        holds, book = zone_holds(ctx, week), book_holds(ctx, week)
        if week in ctx.weeks.later_weeks:
            _zones(ctx, week, holds, book)
        _systems(ctx, week, holds, book)
    for stand in ctx.plan.stands:
        tank = ctx.tank_of(stand)
        if ctx.farm.tank_closed(tank, stand.week):
            row = ctx.farm.tank[tank]
            ctx.add(
                "L9", (stand.lot, tank), f"lot {stand.lot} is put in tank {tank} in week {stand.week}; it is closed from "
                f"{row.closed_from or 'before'} to {row.closed_to or 'further notice'}",
            )  # fmt: skip


def _zones(ctx: Context, week: int, holds: dict[str, Decimal], book: dict[str, Decimal]) -> None:
    share = exact(ctx.farm.settings.usable_share)
    for zone in ctx.zones.values():
        limit = max(share * zone.capacity, book[zone.id])
        if holds[zone.id] > limit + exact(SHARE_TOLERANCE):
            ctx.add("L1", (zone.id,), f"zone {zone.id} holds {holds[zone.id]:.3f} positions in week {week}; at most {limit:.3f}")


def _systems(ctx: Context, week: int, holds: dict[str, Decimal], book: dict[str, Decimal]) -> None:
    free = 1 - exact(ctx.farm.settings.keep_free_share)
    held: dict[str, Decimal] = defaultdict(Decimal)
    today: dict[str, Decimal] = defaultdict(Decimal)
    room: dict[str, int] = defaultdict(int)
    for zone in ctx.zones.values():
        held[zone.system] += holds[zone.id]
        today[zone.system] += book[zone.id]
        room[zone.system] += zone.capacity
    for system, positions in held.items():
        limit = max(free * room[system], today[system])
        if positions > limit + exact(SHARE_TOLERANCE):
            ctx.add("L9", (system,), f"system {system} holds {positions:.3f} positions in week {week}; at most {limit:.3f}")


def unevenness(ctx: Context) -> Fraction:
    """Largest difference of use, in percentage points, between tanks of one light class over all weeks."""
    classes: dict[str, list[str]] = defaultdict(list)
    for zone in ctx.zones.values():
        classes[zone.light_class].append(zone.id)
    shared = [members for members in classes.values() if len(members) > 1]
    worst = Fraction(0)
    for week in ctx.weeks.all if shared else ():
        holds = zone_holds(ctx, week)
        for members in shared:
            use = [Fraction(holds[z]) * 100 / ctx.zones[z].capacity for z in members]
            worst = max(worst, max(use) - min(use))
    return worst
