"""Whole plans of random farms: every one passes the audit, and pins that cannot hold are named no more than needed."""

from __future__ import annotations

from random import Random

import pytest

from scheduler.audit import audit
from scheduler.errors import PinConflict
from scheduler.farm.farm import Farm
from scheduler.planning.pipeline import plan_farm
from scheduler.planning.result import Result
from scheduler.solving import Limits
from tests.farms import random_farm

LIMITS = Limits(seconds=600, deterministic=0.5, seed=1)
QUICK = 16
LARGEST = 40


def farm_of(seed: int, largest: int) -> Farm:
    """Farms of all sizes up to ``largest``; every second one tight, two of three with pins."""
    r = Random(seed)
    size = r.randint(1, largest)
    return random_farm(seed, size, tight=bool(seed % 2), pins=(0, 2, 5)[seed % 3], weeks=r.choice((8, 12, 16)))


def named(farm: Farm, drop: tuple[str, ...]) -> tuple[str, ...]:
    """Pins named as contradictory when some are left out; none if there is a plan."""
    done = tried(farm, drop)
    return done.pins if isinstance(done, PinConflict) else ()


def tried(farm: Farm, drop: tuple[str, ...] = ()) -> Result | PinConflict:
    try:
        return plan_farm(farm, limits=LIMITS, drop_pins=drop)
    except PinConflict as conflict:
        return conflict


def check(farm: Farm) -> None:
    done = tried(farm)
    if isinstance(done, PinConflict):
        check_conflict(farm, done.pins)
        return
    plan, report = done.plan, audit(farm, done.plan)
    assert report.breaches == ()
    assert report.value == plan.value == sum(line.amount for line in plan.lines)
    assert plan.about.season is not None
    assert plan.about.season.value_without_cuts <= plan.about.season.bound
    assert plan.value <= plan.about.season.bound
    ours = {(x.line, x.subject, x.week): x.amount for x in plan.lines}
    assert ours == {(x.line, x.subject, x.week): x.amount for x in report.lines}
    codes = [c.lot for c in plan.cuts] + [x.lot for x in farm.lots]
    assert len(codes) == len(set(codes))


def check_conflict(farm: Farm, pins: tuple[str, ...]) -> None:
    """The pins named clash without the others; without any one of them the rest hold; without all it is not about them."""
    others = tuple(p.pin for p in farm.pins if p.pin not in pins)
    assert pins
    assert named(farm, others) == pins
    for pin in pins:
        assert named(farm, (*others, pin)) == ()
    assert not set(named(farm, pins)) & set(pins)


EVERYDAY = (
    1, 2, 3, 5, 7, 8, 11, 13, 14, 17, 19, 20, 23, 26, 29, 31, 37, 42, 51, 53, 56, 62, 66, 69, 72, 73, 76, 77, 86, 94, 97, 104,
    113, 123, 135, 160, 167, 169, 186, 190,
)  # fmt: skip


@pytest.mark.parametrize("seed", EVERYDAY)
def test_a_random_farm_gets_a_plan_that_breaks_no_rule(seed: int) -> None:
    check(farm_of(seed, QUICK))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(200, 400))
def test_a_random_farm_of_any_size_gets_a_plan_that_breaks_no_rule(seed: int) -> None:
    check(farm_of(seed, LARGEST))
