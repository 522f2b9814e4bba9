"""The near weeks in a few numbers, and the orders at risk."""

from __future__ import annotations

from decimal import Decimal

from scheduler.plan.view import PlanView
from scheduler.reporting.tables.base import Table, Value
from scheduler.reporting.tables.trade import promises


def at_risk(view: PlanView, all_of_them: str = "sell and pack") -> str:
    """A sentence on the orders that may not be wholly delivered in time; ``all_of_them``: the sheet that has the rest."""
    risky = [p for p in promises(view) if p.at_risk]
    if not risky:
        return "Orders at risk: none of those due within the weeks planned"
    orders = view.farm.order
    shown = [
        f"{p.order} (due {orders[p.order].due:%m-%d}: {p.in_time:.1f} of {orders[p.order].quantity} in time)" for p in risky[:8]
    ]
    more = f"; and {len(risky) - 8} more, see {all_of_them}" if len(risky) > 8 else ""
    return f"Orders at risk: {len(risky)}. {'; '.join(shown)}{more}"


def headline(view: PlanView, tables: dict[str, Table]) -> list[tuple[Value, ...]]:
    """What the near weeks hold: a name, and a number for each near week."""
    near = list(view.farm.weeks.near_weeks)

    def count(table: str) -> list[int]:
        weeks = tables[table].column("week")
        return [weeks.count(w) for w in near]

    def add(table: str, column: str) -> list[Decimal]:
        rows = tables[table].pick("week", column)
        return [sum((Decimal(str(v)) for week, v in rows if week == w), Decimal(0)) for w in near]

    minutes = add("sessions", "work_minutes")
    return [
        ("colonies to cut", *count("cuts")),
        ("pieces to cut and mount", *[int(v) for v in add("cuts", "pieces")]),
        ("frags to sell, expected", *add("sales", "expected_frags")),
        ("lots to move", *count("moves")),
        ("bench hours planned", *[m / 60 for m in minutes]),
        ("lots to count on the racks", *count("count_lots")),
    ]
