"""Units and the one rounding policy: money, shares and minutes.

Money is ``Decimal``; a line of money is rounded half-even to the cent once, when it is finished. Shares that come from
biology (survival, interest factors) are floats there and become exact ``Decimal`` with nine places through ``share``;
every quantity after that is exact, and what is divided is a ``Fraction``: half a cent is half a cent, and the planner
and the audit cannot drift apart in the last one. Inside models minutes are whole seconds, rounded up (``seconds``), and
money is whole cents (``cents``).
"""

from __future__ import annotations

import math
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

CENT = Decimal("0.01")
SHARE_STEP = Decimal("1e-9")

LITRES_PER_US_GALLON = Decimal("3.785411784")
"""Exact: 231 cubic inches (NIST Handbook 44, Appendix C)."""

DROPS_PER_ML = Decimal(20)
"""Usual medicine dropper, 20 drops of water deliver 1 mL ± 10 % (USP 32 <1101>: drops of 45-55 mg)."""

MICROMOL_PER_MOL = 1_000_000


def share(value: float) -> Decimal:
    """A share (0..1) or factor from biology as an exact decimal with nine places, rounded half-even."""
    return Decimal(repr(float(value))).quantize(SHARE_STEP, rounding=ROUND_HALF_EVEN)


def to_cent(amount: Decimal | Fraction) -> Decimal:
    """A finished line of money, rounded half-even to the cent."""
    if isinstance(amount, Fraction):
        return Decimal(round(amount * 100)).scaleb(-2)
    return amount.quantize(CENT, rounding=ROUND_HALF_EVEN)


def cents(amount: Decimal | float) -> int:
    """Whole cents for a solver, rounded half-even."""
    return int((Decimal(str(amount)) * 100).to_integral_value(rounding=ROUND_HALF_EVEN))


def seconds(minutes: Decimal | float) -> int:
    """Whole seconds for a solver, rounded up so that a model never plans more work than the clock holds."""
    return math.ceil(round(float(minutes) * 60, 6))


def exact(value: float) -> Decimal:
    """The decimal a user typed (``0.85``), not its binary neighbour."""
    return Decimal(repr(float(value)))


def daily_light_integral(par_umol: float, photoperiod_hours: float) -> float:
    """Daily light integral in mol m-2 d-1 from PAR (µmol m-2 s-1) over a photoperiod (h); by definition."""
    return par_umol * photoperiod_hours * 3600 / MICROMOL_PER_MOL


def more_or_less(amount: Decimal, currency: str = "") -> str:
    """A difference of money in words."""
    return f"{abs(amount):,.2f}{' ' * bool(currency)}{currency} {'less' if amount < 0 else 'more'}"
