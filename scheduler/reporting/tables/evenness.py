"""How evenly tanks of like light are used, week by week, beside the lots on racks alone."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from scheduler.biology.zones import zones
from scheduler.plan.view import PlanView
from scheduler.reporting.tables.base import Table, Value
from scheduler.reporting.tables.places import zone_use


def evenness_table(view: PlanView) -> Table:
    """For each light class of several tanks the least and most used tank, percent, and their difference in percentage points.

    ``before``: the lots on racks alone, sold as planned, none moved and no new cuts.
    """
    farm = view.farm
    classes: dict[str, list[str]] = {}
    for zone in zones(farm).values():
        classes.setdefault(zone.light_class, []).append(zone.id)
    planned, before = zone_use(view), zone_use(view, as_they_stand=True)
    rows: list[tuple[Value, ...]] = []
    for name, members in classes.items():
        if len(members) < 2:
            continue
        for week in farm.weeks.all:
            was, now = _ends(view, before, members, week), _ends(view, planned, members, week)
            rows.append((name, week, farm.weeks.label(week), *was, was[1] - was[0], *now, now[1] - now[0]))
    columns = (
        "light_class", "week", "iso_week", "least_before", "most_before", "difference_before", "least", "most", "difference",
    )  # fmt: skip
    return Table("evenness", columns, tuple(tuple(round(v, 2) if isinstance(v, Decimal) else v for v in r) for r in rows))


def _ends(view: PlanView, use: Mapping[tuple[str, int], Decimal], members: list[str], week: int) -> tuple[Decimal, Decimal]:
    table = zones(view.farm)
    shares = [100 * use[z, week] / table[z].capacity for z in members]
    return min(shares), max(shares)
