from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_flow

from scheduler.farm.farm import Farm
from scheduler.farm.hours import missing_minutes
from scheduler.farm.people import Absence, Person, Session, StandingWork
from scheduler.farm.trade import Channel, Closure, Order
from scheduler.farm.work import (
    bench_minutes,
    first_late_week,
    is_absent,
    may_deliver,
    outside_minutes,
    overtime_minutes,
    packing_days,
    paid_minutes,
    presence_minutes,
    session_end,
    sessions_in,
    standing_minutes,
)
from tests.farms import one_strain_farm, random_farm


def bench(name: str = "Tue", **values: object) -> Session:
    row = {"session": name, "start": time(8, 30), "minutes": 180, "people": ("Ada", "Ben"), "methods": ("cutters",)}
    return Session(**(row | values))


@pytest.fixture
def farm() -> Farm:
    """Week 1 begins on 30 November 2026."""
    return replace(
        one_strain_farm(),
        people=(
            Person(person="Ada", skills=("cutters", "mount"), hours_per_week=38, overtime_hours_per_week=5),
            Person(person="Ben", skills=("mount", "care"), hours_per_week=20),
        ),
        absences=(Absence(person="Ada", from_date=date(2026, 12, 7), to_date=date(2026, 12, 8)),),
        standing=(StandingWork(task="feeding", minutes_per_week=300), StandingWork(task="labels", skill="pack", minutes_per_week=40)),
        sessions=(
            bench(weekday="Tue"),
            bench("Thu", weekday="Thu", from_date=date(2026, 12, 10), to_date=date(2026, 12, 17), start=time(13, 0)),
            bench(date=date(2026, 12, 15), minutes=0),
            bench("extra", date=date(2026, 12, 19), people=("Ben",)),
        ),
        channels=(Channel(channel="shipping", packing_days=("Mon", "Tue"), boxes_per_day=4, frags_per_box=10, market=True),),
        ship_calendar=(Closure(channel="shipping", from_date=date(2026, 12, 15), to_date=date(2026, 12, 27)),),
    )  # fmt: skip


def test_patterns_dates_and_absences_make_the_sessions(farm: Farm) -> None:
    found = {w: [(s.id, s.people) for s in sessions_in(farm, w)] for w in (1, 2, 3, 4)}
    assert found[1] == [("Tue 2026-12-01", ("Ada", "Ben"))]
    assert found[2] == [("Tue 2026-12-08", ("Ben",)), ("Thu 2026-12-10", ("Ada", "Ben"))]
    assert found[3] == [("Thu 2026-12-17", ("Ada", "Ben")), ("extra 2026-12-19", ("Ben",))]
    assert found[4] == [("Tue 2026-12-22", ("Ada", "Ben"))]
    first = sessions_in(farm, 1)[0]
    assert (first.week, session_end(first)) == (1, datetime(2026, 12, 1, 11, 30))


def test_minutes_of_people(farm: Farm) -> None:
    first = sessions_in(farm, 1)[0]
    assert bench_minutes(farm, first) == pytest.approx((180 - 20) * 0.85)
    assert bench_minutes(farm, first, 2) == pytest.approx((180 - 20 - 30) * 0.85)
    assert bench_minutes(farm, first, 20) == 0
    assert paid_minutes(farm, "Ada", 1) == 38 * 60
    assert paid_minutes(farm, "Ada", 2) == pytest.approx(38 * 60 * 3 / 5)
    assert overtime_minutes(farm, "Ada", 2) == pytest.approx(5 * 60 * 3 / 5)
    assert presence_minutes(farm, "Ada", 2) == 180
    assert outside_minutes(farm, "Ada", 2) == pytest.approx(38 * 60 * 3 / 5 - 180)
    assert is_absent(farm, "Ada", date(2026, 12, 8))
    assert not is_absent(farm, "Ada", date(2026, 12, 9))


def test_standing_work_cleans_the_racks_of_open_tanks() -> None:
    farm = random_farm(4, 20)
    need = standing_minutes(farm, 1)
    racks = sum(not farm.tank_closed(r.tank, 1) for r in farm.racks)
    by_row = sum(r.minutes_per_week for r in farm.standing if r.skill == "care")
    assert need["care"] == pytest.approx(by_row + 10 * racks)


def test_packing_days_and_closures(farm: Farm) -> None:
    assert packing_days(farm, "shipping", 2) == (date(2026, 12, 7), date(2026, 12, 8))
    assert packing_days(farm, "shipping", 3) == (date(2026, 12, 14),)
    assert packing_days(farm, "shipping", 4) == ()
    assert len(packing_days(farm, "shipping", 4, open_only=False)) == 2


@pytest.mark.parametrize(
    ("due", "late"),
    [
        (date(2026, 12, 6), 2),  # a Sunday: the week's packing days passed in time
        (date(2026, 12, 7), 3),  # due on the first packing day: that week still delivers in time
        (date(2026, 12, 9), 3),
        (date(2026, 11, 20), 1),  # overdue already
        (date(2026, 11, 29), 1),
        (date(2026, 11, 30), 2),
    ],
)
def test_the_first_late_week(farm: Farm, due: date, late: int) -> None:
    order = Order(order="1", channel="shipping", strain="A", size_class="small", quantity=3, price=Decimal(9), due=due)
    assert first_late_week(replace(farm, orders=(order,)), "1") == late


def test_when_an_order_may_be_delivered(farm: Farm) -> None:
    order = Order(
        order="1", channel="shipping", strain="A", size_class="small", quantity=3, price=Decimal(9),
        earliest=date(2026, 12, 8), due=date(2026, 12, 16), late_ok=False,
    )  # fmt: skip
    strict = replace(farm, orders=(order,))
    assert [w for w in range(1, 8) if may_deliver(strict, "1", w)] == [2, 3]
    patient = replace(farm, orders=(order.model_copy(update={"late_ok": True}),))
    assert [w for w in range(1, 8) if may_deliver(patient, "1", w)] == [2, 3, 5, 6, 7]


KINDS = [frozenset({k}) for k in ("cutters", "saw", "mount")]


@given(
    st.lists(st.integers(0, 300), min_size=3, max_size=3),
    st.lists(st.tuples(st.sets(st.sampled_from(KINDS)), st.integers(0, 300)), max_size=4),
)
def test_missing_minutes_are_what_a_flow_cannot_carry(need: list[int], people: list[tuple[set[frozenset[str]], int]]) -> None:
    offers = [(frozenset(able), float(m)) for able, m in people]
    found = missing_minutes({k: float(m) for k, m in zip(KINDS, need, strict=True)}, offers)
    size = 2 + 3 + len(people)
    graph = np.zeros((size, size), dtype=np.int32)
    for i, (kind, minutes) in enumerate(zip(KINDS, need, strict=True)):
        graph[0, 2 + i] = minutes
        for j, (able, offered) in enumerate(people):
            graph[5 + j, 1] = offered
            if kind in able:
                graph[2 + i, 5 + j] = 10_000
    assert found == sum(need) - maximum_flow(csr_matrix(graph), 0, 1).flow_value
