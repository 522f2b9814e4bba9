"""Plans whose sessions the clock can keep: planned again, cut smaller, or refused by name."""

from __future__ import annotations

import pytest

from scheduler.audit import audit
from scheduler.errors import PinConflict
from scheduler.farm.farm import Farm
from scheduler.planning.pipeline import plan_farm
from scheduler.solving import Limits
from tests.week.bench_farm import EVERY, at_least, pins, tiny_farm

LIMITS = Limits(seconds=20, deterministic=0.3, seed=1)
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
