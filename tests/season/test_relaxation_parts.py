"""Large farms: the relaxation begun in parts and solved by interior points bounds the same season."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.season import parts, relaxation
from scheduler.season.relaxation import ENOUGH, LOOSER, relax
from tests.farms import random_farm
from tests.season.season_farm import bound_of, season_of


@pytest.fixture
def small_is_large(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(relaxation, "LARGE", 1)
    monkeypatch.setattr(parts, "PART", 6)


@pytest.mark.usefixtures("small_is_large")
@pytest.mark.parametrize("seed", [2, 5])
def test_a_season_begun_in_parts_has_the_same_bound_up_to_where_it_ends(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    farm = random_farm(seed, 14, tight=True, weeks=12)
    found = relax(season_of(farm))
    monkeypatch.setattr(relaxation, "LARGE", 10**6)
    exact = bound_of(farm)
    assert found.bound >= exact.value - 1e-4
    assert found.value <= exact.bound + 1e-4
    assert found.bound - found.value <= LOOSER * ENOUGH * abs(found.bound) + 1e-5
    assert {c.source for c in found.columns} == set(range(len(season_of(farm).amounts)))


@pytest.mark.usefixtures("small_is_large")
def test_the_same_farm_gets_the_same_prices_again() -> None:
    first, second = (relax(season_of(random_farm(5, 14))) for _ in range(2))
    assert (first.bound, first.value, first.rounds) == (second.bound, second.value, second.rounds)
    assert np.array_equal(first.prices.rows, second.prices.rows)


def test_a_part_prices_its_own_strains_as_the_whole_season_does() -> None:
    season = season_of(random_farm(3, 14))
    rows = np.linspace(0.0, 2.0, len(season.capacity.rows))
    chosen = sorted(season.strains)[::2]
    part = season.part(chosen, season.capacity.limits)
    whole, few = season.price(rows), part.price(rows)
    worth, makers = season.reduced(whole)
    mine, some = part.reduced(few)
    assert 0 < len(part.sources) < len(season.sources)
    assert {season.strain_of[i] for i in part.sources} <= set(chosen)
    assert np.array_equal(mine[part.sources], worth[part.sources])
    assert [make() for make in some] == [makers[i]() for i in part.sources]
    assert part.amounts.sum() == season.amounts[part.sources].sum()
    later = season.part(chosen, season.capacity.limits)  # of a season that has been priced already
    assert np.array_equal(later.reduced(later.price(rows))[0], mine)
