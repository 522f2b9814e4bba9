"""The bound with whole programmes strain by strain: between the season's own bound and anything whole."""

from __future__ import annotations

import pytest

from tests.benchmarks.strain_bound import StrainBounds
from tests.farms import random_farm
from tests.season.one_model import OneModel
from tests.season.season_farm import bound_of, season_of
from tests.season.test_relaxation import EVERYDAY, farm_of


@pytest.mark.parametrize("seed", range(3))
def test_the_terms_of_the_strains_and_what_they_share_make_up_the_bound(seed: int) -> None:
    farm = random_farm(seed, 7, weeks=10)
    season, relaxed = season_of(farm), bound_of(farm)
    terms = StrainBounds(season, relaxed)
    own = {row for rows in terms.own.values() for row in rows}
    shared = sum(p * b for r, (p, b) in enumerate(zip(relaxed.prices.rows, season.capacity.limits, strict=True)) if r not in own)
    total = sum(terms.term(strain) for strain in season.strains)
    lots_alone = [n for j, lot in enumerate(season.lots) if lot.strain not in season.strains for n in [(j, lot)]]
    total += sum(lot.pieces * float(relaxed.prices.ways.worth[season.tracks.lot_from + j]) for j, lot in lots_alone)
    total += sum(
        relaxed.prices.rows[r] * season.capacity.limits[r]
        for strain, rows in terms.own.items()
        if strain not in season.strains
        for r in rows
    )
    assert total + shared + season.constant == pytest.approx(relaxed.bound, rel=1e-6)


@pytest.mark.parametrize("seed", EVERYDAY)
def test_it_lies_between_the_best_whole_season_and_the_relaxation(seed: int) -> None:
    farm = farm_of(seed)
    relaxed = bound_of(farm)
    terms = list(StrainBounds(season_of(farm), relaxed))
    assert all(t.whole <= t.relaxed for t in terms)
    assert relaxed.bound - sum(t.relaxed - t.whole for t in terms) >= OneModel(farm, whole=True).solve() - 1e-4


def test_it_gains_where_whole_cuts_do_not_suit_a_market() -> None:
    gains = []
    for seed in EVERYDAY:
        farm = farm_of(seed)
        gains += [t.relaxed - t.whole for t in StrainBounds(season_of(farm), bound_of(farm))]
    assert max(gains) > 1.0


def test_programmes_out_of_reach_are_allowed_for() -> None:
    farm = farm_of(EVERYDAY[0])
    relaxed = bound_of(farm)
    near = list(StrainBounds(season_of(farm), relaxed, reach=0.5))
    assert all(t.whole >= t.relaxed - 0.5 - 1e-9 for t in near)
