"""The near weeks end to end: what pins ask for is placed, lots of the book make room, and the audit agrees."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from scheduler.audit import audit
from scheduler.biology.life import life
from scheduler.errors import PinConflict
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Channel, Market
from scheduler.plan.model import Plan, Stand
from scheduler.plan.view import old_stand, pars_of
from scheduler.planning.near.planner import NearPlanner
from scheduler.planning.near.stock import StockLots, life_after
from scheduler.planning.pipeline import plan_farm
from scheduler.season.ledger import Ledger
from scheduler.season.sales import Growing, Seller
from scheduler.season.worth import Worth
from scheduler.solving import Limits
from scheduler.week.model import Limits as Room
from tests.farms import random_farm
from tests.week.bench_farm import FlatWorth, at_least, cut, floor_of, pins, tiny_farm
from tests.week.test_near_stirring import FIRST_WEEK, SECOND_WEEK, old, stuck

LIMITS = Limits(seconds=600, deterministic=0.5, seed=1)


def selling(farm: Farm, **market: float) -> Farm:
    """The farm with a van that leaves every Monday and a market for small frags by strain."""
    van = Channel(channel="van", packing_days=("Mon",), boxes_per_day=10, frags_per_box=12, market=True)
    rows = tuple(Market(strain=s, size_class="small", quantity=q) for s, q in market.items())
    people = tuple(p.model_copy(update={"hours_per_week": 60.0}) for p in farm.people)
    return replace(farm, channels=(van,), market=rows, people=people)


def planned(farm: Farm) -> Plan:
    plan = plan_farm(farm, limits=LIMITS).plan
    assert audit(farm, plan).clean
    return plan


# ---- a whole plan -----------------------------------------------------------------------------------------------------


ROOMY = {"keep_free_share": 0, "usable_share": 1.0}


def test_a_lot_moves_where_only_that_makes_room() -> None:
    farm = stuck(cut("A1", **SECOND_WEEK), **ROOMY)
    plan = planned(farm)
    (moved,) = [s for s in plan.stands if s.lot == "old"]
    assert (moved.week, moved.rack, moved.pieces) == (1, "U-a", 6)
    assert [b.text() for b in moved.blocks] == ["A1:A6"]
    (fresh,) = [c for c in plan.cuts if c.colony == "A1" and c.week in farm.weeks.near_weeks]
    assert fresh.week == 2
    assert [s.rack for s in plan.stands if s.lot == fresh.lot] == ["T-a"]
    assert [(x.subject, x.week, x.amount) for x in plan.lines if x.subject == "moves"] == [("moves", 1, Decimal("-1.54"))]


@pytest.mark.parametrize("seed", [6, 8, 12])
def test_hardly_any_time_still_gives_cuts_placed_one_after_the_other(seed: int) -> None:
    farm = random_farm(seed, 12, weeks=12)
    plan = plan_farm(farm, limits=Limits(seconds=600, deterministic=0.002, seed=1)).plan
    assert audit(farm, plan).clean
    assert [c for c in plan.cuts if c.week in farm.weeks.near_weeks]


def test_a_lot_held_by_a_pin_does_not_move_and_both_pins_are_named() -> None:
    farm = stuck(cut("A1", **SECOND_WEEK), {"kind": "hold lot", "lot": "old"}, **ROOMY)
    with pytest.raises(PinConflict) as caught:
        plan_farm(farm, limits=LIMITS)
    assert caught.value.pins == ("P1", "P2")


def test_a_lot_leaves_early_where_only_that_makes_room() -> None:
    farm = selling(replace(stuck(cut("A1", **FIRST_WEEK), **ROOMY), lots=(old(count_date=date(2026, 11, 23)),)), B=1.0)
    plan = planned(farm)
    soon = [s for s in plan.sales if s.lot == "old" and s.week == 1]
    assert sum(s.pieces for s in soon) >= 4
    (fresh,) = [c for c in plan.cuts if c.colony == "A1" and c.week == 1]
    assert fresh.pieces <= sum(s.pieces for s in soon)


def test_a_sale_barred_by_a_pin_is_named_with_the_cut_it_stands_against() -> None:
    farm = selling(stuck(cut("A1", **FIRST_WEEK), {"kind": "no sale", "lot": "old"}, **ROOMY), B=1.0)
    with pytest.raises(PinConflict) as caught:
        plan_farm(farm, limits=LIMITS)
    assert caught.value.pins == ("P1", "P2")


def test_pins_are_placed_beside_each_other() -> None:
    farm = tiny_farm(
        strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M"), "B1": ("B", "M")}, racks={"T-a": (3, 6)}, keep_free_share=0,
        usable_share=1.0, pins=pins(at_least("A1", 9), at_least("B1", 6)),
    )  # fmt: skip
    plan = planned(farm)
    assert {c.colony: c.pieces for c in plan.cuts if c.week == 1} == {"A1": 9, "B1": 6}
    assert not [n for n in plan.notices if n.kind == "gave way"]


# ---- the planner alone ------------------------------------------------------------------------------------------------


def alone(farm: Farm, **more: Any) -> NearPlanner:
    return NearPlanner(farm, floor_of(farm), FlatWorth(), Room(), [p.pin for p in farm.pins], LIMITS, **more)


def test_every_cut_has_blocks_for_all_its_pieces_in_its_zone() -> None:
    farm = tiny_farm(
        strains={"A": {}, "B": {}, "C": {"reach_mm": 0}}, mothers={f"{s}{n}": (s, "M") for s in "ABC" for n in (1, 2)},
        racks={"T-a": (4, 6), "T-b": (3, 5)}, near_weeks=2,
    )  # fmt: skip
    near = alone(farm).plan()
    assert near.cuts
    assert near.gave_way == ()
    for c in near.cuts:
        assert sum(b.plugs for b in c.blocks) == c.pieces
    assert near.outcome is not None
    assert near.outcome.value is not None
    assert near.outcome.bound is not None
    assert near.outcome.value <= near.outcome.bound


def test_the_same_seed_gives_the_same_near_weeks() -> None:
    farm = tiny_farm(strains={"A": {}, "B": {}}, mothers={"A1": ("A", "M"), "B1": ("B", "M")}, racks={"T-a": (4, 8)})

    def cuts() -> list[tuple[str, int, str, tuple[str, ...]]]:
        return [(c.option.name, c.pieces, c.session, tuple(b.text() for b in c.blocks)) for c in alone(farm).plan().cuts]

    assert cuts() == cuts()


CROWDED = {
    "strains": {"A": {}, "B": {}, "C": {"reach_mm": 0}}, "mothers": {f"{s}{n}": (s, "M") for s in "ABC" for n in (1, 2)},
    "racks": {"T-a": (4, 6), "T-b": (3, 5)}, "near_weeks": 2,
}  # fmt: skip


def test_a_large_farm_is_planned_without_counts_within_what_colonies_bring_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    farm = tiny_farm(**CROWDED)
    exact = alone(farm).plan().outcome
    monkeypatch.setattr("scheduler.planning.near.weeks.MANY_COLONIES", 1)
    near = alone(farm).plan()
    assert exact is not None
    assert near.outcome is not None
    assert near.cuts
    assert exact.value is not None
    assert near.outcome.bound is not None
    assert near.outcome.bound >= exact.value


def test_planned_again_with_shorter_sessions_keeps_to_them() -> None:
    farm = tiny_farm(**CROWDED)
    planner = alone(farm)
    before = planner.plan()
    sessions = {c.session for c in before.cuts}
    none = planner.again(dict.fromkeys(sessions, 0.0), LIMITS)
    assert not {c.session for c in none.cuts} & sessions


# ---- what making room costs -------------------------------------------------------------------------------------------


def stock_of(farm: Farm, **routes: int) -> StockLots:
    """The old lot with its later sales: pieces by week, all to the market."""
    worth, ledger = Worth(farm), Ledger(farm)
    seller = Seller(farm, worth, ledger, frozenset())
    course = life(farm, "B", farm.weeks.week_of(farm.lots[0].cut_date), 1, pars_of(farm, 1, (old_stand(farm, "old"),)))
    lot = Growing("old", "B", 6, course, "North", old_stand(farm, "old").zone, 1, False)
    for week, pieces in routes.items():
        seller._sell(lot, int(week.removeprefix("week")), "market", "small", "van", pieces, None)
    return StockLots(farm, [lot], worth, ledger, seller)


def test_hours_boxes_and_market_left() -> None:
    farm = selling(stuck(), B=4.0)
    stock = stock_of(farm, week1=2)
    graded = 2 * 0.9
    assert stock.boxes()["van", 1] == pytest.approx(10 - 2 / 12)
    assert stock.boxes()["van", 2] == 10
    assert stock.market()["B", "small", (2026, 12)] == pytest.approx(4 * farm.weeks.planned_in_month((2026, 12))
                                                                       / farm.weeks.weeks_in_month((2026, 12)) - graded)  # fmt: skip
    (one,) = {frozenset(kinds) for kinds in stock.outside()[1] if len(kinds) == 2}
    assert stock.outside()[1][one] < stock.outside()[2][one]


def test_early_sales_offer_what_stays_and_name_the_loss() -> None:
    farm = selling(stuck(), B=100.0)
    listed = stock_of(farm, week8=6).early_sales(())
    assert {(s.week, s.pieces) for s in listed} == {(1, 3), (1, 6), (2, 3), (2, 6)}
    assert all(s.loss == pytest.approx(0) and s.listed == pytest.approx(0.9 * s.pieces) for s in listed)
    none_left = stock_of(farm, week1=6).early_sales(())
    assert none_left == []
    poor = stock_of(selling(stuck(), B=0.0), week8=6).early_sales(())
    assert all(s.loss > s.brings > 0 and s.listed == 0 for s in poor)


def test_a_lot_not_ready_is_not_sold_early() -> None:
    young = old(cut_date=date(2026, 11, 30))
    assert stock_of(selling(replace(stuck(), lots=(young,)), B=100.0), week8=6).early_sales(()) == []


def test_a_move_to_dimmer_light_costs_what_growth_it_loses() -> None:
    farm = selling(stuck(), B=100.0)
    (other,) = {z for z in zones_of(farm) if z.startswith("U")}
    stock = stock_of(farm, week8=6)
    assert stock.move_cost("old", 1, other) == pytest.approx(0)
    slow = replace(farm, groups=tuple(g.model_copy(update={"par_k": 500.0, "frag_mm_per_week": 0.2}) for g in farm.groups),
                   classes=tuple(c.model_copy(update={"min_mm": 26.2}) for c in farm.classes))  # fmt: skip
    cost = stock_of(slow, week8=6).move_cost("old", 1, other)
    assert cost is not None
    assert cost >= 0
    after = life_after(slow, "old", Stand(lot="old", week=1, zone=other, pieces=6))
    before = stock_of(slow).lots["old"].life
    assert after.ready["small"] >= before.ready["small"]


def zones_of(farm: Farm) -> Mapping[str, object]:
    from scheduler.biology.zones import zones

    return zones(farm)
