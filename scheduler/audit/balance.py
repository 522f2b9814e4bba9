"""O2: where every started piece is, week by week."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal

from scheduler.audit.context import SHARE_TOLERANCE, Context
from scheduler.farm.units import exact
from scheduler.plan.model import Balance
from scheduler.plan.view import LotView

PARTS = ("started", "sold", "cleared", "died", "detached", "on_racks")


def balance_rows(ctx: Context) -> tuple[Balance, ...]:
    """The balance by strain and week for every strain that has lots, by name, then week.

    A piece that has left counts the losses up to the week it left in; one still there those to date. So
    started = sold + cleared + died + detached + on_racks exactly.
    """
    by_strain: dict[str, list[LotView]] = {}
    for lot in ctx.lots.values():
        by_strain.setdefault(lot.strain, []).append(lot)
    return tuple(_row(strain, week, lots) for strain, lots in sorted(by_strain.items()) for week in ctx.weeks.all)


def _row(strain: str, week: int, lots: list[LotView]) -> Balance:
    started = 0
    found = dict.fromkeys(PARTS[1:], Decimal(0))
    for lot in lots:
        if lot.first_week > week:
            continue
        started += lot.pieces
        for sale in lot.sales:
            if lot.first_week <= sale.week <= week:
                found["cleared" if sale.route == "clear" else "sold"] += sale.pieces * lot.life.alive[sale.week]
                found["died"] += sale.pieces * lot.life.died[sale.week]
                found["detached"] += sale.pieces * lot.life.detached[sale.week]
        left = lot.left(week)
        found["died"] += left * lot.life.died[week]
        found["detached"] += left * lot.life.detached[week]
        found["on_racks"] += left * lot.life.alive[week]
    return Balance(strain=strain, week=week, started=started, **found)


def check_balance(ctx: Context) -> None:
    """The plan's table against the audit's own."""
    own = {(r.strain, r.week): r for r in balance_rows(ctx)}
    for (strain, week), times in Counter((r.strain, r.week) for r in ctx.plan.balance).items():
        if times > 1 or (strain, week) not in own:
            ctx.add(
                "O2",
                (strain, f"week {week}"),
                f"the balance has {times} rows for {strain} in week {week}; {int((strain, week) in own)} wanted",
            )
    given = {(r.strain, r.week): r for r in ctx.plan.balance}
    for key, row in own.items():
        name = (key[0], f"week {key[1]}")
        if key not in given:
            ctx.add("O2", name, f"the balance has 0 rows for {key[0]} in week {key[1]}; 1 wanted")
            continue
        for part in PARTS:
            found, right = Decimal(getattr(given[key], part)), Decimal(getattr(row, part))
            if abs(found - right) > exact(SHARE_TOLERANCE):
                ctx.add("O2", name, f"the balance of {key[0]} in week {key[1]} says {part} {found:.6f}; it is {right:.6f}")
