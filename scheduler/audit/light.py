"""L2, L3 and L8: light while settling, steps of light at a move, and flow."""

from __future__ import annotations

from scheduler.audit.context import SHARE_TOLERANCE, Context
from scheduler.biology.light import par_of_rack
from scheduler.plan.model import Stand
from scheduler.plan.view import LotView


def check_light(ctx: Context) -> None:
    """First stands by L2 and L8, moves by L3 and L8."""
    for lot in ctx.new_lots:
        _settling(ctx, lot)
        flow, allowed = _flow(ctx, lot.stands[0]), ctx.traits(lot).flow_settling
        if flow not in allowed:
            ctx.add("L8", (lot.id,), f"lot {lot.id} settles in {flow} flow; it may settle in {', '.join(allowed)}")
    for lot, before, after in ctx.moves():
        _waits(ctx, lot, before, after)
        _step(ctx, lot, before, after)
        flow, allowed = _flow(ctx, after), ctx.traits(lot).flow_growing
        if flow not in allowed:
            ctx.add(
                "L8", (lot.id,), f"lot {lot.id} is moved to {flow} flow in week {after.week}; it grows in {', '.join(allowed)}"
            )


def _flow(ctx: Context, stand: Stand) -> str:
    return ctx.farm.rack[stand.rack].flow if stand.rack is not None else ctx.zones[stand.zone].flow


def par_range(ctx: Context, lot: LotView, stand: Stand, pieces: int, week: int) -> tuple[float, float]:
    """Dimmest and brightest PAR of a stand in a week: by position where it names them, else the zone's mean."""
    if stand.rack is not None:
        held = ctx.on_rack(stand.rack, ctx.positions(lot, stand, pieces))
        if held:
            par = par_of_rack(ctx.farm, stand.rack, week)
            values = [float(par[p]) for p in held]
            return min(values), max(values)
    mean = ctx.zones[stand.zone].par_in(week)
    return mean, mean


def _settling(ctx: Context, lot: LotView) -> None:
    s = ctx.farm.settings
    colony = ctx.farm.colony[lot.colony or ""]
    low, high = (1 - s.dim) * colony.par_umol, (1 + s.bright) * colony.par_umol
    for week in range(lot.cut_week, min(lot.cut_week + s.settle_weeks - 1, ctx.weeks.count) + 1):
        left = lot.left(week)
        if left <= 0:
            continue
        dim, bright = par_range(ctx, lot, lot.stands[0], left, week)
        if dim < low - SHARE_TOLERANCE or bright > high + SHARE_TOLERANCE:
            ctx.add(
                "L2", (lot.id,), f"lot {lot.id} settles at PAR {dim:.1f} to {bright:.1f} in week {week}; its colony stands at "
                f"{colony.par_umol:g}, so {low:.1f} to {high:.1f}",
            )  # fmt: skip


def _waits(ctx: Context, lot: LotView, before: Stand, after: Stand) -> None:
    s = ctx.farm.settings
    age = after.week - lot.cut_week
    if age < s.settle_weeks:
        ctx.add(
            "L3", (lot.id,), f"lot {lot.id} is moved in week {after.week} at age {age}; settling takes {s.settle_weeks} weeks"
        )
    last: int | None = None
    if before is not lot.stands[0]:
        last = before.week
    elif not lot.is_new and (moved := ctx.farm.lot[lot.id].moved_date) is not None:
        last = ctx.weeks.week_of(moved)
    if last is not None and after.week - last < s.adapt_weeks:
        ctx.add(
            "L3", (lot.id,), f"lot {lot.id} is moved in week {after.week}, {after.week - last} weeks after the move of "
            f"week {last}; at least {s.adapt_weeks}",
        )  # fmt: skip


def _step(ctx: Context, lot: LotView, before: Stand, after: Stand) -> None:
    traits, week = ctx.traits(lot), after.week
    left = lot.left(week)
    if week in ctx.weeks.near_weeks:
        now = par_range(ctx, lot, before, left, week)[0]
        dim, bright = par_range(ctx, lot, after, left, week)
    else:
        now = ctx.zones[before.zone].par_in(week)
        dim = bright = ctx.zones[after.zone].par_in(week)
    most = (1 + ctx.farm.settings.max_step_up) * now
    if bright > most + SHARE_TOLERANCE:
        ctx.add(
            "L3", (lot.id,), f"lot {lot.id} is moved to PAR {bright:.1f} in week {week}; it has {now:.1f}, so at most {most:.1f}"
        )
    if dim < traits.par_min - SHARE_TOLERANCE or bright > traits.par_max + SHARE_TOLERANCE:
        ctx.add(
            "L3", (lot.id,), f"lot {lot.id} is moved to PAR {dim:.1f} to {bright:.1f} in week {week}; its range is "
            f"{traits.par_min:g} to {traits.par_max:g}",
        )  # fmt: skip
