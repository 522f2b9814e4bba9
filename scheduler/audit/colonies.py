"""C1 to C4: what may be cut from a colony, and when."""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict

from scheduler.audit.context import Context
from scheduler.biology.growth import curve, levels, rested_from, season_open
from scheduler.plan.model import Cut


def check_colonies(ctx: Context) -> None:
    """C1 rest, C2 keep, C3 share, C4 whole."""
    by_colony: dict[str, list[Cut]] = defaultdict(list)
    for cut in sorted(ctx.plan.cuts, key=lambda c: (c.week, c.lot)):
        by_colony[cut.colony].append(cut)
    for name, cuts in by_colony.items():
        _rest(ctx, name, cuts)
        _sizes(ctx, name, cuts)
        _whole(ctx, name, cuts)


def _rest(ctx: Context, name: str, cuts: list[Cut]) -> None:
    colony = ctx.farm.colony[name]
    rest = ctx.farm.traits(colony.strain).rest_weeks
    earliest = rested_from(ctx.farm, colony)
    if colony.last_cut is not None and cuts[0].week < earliest:
        ctx.add(
            "C1",
            (name, cuts[0].lot),
            f"{name} was last cut on {colony.last_cut}: cut in week {cuts[0].week}, rested from {earliest}",
        )
    for before, after in itertools.pairwise(cuts):
        if 0 < after.week - before.week < rest:
            ctx.add(
                "C1", (name, after.lot), f"{name} is cut in weeks {before.week} and {after.week}: "
                f"{after.week - before.week} apart, at least {rest}",
            )  # fmt: skip


def _sizes(ctx: Context, name: str, cuts: list[Cut]) -> None:
    colony = ctx.farm.colony[name]
    traits = ctx.farm.traits(colony.strain)
    taken = Counter[int]()
    for cut in cuts:
        taken[cut.week] += cut.pieces
    sizes, found = curve(traits), levels(ctx.farm, colony, dict(taken))
    for week, pieces in taken.items():
        size = sizes[found[week]]
        keep, most = math.floor(round(size - traits.keep_pieces, 9)), math.floor(round(traits.max_share * size, 9))
        if pieces > keep:
            ctx.add(
                "C2",
                (name,),
                f"{name} week {week}: {pieces} pieces cut of {size:.2f}; at most {max(keep, 0)} leave {traits.keep_pieces}",
            )
        if pieces > most:
            ctx.add(
                "C3",
                (name,),
                f"{name} week {week}: {pieces} pieces cut of {size:.2f}; at most {most} ({traits.max_share:g} of it)",
            )


def _whole(ctx: Context, name: str, cuts: list[Cut]) -> None:
    colony = ctx.farm.colony[name]
    least = ctx.farm.traits(colony.strain).min_pieces
    if colony.condition != "fit":
        ctx.add("C4", (name,), f"{name} is cut though its condition is {colony.condition!r}; only fit colonies are")
    for cut in cuts:
        if cut.pieces < least:
            ctx.add("C4", (name, cut.lot), f"{name} week {cut.week}: {cut.pieces} pieces cut; at least {least}")
        if not season_open(ctx.farm, colony, cut.week):
            month = ctx.weeks.month(cut.week)[1]
            ctx.add("C4", (name, cut.lot), f"{name} is cut in week {cut.week}, in month {month}, which is closed for it")
    for week, times in Counter(c.week for c in cuts).items():
        if times > 1:
            ctx.add("C4", (name,), f"{name} is cut {times} times in week {week}; at most 1")
