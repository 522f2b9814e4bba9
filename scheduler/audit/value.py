"""The value of a plan by the audit's own code, line by line, and the comparison with the plan's lines."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal

from scheduler.audit.changes import change_lines
from scheduler.audit.context import Context
from scheduler.audit.money import Key, Till
from scheduler.audit.value_ends import end_lines, uneven_line
from scheduler.audit.value_sales import sale_lines
from scheduler.audit.value_work import labour_lines, supply_lines
from scheduler.farm.units import SHARE_STEP
from scheduler.plan.model import Line


def value_lines(ctx: Context) -> tuple[tuple[Line, ...], Decimal]:
    """Every line of money, and the unevenness in percentage points."""
    till = Till(ctx.farm)
    sale_lines(ctx, till)
    labour_lines(ctx, till)
    supply_lines(ctx, till)
    end_lines(ctx, till)
    change_lines(ctx, till)
    points = uneven_line(ctx, till)
    return till.lines(), Decimal(round(points * 10**9)) * SHARE_STEP


def check_value(ctx: Context, lines: tuple[Line, ...]) -> None:
    """The plan's lines against the audit's, key by key, and the plan's value against the sum of its lines."""
    own = {(r.line, r.subject, r.week): r.amount for r in lines}
    given: dict[Key, Decimal] = {}
    times = Counter((r.line, r.subject, r.week) for r in ctx.plan.lines)
    for row in ctx.plan.lines:
        key = (row.line, row.subject, row.week)
        given[key] = given.get(key, Decimal(0)) + row.amount
    for key in sorted(own.keys() | given.keys()):
        name = f"{key[0]}, {key[1]}, week {key[2]}"
        found, right = given.get(key, Decimal(0)), own.get(key, Decimal(0))
        if found != right:
            ctx.add("value", (name,), f"the line {name} says {found}; it is {right}")
        if times[key] > 1:
            ctx.add("value", (name,), f"the line {name} is given {times[key]} times; at most 1")
    total = sum(given.values(), Decimal(0))
    if ctx.plan.value != total:
        ctx.add("value", ("value",), f"the plan says it is worth {ctx.plan.value}; its lines add up to {total}")
