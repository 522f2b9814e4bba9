"""The season's bound: never below the value of a plan that passes the audit, whoever made the plan."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from scheduler.audit import audit
from scheduler.biology.zones import zones
from scheduler.errors import NoPlanFound, PinConflict
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Pin
from scheduler.plan.model import Plan
from scheduler.planning.hand import RuleName, plan_by_hand
from scheduler.planning.pipeline import plan_farm
from scheduler.planning.result import Result
from scheduler.solving import Limits
from tests.audit.small_farm import audited, changed, cut, sale, small_farm, small_plan, stand
from tests.planning.test_random_farms import LARGEST, farm_of
from tests.season.season_farm import bound_of

LIMITS = Limits(seconds=600, deterministic=0.5, seed=1)
RULES: tuple[RuleName, ...] = ("simple", "experienced")
EVERYDAY = (0, 4, 18, 21, 33, 44, 55, 57, 63, 78, 96, 102)
SMALL = 9


def rounding(plan: Plan) -> Decimal:
    """Most that rounding every line to the cent can add."""
    return Decimal("0.005") * (len(plan.lines) + 1)


def planned(farm: Farm) -> Result | None:
    """A plan of the farm; ``None`` where its pins cannot hold together."""
    try:
        return plan_farm(farm, limits=LIMITS)
    except PinConflict:
        return None


def check(farm: Farm) -> None:
    """The bound that plan and hand rules are held to; the plan's own statement of it; nothing is worth less than no cuts."""
    bound = Decimal(repr(bound_of(farm).bound))
    for rule in RULES:
        try:
            by_hand = plan_by_hand(farm, rule).plan
        except NoPlanFound:
            continue
        assert by_hand.value <= bound + rounding(by_hand)
    done = planned(farm)
    if done is None:
        return
    plan, season = done.plan, done.plan.about.season
    assert audit(farm, plan).value == plan.value <= bound + rounding(plan)
    assert season is not None
    assert plan.value <= season.bound
    assert season.value_without_cuts <= season.bound
    assert season.bound >= bound  # the plan's own is solved less closely
    gain = season.bound - season.value_without_cuts
    if gain > 0:
        assert season.gap_percent == pytest.approx(100 * (season.bound - plan.value) / gain, abs=Decimal("0.006"))


@pytest.mark.parametrize("seed", EVERYDAY)
def test_no_plan_of_a_random_farm_beats_the_bound(seed: int) -> None:
    check(farm_of(seed, SMALL))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(200, 400))
def test_no_plan_of_any_random_farm_beats_the_bound(seed: int) -> None:
    check(farm_of(seed, LARGEST))


def test_a_plan_made_by_somebody_else_is_held_to_the_same_bound() -> None:
    farm = small_farm()
    report = audited(farm, small_plan(farm))
    assert report.breaches == ()
    assert float(report.value) <= bound_of(farm).bound


@pytest.mark.parametrize(
    "pins",
    [
        (Pin(pin="P1", kind="keep free", tank="N1", from_date=date(2027, 1, 11)), Pin(pin="P2", kind="keep free", tank="N2")),
        (Pin(pin="P1", kind="keep free", rack="N1-a", to_date=date(2026, 12, 20)), Pin(pin="P2", kind="keep free", tank="N2")),
        (Pin(pin="P1", kind="no cut", colony="A1", from_date=date(2026, 12, 2)),),
    ],
)
def test_the_bound_allows_what_pins_leave_open(pins: tuple[Pin, ...]) -> None:
    """Frags leave a tank before it is to be free, stand beside a rack kept free, and are cut on the day before a pin."""
    farm = changed(replace(small_farm(), lots=(), colonies=small_farm().colonies[:1], orders=(), pairs=(), pins=pins),
                   "settings", end_frag_share=0.0, end_colony_share=0.0)  # fmt: skip
    farm = replace(
        changed(farm, "systems", "North", feeds=()), light=tuple(x.model_copy(update={"par_umol": 200.0}) for x in farm.light)
    )
    plan = small_plan(small_farm()).model_copy(
        update={
            "cuts": (cut("NA", "A1", "AAA", 1, 12, 1),),
            "stands": (stand("NA", 1, next(iter(zones(farm))), "N1-a" if pins[0].rack is None else "N1-b", "D1:E6"),),
            "sales": (sale("NA", 4, 12),),
        }
    )
    report = audited(farm, plan)
    assert report.breaches == ()
    assert 100 < float(report.value) <= bound_of(farm).bound


def test_a_farm_without_colonies_is_bounded_by_what_its_lots_bring() -> None:
    farm = replace(small_farm(), colonies=())
    done = plan_farm(farm, limits=LIMITS)
    season = done.plan.about.season
    assert season is not None
    assert done.plan.cuts == ()
    assert season.value_without_cuts <= done.plan.value <= season.bound


def test_the_same_farm_gets_the_same_plan_and_bound() -> None:
    farm = farm_of(18, SMALL)
    first, second = (plan_farm(farm, limits=LIMITS).plan for _ in range(2))
    assert first.cuts
    assert first.about.season == second.about.season
    assert (first.cuts, first.stands, first.sales, first.value) == (second.cuts, second.stands, second.sales, second.value)
