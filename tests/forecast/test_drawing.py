from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from scheduler.biology.life import life
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Market, Order
from scheduler.forecast.draws import draw_counts, log_normal
from scheduler.forecast.learn import GROWTH, Learned, learn
from scheduler.forecast.outlook import Outlook, at_least_with, forecast, pieces_for
from scheduler.forecast.scores import interval_hits
from scheduler.forecast.spreads import log_spread
from scheduler.plan.view import PlanView
from tests.forecast.rack_farm import BRIGHT, CERTAIN, MONDAY, count, market_sale, past_cut, planned_cut, rack_farm, rack_plan

NO_LOSS = {"death_early": 0.0, "death_late": 0.0, "detach_early": 0.0, "detach_late": 0.0}
SMALL, LARGE = ("AMB", "small"), ("AMB", "large")


def outlook(farm: Farm, draws: int = 400, seed: int = 1, learned: Learned | None = None, **parts: Any) -> Outlook:
    return forecast(farm, rack_plan(farm, **parts), draws=draws, seed=seed, learned=learned)


def month_of(farm: Farm, week: int) -> int:
    return farm.weeks.months.index(farm.weeks.month(week))


# ---- against the biology ------------------------------------------------------------------------------------------------


def test_without_spread_the_mean_is_what_the_biology_expects() -> None:
    """Each lot reaches a class in one week, with S(age) of its pieces; lots on racks and planned cuts, over all months."""
    farm = rack_farm([(-6, 20), (-2, 15), (0, 25)], settings=CERTAIN)
    cuts, stands = zip(*(planned_cut(farm, f"N{w}", w, 20) for w in (1, 5, 9)), strict=True)
    plan = rack_plan(farm, cuts=cuts, stands=stands)
    found = forecast(farm, plan, draws=4000, seed=2)
    for cell in (SMALL, LARGE):
        expected = np.zeros(len(found.months))
        for lot in PlanView(farm, plan).lots.values():
            week = lot.life.ready[cell[1]]
            if 1 <= week <= farm.weeks.count:
                expected[month_of(farm, week)] += lot.pieces * float(lot.life.alive[week])
        drawn = found.reaching[cell]
        assert drawn.mean(axis=0) == pytest.approx(expected, abs=0.2)
        certain = expected == 0
        assert not drawn[:, certain].any()
    left = found.supply[SMALL].mean(axis=0)[-1]
    alive = sum(v.pieces * float(v.life.alive[26]) for v in PlanView(farm, plan).lots.values() if v.life.reached("small", 26))
    assert left == pytest.approx(alive, abs=0.3)


def test_a_lot_alone_gives_binomial_counts() -> None:
    farm = rack_farm([(-2, 20)], settings=CERTAIN)
    drawn = outlook(farm, draws=20_000).reaching[SMALL]
    course = life(farm, "AMB", -2, -2, (BRIGHT,))
    p = float(course.alive[course.ready["small"]])
    m = month_of(farm, course.ready["small"])
    assert drawn[:, m].mean() == pytest.approx(20 * p, abs=0.06)
    assert drawn[:, m].var() == pytest.approx(20 * p * (1 - p), rel=0.05)
    assert int(drawn.max()) <= 20


def test_moment_matched_counts_are_exact_where_chances_are_alike() -> None:
    rng = np.random.default_rng(1)
    drawn = draw_counts(rng, np.full(50_000, 30 * 0.8), np.full(50_000, 30 * 0.8**2))
    assert (drawn.mean(), drawn.var(), drawn.max()) == (pytest.approx(24, abs=0.05), pytest.approx(4.8, rel=0.03), 30)
    assert draw_counts(rng, np.zeros(3), np.zeros(3)).tolist() == [0, 0, 0]
    factors = log_normal(rng, log_spread(0.5), (200_000,))
    assert (factors.mean(), factors.std()) == (pytest.approx(1, abs=0.01), pytest.approx(0.5, rel=0.03))


# ---- what is uncertain --------------------------------------------------------------------------------------------------


def test_the_same_seed_gives_the_same_draws() -> None:
    farm = rack_farm([(-2, 20), (-4, 20)])
    first, again, other = outlook(farm), outlook(farm), outlook(farm, seed=2)
    assert (first.total == again.total).all()
    assert (first.total != other.total).any()


def test_shared_shocks_make_losses_of_a_tank_go_together() -> None:
    lots = [(-2, 30)] * 30

    def spread(tanks: int, **settings: float) -> float:
        farm = rack_farm(lots, tanks=tanks, settings=CERTAIN | settings, death_early=0.06)
        return float(outlook(farm, draws=3000).total.sum(axis=1).std())

    alone, one_tank, many = spread(1, shock_spread=0.0), spread(1, shock_spread=0.8), spread(10, shock_spread=0.8)
    assert one_tank > 1.5 * many > 1.5 * alone


def test_growth_spread_spreads_the_months_but_loses_nothing() -> None:
    farm = rack_farm([(-2, 40)] * 5)
    certain = rack_farm([(-2, 40)] * 5, settings=CERTAIN)
    wide, narrow = outlook(farm).sellable["AMB"], outlook(certain).sellable["AMB"]
    assert (wide.mean(axis=0) > 1).sum() > (narrow.mean(axis=0) > 1).sum()
    assert wide.sum(axis=1).mean() == pytest.approx(narrow.sum(axis=1).mean(), rel=0.03)


def test_planned_cuts_give_as_many_pieces_as_cuts_have_given() -> None:
    records = tuple(past_cut(f"C{i}", i + 1, 20, 16) for i in range(500))
    farm = rack_farm(settings={"pieces_spread": 0.0}, tables={"past_cuts": records})
    farm = replace(farm, lots=())
    cut, stand = planned_cut(farm, "N1", 1, 40)
    drawn = outlook(farm, draws=2000, cuts=(cut,), stands=(stand,)).sellable["AMB"]
    whole = outlook(replace(farm, past_cuts=()), draws=2000, cuts=(cut,), stands=(stand,)).sellable["AMB"]
    assert drawn.sum(axis=1).mean() == pytest.approx(0.8 / 0.9 * whole.sum(axis=1).mean(), rel=0.03)


def simulate(farm: Farm, rng: np.random.Generator) -> np.ndarray:
    """Frags by month reaching the first class, one after the other by hand: a truth of the kind the forecast believes in."""
    s, traits, weeks = farm.settings, farm.traits("AMB"), farm.weeks
    growth = np.exp(rng.normal() * log_spread(s.default_growth_spread) - log_spread(s.default_growth_spread) ** 2 / 2)
    shock = np.exp(rng.normal(size=(len(farm.tanks), len(weeks.months) + 1)) * s.shock_spread - s.shock_spread**2 / 2)
    found = np.zeros(len(weeks.months))
    for lot in farm.lots:
        cut, tank = weeks.week_of(lot.cut_date), int(lot.rack[1 : lot.rack.index("-")])
        own = np.exp(rng.normal() * s.lot_growth_spread - s.lot_growth_spread**2 / 2)
        for _ in range(lot.alive):
            rate = growth * own * np.exp(rng.normal() * s.frag_growth_spread - s.frag_growth_spread**2 / 2)
            size = 30.0
            for week in range(cut + 1, weeks.count + 1):
                early = week - 1 - cut < traits.early_weeks
                loss = traits.death_early + traits.detach_early if early else traits.death_late + traits.detach_late
                month = 0 if week < 1 else month_of(farm, week) + 1
                if rng.random() < 1 - (1 - loss) ** shock[tank, month]:
                    break
                size += rate
                if size >= 40 and week >= cut + 3:
                    if week >= 1:
                        found[month_of(farm, week)] += 1
                    break
    return found


def test_the_interval_holds_as_often_as_it_says_on_farms_of_its_own_kind() -> None:
    rng = np.random.default_rng(5)
    settings = {"default_loss_spread": 0.01}
    hits: list[bool] = []
    for _ in range(50):
        lots = [(int(rng.integers(-8, 1)), int(rng.integers(4, 12))) for _ in range(6)]
        farm = rack_farm(lots, tanks=2, settings=settings)
        found = outlook(farm, draws=500, seed=int(rng.integers(1, 10**6)))
        actual = simulate(farm, rng)
        busy = found.total.mean(axis=0) >= 1
        hits += interval_hits(found.total[:, busy], actual[busy], rng).tolist()
    assert len(hits) > 150
    assert 0.73 <= np.mean(hits) <= 0.87


# ---- sales --------------------------------------------------------------------------------------------------------------


def test_frags_sold_as_small_do_not_become_large_and_late_ones_stay_until_they_are_small() -> None:
    farm = rack_farm([(-2, 30)], settings=CERTAIN | {"frag_growth_spread": 0.3})
    kept = outlook(farm, draws=2000)
    sold = outlook(farm, draws=2000, sales=(market_sale("L0000", 8, 30),))
    assert sold.reaching[SMALL].mean() == pytest.approx(kept.reaching[SMALL].mean(), rel=0.02)
    assert sold.reaching[LARGE].mean() < 0.2 * kept.reaching[LARGE].mean()
    cleared = outlook(farm, draws=2000, sales=(market_sale("L0000", 8, 30, route="clear"),))
    assert cleared.reaching[SMALL].mean() < 0.7 * kept.reaching[SMALL].mean()


def order(quantity: int, week: int, **more: Any) -> Order:
    facts: dict[str, Any] = {"channel": "ship", "strain": "AMB", "size_class": "small", "price": Decimal(20)} | more
    return Order(order="one", quantity=quantity, due=MONDAY + timedelta(weeks=week - 1), **facts)


def test_orders_are_covered_with_the_chance_of_a_binomial_where_all_else_is_certain() -> None:
    from scipy.stats import binom

    farm = rack_farm([(-2, 30)], settings=CERTAIN, tables={"orders": (order(20, 12),)}, good_share=0.9)
    sale = market_sale("L0000", 12, 25, route="order", order="one")
    chance = outlook(farm, draws=20_000, sales=(sale,)).orders[0]
    course = life(farm, "AMB", -2, -2, (BRIGHT,))
    p = 0.9 * float(course.alive[12])
    assert (chance.started, chance.by_due) == (25, 25)
    assert chance.on_time == pytest.approx(float(binom.sf(19, 25, p)), abs=0.012)
    assert chance.at_all == pytest.approx(chance.on_time, abs=1e-9)
    assert chance.with_market > chance.on_time
    assert chance.wanted is not None
    assert chance.wanted > 25
    assert binom.sf(19, chance.wanted, p) == pytest.approx(0.9, abs=0.05)


def test_an_order_packed_late_or_not_at_all() -> None:
    farm = rack_farm([(-2, 30)], tables={"orders": (order(10, 5),)})
    late = outlook(farm, sales=(market_sale("L0000", 14, 20, route="order", order="one"),)).orders[0]
    assert (late.started, late.by_due, late.on_time, late.wanted) == (20, 0, 0.0, None)
    assert late.at_all > 0.9
    never = outlook(farm).orders[0]
    assert (never.started, never.on_time, never.at_all) == (0, 0.0, 0.0)
    refused = rack_farm([(-2, 30)], tables={"orders": (order(10, 5, late_ok=False),)})
    assert outlook(refused, sales=(market_sale("L0000", 14, 20, route="order", order="one"),)).orders[0].at_all == 0


def test_pieces_wanted_for_an_order_by_mean_and_shared_luck() -> None:
    rng = np.random.default_rng(4)
    assert pieces_for(100, 125, rng.binomial(125, 0.8, 200_000), 0.95) in (134, 135, 136)
    together = rng.binomial(125, np.clip(rng.normal(0.8, 0.08, 200_000), 0, 1))
    wanted = pieces_for(100, 125, together, 0.95)
    assert wanted is not None
    assert wanted > 145
    assert pieces_for(10, 0, np.zeros(5, dtype=np.int64), 0.9) is None
    assert pieces_for(10, 5, np.zeros(5, dtype=np.int64), 0.9) is None


def test_what_can_be_promised_grows_with_patience_and_never_counts_what_is_promised() -> None:
    farm = rack_farm([(-4, 30), (-2, 30)])
    free = outlook(farm, draws=2000)
    promise = free.promise(SMALL)
    assert len(promise) == len(free.months) + 1
    assert promise[1] <= promise[2] <= promise[3]
    share = (free.supply[SMALL][:, 3] >= promise[3]).mean()
    assert share >= 0.9 > (free.supply[SMALL][:, 3] >= promise[3] + 1).mean()
    assert free.promise(SMALL, 0.5)[3] > promise[3]
    month = free.earliest(SMALL, promise[2])
    assert month is not None
    assert month <= free.months[1]
    assert free.earliest(SMALL, 61) is None
    bound = replace(farm, orders=(order(20, 20),))
    left = outlook(bound, draws=2000, sales=(market_sale("L0000", 15, 30, route="order", order="one"),))
    assert left.promise(SMALL)[-1] < promise[-1] / 1.5


def test_frags_in_quarantine_or_too_old_cannot_be_promised() -> None:
    farm = rack_farm([(-12, 30)], settings=CERTAIN)
    system = farm.systems[0].model_copy(update={"quarantined": True, "release_date": MONDAY + timedelta(weeks=10)})
    quarantined = outlook(replace(farm, systems=(system,)))
    assert quarantined.promise(SMALL)[1] == 0 < quarantined.promise(SMALL)[4]
    old = outlook(rack_farm([(-12, 30)], settings=CERTAIN | {"max_rack_weeks": 20}))
    assert old.promise(SMALL)[1] > 0 == old.promise(SMALL)[-1]


def test_shortages_and_gluts() -> None:
    market = (Market(strain="AMB", size_class="small", quantity=12.0),)
    few = outlook(rack_farm([(-12, 6)], settings=CERTAIN, tables={"market": market}))
    assert (few.short_chance(SMALL) == 1).all()
    assert (few.glut_chance(SMALL) == 0).all()
    many = outlook(rack_farm([(-12, 40), (-12, 40)], settings=CERTAIN, tables={"market": market}))
    assert (many.short_chance(SMALL) == 0).all()
    assert (many.glut_chance(SMALL) == 1).all()
    planned = many.farm.weeks.planned_in_month(many.months[0]) / many.farm.weeks.weeks_in_month(many.months[0])
    assert many.demand[SMALL][0] == pytest.approx(12 * planned)
    assert many.ahead[SMALL][0] == pytest.approx(36)


def test_quantile_of_the_promise() -> None:
    assert at_least_with(np.arange(100)[:, None], 0.9).tolist() == [10]
    assert at_least_with(np.full((7, 1), 3), 0.99).tolist() == [3]


def test_a_plan_of_other_weeks_is_refused() -> None:
    farm = rack_farm()
    plan = rack_plan(rack_farm(settings={"horizon_weeks": 8}))
    with pytest.raises(ValueError, match="a plan of 8 weeks"):
        forecast(farm, plan)


def test_learned_lots_and_strains_move_the_forecast() -> None:
    farm = rack_farm([(-10, 30)])
    fast = rack_farm([(-10, 30)], tables={"counts": (count("L0000", 1, 28, size_mm=45.0),)})
    slow = rack_farm([(-10, 30)], tables={"counts": (count("L0000", 1, 28, size_mm=36.0),)})
    first = [outlook(f, draws=2000).reaching[LARGE][:, 1:3].mean() for f in (slow, farm, fast)]
    assert first[0] < first[2]
    assert learn(fast).lots["L0000"].mean > 0 > learn(slow).lots["L0000"].mean


def test_a_measured_lot_is_surer_than_its_strain() -> None:
    known = rack_farm([(-10, 30)], tables={"counts": (count("L0000", 1, 30, size_mm=40.0),)})
    spread = [float(outlook(f, draws=2000).reaching[LARGE][:, 2].std()) for f in (known, rack_farm([(-10, 30)]))]
    assert spread[0] < 0.9 * spread[1]


def test_frags_left_when_the_ready_ones_were_sold_are_still_to_come() -> None:
    """Of 40 frags 20 were sold as small when half of them should have reached it: the 20 left have it before them."""
    settings = CERTAIN | {"frag_growth_spread": 0.2}
    whole = rack_farm([(-10, 40)], settings=settings, **NO_LOSS)
    lot = whole.lots[0].model_copy(update={"alive": 20, "blocks": ("A1:A20",), "count_date": MONDAY - timedelta(days=3)})
    sold = replace(whole, lots=(lot,), counts=(count("L0000", 0, 20, sold=20).model_copy(update={"date": lot.count_date}),))
    unknown = replace(sold, counts=())
    expected, left, naive = (outlook(f, draws=2000).sellable["AMB"].mean(axis=0) for f in (whole, sold, unknown))
    assert left.sum() == pytest.approx(min(expected.sum(), 20), abs=0.5)
    assert left[0] == pytest.approx(expected[0], abs=2)
    assert naive.sum() == pytest.approx(expected.sum() / 2, abs=0.5)
    since = replace(whole, lots=(lot.model_copy(update={"count_date": whole.lots[0].cut_date}),))
    assert learn(since).lots["L0000"].sold == 20


def test_sizes_of_what_is_left_tell_of_it_and_do_not_slow_the_strain() -> None:
    rows = (count("L0000", 6, 30, size_mm=36.0), count("L0000", 1, 12, sold=18, size_mm=38.5))
    learned = learn(rack_farm([(-10, 30)], tables={"counts": rows}))
    lot = learned.lots["L0000"]
    assert lot.mean < -0.05
    assert (lot.sold, lot.frags < 1) == (0, True)
    assert learned.value("AMB", GROWTH) > 1
