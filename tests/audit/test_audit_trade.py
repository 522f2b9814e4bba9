"""O1, O2, P1 and plans that do not belong to the book."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from small_farm import (
    FIRST,
    N1A,
    N1B,
    SECOND,
    audited,
    broken,
    changed,
    cut,
    finished,
    pinned,
    sale,
    small_farm,
    small_plan,
    stand,
    with_row,
)

from scheduler.audit import audit
from scheduler.farm.trade import Closure
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView

FARM = small_farm()
PLAN = small_plan(FARM)


def sales_with(*more: Any) -> tuple[Any, ...]:
    return (*PLAN.sales, *more)


# Lot NA is cut in week 1: small from week 3 (healed), large (60 mm, 5 mm a week) from week 8.
@pytest.mark.parametrize(
    ("week", "size_class", "rule"),
    [
        (3, "small", set()),
        (4, "small", set()),
        (2, "small", {"O1"}),
        (8, "large", set()),
        (7, "large", {"O1"}),
        (1, "small", {"O1"}),
    ],
)
def test_o1_only_frags_that_reached_the_class(week: int, size_class: str, rule: set[str]) -> None:
    farm = changed(FARM, "channels", "ship", boxes_per_day=9.0)
    stands = with_row(PLAN.stands, "NA", 4, pieces=12 if week > 4 else 8)
    stands = stands if week > 2 else (*(s for s in stands if s.lot != "NA"), stand("NA", 1, N1A, "N1-a", "D1:E6"))
    sales = (*(s for s in PLAN.sales if s.lot != "NA"), sale("NA", week, 4, size_class=size_class))
    assert broken(farm, PLAN, stands=stands, sales=sales) == rule


@pytest.mark.parametrize(("weeks", "rule"), [(52, set()), (9, set()), (8, {"O1"}), (4, {"O1"})])
def test_o1_old_lots_are_only_cleared(weeks: int, rule: set[str]) -> None:
    assert broken(changed(FARM, "settings", max_rack_weeks=weeks), PLAN) == rule  # OA is sold in week 3 at age 9


def test_o1_packing_days() -> None:
    for day, rule in ((date(2026, 12, 13), set()), (date(2026, 12, 14), {"O1"})):
        shut = Closure(channel="ship", from_date=date(2026, 12, 8), to_date=day)
        assert broken(replace(FARM, ship_calendar=(shut,)), PLAN) == rule


# Week 2: 5 frags by ship, 5 by pickup, 10 a box.
@pytest.mark.parametrize(("boxes", "rule"), [(1.0, set()), (0.5, set()), (0.49, {"O1"}), (0.0, {"O1"})])
def test_o1_boxes(boxes: float, rule: set[str]) -> None:
    assert broken(changed(FARM, "channels", "pickup", boxes_per_day=boxes), PLAN) == rule


def test_o1_channels() -> None:
    assert broken(FARM, PLAN, sales=with_row(PLAN.sales, "NA", channel="pickup")) == {"O1"}
    assert broken(FARM, PLAN, sales=with_row(PLAN.sales, "OB", 3, channel="pickup")) == {"O1"}
    assert broken(FARM, PLAN, sales=with_row(PLAN.sales, "OB", 2, channel="ship")) == {"O1"}


def test_o1_the_class_of_a_cleared_lot() -> None:
    assert broken(FARM, PLAN, sales=with_row(PLAN.sales, "OB", 3, size_class="small")) == {"O1"}


# Lot NA reaches its first class in the week meant by 0; what leaves early changes its move too (L5), which is not looked at here.
@pytest.mark.parametrize(("weeks_early", "breaks"), [(0, False), (1, True), (2, True)])
def test_o1_frags_of_no_class_are_not_cleared(weeks_early: int, breaks: bool) -> None:
    ready = PlanView(FARM, PLAN).lots["NA"].life.ready["small"]
    gone = (*(s for s in PLAN.sales if s.lot != "NA"), sale("NA", ready - weeks_early, 8, "clear", "small"))
    assert ("O1" in broken(FARM, PLAN, sales=gone)) == breaks


def test_o1_what_an_order_takes() -> None:
    assert broken(FARM, PLAN, sales=with_row(PLAN.sales, "OA", 2, size_class="large")) == {"O1"}
    assert broken(changed(FARM, "orders", "one", strain="BBB"), PLAN) == {"O1"}
    assert broken(changed(FARM, "orders", "one", strain="BBB", substitutes=("AAA",)), PLAN) == set()


@pytest.mark.parametrize(
    ("order", "values", "rule"),
    [
        ("one", {"earliest": date(2026, 12, 7)}, set()), ("one", {"earliest": date(2026, 12, 8)}, {"O1"}),
        ("one", {"earliest": date(2027, 1, 8)}, {"O1"}), ("whole", {"due": date(2026, 12, 9)}, set()),
        ("whole", {"due": date(2026, 12, 8)}, {"O1"}), ("whole", {"due": date(2026, 12, 8), "late_ok": True}, set()),
        ("whole", {"due": date(2026, 11, 1)}, {"O1"}),
    ],
)  # fmt: skip
def test_o1_dates_of_orders(order: str, values: dict[str, Any], rule: set[str]) -> None:
    assert broken(changed(FARM, "orders", order, **values), PLAN) == rule


def test_o1_orders_wanted_whole() -> None:
    assert broken(changed(FARM, "orders", "whole", quantity=5), PLAN) == {"O1"}  # 5 x 0.9 = 4.5 graded
    assert broken(changed(FARM, "orders", "whole", quantity=5, partial_ok=True), PLAN) == set()
    split = (*(s for s in PLAN.sales if s.order != "whole"), *(
        sale("OB", w, n, "order", order="whole", channel="pickup") for w, n in ((2, 2), (3, 3))
    ))  # fmt: skip
    stands = PLAN.stands
    assert "O1" in broken(FARM, PLAN, sales=split, stands=stands)
    assert broken(FARM, PLAN, sales=tuple(s for s in PLAN.sales if s.order != "whole")) == set()


def test_o2_no_more_leaves_than_there_is() -> None:
    assert broken(FARM, PLAN, sales=sales_with(sale("NA", 6, 4))) == set()
    assert broken(FARM, PLAN, sales=sales_with(sale("NA", 6, 5))) == {"O2"}
    assert broken(FARM, PLAN, sales=sales_with(sale("OB", 8, 400, "clear", "large"))) == {"O2"}


@pytest.mark.parametrize("part", ["sold", "cleared", "died", "detached", "on_racks"])
@pytest.mark.parametrize(("error", "rule"), [("0.0000009", set()), ("0.0000011", {"O2"}), ("-3", {"O2"})])
def test_o2_the_balance_is_right(part: str, error: str, rule: set[str]) -> None:
    rows = list(PLAN.balance)
    rows[5] = rows[5].model_copy(update={part: getattr(rows[5], part) + Decimal(error)})
    assert set(audit(FARM, PLAN.model_copy(update={"balance": tuple(rows)})).rules) == rule


def test_o2_the_balance_is_complete_and_adds_up() -> None:
    for row in PLAN.balance:
        assert row.started == row.sold + row.cleared + row.died + row.detached + row.on_racks
    assert {r.strain for r in PLAN.balance} == {"AAA", "BBB", "ZZZ"}
    for rows in (PLAN.balance[1:], (*PLAN.balance, PLAN.balance[0]), (), (PLAN.balance[0].model_copy(update={"strain": "LLL"}),)):
        assert audit(FARM, PLAN.model_copy(update={"balance": rows})).rules == {"O2"}
    wrong = (PLAN.balance[0].model_copy(update={"started": 33}), *PLAN.balance[1:])
    assert audit(FARM, PLAN.model_copy(update={"balance": wrong})).rules == {"O2"}


@pytest.mark.parametrize(
    ("pin", "rule"),
    [
        ({"kind": "cut", "colony": "A1"}, set()),
        ({"kind": "cut", "colony": "L1"}, {"P1"}),
        ({"kind": "cut", "colony": "A2"}, {"P1"}),
        ({"kind": "cut", "colony": "A1", "from_date": date(2026, 12, 2)}, {"P1"}),
        ({"kind": "cut", "colony": "A1", "to_date": date(2026, 12, 1)}, set()),
        ({"kind": "no cut", "colony": "L1"}, set()),
        ({"kind": "no cut", "colony": "A1"}, {"P1"}),
        ({"kind": "no cut", "colony": "A2"}, set()),
        ({"kind": "no cut", "colony": "A1", "from_date": date(2026, 12, 2)}, set()),
        ({"kind": "at least", "colony": "A1", "pieces": 12}, set()),
        ({"kind": "at least", "colony": "A1", "pieces": 13}, {"P1"}),
        ({"kind": "at most", "colony": "A1", "pieces": 12}, set()),
        ({"kind": "at most", "colony": "A1", "pieces": 11}, {"P1"}),
        ({"kind": "session", "colony": "A1", "session": FIRST}, set()),
        ({"kind": "session", "colony": "A1", "session": SECOND}, {"P1"}),
        ({"kind": "rack", "colony": "A1", "rack": "N1-a"}, set()),
        ({"kind": "rack", "colony": "A1", "rack": "N1-b"}, {"P1"}),
        ({"kind": "keep free", "rack": "N1-b", "to_date": date(2026, 12, 6)}, set()),
        ({"kind": "keep free", "rack": "N1-b", "to_date": date(2026, 12, 7)}, {"P1"}),
        ({"kind": "keep free", "rack": "N1-a", "from_date": date(2027, 1, 4)}, {"P1"}),
        ({"kind": "keep free", "tank": "Q1", "from_date": date(2026, 12, 14)}, {"P1"}),
        ({"kind": "keep free", "tank": "N2", "to_date": date(2026, 12, 1)}, {"P1"}),
        ({"kind": "keep free", "tank": "N2", "from_date": date(2028, 1, 1)}, set()),
        ({"kind": "no sale", "lot": "OQ"}, set()),
        ({"kind": "no sale", "lot": "OA", "from_date": date(2026, 12, 21)}, set()),
        ({"kind": "no sale", "lot": "OA", "from_date": date(2026, 12, 20)}, {"P1"}),
        ({"kind": "no sale", "lot": "OB"}, {"P1"}),
        ({"kind": "hold lot", "lot": "OA", "to_date": date(2026, 12, 6)}, set()),
        ({"kind": "hold lot", "lot": "OA", "to_date": date(2026, 12, 7)}, {"P1"}),
        ({"kind": "hold lot", "lot": "OQ"}, set()),
    ],
)  # fmt: skip
def test_p1_pins(pin: dict[str, Any], rule: set[str]) -> None:
    farm = pinned(FARM, **pin)
    assert broken(farm, PLAN) == rule
    dropped = PLAN.about.model_copy(update={"dropped_pins": ("P1",)})
    assert broken(farm, PLAN.model_copy(update={"about": dropped})) == set()


NONSENSE: list[dict[str, Any]] = [
    {"cuts": with_row(PLAN.cuts, "NA", colony="nobody")},
    {"cuts": with_row(PLAN.cuts, "NA", strain="BBB")},
    {"cuts": with_row(PLAN.cuts, "NA", strain="???")},
    {"cuts": with_row(PLAN.cuts, "NA", session="bench 1999-01-01")},
    {"cuts": with_row(PLAN.cuts, "NA", session=None)},
    {"cuts": with_row(PLAN.cuts, "NA", cutter="Zoe")},
    {"cuts": with_row(PLAN.cuts, "NA", mounter=None)},
    {"cuts": with_row(PLAN.cuts, "NA", run_order=None)},
    {"cuts": with_row(PLAN.cuts, "LA", week=9)},
    {"cuts": with_row(PLAN.cuts, "LA", cutter="Ada")},
    {"cuts": (*PLAN.cuts, PLAN.cuts[0])},
    {"cuts": (*PLAN.cuts, cut("OA", "A2", "AAA", 5, 5))},
    {"stands": with_row(PLAN.stands, "NA", 1, zone="the moon")},
    {"stands": with_row(PLAN.stands, "NA", 1, rack="N9-z")},
    {"stands": with_row(PLAN.stands, "NA", 4, rack="N1-b")},
    {"stands": (*PLAN.stands, stand("ghost", 5, N1B, pieces=3))},
    {"stands": (*PLAN.stands, stand("OB", 0, N1B, pieces=3))},
    {"stands": (*PLAN.stands, stand("OB", 99, N1B, pieces=3))},
    {"sales": sales_with(sale("ghost", 5, 1))},
    {"sales": sales_with(sale("OA", 99, 1))},
    {"sales": sales_with(sale("OA", 5, 1, size_class="huge"))},
    {"sales": sales_with(sale("OA", 5, 1, channel="pigeon"))},
    {"sales": sales_with(sale("OA", 5, 1, "order", order="none"))},
    {"sales": sales_with(sale("OA", 5, 1, "order"))},
    {"sales": sales_with(sale("OA", 5, 1, order="one"))},
    {"cuts": (), "sales": PLAN.sales},
]


@pytest.mark.parametrize("parts", NONSENSE)
def test_a_plan_that_names_unknown_things_is_reported_on_that_alone(parts: dict[str, Any]) -> None:
    report = audited(FARM, PLAN, **parts)
    assert report.rules == {"plan"}
    assert report.lines == ()
    assert all(b.things and b.text for b in report.breaches)


def test_a_plan_of_another_book() -> None:
    other = changed(FARM, "settings", farm_name="Other")
    report = audit(other, PLAN)
    assert report.rules == {"plan"}
    assert report.value == PLAN.value
    longer = changed(FARM, "settings", horizon_weeks=9)
    assert audit(longer, finished(longer, PLAN)).rules == {"plan"}


def test_a_plan_survives_being_written_and_read() -> None:
    again = Plan.model_validate_json(PLAN.model_dump_json())
    assert audit(FARM, again).clean
