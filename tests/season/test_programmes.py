"""The dynamic programme over (week, level) against every sequence of cuts, tried one by one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from functools import cache, lru_cache
from random import Random
from typing import Any

import numpy as np
import pytest

from scheduler.biology.growth import after_cut, curve, grow, levels, most_pieces, rested_from, season_open, uncut_level
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Pin
from scheduler.season.programmes import StrainProgrammes, start_of
from tests.audit.small_farm import MONDAY
from tests.farms import one_strain_farm
from tests.week.bench_farm import tiny_farm

LAWS: dict[str, dict[str, Any]] = {
    "linear": {"growth_law": "linear", "growth_per_week": 2.0, "rest_weeks": 2, "start_units": 10, "cap_units": 40},
    "exponential": {"growth_law": "exponential", "growth_per_week": 0.08, "rest_weeks": 3, "start_units": 12, "cap_units": 60},
    "logistic": {"growth_law": "logistic", "growth_per_week": 0.3, "rest_weeks": 2, "pause_weeks": 2, "start_units": 10, "cap_units": 35},
    "no rest": {"growth_law": "linear", "growth_per_week": 3.0, "rest_weeks": 1, "pause_weeks": 1, "start_units": 10, "cap_units": 22},
    "closed": {"growth_law": "linear", "growth_per_week": 2.0, "rest_weeks": 2, "closed_months": (12,), "cap_units": 50},
    "slow": {"growth_law": "linear", "growth_per_week": 0.3, "rest_weeks": 2, "start_units": 10, "cap_units": 40},
}  # fmt: skip

HORIZON = 6


def farm_by(law: str, random: Random, pins: tuple[Pin, ...] = ()) -> Farm:
    """One strain with the growth law, random limits on its cuts, and three colonies."""
    traits = {
        "unit_per_piece": random.choice((0.7, 1.0, 2.5)), "keep_pieces": random.randint(0, 8), "min_pieces": random.randint(1, 4),
        "max_share": random.choice((0.3, 0.5, 1.0)),
    }  # fmt: skip
    farm = one_strain_farm(settings={"horizon_weeks": HORIZON, "near_weeks": 2, "plan_monday": MONDAY}, **(traits | LAWS[law]))
    colonies = tuple(
        Colony(
            colony=f"A{i}", strain="A", tank="T", par_umol=200, count=random.uniform(5, 50), count_date=MONDAY, condition=fit,
            condition_date=MONDAY, last_cut=random.choice((None, date(2026, 11, 10), date(2026, 11, 24))),
        )
        for i, fit in enumerate(("fit", "fit", "watch"))
    )  # fmt: skip
    return replace(farm, systems=tiny_farm().systems, tanks=tiny_farm(tanks={"T": "North"}).tanks, colonies=colonies, pins=pins)


def programmes_of(farm: Farm, first: int = 1, cuts: Mapping[str, Mapping[int, int]] | None = None) -> StrainProgrammes:
    colonies = list(farm.colonies)
    starts = {c.colony: start_of(farm, c, first, (cuts or {}).get(c.colony, {})) for c in colonies}
    return StrainProgrammes(farm, "A", colonies, starts, first, frozenset(p.pin for p in farm.pins))


def best_by_trying(farm: Farm, colony: Colony, most: Mapping[int, int], piece: Any, cost: Any, end: Any) -> float:
    """Best worth over every number of pieces in every week. ``most``: pieces that pins allow in a week."""
    traits, sizes = farm.traits("A"), curve(farm.traits("A"))
    last = farm.weeks.count

    @cache
    def onward(week: int, cut: int | None, level: int) -> float:
        """From a week on, given the week of the last cut of the plan and the level it left (or none)."""
        now = uncut_level(farm, colony, week) if cut is None else grow(sizes, level, week - cut - traits.pause_weeks)
        if week > last:
            return float(end[now])
        best = onward(week + 1, cut, level)
        rested = rested_from(farm, colony) if cut is None else cut + traits.rest_weeks
        if colony.condition == "fit" and week >= rested and season_open(farm, colony, week) and np.isfinite(piece[week]):
            for n in range(traits.min_pieces, min(most_pieces(traits, sizes[now]), most.get(week, 10**6)) + 1):
                best = max(best, n * piece[week] - cost[week] + onward(week + 1, week, after_cut(sizes, now, n)))
        return best

    return onward(1, None, 0)


def is_lawful(farm: Farm, colony: Colony, most: Mapping[int, int], cuts: Mapping[int, int]) -> bool:
    """C1-C4 and the pins, cut by cut."""
    traits, sizes = farm.traits("A"), curve(farm.traits("A"))
    before = levels(farm, colony, dict(cuts))
    free = rested_from(farm, colony)
    for week, n in sorted(cuts.items()):
        size = sizes[before[week]]
        if week < free or not season_open(farm, colony, week) or n > most.get(week, n) or n < traits.min_pieces:
            return False
        if n > traits.max_share * size + 1e-9 or size - n < traits.keep_pieces - 1e-9:
            return False
        free = week + traits.rest_weeks
    return colony.condition == "fit" or not cuts


def money(random: np.random.Generator, programmes: StrainProgrammes) -> tuple[Any, Any, Any]:
    """Random worth of a piece (some weeks without a place, some at a loss), cost of a cut, worth of size at the end."""
    shape = (len(programmes.colonies), programmes.last + 2)
    piece = random.uniform(-0.5, 2.0, shape)
    piece[random.random(shape) < 0.15] = -np.inf
    cost = random.uniform(0, 3, shape)
    end = np.cumsum(random.uniform(0, 1, (shape[0], len(programmes.sizes))), axis=1)
    return piece, cost, end


def check_against_all(farm: Farm, pinned: Mapping[int, int], seed: int) -> None:
    programmes = programmes_of(farm)
    piece, cost, end = money(np.random.default_rng(seed), programmes)
    table, choice = programmes.solve(piece, cost, end)
    promised = programmes.worth_of_start(table)
    for i, colony in enumerate(farm.colonies):
        most = pinned if colony.colony == "A0" else {}
        by_level = {level: end[i, programmes.index(level)] for level in range(len(curve(farm.traits("A"))))}
        assert promised[i] == pytest.approx(best_by_trying(farm, colony, most, piece[i], cost[i], by_level), abs=1e-7)
        found = programmes.follow(choice, i)
        cuts = dict(found.cuts)
        assert is_lawful(farm, colony, most, cuts)
        assert found.end_level == levels(farm, colony, cuts, until=HORIZON + 1)[HORIZON + 1]
        earned = sum(n * piece[i, w] - cost[i, w] for w, n in cuts.items()) + by_level[found.end_level]
        assert earned == pytest.approx(promised[i], abs=1e-7)


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("seed", range(6))
def test_no_sequence_of_cuts_beats_the_programme(law: str, seed: int) -> None:
    check_against_all(farm_by(law, Random(seed)), {}, seed)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("most", [0, 3, 5])
def test_pins_on_cuts_hold_in_the_near_weeks_alone(seed: int, most: int) -> None:
    pin = {"kind": "no cut"} if most == 0 else {"kind": "at most", "pieces": most}
    farm = farm_by(("linear", "slow", "exponential")[seed % 3], Random(seed), (Pin(pin="P1", colony="A0", **pin),))
    check_against_all(farm, dict.fromkeys((1, 2), most), seed)


@lru_cache(maxsize=1)
def with_session() -> Farm:
    """A farm with a session on Tuesdays and one on Thursdays."""
    return tiny_farm(sessions=({"session": "early"}, {"session": "late", "weekday": "Thu"}), near_weeks=2)


@pytest.mark.parametrize(
    ("dates", "open_weeks"),
    [
        ({}, {3}),
        ({"from_date": date(2026, 12, 3)}, {1, 3}),  # the session of Tuesday is before it
        ({"to_date": date(2026, 12, 8)}, {2, 3}),  # the session of Thursday is after it
        ({"from_date": date(2026, 12, 1), "to_date": date(2026, 12, 3)}, {2, 3}),
    ],
)
def test_a_pin_bars_a_week_only_if_it_covers_all_its_sessions(dates: dict[str, date], open_weeks: set[int]) -> None:
    farm = replace(with_session(), pins=(Pin(pin="P1", kind="no cut", colony="A1", **dates),))
    may = programmes_of(farm).may_cut[0]
    assert {w for w in (1, 2, 3) if may[w]} == open_weeks


def test_of_two_pins_on_a_colony_the_tighter_one_binds() -> None:
    rows = tuple(Pin(pin=f"P{n}", kind="at most", colony="A1", pieces=n) for n in (6, 4, 9))
    assert programmes_of(replace(with_session(), pins=rows)).at_most == {(0, 1): 4, (0, 2): 4}


@pytest.mark.parametrize("before", [{}, {1: 4}, {1: 5, 3: 4}])
@pytest.mark.parametrize("law", LAWS)
def test_planning_goes_on_from_the_cuts_already_decided(law: str, before: dict[int, int]) -> None:
    farm = farm_by(law, Random(1))
    traits = farm.traits("A")
    for colony in farm.colonies:
        start = start_of(farm, colony, 4, before)
        rested = max(before) + traits.rest_weeks if before else rested_from(farm, colony)
        assert start.week == max(4, min(HORIZON + 1, rested))
        assert start.level == levels(farm, colony, before, until=HORIZON + 1)[start.week]
