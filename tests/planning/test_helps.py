"""What would help: prices times amounts, never less than solving again leaves.

The optimum of a linear programme is concave in its right-hand sides, and a dual price bounds what a raise can gain from
above: Bertsimas & Tsitsiklis 1997, Introduction to Linear Optimization, sections 5.2 to 5.4.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from scheduler.farm.farm import Farm
from scheduler.plan.model import Help
from scheduler.planning.helps import EXPLAINED, helps
from scheduler.season.columns import Season
from scheduler.season.levers import FRAGS, levers, ranking
from scheduler.season.relaxation import Relaxed, relax
from tests.audit.small_farm import changed, small_farm
from tests.farms import random_farm
from tests.planning.priced_farm import ready_lot, season_of, selling_farm


def found(farm: Farm, *, explain: bool = False) -> tuple[Help, ...]:
    return helps(*season_of(farm), explain=explain)


def of_kind(rows: tuple[Help, ...], kind: str) -> list[Help]:
    return [h for h in rows if h.kind == kind]


# ---- prices times amounts -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=[1, 2, 3])
def priced(request: pytest.FixtureRequest) -> tuple[Season, Relaxed]:
    return season_of(random_farm(request.param, 6, tight=True, weeks=8))


def test_solving_again_never_gains_more_than_price_times_amount(priced: tuple[Season, Relaxed]) -> None:
    season, relaxed = priced
    tried = [x for x in ranking(season, relaxed).levers if x[1] > 0.01]
    assert tried
    for lever, at_most in tried[:8]:
        pulled = relax(season.raised(lever.limits, lever.sources), enough=1e-7, rounds=200, warm=relaxed.prices.rows)
        gained = pulled.bound - relaxed.bound - lever.already
        assert gained <= at_most + 1e-6 * abs(relaxed.bound), lever
        assert gained >= -lever.already - 1e-6 * abs(relaxed.bound), lever


def test_a_raised_season_leaves_the_first_alone(priced: tuple[Season, Relaxed]) -> None:
    season, _ = priced
    before, amounts = season.capacity.limits.copy(), season.amounts.copy()
    other = season.raised({0: 5.0}, {0: 1.0})
    assert other.capacity.limits[0] == before[0] + 5
    assert other.amounts[0] == amounts[0] + 1
    assert np.array_equal(season.capacity.limits, before)
    assert np.array_equal(season.amounts, amounts)


def test_explained_gains_are_told_for_the_first_and_one_of_every_kind(priced: tuple[Season, Relaxed]) -> None:
    rows = helps(*priced, explain=True)
    told = [n for n, h in enumerate(rows) if h.up_to is not None]
    assert set(range(min(EXPLAINED, len(rows)))) <= set(told)
    assert {rows[n].kind for n in told} == {h.kind for h in rows}
    assert all(h.up_to is None or Decimal(0) <= h.up_to <= h.gain for h in rows)
    assert [h.gain for h in rows] == sorted((h.gain for h in rows), reverse=True)
    assert all(h.up_to is None for h in helps(*priced, explain=False))


def test_prices_by_week_add_up_to_the_gain() -> None:
    rows = found(random_farm(2, 6, tight=True, weeks=8))
    weekly = [h for h in rows if h.kind in ("boxes", "new frags")]
    for h in weekly:
        assert float(h.gain) == pytest.approx(sum(float(p.price) for p in h.prices) * float(h.amount), rel=0.2, abs=0.1)


# ---- farms where the one thing missing is known -------------------------------------------------------------------------


def test_more_buyers_are_worth_list_less_discount_where_ready_frags_wait() -> None:
    """Ready frags, a small list market and nothing else short: a buyer more brings 20 - 5 on every frag that makes grade."""
    farm = selling_farm(wanted={"A": 1.0}, discount="5", lots=[ready_lot(24, block="A1:D6")], end_months=0)
    farm = changed(farm, "colonies", condition="no cut")
    (row,) = of_kind(found(farm), "market")
    assert "A (A)" in row.text
    assert "10 more frags a month" in row.text
    months = {farm.weeks.month(w) for w in farm.weeks.all}
    parts = {m: farm.weeks.planned_in_month(m) / farm.weeks.weeks_in_month(m) for m in months}
    for price in row.prices:
        assert float(price.price) == pytest.approx((20 - 5) * parts[farm.weeks.month(price.week)], abs=0.01)
    assert float(row.gain) == pytest.approx(15 * FRAGS * sum(parts.values()), abs=0.1)


def test_a_lot_smaller_than_the_buyers_gains_less_when_solved_again() -> None:
    """Six frags can be sold dearer by 15 each at most, however many would be bought."""
    farm = selling_farm(wanted={"A": 0.0}, discount="5", lots=[ready_lot(6)], end_months=0)
    farm = changed(farm, "colonies", condition="no cut")
    (row,) = of_kind(found(farm, explain=True), "market")
    assert row.up_to is not None
    assert float(row.up_to) <= 6 * 15 + 0.01
    assert row.up_to < row.gain


def test_nothing_helps_a_farm_with_nothing_to_sell() -> None:
    farm = changed(selling_farm(wanted={"A": 0.0}, end_months=0), "colonies", condition="no cut")
    assert found(farm) == ()


def test_a_full_tank_asks_for_a_rack_and_says_where() -> None:
    """Sixty colonies' worth of demand and one rack of eight holes: positions are what is missing."""
    farm = selling_farm(racks={"T-a": (2, 4)}, horizon_weeks=12)
    rows = found(farm)
    (rack,) = of_kind(rows, "rack")
    assert rack.text == "one more rack of 8 positions at about PAR 200, medium flow, in tank T"
    assert rack.gain > 0
    assert rack.prices
    roomy = selling_farm(racks={"T-a": (20, 30)}, horizon_weeks=12)
    assert not of_kind(found(roomy), "rack")


def test_short_sessions_ask_for_bench_hours_and_name_the_day_and_skills() -> None:
    people = {"Ada": ("cutters", "mount", "pack", "care")}
    farm = selling_farm(racks={"T-a": (20, 30)}, people=people, sessions=({"minutes": 35.0, "weekday": "Fri"},), horizon_weeks=10)
    (bench,) = of_kind(found(farm), "bench hours")
    assert bench.text == "two more bench hours on Fridays, by somebody with cutters, mount"
    assert bench.gain > 0
    rested = selling_farm(
        racks={"T-a": (20, 30)}, people=people, sessions=({"minutes": 600.0, "weekday": "Fri"},), horizon_weeks=10
    )
    assert not of_kind(found(rested), "bench hours")


def test_a_mother_more_is_worth_what_she_yields_not_what_she_is() -> None:
    """An unlimited market and room: her gain is positive, and nothing where her frags are worth less than the work."""
    (mother,) = of_kind(found(selling_farm(racks={"T-a": (20, 30)})), "mother")
    assert mother.text == "one more mother of A (A), like A1"
    assert mother.gain > 0
    assert not of_kind(found(selling_farm(wanted={"A": 0.0}, racks={"T-a": (20, 30)})), "mother")


def test_sessions_whose_hours_are_worth_the_same_share_a_line() -> None:
    sessions = ({"minutes": 30.0, "weekday": "Tue", "session": "one"}, {"minutes": 30.0, "weekday": "Fri", "session": "two"})
    people = {"Ada": ("cutters", "mount", "pack", "care")}
    farm = selling_farm(racks={"T-a": (20, 30)}, people=people, sessions=sessions, horizon_weeks=10)
    (bench,) = of_kind(found(farm), "bench hours")
    assert "on Tuesdays or Fridays" in bench.text


def test_orders_that_refuse_parts_count_in_full_when_solved_again() -> None:
    """Their limit is taken away once the bound is known; both bounds compared must have it."""
    season, relaxed = season_of(small_farm())
    before = helps(season, relaxed, explain=True)
    season.capacity.set_limit("order", "whole", 0, 0.0)
    assert helps(season, relaxed, explain=True) == before


def test_every_lever_raises_something() -> None:
    farm = replace(small_farm())
    season, relaxed = season_of(farm)
    for lever in levers(season, relaxed):
        assert lever.amount > 0
        assert all(raise_ > 0 for raise_ in lever.limits.values())
        assert lever.limits or lever.sources or lever.kind in ("boxes", "other hours", "bench hours")
