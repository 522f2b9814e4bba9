"""Lines of money, worked out by hand; and plans that claim something else."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import combinations

import pytest
from small_farm import N1A, audited, broken, changed, cut, finished, sale, small_farm, small_plan, stand

from scheduler.audit import Report, audit
from scheduler.audit.flow import largest_flow
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Market, Order
from scheduler.plan.model import Line

FARM = small_farm()
PLAN = small_plan(FARM)


def order(quantity: int = 10, **more: object) -> Order:
    facts = {"order": "one", "channel": "ship", "strain": "AAA", "size_class": "small", "quantity": quantity,
             "price": Decimal(30), "due": date(2026, 12, 9)}  # fmt: skip
    return Order(**(facts | more))  # type: ignore[arg-type]


def stock_only(*rows: Market, orders: tuple[Order, ...] = (), colonies: tuple[str, ...] = ()) -> Farm:
    """The farm with its old lots, which lose nothing more, and little else."""
    kept = tuple(c for c in FARM.colonies if c.colony in colonies)
    return replace(FARM, orders=orders, market=rows, colonies=kept)


def money(report: Report) -> dict[tuple[str, str, int], Decimal]:
    assert report.breaches == ()
    return {(r.line, r.subject, r.week): r.amount for r in report.lines}


def test_a_plan_worth_what_a_pencil_says() -> None:
    monthly = (
        Market(strain="AAA", size_class="small", quantity=10.0), Market(strain="AAA", size_class="large", quantity=5.0),
        Market(strain="BBB", size_class="small", quantity=4.0),
    )  # fmt: skip
    farm = stock_only(*monthly, orders=(order(),), colonies=("B1",))
    sales = (sale("OA", 2, 4, "order", order="one"), sale("OA", 4, 5, "order", order="one"), sale("OB", 5, 6))
    report = audited(farm, PLAN, cuts=(), stands=(), sales=sales)
    wanted = {
        # 4 x 0.9 = 3.6 graded in time, 5 x 0.9 = 4.5 late; the tenth that does not make grade at 10
        ("order sale", "one", 2): "108.00", ("order sale", "one", 4): "135.00",
        ("market sale", "AAA/small B", 2): "4.00", ("market sale", "AAA/small B", 4): "5.00",
        # 6 x 0.9 = 5.4 graded, December takes 4 at 20, the rest at 5
        ("market sale", "BBB/small list", 5): "80.00", ("market sale", "BBB/small discount", 5): "7.00",
        ("market sale", "BBB/small B", 5): "6.00",
        # 6.4 open before weeks 3 and 4, then 1.9
        ("late", "one", 3): "-3.20", ("late", "one", 4): "-3.20", ("late", "one", 5): "-0.95", ("late", "one", 6): "-0.95",
        ("late", "one", 7): "-0.95", ("late", "one", 8): "-0.95", ("short", "one", 0): "-9.50",
        # 13 pieces cover 10 with a chance of 0.966, 12 with 0.889 only: 4 missing x 0.9 x 2
        ("service", "one", 0): "-7.20",
        # 1.5 minutes a frag and 4 a box of 10, at 22 an hour
        ("labour", "packing", 2): "-2.20", ("labour", "boxes", 2): "-0.59", ("labour", "packing", 4): "-2.75",
        ("labour", "boxes", 4): "-0.73", ("labour", "packing", 5): "-3.30", ("labour", "boxes", 5): "-0.88",
        ("supplies", "carton", 2): "-1.20", ("supplies", "carton", 4): "-1.50", ("supplies", "carton", 5): "-1.80",
        # large by now: 0.9 x 40 + 0.1 x 20 - 0.55 packing = 37.45; 11 of AAA, 4 of BBB, all within the market; x 0.8
        ("frags left", "AAA", 0): "329.56", ("frags left", "BBB", 0): "119.84",
        # 68 - 10 pieces; 0.8 x 18.45 - 2.5 minutes - 0.35 = 13.4933 at list for 20 / 0.8 of them, else 2.6933; x 0.5
        ("colony left", "BBB", 0): "213.11",
    }  # fmt: skip
    assert money(report) == {k: Decimal(v) for k, v in wanted.items()}
    assert report.value == sum(map(Decimal, wanted.values()))


def test_what_an_order_gets_over_its_quantity_sells_on_the_market() -> None:
    farm = stock_only(Market(strain="AAA", size_class="small", quantity=1.0), orders=(order(3),))
    lines = money(audited(farm, PLAN, cuts=(), stands=(), sales=(sale("OA", 2, 5, "order", order="one"),)))
    assert lines["order sale", "one", 2] == 90
    assert lines["market sale", "AAA/small list", 2] == 20
    assert lines["market sale", "AAA/small discount", 2] == Decimal("2.50")


def test_part_months_count_pro_rata_and_lists_fall_in_their_last_week() -> None:
    farm = stock_only(
        Market(strain="AAA", size_class="small", quantity=4.0), Market(month=2, strain="AAA", size_class="small", quantity=0.0)
    )
    sales = (sale("OA", 6, 3), sale("OA", 8, 3), sale("OA", 7, 2, "clear", "large"))
    lines = money(audited(farm, PLAN, cuts=(), stands=(), sales=sales))
    assert lines["market sale", "AAA/small list", 8] == 60  # 3 of January's 4 weeks are planned
    assert lines["market sale", "AAA/small discount", 8] == 12  # 5.4 - 3
    assert lines["market sale", "AAA/large clear", 7] == 20


@pytest.mark.parametrize(
    ("limit", "small", "large"),
    [(20.0, "72.00", "108.00"), (6.3, "72.00", "108.00"), (4.7, "40.00", "108.00"), (2.0, None, "80.00")],
)
def test_a_group_limit_cuts_what_loses_least(limit: float, small: str | None, large: str) -> None:
    rows = (Market(strain="AAA", size_class="small", quantity=9.0), Market(strain="AAA", size_class="large", quantity=9.0))
    farm = stock_only(*rows, Market(group="branching", quantity=50.0), Market(month=12, group="branching", quantity=limit))
    lines = money(audited(farm, PLAN, cuts=(), stands=(), sales=(sale("OA", 2, 4), sale("OA", 3, 3, size_class="large"))))
    assert lines.get(("market sale", "AAA/small list", 2)) == (Decimal(small) if small else None)
    assert lines["market sale", "AAA/large list", 3] == Decimal(large)


def test_interest_counts_later_money_less() -> None:
    farm = stock_only(orders=(order(10, late_ok=False),))
    farm = changed(farm, "settings", interest_percent_per_year=10.0)
    lines = money(audited(farm, PLAN, cuts=(), stands=(), sales=(sale("OA", 2, 10, "order", order="one"),)))
    assert lines["order sale", "one", 2] == Decimal("269.01")  # 270 / 1.1 ^ (2 / 52)
    assert lines["short", "one", 0] == Decimal("-4.93")  # 5 / 1.1 ^ (8 / 52)


def test_frags_left_beyond_the_market_and_past_their_time() -> None:
    farm = stock_only(Market(strain="AAA", size_class="small", quantity=1.0))
    idle = money(audited(farm, PLAN, cuts=(), stands=(), sales=()))
    # 6 of 20 at 37.45, 14 at 0.9 x 10 + 2 - 0.55 = 10.45; x 0.8
    assert idle["frags left", "AAA", 0] == Decimal("296.80")
    assert idle["frags left", "BBB", 0] == Decimal("83.60")
    old = money(audited(changed(farm, "settings", max_rack_weeks=13), PLAN, cuts=(), stands=(), sales=()))
    assert old["frags left", "AAA", 0] == 160
    stunted = changed(farm, "strains", "AAA", frag_mm=20.0, frag_mm_per_week=0.0)
    assert money(audited(stunted, PLAN, cuts=(), stands=(), sales=()))["frags left", "AAA", 0] == 80


def test_a_half_cent_goes_to_the_even_cent() -> None:
    farm = changed(changed(FARM, "settings", label_minutes=0.15), "strains", "AAA", minutes_mount=0.9)
    for pieces, wanted in ((5, "-1.92"), (7, "-2.70"), (9, "-3.46"), (10, "-3.85")):  # 0.385 a piece
        parts = {"cuts": (cut("LA", "A2", "AAA", 4, pieces),), "stands": (stand("LA", 4, N1A, pieces=pieces),), "sales": ()}
        lines = {(r.line, r.subject, r.week): r.amount for r in audited(farm, PLAN, **parts).lines}
        assert lines["labour", "mounting", 4] == Decimal(wanted)


def test_uneven_tanks_are_reported_and_weighed() -> None:
    level = audited(FARM, PLAN)
    # week 4: N1-a holds 22 of 79, N2-a 6 of its 79
    assert level.uneven == Decimal("20.253164557")
    assert not any(line.line == "uneven" for line in level.lines)
    weighed = money(audited(changed(FARM, "settings", uneven_cost=Decimal(2)), PLAN))
    assert weighed["uneven", "tanks", 0] == Decimal("-40.51")


def test_sessions_of_later_weeks_are_paid_by_their_use() -> None:
    lines = {(r.line, r.subject, r.week): r.amount for r in PLAN.lines}
    assert lines["labour", "sessions", 1] == Decimal("-7.33")  # 20 minutes
    assert lines["labour", "changeovers", 2] == Decimal("-5.50")  # 15 minutes
    assert lines["labour", "sessions", 4] == Decimal("-0.84")  # 20 x 31 / 272
    assert lines["supplies", "gloves", 4] == Decimal("-0.11")


@pytest.mark.parametrize("index", [0, 7, 20, len(PLAN.lines) - 1])
def test_lines_are_compared_to_the_cent(index: int) -> None:
    line = PLAN.lines[index]
    rest = (*PLAN.lines[:index], *PLAN.lines[index + 1 :])
    wrong = line.model_copy(update={"amount": line.amount + Decimal("0.01")})
    for lines in ((*rest, wrong), rest, (*PLAN.lines, wrong), (*rest, line.model_copy(update={"week": line.week + 1}))):
        total = sum((x.amount for x in lines), Decimal(0))
        assert audit(FARM, PLAN.model_copy(update={"lines": lines, "value": total})).rules == {"value"}


def test_the_value_is_the_sum_of_the_lines() -> None:
    assert audit(FARM, PLAN.model_copy(update={"value": PLAN.value + Decimal("0.01")})).rules == {"value"}
    assert audit(FARM, PLAN.model_copy(update={"value": PLAN.value * 1000})).rules == {"value"}
    made_up = Line(line="market sale", subject="AAA/small list", week=7, amount=Decimal(500))
    report = audit(FARM, PLAN.model_copy(update={"lines": (*PLAN.lines, made_up), "value": PLAN.value + 500}))
    assert [b.text for b in report.breaches] == ["the line market sale, AAA/small list, week 7 says 500; it is 0"]


def test_the_largest_flow_is_what_the_narrowest_cut_lets_through() -> None:
    able = {"cut": frozenset("ab"), "mount": frozenset("bc"), "pack": frozenset("a")}
    for seed in range(300):
        demand = {k: (seed * p) % 13 for k, p in (("cut", 5), ("mount", 7), ("pack", 11))}
        capacity = {k: (seed * p) % 11 for k, p in (("a", 3), ("b", 4), ("c", 6))}
        kinds = [k for n in range(4) for k in combinations(demand, n)]
        narrowest = min(
            sum(v for k, v in demand.items() if k not in part)
            + sum(v for p, v in capacity.items() if any(p in able[k] for k in part))
            for part in kinds
        )  # fmt: skip
        assert largest_flow(demand, capacity, able) == narrowest


def test_nothing_at_all_is_a_plan() -> None:
    assert broken(FARM, PLAN, cuts=(), stands=(), sales=()) == set()
    assert finished(FARM, PLAN, cuts=(), stands=(), sales=()).value > 0
