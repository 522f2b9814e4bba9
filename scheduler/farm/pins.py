"""What pins bar in a week; shared by everything that plans places or sales."""

from __future__ import annotations

from collections.abc import Collection

from scheduler.farm.farm import Farm
from scheduler.farm.trade import Pin


def pin_covers(farm: Farm, pin: Pin, week: int) -> bool:
    """Whether any day of a week lies within a pin's dates."""
    days = farm.weeks.days(week)
    return (pin.from_date is None or days[-1] >= pin.from_date) and (pin.to_date is None or days[0] <= pin.to_date)


def kept_free(farm: Farm, pins: Collection[str], tank: str, racks: Collection[str], week: int) -> bool:
    """P1: whether a pin keeps the tank, or one of the racks, free so that nothing may be put there in a week.

    A pin also bars what would still stand there when its first day comes, so every week up to its last day counts.
    """
    first = farm.weeks.monday(week)
    return any(
        p.kind == "keep free"
        and p.pin in pins
        and (p.tank == tank or p.rack in racks)
        and (p.to_date is None or first <= p.to_date)
        for p in farm.pins
    )
