"""Tables of the season's prices in words: what would help, what one more of each thing is worth by week, why colonies are cut."""

from __future__ import annotations

from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan
from scheduler.reporting.tables.base import Table, Value


def helps_table(plan: Plan) -> Table:
    """What would help, what it gains most first."""
    rows = tuple((n, h.kind, h.subject, h.text, h.amount, h.unit, h.gain, h.up_to) for n, h in enumerate(plan.helps, start=1))
    return Table("what_would_help", ("rank", "kind", "subject", "text", "amount", "unit", "at_most", "up_to"), rows)


def prices_table(farm: Farm, plan: Plan) -> Table:
    """Value of one more unit by week; the week after the last stands for the time after the horizon."""
    rows: list[tuple[Value, ...]] = [
        (h.kind, h.subject, h.unit, p.week, farm.weeks.label(p.week), p.price) for h in plan.helps for p in h.prices
    ]
    return Table("prices", ("kind", "subject", "unit", "week", "iso_week", "one_more"), tuple(rows))


def why_table(farm: Farm, plan: Plan) -> Table:
    """Colonies cut in the near weeks and what speaks for it."""
    rows: list[tuple[Value, ...]] = []
    for w in plan.why:
        strain = farm.colony[w.colony].strain
        rows.append(
            (w.colony, strain, farm.strain[strain].name, w.week, farm.weeks.label(w.week), w.reason, w.detail, w.at_stake)
        )
    return Table("why_cut", ("colony", "strain", "name", "week", "iso_week", "reason", "detail", "at_stake"), tuple(rows))
