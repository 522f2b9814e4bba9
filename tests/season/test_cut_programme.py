"""The best cut programme of one colony against every sequence of cuts, and what waiting is worth."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial
from itertools import pairwise
from typing import Any

import pytest

from scheduler.biology.growth import after_cut, curve, grow, most_pieces, season_open, uncut_level
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.season.worth import PATIENCE, Worth, programme
from tests.audit.small_farm import MONDAY, small_farm
from tests.farms import one_strain_farm


def colony_of(count: float, **more: Any) -> Colony:
    facts: dict[str, Any] = {"condition": "fit", "condition_date": MONDAY, "tank": "T", "strain": "A", "par_umol": 200.0}
    return Colony(**({"colony": "A1", "count": count, "count_date": MONDAY} | facts | more))


def by_trying(farm: Farm, colony: Colony, patience: float, week: int, level: int, rested: int) -> float:
    """Best worth from a week on, by trying every cut in every week."""
    traits, last = farm.traits(colony.strain), farm.weeks.count
    sizes = curve(traits)
    if week > last:
        return max(0.0, sizes[level] - traits.keep_pieces) * farm.settings.end_colony_share
    onward = partial(by_trying, farm, colony, patience)
    best = patience * onward(week + 1, grow(sizes, level, 1), rested)
    if colony.condition != "fit" or not season_open(farm, colony, week) or week < rested:
        return best
    for pieces in range(traits.min_pieces, most_pieces(traits, sizes[level]) + 1):
        again = min(week + traits.rest_weeks, last + 1)
        landed = grow(sizes, after_cut(sizes, level, pieces), again - week - traits.pause_weeks)
        best = max(best, pieces + patience ** (again - week) * onward(again, landed, again))
    return best


FARMS = {
    "linear": {"growth_law": "linear", "growth_per_week": 2.0, "rest_weeks": 2, "start_units": 10, "cap_units": 40},
    "exponential": {"growth_law": "exponential", "growth_per_week": 0.08, "rest_weeks": 3, "start_units": 12, "cap_units": 60},
    "logistic": {"growth_law": "logistic", "growth_per_week": 0.3, "rest_weeks": 2, "start_units": 10, "cap_units": 35, "pause_weeks": 2},
    "no rest": {"growth_law": "linear", "growth_per_week": 3.0, "rest_weeks": 1, "pause_weeks": 1, "start_units": 10, "cap_units": 22},
    "closed": {"growth_law": "linear", "growth_per_week": 2.0, "rest_weeks": 2, "closed_months": (12,), "cap_units": 50},
}  # fmt: skip


@pytest.mark.parametrize("name", FARMS)
@pytest.mark.parametrize("patience", [1.0, 0.94])
@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_the_programme_is_the_best_of_all_sequences(name: str, patience: float, share: float) -> None:
    traits = {"unit_per_piece": 1.0, "keep_pieces": 6, "min_pieces": 3, "max_share": 0.5} | FARMS[name]
    farm = one_strain_farm(settings={"horizon_weeks": 5, "end_colony_share": share, "plan_monday": MONDAY}, **traits)
    colony = colony_of(20.0)
    found = programme(farm, colony, patience)
    top = len(curve(farm.traits("A"))) - 1
    for level in {0, top // 3, top // 2, top, uncut_level(farm, colony, 1)}:
        for week in (1, 3, 5):
            assert found.worth[week, level] == pytest.approx(by_trying(farm, colony, patience, week, level, 1), abs=1e-6)


def test_following_the_programme_earns_what_it_promises() -> None:
    farm = one_strain_farm(settings={"horizon_weeks": 10}, unit_per_piece=1.0, cap_units=60, rest_weeks=3)
    colony = colony_of(30.0)
    traits, sizes = farm.traits("A"), curve(farm.traits("A"))
    found = programme(farm, colony, PATIENCE)
    week, level, total = 1, uncut_level(farm, colony, 1), 0.0
    promised = found.worth[1, level]
    while week <= 10:
        pieces = int(found.take[week, level])
        total += PATIENCE ** (week - 1) * pieces
        step = min(traits.rest_weeks, 11 - week) if pieces else 1
        level = grow(sizes, after_cut(sizes, level, pieces), step - traits.pause_weeks) if pieces else grow(sizes, level, 1)
        week += step
    total += PATIENCE**10 * max(0.0, sizes[level] - traits.keep_pieces) * farm.settings.end_colony_share
    assert total == pytest.approx(promised)


def test_a_colony_that_is_not_fit_is_never_cut() -> None:
    farm = one_strain_farm()
    assert programme(farm, colony_of(60.0, condition="watch"), 1.0).take.sum() == 0
    several = replace(farm, colonies=(colony_of(60.0), colony_of(60.0, colony="A2", condition="no cut")))
    assert set(Worth(several).programmes) == {"A1"}


def test_waiting_is_what_the_best_programme_loses_by_a_cut_now() -> None:
    farm = small_farm()
    worth = Worth(farm)
    colony = farm.colony["A1"]
    costs = [worth.waiting(colony, 1, n) for n in range(4, 25)]
    assert all(b >= a - 1e-9 for a, b in pairwise(costs))
    rested = replace(farm, colonies=(colony.model_copy(update={"last_cut": date(2026, 11, 24)}),))
    assert Worth(rested).waiting(rested.colonies[0], 2, 8) <= worth.waiting(colony, 2, 8)


# ---- what a piece is worth --------------------------------------------------------------------------------------------


def test_prices_by_grade() -> None:
    worth = Worth(small_farm())
    # 90 % make grade: 0.9 x 20 + 0.1 x 10, and at the discount 0.9 x 5 + 0.1 x 10
    assert worth.graded_price("AAA", "small") == pytest.approx(19)
    assert worth.graded_price("AAA", "small", discount=True) == pytest.approx(5.5)
    assert worth.graded_price("AAA", "huge") == 0


def test_costs_of_work() -> None:
    farm = small_farm()
    worth = Worth(farm)
    # 1.0 cutting, 1.0 mounting and 0.5 for the label at 22 an hour, and a plug at 0.35
    assert worth.work_cost("AAA") == pytest.approx(2.5 / 60 * 22 + 0.35)
    assert worth.colony_cost(farm.colony["A1"]) == pytest.approx(6 / 60 * 22)
    assert worth.packing_cost() == pytest.approx((1.5 + 4 / 10) / 60 * 22)


def test_a_piece_is_worth_its_sale_less_the_work_to_come() -> None:
    farm = small_farm()
    worth = Worth(farm)
    listed, beyond = worth.piece("AAA", 1, 200.0), worth.piece("AAA", 1, 200.0, discount=True)
    assert 0 < beyond < listed < 20
    # one early week loses 20 % of the pieces
    assert listed == pytest.approx(0.8 * (19 - worth.packing_cost()) - worth.work_cost("AAA"))
    assert worth.piece("AAA", 1, 200.0) > Worth(small_rate(10)).piece("AAA", 1, 200.0)


def small_rate(percent: float) -> Farm:
    farm = small_farm()
    return replace(farm, settings=farm.settings.model_copy(update={"interest_percent_per_year": percent}))


def test_a_piece_that_never_reaches_a_class_is_worth_nothing() -> None:
    farm = one_strain_farm(classes=(("huge", 5000.0),))
    assert Worth(farm).piece("A", 1, 200.0) == 0
