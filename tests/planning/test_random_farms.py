"""Whole plans of random farms: every one passes the audit, and pins that cannot hold are named no more than needed."""

from __future__ import annotations

from random import Random

import pytest

from scheduler.audit import audit
from scheduler.errors import PinConflict
from scheduler.farm.farm import Farm
from scheduler.planning.lines import Valuation
from scheduler.planning.pipeline import plan_farm
from scheduler.solving import Limits
from tests.farms import random_farm

LIMITS = Limits(seconds=20, deterministic=1, seed=1)
QUICK = 16
LARGEST = 40


def farm_of(seed: int, largest: int) -> Farm:
    """Farms of all sizes up to ``largest``; every second one tight, two of three with pins."""
    r = Random(seed)
    size = r.randint(1, largest)
    return random_farm(seed, size, tight=bool(seed % 2), pins=(0, 2, 5)[seed % 3], weeks=r.choice((8, 12, 16)))


def named(farm: Farm, drop: tuple[str, ...]) -> tuple[str, ...]:
    """Pins named as contradictory when some are left out; none if there is a plan."""
    try:
        plan_farm(farm, limits=LIMITS, drop_pins=drop)
    except PinConflict as conflict:
        return conflict.pins
    return ()


def check(farm: Farm) -> None:
    try:
        plan = plan_farm(farm, limits=LIMITS).plan
    except PinConflict as conflict:
        rest = tuple(p.pin for p in farm.pins if p.pin not in conflict.pins)
        assert named(farm, rest) == conflict.pins
        for pin in conflict.pins:
            assert named(farm, (*rest, pin)) == ()
        assert not set(named(farm, conflict.pins)) & set(conflict.pins)
        return
    report = audit(farm, plan)
    assert report.breaches == ()
    assert report.value == plan.value == sum(line.amount for line in plan.lines)
    assert {(x.line, x.subject, x.week): x.amount for x in report.lines} == {
        (x.line, x.subject, x.week): x.amount for x in plan.lines
    }
    assert Valuation(farm, plan).lines() == plan.lines
    codes = [c.lot for c in plan.cuts] + [x.lot for x in farm.lots]
    assert len(codes) == len(set(codes))


EVERYDAY = (
    1, 2, 3, 5, 7, 8, 11, 13, 14, 17, 19, 20, 23, 26, 29, 31, 37, 42, 51, 53,
    56, 62, 66, 69, 72, 73, 76, 77, 86, 94, 97, 104, 113, 123, 135, 160, 167, 169, 186, 190,
)  # fmt: skip


@pytest.mark.parametrize("seed", EVERYDAY)
def test_a_random_farm_gets_a_plan_that_breaks_no_rule(seed: int) -> None:
    check(farm_of(seed, QUICK))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(200, 400))
def test_a_random_farm_of_any_size_gets_a_plan_that_breaks_no_rule(seed: int) -> None:
    check(farm_of(seed, LARGEST))
