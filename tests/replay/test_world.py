"""The replayed farm: its chance has the means the book states, its crew keeps what it must, its records hold what is known."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from scheduler.book import check_farm
from scheduler.farm.blocks import Block
from scheduler.farm.coral import Colony, Lot
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Channel, Market, Order
from scheduler.replay import Chance, World
from scheduler.replay.chance import factor, stream
from scheduler.replay.records import book
from scheduler.replay.run import carry_out
from tests.audit.small_farm import MONDAY
from tests.farms import random_farm
from tests.replay.ways import cut_of, plan_of, sale_of, stand_of
from tests.week.bench_farm import tiny_farm

CALM = Chance(
    growth_strain=0, growth_lot=0, growth_frag=0, fresh_size=0, loss_strain=0, tank_month=0, light_rack=0, first_count=0, miscount=0,
    measure=0, recede_per_week=0, die_per_week=0, broken=0, grade=0, pace_person=0, pace_job=0, hold_per_week=0, closed_per_week=0,
    demand_strain=0, order_size=0,
)  # fmt: skip
SESSION = "bench 2026-12-01"
SHIPPING = Channel(channel="shipping", packing_days=("Tue",), boxes_per_day=20, frags_per_box=10, market=True)


def farm_with(*, lots: tuple[Lot, ...] = (), orders: tuple[Order, ...] = (), market: float = 50, **more: Any) -> Farm:
    rows = (Market(strain="A", size_class="small", quantity=market),)
    farm = tiny_farm(strains={"A": {"good_share": 1.0, "death_early": 0.0, "detach_early": 0.0} | more.pop("traits", {})}, **more)
    return replace(farm, channels=(SHIPPING,), market=rows, lots=lots, orders=orders)


def lot(alive: int = 12, cut_date: date = date(2026, 10, 12), block: str = "A1:D3") -> Lot:
    return Lot(
        lot="L1",
        strain="A",
        cut_date=cut_date,
        started=alive,
        alive=alive,
        count_date=date(2026, 11, 29),
        rack="T-a",
        blocks=(block,),
    )


def order(quantity: int = 6, **more: Any) -> Order:
    values = {
        "order": "1",
        "channel": "shipping",
        "strain": "A",
        "size_class": "small",
        "price": Decimal(15),
        "quantity": quantity,
    }
    return Order(**(values | {"due": date(2026, 12, 4)} | more))


def done(farm: Farm, chance: Chance = CALM, seed: int = 1, **parts: Any) -> World:
    """The world after one week of a plan."""
    world = World(farm, seed, chance)
    record = book(world)
    carry_out(world, record, plan_of(record, **parts))
    return world


# ---- chance -----------------------------------------------------------------------------------------------------------


def test_a_factor_is_log_normal_with_mean_one() -> None:
    """exp(N(-s^2/2, s)): mean 1, variance exp(s^2) - 1 (Johnson, Kotz & Balakrishnan 1994, ch. 14, from memory)."""
    rng = np.random.default_rng(1)
    drawn = np.array([factor(rng, 0.4) for _ in range(20_000)])
    assert drawn.mean() == pytest.approx(1, abs=0.01)
    assert drawn.var() == pytest.approx(np.exp(0.16) - 1, rel=0.05)


def test_streams_depend_on_seed_and_key_alone() -> None:
    assert stream(3, "a", 1).random() == stream(3, "a", 1).random()
    assert stream(3, "a", 1).random() != stream(3, "a", 2).random()
    assert stream(3, "a", 1).random() != stream(4, "a", 1).random()


def test_losses_of_the_early_weeks_add_up_to_what_the_book_says() -> None:
    farm = random_farm(1, 6)
    world = World(farm, 1, CALM)
    strain = farm.strains[0].strain
    traits = farm.traits(strain)
    par = (traits.par_min + traits.par_max) / 2
    deaths = sum(world.truth.losses(strain, age, par, farm.tanks[0].tank, (2026, 12))[0] - traits.death_late for age in range(60))
    assert deaths == pytest.approx(traits.early_weeks * (traits.death_early - traits.death_late), rel=1e-6)


def test_frags_grow_by_the_exponential_light_curve() -> None:
    """1 - exp(-a E / Ek), Webb, Newton & Starr 1974, Oecologia 17:281-291 (from memory), meeting tanh(1) = 0.7616 at E = Ek."""
    farm = farm_with(traits={"par_k": 200.0})
    world = World(farm, 1, CALM)
    assert world.truth.light_share(farm.traits("A"), 200) == pytest.approx(np.tanh(1), abs=1e-3)
    assert world.truth.frag_mm_per_week("A", 1e6) == pytest.approx(farm.traits("A").frag_mm_per_week)


@pytest.mark.parametrize(("law", "expected"), [("exponential", 60 * 1.1**4), ("linear", 64.0), ("logistic", None)])
def test_mothers_grow_by_their_law(law: str, expected: float | None) -> None:
    rate = 0.1 if law != "linear" else 1.0
    farm = farm_with(traits={"growth_law": law, "growth_per_week": rate, "cap_units": 200.0})
    world, units = World(farm, 1, CALM), 60.0
    for _ in range(4):
        units = world.truth.grown("A", units)
    if expected is not None:
        assert units == pytest.approx(expected)
    else:  # Verhulst's closed form, a little above the weekly steps
        closed = 200 / (1 + (200 / 60 - 1) * np.exp(-0.4))
        assert units == pytest.approx(closed, rel=0.02)


def test_mothers_never_pass_their_cap_nor_shrink_to_it() -> None:
    world = World(farm_with(traits={"growth_law": "exponential", "growth_per_week": 0.5, "cap_units": 70.0}), 1, CALM)
    assert world.truth.grown("A", 60.0) == 70.0
    assert world.truth.grown("A", 80.0) == 80.0


def test_customers_come_as_often_as_the_book_says_on_the_average() -> None:
    world = World(farm_with(market=20), 1, CALM)
    drawn = [world.truth.walk_in((2026 + i // 12, 1 + i % 12), "A", "small") for i in range(600)]
    assert np.mean(drawn) == pytest.approx(20, abs=0.6)
    assert np.var(drawn) == pytest.approx(20, rel=0.2)  # Poisson


# ---- the crew ---------------------------------------------------------------------------------------------------------


def test_a_cut_goes_as_planned_on_a_calm_farm() -> None:
    farm = farm_with()
    world = done(
        farm,
        cuts=[cut_of(farm, "A1", 10, session=SESSION)],
        stands=[stand_of("new", "T-a", 10, Block(top=0, left=0, across=2, plugs=10))],
    )
    assert world.mothers["A1"].units == pytest.approx(61 - 10)  # a week's linear growth comes first
    assert world.lots["new"].alive == world.lots["new"].started == 10
    assert world.mothers["A1"].row.last_cut == date(2026, 12, 1)
    assert [(c.pieces_planned, c.pieces_got) for c in world.past_cuts] == [(10, 10)]
    assert world.tally.minutes["cutting"] == pytest.approx(6 + 10)
    assert world.tally.minutes["mounting"] == pytest.approx(10 * 1.5)


@pytest.mark.parametrize(("count", "expected"), [(40, 20), (25, 12), (16, 6), (12, 0)])
def test_the_crew_sees_the_true_size_and_stops_at_share_and_keep(count: int, expected: int) -> None:
    farm = farm_with(racks={"T-a": (5, 8)})
    big: Colony = farm.colonies[0].model_copy(update={"count": 60})
    farm = replace(farm, colonies=(big,))
    world = World(farm, 1, CALM)
    world.mothers["A1"].units = count - 1.0  # grows by one before the cut; half may go, 10 must stay
    stand = stand_of("new", "T-a", 25, Block(top=0, left=0, across=5, plugs=25))
    record = book(world)
    carry_out(world, record, plan_of(record, cuts=[cut_of(farm, "A1", 25, session=SESSION)], stands=[stand]))
    assert world.tally.count.get("pieces cut", 0) == expected
    assert world.below_keep == 0
    assert world.mothers["A1"].row.count == pytest.approx(count - expected, rel=0.05)


def test_pieces_that_break_are_lost_and_written_down() -> None:
    farm = farm_with()
    stand = stand_of("new", "T-a", 20, Block(top=0, left=0, across=5, plugs=20))
    world = done(farm, replace(CALM, broken=0.3), cuts=[cut_of(farm, "A1", 20, session=SESSION)], stands=[stand])
    got = world.past_cuts[0].pieces_got
    assert 0 < got < 20
    assert world.lots["new"].alive == got
    assert world.mothers["A1"].units == pytest.approx(61 - 20)


def test_a_cut_that_does_not_fit_the_clock_is_made_smaller_or_left() -> None:
    short = farm_with(sessions=[{"minutes": 45.0}])  # 25 minutes of work: 6 + 2.5 a piece
    stand = stand_of("new", "T-a", 20, Block(top=0, left=0, across=5, plugs=20))
    assert done(short, cuts=[cut_of(short, "A1", 20, session=SESSION)], stands=[stand]).tally.count["pieces cut"] == 7
    none = farm_with(sessions=[{"minutes": 30.0}])
    assert "pieces cut" not in done(none, cuts=[cut_of(none, "A1", 20, session=SESSION)], stands=[stand]).tally.count


def test_frags_whose_places_are_taken_go_beside_or_are_fewer() -> None:
    farm = farm_with(lots=(lot(),))  # A1:D3 stand there, unsold
    stand = stand_of("new", "T-a", 12, Block(top=0, left=0, across=3, plugs=12))
    world = done(farm, cuts=[cut_of(farm, "A1", 12, session=SESSION)], stands=[stand])
    held = [p for x in world.lots.values() for p in x.positions(farm)]
    assert world.lots["new"].alive == 12  # D4:F6 was free
    assert len(held) == len(set(held)) == 24
    full = farm_with(lots=(lot(20, block="A1:D5"),))
    world = done(full, cuts=[cut_of(full, "A1", 12, session=SESSION)], stands=[stand])
    assert world.lots["new"].alive == 4
    assert world.tally.count["cuts short of places"] == 1


def test_a_system_that_goes_on_hold_is_left_alone_after_all() -> None:
    farm = farm_with(lots=(lot(block="A4:D6"),))
    stand = stand_of("new", "T-a", 8, Block(top=0, left=0, across=2, plugs=8))
    world = done(
        farm,
        replace(CALM, hold_per_week=1.0),
        cuts=[cut_of(farm, "A1", 8, session=SESSION)],
        stands=[stand],
        sales=[sale_of("L1", 5)],
    )
    assert "new" not in world.lots
    assert world.lots["L1"].alive == 12
    world.turn()
    assert book(world).on_hold("North", 1)


# ---- selling ----------------------------------------------------------------------------------------------------------


def test_a_sale_takes_frags_of_size_and_no_others() -> None:
    farm = farm_with(lots=(lot(),))
    world = World(farm, 1, CALM)
    world.lots["L1"].sizes[:5] = 10.0  # five lag behind
    record = book(world)
    carry_out(world, record, plan_of(record, sales=[sale_of("L1", 12)]))
    assert world.tally.count["frags at list"] == 7
    assert world.tally.money["list"] == 7 * 20
    assert world.lots["L1"].alive == 5
    assert book(world).lot["L1"].alive == 5  # too few were found, so the lot was counted


def test_fresh_frags_are_not_sold_before_they_are_healed() -> None:
    farm = farm_with(lots=(lot(cut_date=date(2026, 11, 24)),))
    assert "frags at list" not in done(farm, sales=[sale_of("L1", 12)]).tally.count


def test_customers_buy_no_more_than_they_want_and_the_rest_stays() -> None:
    farm = farm_with(lots=(lot(),), market=50)
    worlds = (World(farm, seed, CALM) for seed in range(100))
    world = next(w for w in worlds if w.truth.walk_in((2026, 12), "A", "small") < 40)  # fewer come than the book says
    world.list_sold[(2026, 12), "A", "small"] = world.truth.walk_in((2026, 12), "A", "small") - 3
    record = book(world)
    carry_out(world, record, plan_of(record, sales=[sale_of("L1", 12)]))
    assert world.tally.count["frags at list"] == 3
    assert world.lots["L1"].alive == 9
    world.turn()
    assert book(world).market_quantity(12, strain="A", size_class="small") == 0  # customers wanted no more


def test_what_is_meant_beyond_the_market_sells_at_discount() -> None:
    farm = farm_with(lots=(lot(),), market=0)
    world = done(farm, sales=[sale_of("L1", 12)])
    assert world.tally.count["frags at discount"] == 10  # 85 % of 12 pieces
    assert world.tally.money["discount"] == 10 * 5


def test_an_order_gets_what_it_asked_for_and_the_rest_stays() -> None:
    farm = farm_with(lots=(lot(),), orders=(order(6),))
    world = done(farm, sales=[sale_of("L1", 8, "order", "1")])
    assert world.tally.money["orders"] == 6 * 15
    assert world.on_time["1"] is True
    assert world.lots["L1"].alive == 6


def test_an_order_wanted_whole_is_not_sent_in_part() -> None:
    farm = farm_with(lots=(lot(),), orders=(order(20, partial_ok=False),))
    world = done(farm, sales=[sale_of("L1", 12, "order", "1")])
    assert world.lots["L1"].alive == 12
    assert world.orders["1"].quantity == 20


def test_late_orders_cost_every_week_and_refused_ones_once() -> None:
    farm = farm_with(orders=(order(6), order(4, order="2", late_ok=False)))
    world = World(farm, 1, CALM)
    for _ in range(3):
        world.turn()
    s = farm.settings
    assert world.tally.money["late"] == -3 * 6 * float(s.late_cost)
    assert world.tally.money["short"] == -4 * float(s.short_cost)
    assert world.on_time == {k: v for k, v in world.on_time.items() if k not in ("1", "2")} | {"1": False, "2": False}


def test_a_channel_that_cannot_send_sends_nothing() -> None:
    farm = farm_with(lots=(lot(),))
    assert done(farm, replace(CALM, closed_per_week=1.0), sales=[sale_of("L1", 12)]).lots["L1"].alive == 12


# ---- records ----------------------------------------------------------------------------------------------------------


def test_deaths_show_in_the_book_only_at_the_next_count() -> None:
    farm = farm_with(lots=(lot(),), traits={"death_late": 0.2}, count_weeks=4)
    world, seen = World(farm, 1, CALM), []
    for _ in range(6):
        carry_out(world, book(world), None)
        seen.append((world.lots["L1"].recorded, world.lots["L1"].alive))
        world.turn()
    counted = [i for i, (recorded, alive) in enumerate(seen) if recorded == alive]
    assert seen[-1][1] < 12
    assert counted
    assert any(recorded > alive for recorded, alive in seen)
    assert book(world).counts == ()  # what happened to the lot before is not of this truth, so it teaches nothing


def test_the_market_of_a_month_begun_is_what_is_left_of_it() -> None:
    farm = farm_with(market=30)
    world = World(farm, 1, CALM)
    world.list_sold[(2026, 12), "A", "small"] = 12
    for week, left in ((1, 5), (2, 4), (5, 1)):  # five weeks belong to December 2026
        world.week = week
        quantity = book(world).market_quantity(12, strain="A", size_class="small")
        assert quantity is not None
        assert quantity * left / 5 == pytest.approx(18, abs=1e-4)


def test_a_lot_of_the_replay_teaches_and_leaves_its_counts_behind() -> None:
    farm = farm_with(count_weeks=2)
    stand = stand_of("new", "T-a", 10, Block(top=0, left=0, across=2, plugs=10))
    world = done(farm, cuts=[cut_of(farm, "A1", 10, session=SESSION)], stands=[stand])
    for sold in (0, 0, 4, 6):
        world.turn()
        record = book(world)
        carry_out(world, record, plan_of(record, sales=[sale_of("new", sold)] if sold else []))
    world.turn()
    record = book(world)
    assert record.lots == ()
    assert [(p.lot, p.started, p.tank) for p in record.past_lots] == [("new", 10, "T")]
    assert [(c.alive, c.sold, c.size_mm is not None) for c in record.counts] == [(10, 0, True), (0, 10, False)]


@pytest.mark.parametrize("seed", range(3))
def test_every_weekly_book_can_be_planned_from(seed: int) -> None:
    farm = random_farm(seed, 12, weeks=8)
    lively = replace(Chance(), recede_per_week=0.05, die_per_week=0.02, hold_per_week=0.05, closed_per_week=0.2)
    world = World(farm, seed, lively)
    for _ in range(12):
        record = book(world)
        faults, _ = check_farm(record)
        assert faults == ()
        assert record.weeks.plan_monday == MONDAY + timedelta(weeks=world.week - 1)
        sales = [sale_of(x.lot, x.alive, "clear", size_class=farm.size_classes(x.strain)[0].size_class) for x in record.lots[::4]]
        carry_out(world, record, plan_of(record, sales=sales))
        world.turn()


def test_a_branch_goes_its_own_way() -> None:
    world = World(random_farm(2, 10), 2)
    branch = world.branch()
    before = {name: x.alive for name, x in world.lots.items()}
    for _ in range(4):
        branch.live()
        branch.turn()
    assert {name: x.alive for name, x in world.lots.items()} == before
    assert world.week == 1
    assert branch.truth is world.truth
