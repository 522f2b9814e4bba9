"""The two hand rules: they keep every hard rule, and they choose as they say. The rules are common practice, no source."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from scheduler.audit import audit
from scheduler.book import read_book
from scheduler.errors import NoPlanFound
from scheduler.farm.bench import PlugKind
from scheduler.farm.coral import Lot
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Channel, Market, Order, Pin
from scheduler.plan.model import Plan
from scheduler.planning.hand import RuleName, plan_by_hand
from scheduler.planning.hand.bench import lawful, order_of_work
from tests.farms import random_farm
from tests.planning.test_random_farms import LARGEST, farm_of
from tests.week.bench_farm import EVERY, at_least, cut, pins, tiny_farm

DEMO = Path(__file__).parents[2] / "data" / "demo"
RULES: tuple[RuleName, ...] = ("simple", "experienced")
SHIPPING = Channel(channel="shipping", packing_days=("Tue",), boxes_per_day=20, frags_per_box=10, market=True)


def trading(farm: Farm, orders: tuple[Order, ...] = (), lots: tuple[Lot, ...] = (), **market: float) -> Farm:
    """The farm with a channel, and so many frags of each strain a month."""
    rows = tuple(Market(strain=s, size_class="small", quantity=q) for s, q in market.items())
    return replace(farm, channels=(SHIPPING,), market=rows, orders=orders, lots=lots)


def lot(name: str, strain: str, alive: int, cut_date: date, rack: str = "T-a", block: str = "A1:D1") -> Lot:
    return Lot(
        lot=name, strain=strain, cut_date=cut_date, started=alive, alive=alive, count_date=date(2026, 11, 25), rack=rack,
        blocks=(block,),
    )  # fmt: skip


def order(quantity: int, **more: Any) -> Order:
    values = {
        "order": "1",
        "channel": "shipping",
        "strain": "A",
        "size_class": "small",
        "price": Decimal(15),
        "quantity": quantity,
    }
    return Order(**(values | {"due": date(2026, 12, 20)} | more))


def sold(plan: Plan, route: str) -> dict[int, int]:
    found: dict[int, int] = defaultdict(int)
    for sale in plan.sales:
        if sale.route == route:
            found[sale.week] += sale.pieces
    return dict(found)


def check(farm: Farm, rule: RuleName) -> Plan:
    done = plan_by_hand(farm, rule)
    assert done.report.breaches == ()
    assert done.report.value == done.plan.value == sum(line.amount for line in done.plan.lines)
    return done.plan


# ---- hard rules -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rule", RULES)
def test_a_hand_plan_of_the_demo_farm_breaks_no_rule_and_is_complete(rule: RuleName) -> None:
    farm = read_book(DEMO).farm
    plan = plan_by_hand(farm, rule).plan
    assert audit(farm, plan).breaches == ()
    assert plan.value == sum(line.amount for line in plan.lines) > 0
    assert {b.week for b in plan.balance} == set(farm.weeks.all)
    assert any(c.session for c in plan.cuts)
    assert any(c.session is None for c in plan.cuts)
    assert {s.route for s in plan.sales} >= {"order", "market"}


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("seed", range(24))
def test_a_hand_plan_of_a_random_farm_breaks_no_rule(seed: int, rule: RuleName) -> None:
    check(random_farm(seed, 1 + 2 * seed, tight=bool(seed % 2), weeks=(8, 12, 26)[seed % 3]), rule)


@pytest.mark.parametrize("rule", RULES)
def test_the_same_farm_gets_the_same_hand_plan(rule: RuleName) -> None:
    farm = random_farm(3, 20)
    assert plan_by_hand(farm, rule).plan == plan_by_hand(farm, rule).plan


def test_every_strain_on_hold_is_left_alone() -> None:
    farm = trading(tiny_farm(systems={"North": {"hold_until": date(2027, 6, 1)}}), A=50)
    assert check(farm, "simple").cuts == ()


# ---- pins -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("seed", [3, 4, 7, 9, 12, 21])
def test_pins_hold_or_the_rule_says_which_it_cannot_keep(seed: int, rule: RuleName) -> None:
    farm = random_farm(seed, 20, pins=4)
    asking = [p.pin for p in farm.pins if p.kind in ("cut", "at least")]
    plan = refused = None
    try:
        plan = check(farm, rule)
    except NoPlanFound as error:
        refused = str(error)
    assert plan is not None or any(f"asks: {name}:" in (refused or "") for name in asking)


def test_a_pin_asks_for_a_colony_the_rule_would_leave() -> None:
    farm = tiny_farm(pins=pins(cut("A1")))
    assert check(replace(farm, pins=()), "experienced").cuts == ()
    assert [c.colony for c in check(farm, "experienced").cuts] == ["A1"]


def test_a_pin_for_more_than_a_colony_gives_is_named() -> None:
    with pytest.raises(NoPlanFound, match="P1: cut at least 60 of A1"):
        plan_by_hand(tiny_farm(pins=pins(at_least("A1", 60))), "simple")


def test_at_most_and_rack_pins_bind_the_cut() -> None:
    rows = (
        {"kind": "at most", "colony": "A1", "pieces": 5},
        {"kind": "rack", "colony": "A1", "rack": "T-b"},
    )
    farm = trading(tiny_farm(racks={"T-a": (4, 6), "T-b": (4, 6)}, pins=pins(*rows)), A=50)
    plan = check(farm, "simple")
    assert [(c.pieces, c.session is not None) for c in plan.cuts[:1]] == [(5, True)]
    assert plan.stands[0].rack == "T-b"


# ---- what the rules choose --------------------------------------------------------------------------------------------


def test_the_simple_rule_takes_the_colony_with_most_over_keep_first() -> None:
    farm = tiny_farm(mothers={"A1": ("A", "M"), "A2": ("A", "M")}, racks={"T-a": (3, 4)}, max_blocks=1, keep_free_share=0.0)
    small, large = farm.colonies[0].model_copy(update={"count": 40}), farm.colonies[1]
    plan = check(trading(replace(farm, colonies=(small, large)), A=50), "simple")
    assert plan.cuts[0].colony == "A2"


def test_the_simple_rule_leaves_a_strain_with_over_three_months_on_the_racks() -> None:
    farm = tiny_farm(racks={"T-a": (4, 10)})
    young = lot("A0-2648a", "A", 8, date(2026, 11, 24), block="A1:D2")  # of size in week 2
    busy, slow = trading(farm, lots=(young,), A=4), trading(farm, lots=(young,), A=2)
    assert check(busy, "simple").cuts[0].week == 1  # 8 frags at most, 12 sell in three months
    assert all(c.week > 1 for c in check(slow, "simple").cuts)  # 7 frags at least, 6 sell


def test_the_experienced_rule_cuts_the_strain_with_the_shortest_cover_first() -> None:
    farm = tiny_farm(
        strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M"), "B1": ("B", "M")}, racks={"T-a": (4, 12)}, keep_free_share=0.0
    )
    stock = lot("A0-2648a", "A", 4, date(2026, 11, 24))  # of size in week 2
    plan = check(trading(farm, lots=(stock,), A=12, B=12), "experienced")
    assert next(c.colony for c in plan.cuts if c.week == 1) == "B1"


def test_the_experienced_rule_stops_when_a_strain_is_covered() -> None:
    farm = tiny_farm(mothers={f"A{i}": ("A", "M") for i in range(1, 5)}, racks={"T-a": (8, 12)})
    few, many = trading(farm, A=8), trading(farm, A=80)
    first = {name: sum(c.week == 1 for c in check(f, "experienced").cuts) for name, f in (("few", few), ("many", many))}
    assert first["few"] == 1
    assert first["many"] > 1


# ---- selling ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rule", RULES)
def test_orders_come_before_the_market(rule: RuleName) -> None:
    farm = replace(tiny_farm(), colonies=())
    stock = lot("A0-2642a", "A", 12, date(2026, 10, 12), block="A1:D3")
    plan = check(trading(farm, (order(6),), (stock,), A=50), rule)
    assert sold(plan, "order") == {1: 8}  # 6 graded at 90 % with a chance of 90 %: 8 pieces
    assert sold(plan, "market") == {1: 4}


def test_frags_are_kept_for_an_order_that_may_not_leave_yet() -> None:
    farm = replace(tiny_farm(), colonies=())
    stock = lot("A0-2642a", "A", 12, date(2026, 10, 12), block="A1:D3")
    plan = check(trading(farm, (order(6, earliest=date(2026, 12, 8)),), (stock,), A=50), "simple")
    assert sold(plan, "order") == {2: 8}
    assert sold(plan, "market")[1] == 4


def test_an_order_wanted_whole_waits_for_all_of_it() -> None:
    farm = replace(tiny_farm(racks={"T-a": (4, 6)}), colonies=())
    ready = lot("A0-2642a", "A", 8, date(2026, 10, 12), block="A1:D2")
    young = lot("A0-2647a", "A", 8, date(2026, 11, 24), block="A4:D5")
    plan = check(trading(farm, (order(9, partial_ok=False, late_ok=True),), (ready, young), A=50), "simple")
    weeks = {s.week for s in plan.sales if s.route == "order"}
    assert len(weeks) == 1
    assert weeks.pop() > 1


def test_only_the_experienced_rule_clears_what_will_not_sell_in_time() -> None:
    farm = replace(tiny_farm(max_rack_weeks=20), colonies=())
    stock = lot("A0-2635a", "A", 12, date(2026, 8, 26), block="A1:D3")
    book = trading(farm, lots=(stock,), A=4)
    assert sum(sold(check(book, "experienced"), "clear").values()) > 0
    assert min(sold(check(book, "experienced"), "clear")) == 1
    assert min(sold(check(book, "simple"), "clear"), default=8) > 6  # past 20 weeks, it is too old


# ---- the bench --------------------------------------------------------------------------------------------------------


def test_toxic_corals_come_last_and_never_from_clean_water_beside_quarantine() -> None:
    farm = tiny_farm(
        strains={"A": {}, "Z": {"toxic": True}},
        systems={"North": {}, "South": {}, "Arrivals": {"quarantined": True, "health_rank": 3}},
        tanks={"M": "North", "T": "North", "S": "South", "Q": "Arrivals"},
        mothers={"A1": ("A", "M"), "A2": ("A", "S"), "Z1": ("Z", "M"), "Z2": ("Z", "S"), "Q1": ("A", "Q"), "Q2": ("Z", "Q")},
        people={"Ada": EVERY},
    )
    by = farm.colony

    def work(*names: str) -> list[str]:
        return [c.colony for c in order_of_work(farm, [by[n] for n in names], 1)]

    assert work("Q2", "Z2", "Q1", "A1") == ["A1", "Z2", "Q1", "Q2"]
    assert lawful(farm, [by[n] for n in ("A1", "A2", "Z2")], 1)
    assert not lawful(farm, [by[n] for n in ("Z1", "A2")], 1)  # a plain cut from the later system after a toxic one
    assert not lawful(farm, [by[n] for n in ("Z1", "Q1")], 1)
    assert lawful(farm, [by[n] for n in ("A1", "Q1", "Q2")], 1)


def test_a_pin_outside_its_dates_does_not_bind() -> None:
    late = Pin(pin="P1", kind="no cut", colony="A1", from_date=date(2026, 12, 3))
    assert check(trading(tiny_farm(pins=(late,)), A=50), "simple").cuts[0].week == 1


@pytest.mark.parametrize("rule", RULES)
def test_conditioned_plugs_are_not_used_before_they_have_stood_long_enough(rule: RuleName) -> None:
    """Twelve of the forty plugs in water are ready on the first Tuesday, all of them a week later."""
    kinds = tuple(
        PlugKind(plug_kind="small", condition_days=21, in_water=n, in_water_from=day)
        for n, day in ((12, date(2026, 11, 2)), (28, date(2026, 11, 17)))
    )
    bare = tiny_farm(mothers={f"A{i}": ("A", "M") for i in range(1, 5)}, racks={"T-a": (10, 10)}, near_weeks=2)
    plan = check(replace(trading(bare, A=200.0), plugs=kinds), rule)
    near = [sum(c.pieces for c in plan.cuts if c.week <= week) for week in (1, 2)]
    assert 0 < near[0] <= 12
    assert near[0] < near[1] <= 40
    assert sum(c.pieces for c in check(trading(bare, A=200.0), rule).cuts if c.week == 1) > 12


def test_half_a_cent_falls_as_the_audit_lets_it_fall() -> None:
    """In week 10 this farm uses supplies for exactly half a cent over 0.98: thirds of a session, added up in decimals, miss it."""
    plan = check(farm_of(214, LARGEST), "experienced")
    (line,) = (x for x in plan.lines if (x.line, x.subject, x.week) == ("supplies", "session set", 10))
    assert line.amount == Decimal("-0.98")
