"""What the market takes in a calendar month."""

from __future__ import annotations

from fractions import Fraction

from scheduler.audit.money import ratio
from scheduler.farm.farm import Farm


def strain_limit(farm: Farm, month: int, strain: str, size_class: str) -> Fraction:
    """Frags of a strain and class a month takes at list price; 0 without a row."""
    rows = {r.month: r.quantity for r in farm.market if r.strain == strain and r.size_class == size_class}
    return ratio(rows.get(month, rows.get(None, 0.0)))


def group_limit(farm: Farm, month: int, group: str) -> Fraction | None:
    """Frags of a whole group a month takes at list price; ``None`` without a row."""
    rows = {r.month: r.quantity for r in farm.market if r.strain is None and r.group == group}
    quantity = rows.get(month, rows.get(None))
    return None if quantity is None else ratio(quantity)


def end_market(farm: Farm, strain: str) -> Fraction:
    """Frags of a strain, all classes, that the months after the horizon's last month take at list price."""
    last = farm.weeks.month(farm.weeks.count)[1]
    months = [(last + i) % 12 + 1 for i in range(farm.settings.end_months)]
    classes = farm.size_classes(strain)
    return sum((strain_limit(farm, m, strain, c.size_class) for m in months for c in classes), Fraction(0))
