"""The audit of a finished plan: every rule checked and every line of money worked out by code of its own."""

from __future__ import annotations

from decimal import Decimal

from scheduler.audit.balance import check_balance
from scheduler.audit.bench import check_bench
from scheduler.audit.changes import check_announced
from scheduler.audit.clock import check_clock
from scheduler.audit.colonies import check_colonies
from scheduler.audit.context import Context
from scheduler.audit.hours import check_hours
from scheduler.audit.light import check_light
from scheduler.audit.pins import check_pins
from scheduler.audit.places import check_places
from scheduler.audit.report import Report
from scheduler.audit.room import check_room
from scheduler.audit.structure import check_structure
from scheduler.audit.trade import check_trade
from scheduler.audit.value import check_value, value_lines
from scheduler.audit.water import check_water
from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan

_CHECKS = (
    check_colonies, check_bench, check_hours, check_water, check_places, check_light, check_room, check_trade,
    check_balance, check_pins, check_announced, check_clock,
)  # fmt: skip


def audit(farm: Farm, plan: Plan) -> Report:
    """Check a plan against the farm it was made for. A plan that names unknown things is reported on that alone."""
    ctx = Context(farm, plan)
    if not check_structure(ctx):
        return Report(tuple(ctx.breaches), (), Decimal(0), Decimal(0))
    for check in _CHECKS:
        check(ctx)
    lines, uneven = value_lines(ctx)
    check_value(ctx, lines)
    return Report(tuple(ctx.breaches), lines, sum((line.amount for line in lines), Decimal(0)), uneven)
