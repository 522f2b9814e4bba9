"""What last week's packing tells of sizes: frags that were to leave and are still there had not grown as the plan thought."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta

from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan, Sale
from scheduler.season.sales import Growing

WAIT_WEEKS = 1
"""Weeks until a lot that fell short of a size is taken to have it after all: farm choice, no published source."""

SmallYet = Mapping[tuple[str, str], date]
"""By lot and size class, the Monday until which the frags left of a lot count as smaller."""


def small_yet(before: SmallYet, last: Plan, was: Mapping[str, int], farm: Farm) -> dict[tuple[str, str], date]:
    """What is known of sizes a week later. ``was``: frags by lot when the last plan was made.

    Only a lot tells something of which fewer left than planned, through a channel that did send, and of a class customers
    still want this month.
    """
    week = (farm.weeks.plan_monday - last.about.plan_monday).days // 7
    monday = farm.weeks.plan_monday
    found = {key: until for key, until in before.items() if until > monday and key[0] in farm.lot}
    if week != 1:
        return found
    planned: dict[str, list[Sale]] = {}
    for sale in last.sales:
        if sale.week == 1 and sale.route != "clear":
            planned.setdefault(sale.lot, []).append(sale)
    left = {lot: was[lot] - (farm.lot[lot].alive if lot in farm.lot else 0) for lot in planned if lot in was}
    sent = {s.channel for lot, sales in planned.items() for s in sales if left.get(lot, 0) > 0}
    for lot, sales in planned.items():
        missing = sum(s.pieces for s in sales) > left.get(lot, 0)
        if lot not in farm.lot or not missing or not {s.channel for s in sales} <= sent:
            continue
        names = [c.size_class for c in farm.size_classes(farm.lot[lot].strain)]
        largest = max((s for s in sales), key=lambda s: names.index(s.size_class))
        if largest.route == "order" or _wanted(farm, farm.lot[lot].strain, largest.size_class):
            for name in names[names.index(largest.size_class) :]:
                found[lot, name] = monday + timedelta(weeks=WAIT_WEEKS)
    return found


def _wanted(farm: Farm, strain: str, size_class: str) -> bool:
    month = farm.weeks.month(1)[1]
    return (farm.market_quantity(month, strain=strain, size_class=size_class) or 0.0) > 0


def as_packed(farm: Farm, lots: Iterable[Growing], small: SmallYet) -> list[Growing]:
    """Lots that reach a class no sooner than is known."""
    found = []
    for lot in lots:
        later = {name: farm.weeks.week_of(until) for (which, name), until in small.items() if which == lot.id}
        ready = {name: max(week, later.get(name, week)) for name, week in lot.life.ready.items()}
        found.append(replace(lot, life=replace(lot.life, ready=ready)))
    return found
