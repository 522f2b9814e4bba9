"""The bound and its prices: against one model of the whole season, against solving again, and against Little's law."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from decimal import Decimal
from functools import lru_cache
from itertools import islice
from threading import Event

import numpy as np
import pytest

from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING, Kind, missing_minutes, outside_offers
from scheduler.farm.people import StandingWork
from scheduler.farm.work import standing_minutes
from scheduler.season.columns import Season
from scheduler.season.relaxation import ENOUGH_STOPPED, Relaxation, Relaxed, relax
from tests.audit.small_farm import changed, small_farm
from tests.farms import random_farm
from tests.season.one_model import OneModel, every_programme
from tests.season.season_farm import bound_of, season_of, use_of, worth_of

MOST_PROGRAMMES = 400
EVERYDAY = (0, 2, 3, 6, 7, 9, 10, 11)


@lru_cache(maxsize=64)
def farm_of(seed: int) -> Farm:
    """A random farm of two colonies over eight weeks, every second one tight; small enough to list every programme."""
    farm = random_farm(seed, 2, tight=bool(seed % 2), weeks=8)
    few = [c for c in farm.colonies if len(list(islice(every_programme(farm, c), MOST_PROGRAMMES + 1))) <= MOST_PROGRAMMES]
    farm = replace(farm, colonies=tuple(few))
    if any(missing_minutes(_standing(farm, w), outside_offers(farm, w)) > 0 for w in farm.weeks.all):
        # standing work that does not fit is no plan's doing; the one model has no way to leave it undone
        farm = changed(replace(farm, standing=()), "settings", rack_clean_minutes=0.0)
    return farm


def _standing(farm: Farm, week: int) -> dict[Kind, float]:
    need = standing_minutes(farm, week)
    return {CARING: need["care"], PACKING: need["pack"]}


def busy_farm() -> Farm:
    """The small farm with little spare time, so that overtime pays."""
    few = tuple(c for c in small_farm().colonies if c.colony in ("A1", "B1"))
    farm = replace(small_farm(), colonies=tuple(c.model_copy(update={"count": 24.0}) for c in few))
    return replace(farm, standing=(StandingWork(task="paper", skill="pack", minutes_per_week=412.0),))


# ---- one model --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", EVERYDAY)
def test_the_relaxation_is_the_linear_programme_of_all_programmes_and_routes(seed: int) -> None:
    farm = farm_of(seed)
    relaxed = bound_of(farm, season={"single": True})
    exact = OneModel(farm, whole=False).solve()
    assert relaxed.value == pytest.approx(exact, rel=1e-6, abs=1e-6)
    assert relaxed.bound == pytest.approx(exact, rel=1e-5, abs=1e-3)
    assert relaxed.bound >= exact - 1e-6 * abs(exact)


@pytest.mark.parametrize("seed", EVERYDAY)
def test_no_whole_season_beats_the_bound(seed: int) -> None:
    farm = farm_of(seed)
    assert bound_of(farm).bound >= OneModel(farm, whole=True).solve() - 1e-4


def test_overtime_is_bought_where_it_pays() -> None:
    farm = busy_farm()
    relaxed, exact = bound_of(farm, season={"single": True}), OneModel(farm, whole=False).solve()
    assert relaxed.value == pytest.approx(exact, rel=1e-6)
    assert relaxed.bound == pytest.approx(exact, rel=1e-5)
    dear = changed(farm, "settings", overtime_wage_per_hour=Decimal(500))
    assert bound_of(dear).value < relaxed.value - 1


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(20, 120))
def test_many_farms_against_one_model(seed: int) -> None:
    farm = farm_of(seed)
    relaxed = bound_of(farm, season={"single": True})
    assert relaxed.value == pytest.approx(OneModel(farm, whole=False).solve(), rel=1e-6, abs=1e-6)
    assert bound_of(farm).bound >= max(OneModel(farm, whole=True).solve(), relaxed.value) - 1e-4


@pytest.mark.parametrize("seed", range(3))
def test_merging_zones_into_classes_only_relaxes(seed: int) -> None:
    farm = random_farm(seed, 7, tight=True, weeks=8)
    assert bound_of(farm).value >= bound_of(farm, season={"single": True}).value - 1e-4


@pytest.mark.parametrize("seed", range(2))
def test_every_round_gives_a_bound_and_the_last_one_is_the_best(seed: int) -> None:
    farm = random_farm(seed, 7)
    exact = bound_of(farm).value
    bounds = [relax(season_of(farm), rounds=n).bound for n in (1, 3, 8)]
    assert all(b >= exact - 1e-6 for b in bounds)
    assert bounds == sorted(bounds, reverse=True)


def test_prices_to_begin_with_change_the_way_and_not_the_end() -> None:
    farm = random_farm(4, 12)
    cold = bound_of(farm)
    warm = bound_of(farm, warm=cold.prices.rows)
    assert warm.value == pytest.approx(cold.value, rel=1e-6)
    assert warm.rounds <= cold.rounds


def test_the_same_farm_gets_the_same_bound_and_prices() -> None:
    first, second = (bound_of(random_farm(5, 12)) for _ in range(2))
    assert (first.bound, first.value, first.rounds) == (second.bound, second.value, second.rounds)
    assert np.array_equal(first.prices.rows, second.prices.rows)


# ---- prices -----------------------------------------------------------------------------------------------------------


def optimum(season: Season, row: int, more: float) -> Relaxed:
    """The relaxation with one limit raised."""
    what = season.capacity.rows[row]
    before = float(season.capacity.limits[row])
    season.capacity.set_limit(what.kind, what.subject, what.week, before + more)
    try:
        return relax(season, rounds=200, enough=1e-9)
    finally:
        season.capacity.set_limit(what.kind, what.subject, what.week, before)


@pytest.mark.parametrize("seed", [1, 4])
def test_one_more_of_anything_gains_no_more_than_its_price_and_less_each_time(seed: int) -> None:
    """Sensitivity of a linear programme: the value is concave in its limits and a price is a slope from above."""
    season = season_of(random_farm(seed, 4, tight=True, weeks=8))
    base = relax(season, rounds=200, enough=1e-9)
    prices = base.prices.rows
    dearest = {row.kind: i for i in np.argsort(prices) for row in [season.capacity.rows[i]] if prices[i] > 1e-6}
    assert dearest
    near = 1e-5 * abs(base.value)
    for row in dearest.values():
        one, two = (optimum(season, row, more).value for more in (1.0, 2.0))
        assert -near <= one - base.value <= prices[row] + near
        assert two - one <= one - base.value + near


def test_a_limit_that_is_not_reached_has_no_price() -> None:
    season = season_of(random_farm(3, 8))
    relaxed = relax(season, rounds=200, enough=1e-9)
    used = np.zeros(len(season.capacity.rows))
    for column, amount in zip(relaxed.columns, relaxed.amounts, strict=True):
        for row, each in column.uses.items():
            used[row] += amount * each
    slack = season.capacity.limits - used
    paid = np.array([r.kind not in ("outside", "overtime") for r in season.capacity.rows])  # overtime widens those
    assert (slack[paid] >= -1e-6).all()
    assert float(np.abs(slack * relaxed.prices.rows)[paid].sum()) <= 1e-4 * relaxed.value


# ---- Little's law -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_positions_held_are_the_pieces_that_come_times_how_long_they_stay(seed: int) -> None:
    """Little (1961), Operations Research 9:383-387 (from memory): stock = rate of arrival x mean time in the system."""
    farm = changed(random_farm(seed, 10), "settings", near_weeks=1, count_weeks=1)
    never_die = {"death_early": 0.0, "death_late": 0.0, "detach_early": 0.0, "detach_late": 0.0}
    farm = replace(changed(farm, "groups", **never_die), lots=())
    season = season_of(farm)
    relaxed = relax(season, rounds=200, enough=1e-9)
    stock, came, stayed = defaultdict[str, float](float), defaultdict[str, float](float), defaultdict[str, float](float)
    for column, amount in zip(relaxed.columns, relaxed.amounts, strict=True):
        for row, each in column.uses.items():
            if season.capacity.rows[row].kind == "system":
                stock[str(season.capacity.rows[row].subject)] += amount * each / farm.weeks.count
        for cut in column.cuts:
            system = season.tracks.classes[season.tracks.light_class[cut.track]].system
            traits = farm.traits(season.colonies[column.source].strain)
            pieces = amount * cut.pieces * traits.plug_rows * traits.plug_cols
            came[system] += pieces / farm.weeks.count
            stayed[system] += pieces * (min(cut.leaves, farm.weeks.count + 1) - cut.week)
    assert sum(came.values()) > 0
    for system in farm.system:
        mean_stay = stayed[system] / (came[system] * farm.weeks.count) if came[system] else 0.0
        assert stock[system] == pytest.approx(came[system] * mean_stay, abs=1e-6)


def test_what_a_relaxation_met_is_mixed_anew_within_other_limits() -> None:
    """Within its own limits as before; within less, never worth more, and prices that prove it the best of its columns."""
    season = season_of(random_farm(4, 16, tight=True))
    relaxation = Relaxation(season, elastic=True)
    relaxed = relaxation.solve(rounds=200, enough=1e-9)
    limits, sources = season.capacity.limits, season.amounts
    same = relaxation.mix(limits, sources)
    assert worth_of(same) == pytest.approx(relaxed.value - season.constant, rel=1e-6)
    gone = sources * (np.arange(len(sources)) >= 5)
    less = relaxation.mix(0.7 * limits, gone)
    assert 0 < worth_of(less) < worth_of(same)
    for source in range(len(sources)):
        mine = sum(a for c, a in zip(less.columns, less.amounts, strict=True) if c.source == source)
        assert mine == pytest.approx(gone[source], abs=1e-6)
    used = use_of(season, less)
    hard = np.array([row.kind not in ("outside", "overtime", "positions", "system") for row in season.capacity.rows])
    assert (used <= 0.7 * limits + 1e-5)[hard].all()  # overtime and fines stretch the others
    again = relaxation.mix(limits, sources)
    assert worth_of(again) == pytest.approx(worth_of(same), rel=1e-6)


@pytest.mark.parametrize("seed", [0, 2, 3])
def test_who_wants_to_stop_waits_for_prices_that_are_worth_something(seed: int) -> None:
    season, stop = season_of(random_farm(seed, 12, weeks=16)), Event()
    stop.set()
    stopped, solved = relax(season, stop=stop), relax(season)
    assert stopped.rounds < solved.rounds
    assert stopped.bound >= solved.value
    assert stopped.bound - stopped.value <= ENOUGH_STOPPED * stopped.bound
