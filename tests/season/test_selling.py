"""What is promised already, and where the pieces of a lot go."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from scheduler.biology.life import life
from scheduler.biology.service import pieces_to_start
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING
from scheduler.farm.people import StandingWork
from scheduler.farm.pins import kept_free
from scheduler.farm.trade import Closure, Market, Order, Pin
from scheduler.plan.model import Sale
from scheduler.season.cover import with_cover
from scheduler.season.guide import Guide, Wish
from scheduler.season.ledger import Ledger
from scheduler.season.outlets import Outlet
from scheduler.season.sales import Growing, Seller, clearing_class
from scheduler.season.whole_orders import add_cover, fill_whole_orders
from scheduler.season.worth import Worth
from tests.audit.small_farm import MONDAY, N1A, N1B, changed, small_farm

DECEMBER, JANUARY = (2026, 12), (2027, 1)


def seller_of(farm: Farm) -> Seller:
    return Seller(farm, Worth(farm), Ledger(farm), frozenset(p.pin for p in farm.pins))


def lot_of(
    farm: Farm, pieces: int, *, cut_week: int = -10, strain: str = "AAA", system: str = "North", name: str = "lot"
) -> Growing:
    """A lot at PAR 200; cut 10 weeks before the plan unless told otherwise."""
    new = cut_week >= 1
    course = life(farm, strain, cut_week, cut_week if new else 1, (200.0,))
    return Growing(name, strain, pieces, course, system, N1A, max(1, cut_week), new)


def quiet(**values: Any) -> Farm:
    """The small farm without orders, with a market as wide as asked for."""
    farm = replace(small_farm(), orders=())
    return replace(farm, **values) if values else farm


ORDER = Order(
    order="one",
    channel="ship",
    strain="AAA",
    size_class="small",
    quantity=6,
    price=Decimal(30),
    due=date(2027, 1, 15),
    partial_ok=False,
)


def ordered(**values: Any) -> Farm:
    return quiet(orders=(ORDER.model_copy(update=values),))


# ---- ledger -----------------------------------------------------------------------------------------------------------


def test_what_is_held_can_be_taken_back() -> None:
    farm = small_farm()
    ledger = Ledger(farm)
    zone = ledger.zones[N1A]
    empty = ledger.room(zone, farm.weeks.all)
    lot = lot_of(farm, 10)
    ledger.hold(N1A, lot.life, 1, lot.left(8))
    assert ledger.room(zone, (1,)) == pytest.approx(empty - 10)
    assert ledger.system_held("North", 1) == pytest.approx(10 + sum(z.mothers for z in ledger.zones.values()))
    ledger.hold(N1A, lot.life, 1, lot.left(8), sign=-1)
    assert ledger.room(zone, farm.weeks.all) == pytest.approx(empty)
    assert ledger.room(zone, ()) == 0


def test_a_zone_fills_up_to_its_usable_share() -> None:
    farm = changed(small_farm(), "settings", usable_share=0.5, keep_free_share=0.0)
    ledger = Ledger(farm)
    assert ledger.room(ledger.zones[N1A], (5,)) == pytest.approx(0.5 * 79)
    assert ledger.room(ledger.zones[N1B], (5,)) == pytest.approx(0.5 * 79 - 2)


def test_a_month_planned_in_part_has_its_market_in_part() -> None:
    farm = quiet(market=(Market(strain="AAA", size_class="small", quantity=10.0), Market(group="branching", quantity=100.0)))
    ledger = Ledger(farm)
    for month in farm.weeks.months:
        part = farm.weeks.planned_in_month(month) / farm.weeks.weeks_in_month(month)
        assert ledger.market_room(month, "AAA", "small") == pytest.approx(10 * part)
    assert ledger.market_room(DECEMBER, "AAA", "small") == pytest.approx(10)
    assert ledger.market_room(JANUARY, "AAA", "small") < 10
    assert ledger.market_room(DECEMBER, "AAA", "large") == 0


def test_a_group_limit_binds_all_its_strains_and_a_month_of_its_own_comes_first() -> None:
    rows = (
        Market(strain="AAA", size_class="small", quantity=10.0), Market(strain="BBB", size_class="small", quantity=10.0),
        Market(month=12, group="branching", quantity=12.0),
    )  # fmt: skip
    ledger = Ledger(quiet(market=rows))
    ledger.sold[DECEMBER, "AAA", "small"] += 8
    ledger.sold_group[DECEMBER, "branching"] += 8
    assert ledger.market_room(DECEMBER, "AAA", "small") == pytest.approx(2)
    assert ledger.market_room(DECEMBER, "BBB", "small") == pytest.approx(4)
    assert ledger.market_room(JANUARY, "BBB", "small") > 4


def test_the_market_after_the_horizon() -> None:
    farm = changed(quiet(market=(Market(strain="AAA", size_class="small", quantity=10.0),)), "settings", end_months=3)
    ledger = Ledger(farm)
    assert ledger.end_room("AAA") == 30
    ledger.end_frags["AAA"] += 40
    assert ledger.end_room("AAA") == 0


def test_packing_is_limited_by_boxes_days_and_hours() -> None:
    farm = small_farm()
    ledger = Ledger(farm)
    assert ledger.pieces_packable("ship", 1, 1.0) == 20
    assert ledger.pieces_packable("ship", 1, 0.5) == 40
    assert ledger.pieces_packable("ship", 1, 0.0) == 0
    ledger.pack("ship", 1, 15)
    assert ledger.pieces_packable("ship", 1, 1.0) == 5
    shut = replace(farm, ship_calendar=(Closure(channel="ship", from_date=MONDAY, to_date=MONDAY),))
    assert Ledger(shut).pieces_packable("ship", 1, 1.0) == 0
    busy = replace(farm, standing=(StandingWork(task="paper", skill="pack", minutes_per_week=405.0),))
    assert 0 < Ledger(busy).pieces_packable("ship", 1, 1.0) < 20


def test_hours_outside_sessions() -> None:
    ledger = Ledger(small_farm())
    # two people of 600 minutes, 180 of them at the bench; one of them packs; 50 minutes of rack cleaning
    assert ledger.outside_fits(1, PACKING, 419)
    assert not ledger.outside_fits(1, PACKING, 421)
    assert ledger.care_fits(1, 789)
    assert not ledger.care_fits(1, 791)
    ledger.outside[1][PACKING] += 419
    assert not ledger.outside_fits(1, CARING, 380)


def test_hours_at_the_bench() -> None:
    ledger = Ledger(small_farm())
    mount = frozenset({"mount"})
    assert ledger.bench_fits(3, {mount: 271.0})
    assert not ledger.bench_fits(3, {mount: 272.0})
    ledger.add_bench(3, {mount: 200.0})
    assert not ledger.bench_fits(3, {mount: 72.0})
    assert ledger.bench_fits(3, {frozenset({"scalpel", "toxic"}): 70.0})


# ---- routes -----------------------------------------------------------------------------------------------------------


def test_orders_come_before_the_market() -> None:
    farm = ordered()
    seller = seller_of(farm)
    lot = lot_of(farm, 20)
    fill_whole_orders(farm, seller, [lot], farm.weeks.all)
    assert {s.route for s in lot.sales} == {"order"}
    assert sum(float(lot.life.alive[s.week]) * 0.9 * s.pieces for s in lot.sales) >= 6
    assert seller.lacking("one") == 0
    first = len(lot.sales)
    seller.sell_rest(lot)
    assert {s.route for s in lot.sales[first:]} <= {"market", "clear"}
    assert lot.unrouted >= 0


def test_orders_due_first_are_filled_first() -> None:
    farm = quiet(orders=(ORDER.model_copy(update={"order": "later"}), ORDER.model_copy(update={"due": date(2026, 12, 20)})))
    seller = seller_of(farm)
    lot = lot_of(farm, 8)
    fill_whole_orders(farm, seller, [lot], farm.weeks.all)
    assert lot.sales[0].order == "one"
    assert seller.lacking("one") == 0
    assert seller.lacking("later") > 0


def test_an_order_takes_what_brings_least_elsewhere_before_a_dearer_substitute() -> None:
    farm = ordered(substitutes=("BBB",))
    dear = [c.model_copy(update={"strain": "BBB", "list_price": Decimal(25)}) for c in farm.size_classes("BBB")]
    farm = replace(farm, classes=(*farm.classes, *dear))
    seller = seller_of(farm)
    own, other = lot_of(farm, 3, name="own"), lot_of(farm, 30, strain="BBB", system="South", name="other")
    fill_whole_orders(farm, seller, [other, own], farm.weeks.all)
    assert own.unrouted == 0
    assert other.sales
    assert {s.size_class for s in other.sales} == {"small"}


@pytest.mark.parametrize(("pieces", "filled"), [(5, False), (6, False), (30, True)])
def test_an_order_that_refuses_parts_is_filled_in_one_week_or_not_at_all(pieces: int, filled: bool) -> None:
    farm = ordered(partial_ok=False)
    seller = seller_of(farm)
    lots = [lot_of(farm, pieces // 2, name="a"), lot_of(farm, pieces - pieces // 2, name="b")]
    fill_whole_orders(farm, seller, lots, farm.weeks.all)
    sales = [s for lot in lots for s in lot.sales]
    assert bool(sales) is filled
    assert len({s.week for s in sales}) == filled
    assert (seller.lacking("one") == 0) is filled


def test_an_order_that_refuses_parts_waits_for_a_week_with_boxes_enough() -> None:
    farm = ordered(partial_ok=False, quantity=12)
    seller = seller_of(farm)
    seller.ledger.pack("ship", 1, 15)
    lot = lot_of(farm, 40)
    fill_whole_orders(farm, seller, [lot], farm.weeks.all)
    assert {s.week for s in lot.sales} == {2}


def test_an_order_is_late_only_where_that_is_wanted() -> None:
    due = {"due": date(2026, 11, 29)}
    for late_ok in (True, False):
        farm = ordered(late_ok=late_ok, **due)
        lot = lot_of(farm, 20)
        fill_whole_orders(farm, seller_of(farm), [lot], farm.weeks.all)
        assert bool(lot.sales) is late_ok


def test_an_order_is_not_delivered_before_its_first_day() -> None:
    farm = ordered(earliest=date(2026, 12, 21))
    lot = lot_of(farm, 20)
    fill_whole_orders(farm, seller_of(farm), [lot], farm.weeks.all)
    assert {s.week for s in lot.sales} == {4}


# ---- cover ------------------------------------------------------------------------------------------------------------


def to_order(pieces: int, week: int = 1) -> Wish:
    return Wish(Outlet("order", "AAA", "small", week, 1.0, "ship", "one"), pieces)


def to_market(lot: Growing, seller: Seller, pieces: int, week: int) -> None:
    seller.repeat(
        lot, [Sale(lot=lot.id, week=week, route="market", size_class="small", order=None, channel="ship", pieces=pieces)]
    )


def test_an_order_gets_no_more_than_its_cover() -> None:
    farm = ordered(partial_ok=True)
    seller, lot = seller_of(farm), lot_of(farm, 20)
    each = float(lot.life.alive[1]) * 0.9
    assert seller.lacking("one") == 6
    assert seller.wanted("one") == with_cover(farm, "one") == pytest.approx(pieces_to_start(6, 0.81, 0.9) * 0.81)
    failed = seller.sell_guided(lot, [to_order(20)], 1)
    pieces = sum(s.pieces for s in lot.sales)
    assert (pieces - 1) * each < with_cover(farm, "one") <= pieces * each
    assert failed == 20 - pieces
    assert seller.lacking("one") == seller.wanted("one") == 0
    seller.take_back(lot)
    assert seller.lacking("one") == pytest.approx(6)


def test_what_is_filled_asks_a_season_for_nothing_more() -> None:
    farm = ordered(partial_ok=True)
    seller, lot = seller_of(farm), lot_of(farm, 20)
    each = float(lot.life.alive[1]) * 0.9
    seller.sell_guided(lot, [to_order(3)], 1)
    assert seller.still_to_plan() == {"one": pytest.approx(with_cover(farm, "one") - 3 * each)}
    enough = -int(-(6 - 3 * each) // each)
    seller.sell_guided(lot, [to_order(enough)], 1)
    assert seller.wanted("one") > 0
    assert seller.still_to_plan() == {"one": 0.0} == seller.needs()


@pytest.mark.parametrize(("short", "filled"), [(0.04, True), (0.06, False)])
def test_nothing_leaves_once_more_for_a_trifle(short: float, filled: bool) -> None:
    farm = ordered(partial_ok=True)
    seller = seller_of(farm)
    lot = lot_of(farm, 20)
    lot = replace(lot, life=replace(lot.life, alive=dict.fromkeys(lot.life.alive, (6 - short) / 7 / 0.9)))
    seller.sell_guided(lot, [to_order(7)], 1)
    assert seller.lacking("one") == pytest.approx(short)
    assert seller.is_filled("one") is filled
    assert (seller.still_to_plan()["one"] == 0) is filled


@pytest.mark.parametrize(("route", "pieces"), [("order", 7), ("list", 6)])
def test_wishes_for_an_order_are_rounded_up(route: str, pieces: int) -> None:
    order = "one" if route == "order" else None
    outlets = [replace(to_order(1).outlet, kind=route, order=order), Outlet("left listed", "AAA", "small", 9, 1.0)]
    season = SimpleNamespace(outlets=SimpleNamespace(rows=outlets))
    chosen = SimpleNamespace(leaving={(0, (1, 0)): 6.2, (0, (9, 1)): 3.8})
    wishes = Guide(season, chosen).take(0, 10)  # type: ignore[arg-type]
    assert [w.pieces for w in wishes] == [pieces, 10 - pieces]


def test_a_filled_order_gets_cover_from_the_market_of_its_month() -> None:
    farm = changed(ordered(partial_ok=True), "settings", service_level=0.99)
    seller, lot = seller_of(farm), lot_of(farm, 40)
    each = float(lot.life.alive[1]) * 0.9
    filled = -int(-6 // each)
    seller.sell_guided(lot, [to_order(filled)], 1)
    to_market(lot, seller, 1, 1)
    to_market(lot, seller, 10, 2)
    add_cover(farm, seller, [lot], farm.weeks.all)
    sent = sum(s.pieces for s in lot.sales if s.order == "one")
    assert sent == pieces_to_start(6, each, 0.99) > filled + 1
    assert {s.week for s in lot.sales if s.order == "one"} == {1}
    assert sum(s.pieces for s in lot.sales) == filled + 11  # nothing else leaves
    assert {s.week for s in lot.sales if s.route == "market"} == {2}  # the week's own first


@pytest.mark.parametrize("why", ["not filled", "another month", "no market in its channel", "a later delivery"])
def test_no_cover_where_it_would_cost(why: str) -> None:
    farm = ordered(partial_ok=True, channel="pickup" if why == "no market in its channel" else "ship")
    seller, lot = seller_of(farm), lot_of(farm, 40)
    filled = 3 if why == "not filled" else -int(-6 // (float(lot.life.alive[1]) * 0.9))
    wish = to_order(filled)
    seller.sell_guided(lot, [replace(wish, outlet=replace(wish.outlet, channel=farm.orders[0].channel))], 1)
    to_market(lot, seller, 10, 6 if why == "another month" else 1)
    add_cover(farm, seller, [lot], range(2, 9) if why == "a later delivery" else farm.weeks.all)
    assert sum(s.pieces for s in lot.sales if s.order == "one") == filled


def test_cover_needs_room_in_boxes_only_if_it_leaves_earlier() -> None:
    farm = ordered(partial_ok=True)
    for week, more in ((1, True), (2, False)):
        seller, lot = seller_of(farm), lot_of(farm, 40)
        filled = -int(-6 // (float(lot.life.alive[1]) * 0.9))
        seller.sell_guided(lot, [to_order(filled)], 1)
        to_market(lot, seller, 10, week)
        seller.ledger.pack("ship", 1, 20)
        add_cover(farm, seller, [lot], farm.weeks.all)
        assert (sum(s.pieces for s in lot.sales if s.order == "one") > filled) is more


def test_fresh_frags_wait_for_their_class() -> None:
    farm = quiet()
    seller = seller_of(farm)
    lot = lot_of(farm, 20, cut_week=1)
    seller.sell_rest(lot)
    assert lot.sellable_from == 2
    assert lot.sales
    assert all(lot.life.reached(s.size_class, s.week) for s in lot.sales)
    assert min(s.week for s in lot.sales) >= 3
    assert lot.left(8)[8] == lot.unrouted


@pytest.mark.parametrize(
    ("table", "key", "values"),
    [
        ("systems", "North", {"quarantined": True, "release_date": date(2026, 12, 14)}),
        ("systems", "North", {"hold_until": date(2026, 12, 14)}),
        ("pins", "", {"kind": "no sale"}),
        ("pins", "", {"kind": "hold lot"}),
    ],
)
def test_nothing_is_sold_from_quarantine_hold_or_under_a_pin(table: str, key: str, values: dict[str, Any]) -> None:
    pinned = (Pin(pin="P1", lot="lot", to_date=date(2026, 12, 13), **values),) if table == "pins" else ()
    farm = replace(ordered(), pins=pinned) if pinned else changed(ordered(), table, key, **values)
    seller = seller_of(farm)
    lot = lot_of(farm, 30)
    fill_whole_orders(farm, seller, [lot], farm.weeks.all)
    seller.sell_rest(lot)
    assert lot.sales
    assert min(s.week for s in lot.sales) == 3
    assert not any(seller.may_leave(lot, w) for w in (1, 2))
    assert not any(seller.may_sell(lot, "small", w) for w in (1, 2))


def test_a_lot_too_old_is_cleared_at_the_discount() -> None:
    farm = changed(quiet(), "settings", max_rack_weeks=10)
    seller = seller_of(farm)
    lot = lot_of(farm, 10)
    fill_whole_orders(farm, seller, [lot], farm.weeks.all)
    seller.sell_rest(lot)
    assert lot.unrouted == 0
    assert {(s.route, s.week, s.size_class) for s in lot.sales} == {("clear", 1, "large")}
    assert not seller.may_sell(lot, "small", 1)


def test_the_class_of_a_cleared_lot() -> None:
    farm = small_farm()
    assert clearing_class(farm, "AAA", lot_of(farm, 1).life, 1) == "large"
    assert clearing_class(farm, "AAA", lot_of(farm, 1, cut_week=1).life, 3) == "small"
    assert clearing_class(replace(farm, classes=()), "AAA", lot_of(farm, 1).life, 1) == ""


def test_list_sales_stop_at_the_market_of_the_month() -> None:
    farm = quiet(
        market=(Market(strain="AAA", size_class="small", quantity=9.0), Market(strain="AAA", size_class="large", quantity=0.0))
    )
    seller = seller_of(farm)
    lot = lot_of(farm, 60)
    seller.sell_rest(lot)
    by_month: dict[tuple[tuple[int, int], str], float] = {}
    for s in lot.sales:
        key = (farm.weeks.month(s.week), s.size_class)
        by_month[key] = by_month.get(key, 0) + s.pieces * float(lot.life.alive[s.week]) * 0.9
    for (month, name), graded in by_month.items():
        assert seller.ledger.sold[month, "AAA", name] == pytest.approx(graded)
    assert lot.unrouted >= 0
    assert all(s.channel == "ship" for s in lot.sales)


def test_counting_is_entered_while_pieces_are_left_and_taken_back_when_they_are_gone() -> None:
    farm = quiet()
    seller = seller_of(farm)
    lot = lot_of(farm, 10)
    plain = {w: need[CARING] for w, need in seller.ledger.outside.items()}
    seller.enter_counts(lot)
    counted = {w for w in farm.weeks.all if seller.ledger.outside[w][CARING] > plain[w]}
    assert counted == {w for w in farm.weeks.all if (w + 10) % 4 == 0}
    seller._sell(lot, 3, "market", "small", "ship", 10, None)
    seller.release_counts(lot)
    assert {w for w in farm.weeks.all if seller.ledger.outside[w][CARING] > plain[w]} == {2}


# ---- places of later weeks --------------------------------------------------------------------------------------------


def test_groups_kept_apart_clash_in_a_tank_or_a_whole_system() -> None:
    farm = small_farm()
    ledger = Ledger(farm)
    zone = ledger.zones[N1A]
    assert ledger.clashes("LLL", zone, range(1, 3))
    assert not ledger.clashes("AAA", zone, range(1, 3))
    by_system = replace(farm, pairs=(farm.pairs[0].model_copy(update={"apart": "system"}),))
    assert Ledger(by_system).clashes("AAA", zone, range(1, 3))


def test_a_pin_keeps_a_tank_or_rack_free_up_to_its_last_day() -> None:
    pin = Pin(pin="P1", kind="keep free", rack="N1-a", to_date=date(2026, 12, 13))
    farm = replace(small_farm(), pins=(pin,))
    held = [w for w in farm.weeks.all if kept_free(farm, frozenset({"P1"}), "N1", ("N1-a",), w)]
    assert held == [1, 2]
    assert not kept_free(farm, frozenset(), "N1", ("N1-a",), 1)
    assert not kept_free(farm, frozenset({"P1"}), "N2", ("N2-a",), 1)
