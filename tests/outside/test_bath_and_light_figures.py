"""Daily light, gallons, drops and the iodine bath against definitions and published figures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from scheduler.biology.light import growth_factor, rack_par
from scheduler.farm.settings import Settings
from scheduler.farm.units import DROPS_PER_ML, LITRES_PER_US_GALLON, daily_light_integral

# DLI [mol m-2 d-1] = PAR [µmol m-2 s-1] x photoperiod [h] x 3600 / 1e6, by definition. The first three lights are those of
# Huang et al. 2020, Sci Rep 10:19988 (105, 157, 250 µmol m-2 s-1 for 12 h).
DAILY_LIGHT = [(105, 12, 4.536), (157, 12, 6.7824), (250, 12, 10.8), (200, 10, 7.2), (100, 8, 2.88), (350, 9, 11.34)]
# DiPerna et al. 2018, PLoS ONE 13:e0203882 worked at 32 and 6 mol m-2 d-1; over 12 h that is this PAR.
INVERSE = [(740.74, 12, 32), (138.89, 12, 6)]


@pytest.mark.parametrize(("par", "hours", "daily"), DAILY_LIGHT)
def test_daily_light_integral(par: float, hours: float, daily: float) -> None:
    assert daily_light_integral(par, hours) == pytest.approx(daily, rel=1e-12)


@pytest.mark.parametrize(("par", "hours", "daily"), INVERSE)
def test_daily_light_integral_backwards(par: float, hours: float, daily: float) -> None:
    assert daily_light_integral(par, hours) == pytest.approx(daily, rel=1e-5)


def test_a_us_gallon_is_231_cubic_inches() -> None:
    # NIST Handbook 44, Appendix C: 1 gallon = 231 in3; 1 in = 25.4 mm exactly.
    assert float(LITRES_PER_US_GALLON) == pytest.approx(231 * 0.254**3, rel=1e-12)


def test_a_drop_of_the_usual_dropper() -> None:
    # USP 32 <1101>: drops of 45-55 mg of water; 20 drops deliver 1 mL, 10 % more or less.
    milligrams = 1000 / float(DROPS_PER_ML)
    assert 45 <= milligrams <= 55
    assert Settings().drops_per_ml == float(DROPS_PER_ML)


def test_forty_drops_of_five_percent_stock_a_gallon_is_the_default_bath() -> None:
    # 5 % stock: 50 mg I2 per mL (pharmacopoeial composition, from memory), 2.5 mg in a drop of 0.05 mL.
    s = Settings()
    per_drop = s.iodine_stock_percent * 10 / s.drops_per_ml
    assert per_drop == pytest.approx(2.5)
    assert 40 * per_drop / float(LITRES_PER_US_GALLON) == pytest.approx(26.4, abs=0.05)
    assert s.iodine_mg_per_litre == 26.4
    # 10 drops a litre of the same stock is 25 mg/L: the top of the usual 5-10 drops (from memory).
    assert 10 * per_drop == pytest.approx(25.0)


light = st.floats(10, 900)


@given(st.tuples(light, light, light, light), st.integers(2, 12), st.integers(2, 12))
def test_light_between_corners_is_bilinear_as_scipy_has_it(corners: tuple[float, ...], rows: int, cols: int) -> None:
    found = rack_par(corners, rows, cols)  # type: ignore[arg-type]
    grid = RegularGridInterpolator(([0.0, rows - 1.0], [0.0, cols - 1.0]), np.array(corners).reshape(2, 2), method="linear")
    places = np.stack(np.meshgrid(np.arange(rows), np.arange(cols), indexing="ij"), axis=-1)
    assert np.allclose(found, grid(places), rtol=1e-9)


@given(st.tuples(light, light, light, light), st.integers(1, 12), st.integers(1, 12))
def test_light_stays_between_its_corners_and_its_mean_is_theirs(corners: tuple[float, ...], rows: int, cols: int) -> None:
    found = rack_par(corners, rows, cols)  # type: ignore[arg-type]
    assert found.shape == (rows, cols)
    assert found.min() >= min(corners) - 1e-9
    assert found.max() <= max(corners) + 1e-9
    assert found.mean() == pytest.approx(sum(corners) / 4)


def test_growth_in_light_saturates() -> None:
    # Jassby & Platt 1976, Limnol Oceanogr 21:540-547 (from memory): P = Pmax tanh(alpha I / Pmax); at I = Ik it is tanh 1.
    assert growth_factor(110, 110) == pytest.approx(0.761594, abs=1e-6)
    assert growth_factor(1.1, 110) == pytest.approx(0.01, rel=1e-3)
    assert growth_factor(2000, 110) == pytest.approx(1.0)
    assert all(growth_factor(p, 80) < growth_factor(p + 10, 80) for p in range(0, 400, 10))
    assert math.isclose(growth_factor(0, 80), 0)
