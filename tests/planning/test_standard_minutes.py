"""Plan, audit and bench day count the same minutes: the allowance and the labels are in all of them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from scheduler.audit import audit
from scheduler.audit.context import Context
from scheduler.audit.minutes import cutter_minutes, mounter_minutes
from scheduler.audit.value import value_lines
from scheduler.bench.session import planned_minutes
from scheduler.farm.farm import Farm
from scheduler.farm.hours import bench_need
from scheduler.farm.work import sessions_in
from scheduler.plan.model import Plan
from scheduler.planning.lines import Valuation
from scheduler.planning.pipeline import plan_farm
from scheduler.reporting.tables.bench import session_views
from scheduler.solving import Limits
from tests.audit.small_farm import changed, finished, small_farm, small_plan
from tests.farms import random_farm

WAYS: tuple[dict[str, Any], ...] = (
    {"allowance_share": 0.09}, {"allowance_share": 0.09, "allowance_base": "shift"}, {"labelling": "block"},
    {"labelling": "block", "allowance_share": 0.13},
)  # fmt: skip


def labour(farm: Farm, plan: Plan, work: str) -> Decimal:
    """Wages of one kind of work over all weeks, by the planner; the audit agrees."""
    ours = [x.amount for x in Valuation(farm, plan).lines() if x.subject == work]
    theirs = [x.amount for x in value_lines(Context(farm, plan))[0] if x.subject == work]
    assert ours == theirs
    return -sum(ours, Decimal(0))


@pytest.mark.parametrize(("base", "factor"), [("work", 1.09), ("shift", 1 / 0.91)])
def test_the_allowance_is_paid(base: str, factor: float) -> None:
    """9 % of 2.00 minutes are 2.18 on the work base and 2.198 on the shift base; here of every bench minute."""
    plain = small_farm()
    plan = small_plan(plain)
    more = changed(plain, "settings", allowance_share=0.09, allowance_base=base)
    for work in ("cutting", "mounting"):
        assert float(labour(more, plan, work)) == pytest.approx(factor * float(labour(plain, plan, work)), abs=0.05)


def test_a_tag_for_each_block_costs_less_than_a_label_on_every_plug() -> None:
    plain = small_farm()
    plan = small_plan(plain)
    tags = changed(plain, "settings", labelling="block", wage_per_hour=Decimal(60))  # a minute costs 1.00
    labels = changed(plain, "settings", wage_per_hour=Decimal(60))
    blocks = sum(max(1, len(next(s.blocks for s in plan.stands if s.lot == c.lot))) for c in plan.cuts)
    fewer = sum(c.pieces for c in plan.cuts) - blocks
    assert labour(labels, plan, "mounting") - labour(tags, plan, "mounting") == Decimal("0.5") * fewer


@pytest.mark.parametrize("settings", WAYS)
def test_everybody_counts_alike(settings: dict[str, Any]) -> None:
    farm = changed(small_farm(), "settings", **settings)
    plan = finished(farm, small_plan(farm))
    ctx, blocks = Context(farm, plan), {s.lot: len(s.blocks) for s in reversed(plan.stands)}
    for cut in plan.cuts:
        audited = cutter_minutes(farm, cut) + mounter_minutes(ctx, cut)
        assert audited == sum(planned_minutes(farm, [cut], blocks).values())
        if cut.session is None:
            assert float(audited) == pytest.approx(sum(bench_need(farm, cut.colony, cut.pieces).values()))
    for view in session_views(farm, plan):
        assert {p: m for p, m in view.work.items() if m} == planned_minutes(farm, view.cuts, blocks)


@pytest.mark.parametrize("settings", WAYS)
def test_plans_keep_the_hours_they_pay(settings: dict[str, Any]) -> None:
    """With every minute counted, the audit finds no session too full and agrees with every line."""
    farm = changed(random_farm(5, 8, weeks=8), "settings", labels_written="session", **settings)
    plan = plan_farm(farm, limits=Limits(seconds=600, deterministic=0.3, seed=1)).plan
    assert plan.cuts
    assert audit(farm, plan).breaches == ()
    names = {s.id for w in farm.weeks.near_weeks for s in sessions_in(farm, w)}
    assert {c.session for c in plan.clocks} <= names
    blocks = {s.lot: len(s.blocks) for s in sorted(plan.stands, key=lambda s: -s.week)}
    for clock in plan.clocks:
        cuts = [c for c in plan.cuts if c.session == clock.session]
        assert clock.work_minutes == max(planned_minutes(farm, cuts, blocks).values())
