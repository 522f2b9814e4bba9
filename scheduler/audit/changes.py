"""Announced cuts a plan drops, moves to another session or changes in size, and what that costs."""

from __future__ import annotations

from scheduler.audit.context import Context
from scheduler.audit.money import Till, ratio
from scheduler.plan.model import Announced

TOLERATED_PERCENT = 20
"""A cut changed by no more than this part of the pieces announced counts as kept."""


def kept(ctx: Context, row: Announced) -> bool:
    """Whether the colony is cut in the announced session, by as many pieces within the tolerance."""
    made = [c.pieces for c in ctx.plan.cuts if (c.colony, c.session, c.week) == (row.colony, row.session, row.week)]
    return len(made) == 1 and 100 * abs(made[0] - row.pieces) <= TOLERATED_PERCENT * row.pieces


def change_lines(ctx: Context, till: Till) -> None:
    """The lines of changed announced cuts: cost x (near weeks + 1 - week)."""
    cost = ratio(ctx.farm.settings.change_cost)
    for row in ctx.plan.announced:
        if not kept(ctx, row):
            till.add("change", row.colony, row.week, -cost * (ctx.weeks.near + 1 - row.week))


def check_announced(ctx: Context) -> None:
    """Announced cuts lie in near weeks, one a colony and week."""
    seen: set[tuple[str, int]] = set()
    for row in ctx.plan.announced:
        if row.week not in ctx.weeks.near_weeks:
            ctx.add("plan", (row.colony,), f"{row.colony} is announced for week {row.week}; near weeks are 1 to {ctx.weeks.near}")
        if (row.colony, row.week) in seen:
            ctx.add("plan", (row.colony,), f"{row.colony} is announced twice for week {row.week}; a colony is cut once a week")
        seen.add((row.colony, row.week))
