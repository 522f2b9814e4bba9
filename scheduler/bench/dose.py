"""Doses of dips: how much stock goes into a bath. Iodine by mg I2 per litre, so that any stock gives the right amount."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from scheduler.farm.farm import Farm
from scheduler.farm.settings import Settings
from scheduler.farm.units import LITRES_PER_US_GALLON, exact

IODINE, NO_DIP = "iodine", "none"

MG_PER_ML_AND_PERCENT = Decimal(10)
"""Stock of p percent holds p g per 100 mL, that is 10 p mg per mL."""


@dataclass(frozen=True)
class Dose:
    """What goes into one bath: ``amount`` of ``unit``, ``drops`` where it can be dropped, for ``litres`` of water.

    ``amount`` is ``None`` where the book gives no dose for the substance.
    """

    dip: str
    litres: Decimal
    amount: Decimal | None
    unit: Literal["mL", "g", "drops"]
    drops: Decimal | None
    note: str = ""


def iodine_stock_ml(mg_per_litre: Decimal, litres: Decimal, stock_percent: Decimal) -> Decimal:
    """mL of iodine stock for a bath: mg wanted / mg per mL of stock. ``stock_percent`` is g I2 per 100 mL, above 0."""
    return mg_per_litre * litres / (stock_percent * MG_PER_ML_AND_PERCENT)


def iodine_mg_per_litre(stock_ml: Decimal, litres: Decimal, stock_percent: Decimal) -> Decimal:
    """Strength of a bath, mg I2 per litre, from the stock put into it."""
    return stock_ml * stock_percent * MG_PER_ML_AND_PERCENT / litres


def gallons(litres: Decimal) -> Decimal:
    """Litres as US gallons of exactly 231 cubic inches."""
    return litres / LITRES_PER_US_GALLON


def volume_text(litres: Decimal, measures: str) -> str:
    """A volume in both measures, the farm's own first."""
    metric, us = f"{litres:.1f} L", f"{gallons(litres):.2f} US gal"
    return f"{us} ({metric})" if measures == "us" else f"{metric} ({us})"


def dose_of(farm: Farm, dip: str) -> Dose:
    """The dose of one bath of the farm's volume."""
    s: Settings = farm.settings
    litres, per_ml = exact(s.dip_litres), exact(s.drops_per_ml)
    if dip == IODINE:
        ml = iodine_stock_ml(exact(s.iodine_mg_per_litre), litres, exact(s.iodine_stock_percent))
        note = f"{s.iodine_mg_per_litre:g} mg I2 per litre from {s.iodine_stock_percent:g} % stock"
        return Dose(dip, litres, ml, "mL", ml * per_ml, note)
    row = farm.dip.get(dip)
    if row is None:
        return Dose(dip, litres, None, "mL", None, "no dose in the book: follow the label of the substance")
    amount = exact(row.dose_per_litre) * litres
    drops = {"mL": amount * per_ml, "drops": amount, "g": None}[row.unit]
    return Dose(dip, litres, amount, row.unit, drops, row.note)


def dose_text(dose: Dose) -> str:
    """What is measured into one bath, in words."""
    if dose.amount is None:
        return dose.note
    if dose.unit == "drops":
        return f"{dose.amount:.0f} drops"
    text = f"{dose.amount:.1f} {dose.unit}"
    return f"{text} (about {dose.drops:.0f} drops)" if dose.drops is not None else text
