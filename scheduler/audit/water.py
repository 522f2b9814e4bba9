"""S3 between sessions, L6 and L7: quarantine, holds, systems that feed others, and company."""

from __future__ import annotations

from collections import defaultdict
from itertools import combinations_with_replacement

from scheduler.audit.context import Context
from scheduler.farm.farm import Farm


def check_water(ctx: Context) -> None:
    """What may leave a system, where fresh frags settle, and which groups share a tank or system."""
    for cut in ctx.plan.cuts:
        home = ctx.home_of(cut.colony)
        if ctx.farm.on_hold(home, cut.week):
            until = ctx.farm.system[home].hold_until
            ctx.add("S3", (cut.lot, home), f"lot {cut.lot} is cut in {home} in week {cut.week}; it is on hold until {until}")
    _settles(ctx)
    for lot, before, after in ctx.moves():
        old, new = ctx.system_of(before), ctx.system_of(after)
        if old != new:
            _leaves(ctx, lot.id, old, after.week, f"is moved to {new}")
    for sale in ctx.plan.sales:
        lot = ctx.lots[sale.lot]
        places = [s for s in lot.stands if s.week < sale.week] or [lot.stands[0]]
        _leaves(ctx, lot.id, ctx.system_of(places[-1]), sale.week, "is sold or cleared")
    _company(ctx)


def _leaves(ctx: Context, lot: str, system: str, week: int, what: str) -> None:
    row = ctx.farm.system[system]
    if ctx.farm.in_quarantine(system, week):
        until = row.release_date or "further notice"
        ctx.add("S3", (lot, system), f"lot {lot} {what} in week {week}; {system} is in quarantine until {until}")
    if ctx.farm.on_hold(system, week):
        ctx.add("S3", (lot, system), f"lot {lot} {what} in week {week}; {system} is on hold until {row.hold_until}")


def _settles(ctx: Context) -> None:
    for lot in ctx.new_lots:
        home, place = ctx.home_of(lot.colony or ""), ctx.system_of(lot.stands[0])
        if home != place and place not in ctx.farm.system[home].feeds:
            feeds = ", ".join((home, *ctx.farm.system[home].feeds))
            ctx.add("L6", (lot.id, place), f"lot {lot.id} from {home} settles in {place}; it may settle in {feeds}")
        if home != place and ctx.farm.in_quarantine(home, lot.cut_week):
            ctx.add(
                "S3", (lot.id, home), f"lot {lot.id} leaves {home} for {place} in week {lot.cut_week}; {home} is in quarantine"
            )


def _apart(farm: Farm) -> list[tuple[str, str, str]]:
    names = [g.group for g in farm.groups]
    pairs = combinations_with_replacement(names, 2)
    return [(a, b, where) for a, b in pairs if (where := farm.apart(a, b)) is not None]


def _company(ctx: Context) -> None:
    pairs = _apart(ctx.farm)
    if not pairs:
        return
    told: set[tuple[str, ...]] = set()
    for week in ctx.weeks.all:
        present = _present(ctx, week)
        for a, b, where in pairs:
            for (kind, place, group), members in present.items():
                others = present.get((kind, place, b), {})
                if kind != where or group != a or not others:
                    continue
                if a == b and len({strain for strain, _ in members.values()}) < 2:
                    continue
                added = sorted(n for n, (_, fixed) in (members | others).items() if not fixed)
                if added and (key := (a, b, place, *added)) not in told:
                    told.add(key)
                    ctx.add(
                        "L7",
                        (place, *added),
                        f"{a} and {b} share {where} {place} in week {week} through {', '.join(added)}; at most 1 of both",
                    )


def _present(ctx: Context, week: int) -> dict[tuple[str, str, str], dict[str, tuple[str, bool]]]:
    """(tank or system, its name, group) -> name: (strain, whether it is there today)."""
    farm = ctx.farm
    found: dict[tuple[str, str, str], dict[str, tuple[str, bool]]] = defaultdict(dict)
    for colony in farm.colonies:
        group = farm.strain[colony.strain].group
        for kind, place in (("tank", colony.tank), ("system", farm.system_of_tank(colony.tank))):
            found[kind, place, group][f"colony {colony.colony}"] = (colony.strain, True)
    for h in ctx.holdings(week):
        group = farm.strain[h.lot.strain].group
        book = h.lot.stands[0]
        for kind, place, first in (
            ("tank", ctx.tank_of(h.stand), ctx.tank_of(book)), ("system", ctx.system_of(h.stand), ctx.system_of(book)),
        ):  # fmt: skip
            found[kind, place, group][f"lot {h.lot.id}"] = (h.lot.strain, not h.lot.is_new and place == first)
    return found
