"""Why a colony is cut or not, on farms made so that the reason is known, and always as the season's prices say."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from scheduler.farm.farm import Farm
from scheduler.farm.trade import Order, Pin
from scheduler.plan.model import Held, Plan, Why
from scheduler.planning.pipeline import plan_farm
from scheduler.season.stakes import ALL, Stakes
from scheduler.solving import Limits
from tests.audit.small_farm import MONDAY, changed
from tests.farms import random_farm
from tests.planning.priced_farm import season_of, selling_farm

LIMITS = Limits(seconds=600, deterministic=0.5, seed=1)
TWO = {"A1": ("A", "M"), "A2": ("A", "M")}
ROOM = {"T-a": (8, 12)}


def planned(farm: Farm) -> Plan:
    return plan_farm(farm, limits=LIMITS).plan


def why(plan: Plan, colony: str) -> Why:
    return next(w for w in plan.why if w.colony == colony)


def held(plan: Plan, colony: str) -> Held:
    return next(h for h in plan.held if h.colony == colony)


def one_cut_farm(**more: Any) -> Farm:
    """Colonies at their cap that are cut once at most, where money is dear: waiting brings nothing but delay."""
    strains = {"A": {"cap_units": 60.0, "rest_weeks": 12}}
    facts: dict[str, Any] = {
        "strains": strains,
        "racks": ROOM,
        "end_months": 0,
        "horizon_weeks": 8,
        "interest_percent_per_year": 60,
    }
    return selling_farm(**(facts | more))


# ---- cut ----------------------------------------------------------------------------------------------------------------


def test_a_colony_that_pays_now_says_what_it_brings() -> None:
    plan = planned(one_cut_farm(wanted={"A": 60.0}))
    row = why(plan, "A1")
    assert row.reason == "worth more now"
    assert row.at_stake > 0
    assert (row.colony, row.week) == ("A1", 1)
    assert "pieces now bring" in row.detail
    assert {w.colony for w in plan.why} == {c.colony for c in plan.cuts if c.week == 1}


def test_a_cut_for_an_order_names_it() -> None:
    due = MONDAY + timedelta(weeks=7)
    order = Order(order="big", channel="ship", strain="A", size_class="small", quantity=10, price=60, due=due)  # type: ignore[arg-type]
    plan = planned(replace(one_cut_farm(wanted={"A": 0.0}, short_cost="20"), orders=(order,)))
    row = why(plan, "A1")
    assert row.reason == "for an order"
    assert f"go to order big, due {due}" in row.detail


def test_a_pinned_cut_says_so_and_what_it_costs() -> None:
    pins = (Pin(pin="P1", kind="cut", colony="A1"),)
    plan = planned(one_cut_farm(wanted={"A": 0.0}, pins=pins))
    row = why(plan, "A1")
    assert row.reason == "pinned"
    assert "pin P1 asks for it" in row.detail
    assert row.at_stake <= 0


# ---- not cut ------------------------------------------------------------------------------------------------------------


def test_a_resting_colony_says_until_when_and_what_it_would_bring() -> None:
    farm = changed(one_cut_farm(wanted={"A": 60.0}), "colonies", last_cut=MONDAY - timedelta(weeks=10))
    row = held(planned(farm), "A1")
    assert row.reason == "resting"
    assert row.ready_week == 3
    assert "until 2026-12-14" in row.detail
    assert row.at_stake is not None


def test_a_growing_colony_is_worth_more_grown_on() -> None:
    """One cut in eight weeks, paid the same whenever it is made, and growth of a tenth a week goes with it."""
    strains = {"A": {"growth_law": "exponential", "growth_per_week": 0.1, "rest_weeks": 12, "cap_units": 500.0}}
    farm = selling_farm(strains=strains, racks=ROOM, wanted={"A": 1000.0}, horizon_weeks=8)
    row = held(planned(farm), "A1")
    assert row.reason == "worth more grown on"
    assert row.at_stake is not None
    assert row.at_stake > 0
    season, relaxed = season_of(farm)
    now = Stakes(season, relaxed).best(farm.colony["A1"], 1, free=ALL)
    assert now is not None
    assert float(row.at_stake) == pytest.approx(-now.ahead, rel=0.02)


def test_a_full_rack_leaves_no_place_for_the_other_colony() -> None:
    """Room for one colony's thirty pieces; the other has no place in its light, and would bring what it costs to wait."""
    plan = planned(one_cut_farm(mothers=TWO, racks={"T-a": (5, 7)}, wanted={"A": 60.0}))
    (_,) = plan.why
    (row,) = plan.held
    assert row.reason == "no place in its light"
    assert "positions in its light go to" in row.detail
    assert row.at_stake is not None
    assert row.at_stake > 0


def test_a_rack_full_of_lots_leaves_no_place_at_all() -> None:
    farm = changed(one_cut_farm(wanted={"A": 60.0}), "colonies", par_umol=60.0)
    row = held(planned(farm), "A1")
    assert row.reason == "no place in its light"
    assert "PAR 42 to 69" in row.detail


def test_a_session_too_short_for_two_leaves_no_hands() -> None:
    """Ada alone, with the minutes one colony takes."""
    people = {"Ada": ("cutters", "mount", "pack", "care")}
    plan = planned(one_cut_farm(mothers=TWO, people=people, sessions=({"minutes": 100.0},), wanted={"A": 200.0}))
    assert len(plan.why) == 1
    (row,) = plan.held
    assert row.reason == "no hands with that skill"


def test_no_session_with_the_method_is_no_hands() -> None:
    people = {"Ada": ("mount", "pack", "care")}
    row = held(planned(one_cut_farm(people=people, wanted={"A": 60.0})), "A1")
    assert row.reason == "no hands"


def test_a_market_one_colony_fills_is_full_for_the_other() -> None:
    """Frags beyond the market are worth nothing, so the second colony would work for nothing."""
    plan = planned(one_cut_farm(mothers=TWO, wanted={"A": 14.0}))
    assert len(plan.why) == 1
    (row,) = plan.held
    assert row.reason == "market full"
    assert row.at_stake is not None
    assert row.at_stake > 0


def test_a_pin_against_a_cut_tells_what_it_costs() -> None:
    pins = (Pin(pin="P1", kind="no cut", colony="A1", to_date=date(2026, 12, 6)),)
    row = held(planned(one_cut_farm(wanted={"A": 60.0}, pins=pins)), "A1")
    assert row.reason == "pinned"
    assert "pin P1 holds it back" in row.detail


# ---- as the prices say --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 6])
def test_the_best_cut_now_and_waiting_make_up_the_best_programme(seed: int) -> None:
    """The season's programme of a colony is the better of waiting and the best cut of a near week."""
    farm = random_farm(seed, 8, weeks=10)
    season, relaxed = season_of(farm)
    stakes = Stakes(season, relaxed)
    tried = 0
    for programmes, who in season.strains.values():
        strain = programmes.strain
        table = relaxed.prices.tables[strain][0]
        best = programmes.worth_of_start(table)
        for k, i in enumerate(who):
            colony, begin = season.colonies[int(i)], farm.weeks.near_weeks.stop
            weeks = [w for w in farm.weeks.near_weeks if programmes.may_cut[k, w]]
            if programmes.starts[k].week > 1 or not weeks or programmes.rest < farm.weeks.near:
                continue
            grown = programmes.index(programmes.starts[k].level)
            wait = table[begin, k, min(grown + begin - programmes.starts[k].week, len(programmes.sizes) - 1)]
            found = [s.ahead for w in weeks if (s := stakes.best(colony, w)) is not None]
            assert float(best[k]) == pytest.approx(float(wait) + max([0.0, *found]), abs=1e-6)
            tried += 1
    assert tried


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_leaving_a_price_out_never_makes_a_cut_worse(seed: int) -> None:
    farm = random_farm(seed, 6, tight=True, weeks=8)
    season, relaxed = season_of(farm)
    stakes = Stakes(season, relaxed)
    for colony in farm.colonies:
        if colony.condition == "fit":
            full = stakes.best(colony, 1)
            if full is not None:
                for what in sorted(ALL):
                    free = stakes.best(colony, 1, free=(what,))
                    assert free is not None
                    assert free.ahead >= full.ahead - 1e-9


@pytest.mark.parametrize("seed", [5, 6])
def test_every_colony_has_one_reason_and_reasons_agree_with_the_money(seed: int) -> None:
    farm = random_farm(seed, 10, weeks=10)
    plan = planned(farm)
    near = {c.colony for c in plan.cuts if c.week in farm.weeks.near_weeks}
    assert sorted(w.colony for w in plan.why) == sorted(near)
    assert sorted(h.colony for h in plan.held) == sorted({c.colony for c in farm.colonies} - near)
    for row in plan.why:
        assert row.reason != "worth more now" or row.at_stake > 0
        assert row.reason not in ("market open", "room left over") or row.at_stake <= 0
    for kept in plan.held:
        assert kept.at_stake is None or kept.at_stake >= 0
        assert kept.reason
        assert kept.detail
