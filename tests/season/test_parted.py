"""Seasons in parts: every part within its share of the limits, all of them together within the farm's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.season_plan import SeasonPlan, plan_season
from scheduler.season import parts
from scheduler.season.capacity import Row
from scheduler.season.chosen import as_relaxed
from scheduler.season.columns import Season
from scheduler.season.parted import PartedRelaxation
from scheduler.season.parts import Parts
from scheduler.season.relaxation import Relaxed, relax
from tests.farms import random_farm
from tests.season.season_farm import season_of, use_of, worth_of

STRETCHED = ("outside", "overtime", "positions", "system")
"""Rows that overtime and fines stretch, besides those of one strain alone."""


@pytest.fixture(autouse=True)
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts, "PART", 6)


def planned(season: Season, relaxed: Relaxed) -> SeasonPlan:
    return SeasonPlan(season, relaxed, as_relaxed(season, relaxed), None)


def test_parts_have_every_strain_once_and_about_as_many_each() -> None:
    season = season_of(random_farm(1, 14))
    dealt = parts.dealt(season, 3)
    assert sorted(s for part in dealt for s in part) == sorted(set(season.strain_of))
    assert max(map(len, dealt)) - min(map(len, dealt)) <= 1


@pytest.mark.parametrize("seed", [2, 5, 9])
def test_what_all_parts_may_use_is_what_the_farm_may(seed: int) -> None:
    """Divided evenly or by what is wanted; rows of one strain alone are whole for its part, and nothing for others."""
    season = season_of(random_farm(seed, 16, tight=True))
    wanted = planned(season, relax(season)).use_for(season)
    for found in (Parts(season), Parts(season, wanted)):
        seasons = found.seasons()
        assert len(seasons) == len(found) > 2
        together = sum((part.capacity.limits for part in seasons), np.zeros(len(season.capacity.rows)))
        assert together == pytest.approx(season.capacity.limits, abs=1e-6)
        for n, row in enumerate(season.capacity.rows):
            if row.kind in ("market", "end market"):
                mine = row.subject[1] if row.kind == "market" else row.subject  # type: ignore[index]
                for part, strains in zip(seasons, found.strains, strict=True):
                    assert part.capacity.limits[n] == (season.capacity.limits[n] if mine in strains else 0.0)
    more = [part.capacity.limits for part in Parts(season, wanted).seasons()]
    even = [part.capacity.limits for part in Parts(season).seasons()]
    assert not np.allclose(more, even)


@pytest.mark.parametrize("seed", [2, 5, 9])
def test_parts_reach_nearly_what_the_whole_season_does_and_stay_within_it(seed: int) -> None:
    season = season_of(random_farm(seed, 16, tight=True))
    whole = relax(season, rounds=200, enough=1e-7)
    parted = PartedRelaxation(season, wanted=planned(season, whole).use_for(season)).solve(enough=1e-7)
    assert parted.value <= whole.bound + 1e-4
    assert parted.value == pytest.approx(worth_of(parted) + season.constant, rel=1e-6)
    assert parted.value - season.constant >= 0.9 * (whole.value - season.constant)
    hard = np.array([row.kind not in ("outside", "overtime") for row in season.capacity.rows])
    assert (use_of(season, parted) <= season.capacity.limits + 1e-5)[hard].all()
    for source, amount in enumerate(season.amounts):
        mine = sum(a for c, a in zip(parted.columns, parted.amounts, strict=True) if c.source == source)
        assert mine == pytest.approx(amount, abs=1e-6)


def test_parts_are_mixed_anew_within_what_is_left() -> None:
    season = season_of(random_farm(4, 16, tight=True))
    relaxation = PartedRelaxation(season, elastic=True)
    relaxed = relaxation.solve(enough=1e-7)
    limits, sources = season.capacity.limits, season.amounts
    assert worth_of(relaxation.mix(limits, sources)) >= worth_of(relaxed) * (1 - 1e-6)  # what one did not use another may
    gone = sources * (np.arange(len(sources)) >= 5)
    less = relaxation.mix(0.7 * limits, gone)
    assert 0 < worth_of(less) < worth_of(relaxed)
    for source in range(len(sources)):
        mine = sum(a for c, a in zip(less.columns, less.amounts, strict=True) if c.source == source)
        assert mine == pytest.approx(gone[source], abs=1e-6)
    hard = np.array([row.kind not in STRETCHED for row in season.capacity.rows])
    assert (use_of(season, less) <= 0.7 * limits + 1e-5)[hard].all()
    assert (less.rows >= 0).all()


def test_the_same_farm_is_divided_and_priced_the_same_again() -> None:
    first, second = (PartedRelaxation(season_of(random_farm(5, 14))).solve() for _ in range(2))
    assert (first.bound, first.value) == (second.bound, second.value)
    assert np.array_equal(first.prices.rows, second.prices.rows)


def test_what_strains_used_is_told_to_the_rows_of_later_weeks_by_zone() -> None:
    """Of a light zone its strain is taken to want what it used of the zone's class; weeks are the same by the calendar."""
    farm = random_farm(5, 16, tight=True)
    first = plan_season(farm, [], pins=[], seed=1)
    later = Season(farm, [], first=farm.weeks.near_weeks.stop, single=True)
    wanted, used = first.use_for(later), first.use_for(first.season)
    assert sum(used.values(), np.zeros(len(first.season.capacity.rows))) == pytest.approx(
        use_of(first.season, first.relaxed), abs=1e-6
    )
    compared = 0
    for n, row in enumerate(later.capacity.rows):
        then: Row = row
        if row.kind == "positions":
            zone = next(c for c in later.capacity.classes if c.id == row.subject).zones[0]
            then = replace(row, subject=first.season.capacity.classes[first.season.tracks.class_of[zone.id]].id)
        k = first.season.capacity.index[then]
        assert all(wanted[s][n] == used[s][k] for s in wanted)
        compared += row.kind == "positions" and any(wanted[s][n] > 0 for s in wanted)
    assert compared > 10
