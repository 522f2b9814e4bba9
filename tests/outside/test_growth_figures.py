"""Growth laws against published growth: factors over a season, doubling times, weeks to a size."""

from __future__ import annotations

import math

import pytest

from scheduler.biology.growth import curve, size_after
from scheduler.biology.life import weeks_to_class
from scheduler.farm.coral import Traits
from tests.farms import one_strain_farm

MONTH_WEEKS = 365.25 / 12 / 7


def traits_of(law: str, per_week: float, cap: float = 1e6) -> Traits:
    farm = one_strain_farm(growth_law=law, growth_per_week=per_week, start_units=1, cap_units=cap, unit_per_piece=1)
    return farm.traits("A")


def factor_at(traits: Traits, days: float) -> float:
    """Size after so many days as a multiple of the start: geometric between whole weeks."""
    week, part = divmod(days / 7, 1)
    before, after = size_after(traits, int(week)), size_after(traits, int(week) + 1)
    return before * (after / before) ** part


def test_nursery_volume_over_306_days() -> None:
    # Shafir et al. 2006, Mar Biol 149:679-687 (abstract): 1.67 % a day, 147-163 times the volume after 306 days.
    # The rate is rounded: 1.67 % exactly gives 165.7, 1.7 % over the top of that range; 147-163 means 1.631-1.665 % a day.
    published = factor_at(traits_of("exponential", 7 * 0.0167), 306)
    assert published == pytest.approx(165.7, rel=1e-3)
    assert 147 * 0.98 <= published <= 163 * 1.02
    for rate, factor in ((0.01631, 147), (0.01665, 163)):
        assert factor_at(traits_of("exponential", 7 * rate), 306) == pytest.approx(factor, rel=5e-3)


# Rate a day and the doubling time that follows, ln 2 / rate: Shafir et al. 2006 (as above); Favia favus, +159 % in
# 270 days, floating nursery (Proc 10th Int Coral Reef Symp 1674-1679, 2006, abstract).
DOUBLING = [(0.0167, 41.51), (0.003525, 196.7)]


@pytest.mark.parametrize(("per_day", "days"), DOUBLING)
def test_doubling_time_of_exponential_growth(per_day: float, days: float) -> None:
    traits = traits_of("exponential", 7 * per_day)
    assert factor_at(traits, days) == pytest.approx(2, rel=1e-3)
    sizes = curve(traits)
    first = next(level for level, size in enumerate(sizes) if size >= 2)
    assert first == math.ceil(days / 7)


def test_favia_grows_159_percent_in_270_days() -> None:
    assert factor_at(traits_of("exponential", 7 * 0.003525), 270) == pytest.approx(2.59, rel=1e-3)


def test_linear_growth_of_encrusting_plugs() -> None:
    # Acropora palmata, land nursery, Front Mar Sci 8:623963, 2021 (abstract): +545 % in 193 days. Linear: +100 % at 35.4 days.
    per_week = 5.45 / 193 * 7
    traits = traits_of("linear", per_week)
    weeks = 193 / 7
    assert size_after(traits, 0) + per_week * weeks == pytest.approx(6.45)
    assert size_after(traits, 27) < 6.45 < size_after(traits, 28)
    assert size_after(traits, 5) < 2 < size_after(traits, 6)
    assert 1 / per_week * 7 == pytest.approx(35.4, abs=0.05)


def test_logistic_growth_solves_its_equation() -> None:
    # dN/dt = r N (1 - N/K): the closed form against small Euler steps.
    rate, cap = 0.2, 50.0
    traits = traits_of("logistic", rate, cap)
    size, steps = 1.0, 2_000
    for _ in range(10 * steps):
        size += rate * size * (1 - size / cap) / steps
    assert size_after(traits, 10) == pytest.approx(size, rel=1e-4)
    # fastest at half the cap
    gains = [size_after(traits, w + 1) - size_after(traits, w) for w in range(60)]
    assert size_after(traits, gains.index(max(gains))) == pytest.approx(cap / 2, rel=0.15)


# Median linear extension of a genus over studies and species, mm a month: Coral Trait Database, export of 3 April 2017
# (Madin et al. 2016, Sci Data 3:160017). Aquarium records run 1.5-3.3 times the genus median.
GENUS = {"Acropora": 5.16, "Montipora": 2.49, "Pocillopora": 2.32, "Stylophora": 1.56, "Porites": 0.84, "Pavona": 0.82}
AQUARIUM = (1.5, 3.3)


@pytest.mark.parametrize(("genus", "per_month"), GENUS.items())
def test_weeks_to_grow_ten_millimetres_at_the_rate_of_a_genus(genus: str, per_month: float) -> None:
    weeks = []
    for times in (1.0, *AQUARIUM):
        farm = one_strain_farm(classes=[("small", 35)], frag_mm=25, frag_mm_per_week=per_month / MONTH_WEEKS * times, par_k=100)
        need = weeks_to_class(farm.traits("A"), farm.size_classes("A")[0], 2000)
        assert need / MONTH_WEEKS * per_month * times == pytest.approx(10, rel=1e-6), genus
        weeks.append(need)
    assert weeks[0] > weeks[1] > weeks[2]
    if genus == "Acropora":
        assert weeks == pytest.approx([8.43, 5.62, 2.55], abs=0.01)
    assert 2 < weeks[2] <= weeks[1] < 40


def test_dim_light_makes_it_slower_and_darkness_never() -> None:
    farm = one_strain_farm(classes=[("small", 35)], frag_mm=25, frag_mm_per_week=1, par_k=100)
    traits, small = farm.traits("A"), farm.size_classes("A")[0]
    assert weeks_to_class(traits, small, 100) == pytest.approx(10 / math.tanh(1))
    assert weeks_to_class(traits, small, 0) == math.inf
    assert weeks_to_class(traits, farm.size_classes("A")[0].model_copy(update={"min_mm": 25.0}), 0) == 0
