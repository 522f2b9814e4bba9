"""Plans whose sessions the clock can keep: planned again, cut smaller, or refused by name."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from scheduler.audit import audit
from scheduler.bench import schedule
from scheduler.errors import PinConflict
from scheduler.farm.farm import Farm
from scheduler.farm.pins import Pin
from scheduler.planning.near import weeks as near_weeks
from scheduler.planning.pipeline import plan_farm
from scheduler.solving import Budget, Limits, Solved, solve
from tests.audit.small_farm import changed
from tests.farms import random_farm
from tests.week.bench_farm import EVERY, at_least, pins, tiny_farm

LIMITS = Limits(seconds=600, deterministic=0.3, seed=1)
SESSION = "bench 2026-12-01"


def two_at_the_bench(minutes: float, pieces: int) -> Farm:
    """One colony, and people whose minutes would do for more than the clock does: the mounter waits for the first dip."""
    return tiny_farm(sessions=({"minutes": minutes},), pins=pins(at_least("A1", pieces)), people={"Ada": EVERY, "Ben": EVERY})


def test_a_session_too_tight_for_the_clock_is_planned_again() -> None:
    farm = two_at_the_bench(60.0, 6)
    plan = plan_farm(farm, limits=LIMITS).plan
    (clock,), (cut,) = plan.clocks, [c for c in plan.cuts if c.session == SESSION]
    assert clock.finish <= clock.latest
    assert clock.efficiency < farm.settings.bench_fill  # so the fill planned with first was too high
    assert cut.pieces > 6
    assert {t.lot for t in plan.bench if t.lot is not None} == {cut.lot}
    assert cut.run_order == 1
    assert audit(farm, plan).clean


def test_a_pinned_cut_is_made_as_small_as_its_pin_allows_and_told() -> None:
    plan = plan_farm(two_at_the_bench(50.0, 10), limits=LIMITS).plan
    assert [c.pieces for c in plan.cuts if c.session == SESSION] == [10]
    assert [n.kind for n in plan.notices if n.text.startswith("A1: 10 of ") and "would be done at" in n.text] == ["gave way"]


def test_a_pin_that_asks_for_more_than_the_clock_allows_is_named() -> None:
    with pytest.raises(
        PinConflict, match=r"P1: cut at least 12 of A1, but bench 2026-12-01 would be done at 09:\d\d, after 09:40"
    ):
        plan_farm(two_at_the_bench(50.0, 12), limits=LIMITS)


def test_planning_again_and_the_clocks_share_one_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    """However often near weeks are planned again, all solves together keep the limit, each with a share of what is left."""
    given: list[float] = []
    spent: list[float] = []
    stages: list[str] = []

    def counting(model: Any, limits: Limits, **more: Any) -> Solved:
        solved = solve(model, limits, **more)
        given.append(limits.deterministic or math.inf)
        spent.append(solved.outcome.work)
        stages.append(str(more["stage"]))
        return solved

    monkeypatch.setattr(near_weeks, "solve", counting)
    monkeypatch.setattr(schedule, "solve", counting)
    farm = changed(random_farm(7, 14, weeks=8), "settings", bench_fill=1.0)
    farm = changed(farm, "sessions", minutes=120.0)
    farm = replace(farm, pins=(Pin(pin="P", kind="cut", colony="S004-01"),))
    plan = plan_farm(farm, limits=Limits(seconds=600, deterministic=0.4, seed=1)).plan
    assert plan.clocks
    assert stages.count("near weeks") > 3  # planned more than once
    assert max(given) <= 0.4 * 0.65
    assert sum(spent) <= 0.4 * 1.1  # a solve looks at its limit only now and then


def test_a_budget_shares_out_what_is_left() -> None:
    budget = Budget(Limits(seconds=100.0, deterministic=8.0, seed=7, workers=2))
    first = budget.part(0.5)
    assert first.deterministic == 4.0
    assert 49.0 < (first.seconds or 0.0) <= 50.0
    assert (first.seed, first.workers) == (7, 2)
    budget.spend(6.0)
    assert budget.part(0.5).deterministic == 1.0
    budget.spend(6.0)
    assert 0 < (budget.part().deterministic or 0.0) < 0.01
    assert Budget(Limits()).part(0.5) == Limits()


def test_limits_within_others() -> None:
    assert Limits(seconds=5.0).within(Limits(seconds=9.0, deterministic=2.0)) == Limits(seconds=5.0, deterministic=2.0)
    assert Limits(seconds=9.0, seed=3).within(Limits(seconds=5.0)) == Limits(seconds=5.0, seed=3)
