"""Shared limits against examples by hand, and the sets of kinds of work against the flow they stand for."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.biology.zones import zones
from scheduler.farm.hours import CARING, PACKING, Kind, bench_offers, missing_minutes, outside_offers
from scheduler.farm.people import Person, StandingWork
from scheduler.farm.trade import Market
from scheduler.season.capacity import Capacity, RowKind, end_market
from tests.audit.small_farm import N1A, changed, small_farm
from tests.farms import random_farm
from tests.week.bench_farm import tiny_farm


def limit(capacity: Capacity, kind: RowKind, subject: object, week: int = 0) -> float | None:
    row = capacity.find(kind, subject, week)
    return None if row is None else float(capacity.limits[row])


# ---- positions --------------------------------------------------------------------------------------------------------


def test_positions_of_light_classes_and_systems_by_hand() -> None:
    """Racks of 80 positions, one blocked; N1-a and N2-a are of one light class; A2 stands on two positions of N1-b."""
    farm = changed(small_farm(), "settings", usable_share=0.9, keep_free_share=0.1)
    cap = Capacity(farm)
    merged = zones(farm)[N1A].light_class
    dearer = next(z.light_class for z in zones(farm).values() if z.mothers)
    assert limit(cap, "positions", merged, 3) == pytest.approx(0.9 * 2 * 79)
    assert limit(cap, "positions", dearer, 3) == pytest.approx(0.9 * 79 - 2)
    assert limit(cap, "positions", merged, 2) is None  # near weeks are counted by system alone
    assert limit(cap, "system", "North", 2) == pytest.approx(0.9 * 3 * 79 - 2)
    assert limit(Capacity(farm, single=True), "positions", N1A, 3) == pytest.approx(0.9 * 79)
    assert limit(cap, "fresh", "North", 1) == 40


def test_what_stands_there_today_lifts_a_limit_it_breaks() -> None:
    farm = changed(small_farm(), "settings", usable_share=0.05, keep_free_share=0.99)
    cap = Capacity(farm, single=True)
    assert limit(cap, "positions", N1A, 3) == pytest.approx(10)  # lot OA, counted 10 and old enough to lose none
    assert limit(cap, "system", "South", 1) == pytest.approx(10)


# ---- hours ------------------------------------------------------------------------------------------------------------


def test_bench_hours_by_hand() -> None:
    """Two people of (180 - 20) x 0.85 minutes; only one of them cuts by scalpel."""
    cap = Capacity(small_farm())
    rows = {row.subject: float(cap.limits[i]) for i, row in enumerate(cap.rows) if row.kind == "bench" and row.week == 3}
    kinds = [frozenset(k) for k in ({"cutters"}, {"mount"}, {"mount", "toxic"}, {"scalpel", "toxic"})]
    assert rows == {frozenset(kinds): pytest.approx(272), frozenset(kinds[3:]): pytest.approx(136)}
    assert all(r in rows.values() for r in (cap.limits[i] for i in cap.sets_by_kind["bench", kinds[3], 3]))


def test_outside_hours_by_hand() -> None:
    """Ten hours each less three at the bench; 50 minutes of cleaning, 30 of paper work; two hours of overtime for one."""
    farm = replace(small_farm(), standing=(StandingWork(task="paper", skill="pack", minutes_per_week=30),))
    cap = Capacity(farm)
    both, pack = frozenset({PACKING, CARING}), frozenset({PACKING})
    assert limit(cap, "outside", both, 4) == pytest.approx(840 - 80)
    assert limit(cap, "outside", pack, 4) == pytest.approx(420 - 30)
    assert limit(cap, "overtime", both, 4) == pytest.approx(840 + 120 - 80)
    assert limit(cap, "overtime", pack, 4) == pytest.approx(420 + 120 - 30)


def test_standing_work_beyond_all_hours_leaves_nothing() -> None:
    farm = replace(small_farm(), standing=(StandingWork(task="feeding", minutes_per_week=5000),))
    assert limit(Capacity(farm), "outside", frozenset({PACKING, CARING}), 1) == 0


def fits(cap: Capacity, kind: RowKind, week: int, need: dict[Kind, float]) -> bool:
    use = [0.0] * len(cap.rows)
    for k, minutes in need.items():
        for row in cap.sets_by_kind[kind, k, week]:
            use[row] += minutes
    return all(u <= b + 1e-6 for u, b in zip(use, cap.limits, strict=True))


SKILLS = st.lists(
    st.sets(st.sampled_from(("cutters", "scalpel", "mount", "toxic", "pack", "care")), min_size=1), min_size=1, max_size=5
)
MINUTES = st.integers(0, 50).map(lambda n: n * 20.0)


@given(skills=SKILLS, minutes=st.lists(MINUTES, min_size=6, max_size=6))
@settings(max_examples=50)
def test_work_fits_the_sets_exactly_if_it_can_be_shared_out(skills: list[set[str]], minutes: list[float]) -> None:
    people = {f"P{i}": tuple(sorted(s)) for i, s in enumerate(skills)}
    farm = replace(
        tiny_farm(strains={"A": {}, "B": {"method": "scalpel"}, "Z": {"method": "scalpel", "toxic": True}}, people=people),
        people=tuple(Person(person=p, skills=s, hours_per_week=8) for p, s in people.items()),
    )
    cap = Capacity(farm)
    kinds = sorted({k for i in cap.rows if i.kind == "bench" for k in i.subject}, key=sorted)  # type: ignore[attr-defined]
    bench = dict(zip(kinds, minutes, strict=False))
    assert fits(cap, "bench", 3, bench) is (missing_minutes(bench, bench_offers(farm, 3)) <= 1e-6)
    outside = {PACKING: minutes[4], CARING: minutes[5]}
    offers = outside_offers(farm, 3)
    room = {PACKING: minutes[4], CARING: minutes[5] + 5 * len(farm.racks)}
    if missing_minutes({CARING: 5.0 * len(farm.racks)}, offers) <= 0:
        assert fits(cap, "outside", 3, outside) is (missing_minutes(room, offers) <= 1e-6)


# ---- trade ------------------------------------------------------------------------------------------------------------


def test_markets_boxes_and_orders_by_hand() -> None:
    farm = small_farm()
    cap = Capacity(farm)
    assert limit(cap, "boxes", "ship", 1) == 2
    assert limit(cap, "order", "one") == 4
    december, january = farm.weeks.months[0], farm.weeks.months[1]
    share = farm.weeks.planned_in_month(january) / farm.weeks.weeks_in_month(january)
    assert (december, share) == ((2026, 12), 0.75)  # weeks 6 to 8 of the four whose Thursday is in January
    assert limit(cap, "market", (december, "AAA", "small")) == pytest.approx(10)
    assert limit(cap, "market", (january, "AAA", "small")) == pytest.approx(7.5)
    assert limit(cap, "market", (january, "BBB", "small")) == 0
    assert limit(cap, "market group", (january, "branching")) == pytest.approx(9)
    assert limit(cap, "market group", (january, "leather")) is None
    assert limit(cap, "end market", "AAA") == pytest.approx(farm.settings.end_months * 15)


def test_the_market_after_the_horizon_begins_with_the_next_month() -> None:
    rows = (
        Market(strain="AAA", size_class="small", quantity=1.0),
        Market(month=2, strain="AAA", size_class="small", quantity=7.0),
    )
    farm = changed(replace(small_farm(), market=rows), "settings", end_months=3)
    assert end_market(farm, "AAA") == 7 + 1 + 1


def test_limits_are_never_below_nothing() -> None:
    for seed in range(6):
        assert (Capacity(random_farm(seed, 12, tight=True)).limits >= 0).all()
