"""O2: where every strain's pieces are, week by week."""

from __future__ import annotations

from decimal import Decimal

from scheduler.farm.farm import Farm
from scheduler.plan.model import Balance
from scheduler.plan.view import LotView, PlanView


def balance_table(farm: Farm, view: PlanView) -> tuple[Balance, ...]:
    """One row per strain with lots and week; started = sold + cleared + died + detached + on racks, exactly."""
    by_strain: dict[str, list[LotView]] = {}
    for lot in view.lots.values():
        by_strain.setdefault(lot.strain, []).append(lot)
    return tuple(_row(strain, lots, week) for strain, lots in sorted(by_strain.items()) for week in farm.weeks.all)


def _row(strain: str, lots: list[LotView], week: int) -> Balance:
    started = 0
    sums = dict.fromkeys(("sold", "cleared", "died", "detached", "on_racks"), Decimal(0))
    for lot in lots:
        if lot.first_week > week:
            continue
        started += lot.pieces
        for sale in lot.sales:
            if sale.week <= week:
                sums["cleared" if sale.route == "clear" else "sold"] += sale.pieces * lot.life.alive[sale.week]
                sums["died"] += sale.pieces * lot.life.died[sale.week]
                sums["detached"] += sale.pieces * lot.life.detached[sale.week]
        left = lot.left(week)
        sums["on_racks"] += left * lot.life.alive[week]
        sums["died"] += left * lot.life.died[week]
        sums["detached"] += left * lot.life.detached[week]
    return Balance(strain=strain, week=week, started=started, **sums)
