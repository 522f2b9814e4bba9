"""Doses of dips and standard minutes against definitions, pharmacopoeias and handbook figures."""

from __future__ import annotations

from decimal import Decimal

import pytest

from scheduler.bench.dose import dose_of, dose_text, gallons, iodine_mg_per_litre, iodine_stock_ml, volume_text
from scheduler.farm.bench import Dip
from scheduler.farm.farm import Farm
from scheduler.farm.settings import Settings
from scheduler.farm.standard import with_allowance
from scheduler.farm.units import DROPS_PER_ML, LITRES_PER_US_GALLON

GALLON = LITRES_PER_US_GALLON


def test_forty_drops_a_gallon_of_five_percent_stock() -> None:
    # Common practice, no source; composition of the stock (5 g I2 in 100 mL) from memory. 20 drops per mL: USP 32 <1101>.
    ml = 40 / DROPS_PER_ML
    assert ml == 2
    assert float(iodine_mg_per_litre(ml, GALLON, Decimal(5))) == pytest.approx(26.4, abs=0.05)


@pytest.mark.parametrize("stock", [2, 5])
def test_any_stock_gives_the_same_bath(stock: int) -> None:
    # 2 % and 5 % stock: 20 and 50 mg I2 per mL (pharmacopoeial composition, from memory).
    ml = iodine_stock_ml(Decimal("26.4"), Decimal(4), Decimal(stock))
    assert ml * stock * 10 == Decimal("26.4") * 4
    assert iodine_mg_per_litre(ml, Decimal(4), Decimal(stock)) == Decimal("26.4")
    farm = Farm(settings=Settings(iodine_stock_percent=stock, dip_litres=4.0))
    assert dose_of(farm, "iodine").amount == ml


@pytest.mark.parametrize(("stock", "per_litre"), [(5, 12.5), (2, 5.0)])
def test_five_drops_a_litre_is_no_dose_without_the_stock(stock: int, per_litre: float) -> None:
    # Dips of 5 and 10 drops per litre: IAAAM conference abstract on Stephanocoenia intersepta, stock strength not given there.
    assert float(iodine_mg_per_litre(5 / DROPS_PER_ML, Decimal(1), Decimal(stock))) == per_litre


@pytest.mark.parametrize(("milligrams", "iodine"), [(45, 2.25), (50, 2.5), (55, 2.75)])
def test_iodine_in_a_drop_over_the_usp_range_of_drops(milligrams: int, iodine: float) -> None:
    # USP 32 <1101>: drops of water of 45-55 mg.
    drops_per_ml = 1000 / milligrams
    assert 5 * 10 / drops_per_ml == pytest.approx(iodine)


def test_a_gallon_bath() -> None:
    # NIST Handbook 44, Appendix C: 1 US gallon = 231 cubic inches exactly; an inch is 25.4 mm exactly.
    assert Decimal(231) * Decimal("0.254") ** 3 == GALLON
    assert gallons(GALLON) == 1
    assert volume_text(GALLON, "us") == "1.00 US gal (3.8 L)"
    assert volume_text(Decimal(4), "metric") == "4.0 L (1.06 US gal)"


def test_other_dips_follow_the_book() -> None:
    farm = Farm(
        settings=Settings(dip_litres=4.0),
        dips=(Dip(dip="salt", dose_per_litre=2.5, unit="g"), Dip(dip="oil", dose_per_litre=0.5, unit="mL")),
    )
    assert dose_text(dose_of(farm, "salt")) == "10.0 g"
    assert dose_text(dose_of(farm, "oil")) == "2.0 mL (about 40 drops)"
    assert dose_of(farm, "unknown").amount is None


def test_an_allowance_needs_its_base() -> None:
    # Konz S, Work Design (handbook text): standard = normal x (1 + a) for a share of work time, normal / (1 - a) for a share of
    # the shift. 2.00 min with 9 %: 2.18 and 2.198; 9 % of a 480-minute shift leaves 436.8 minutes, that is 218.4 pieces of 2.00.
    assert with_allowance(Decimal("2.00"), Decimal("0.09"), "work") == Decimal("2.18")
    shift = with_allowance(Decimal("2.00"), Decimal("0.09"), "shift")
    assert round(shift, 3) == Decimal("2.198")
    assert float(480 / shift) == pytest.approx(436.8 / 2, abs=1e-3)
    assert with_allowance(Decimal(3), Decimal(0), "shift") == 3
    with pytest.raises(ValueError, match="below 1"):
        with_allowance(Decimal(3), Decimal(1), "shift")
