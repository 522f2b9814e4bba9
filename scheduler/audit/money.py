"""Exact money: amounts are fractions until a line is finished, then rounded half-even to the cent once."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from scheduler.farm.farm import Farm
from scheduler.farm.units import CENT, exact, share
from scheduler.plan.model import Line, LineKind

Key = tuple[LineKind, str, int]
"""Kind, subject and week of a line."""


def ratio(value: Decimal | float | int) -> Fraction:
    """A number as the user typed it, as a fraction."""
    return Fraction(exact(value)) if isinstance(value, float) else Fraction(value)


def cent_of(amount: Fraction) -> Decimal:
    """An exact amount rounded half-even to the cent."""
    return (Decimal(round(amount * 100)) * CENT).quantize(CENT)


def interest(farm: Farm, week: int) -> Fraction:
    """What money of a week counts now; week 0 stands for the horizon."""
    rate = farm.settings.interest_percent_per_year
    return Fraction(share(float(1 / (1 + rate / 100) ** ((week or farm.weeks.count) / 52))))


@dataclass
class Till:
    """Collects exact amounts by line."""

    farm: Farm
    amounts: dict[Key, Fraction] = field(default_factory=dict)

    def add(self, line: LineKind, subject: str, week: int, amount: Fraction) -> None:
        """Add an exact amount, before interest, to a line; costs are negative."""
        key = (line, subject, week)
        self.amounts[key] = self.amounts.get(key, Fraction(0)) + amount

    def lines(self) -> tuple[Line, ...]:
        """Finished lines by kind, week and subject; those of 0.00 are left out."""
        done = []
        for (line, subject, week), amount in sorted(self.amounts.items(), key=lambda kv: (kv[0][0], kv[0][2], kv[0][1])):
            money = cent_of(amount * interest(self.farm, week))
            if money != 0:
                done.append(Line(line=line, subject=subject, week=week, amount=money))
        return tuple(done)
