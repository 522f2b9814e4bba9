"""Tables over all weeks: frags becoming sellable, the frag balance, and the lines of money."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal

from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.reporting.tables.base import Table, Value

NOW = "now"
"""Month text of frags that had reached their class before week 1."""


def sellable_table(view: PlanView) -> Table:
    """Expected frags newly reaching a size class while still on the farm, by month, strain and class.

    As in the forecast: a frag that passes two classes counts once in each, so rows of ``first_class``, the smallest class of the strain,
    count each frag once. A lot reaches a class as a whole, in the first week its growth allows.
    """
    farm = view.farm
    total: dict[tuple[str, str, str], Decimal] = defaultdict(Decimal)
    for lot in view.lots.values():
        for size_class, week in lot.life.ready.items():
            there = lot.left(week - 1)
            if week > farm.weeks.count or not there:
                continue
            month = NOW if week < 1 else month_text(farm.weeks.month(week))
            total[month, lot.strain, size_class] += there * lot.life.alive[max(week, lot.life.first)]
    order = {month: i for i, month in enumerate(months(view))}
    classes = {s.strain: [c.size_class for c in farm.size_classes(s.strain)] for s in farm.strains}
    rows: list[tuple[Value, ...]] = [
        (
            month,
            strain,
            farm.strain[strain].name,
            farm.strain[strain].group,
            size_class,
            size_class == classes[strain][0],
            round(frags, 3),
        )
        for (month, strain, size_class), frags in sorted(
            total.items(), key=lambda kv: (order[kv[0][0]], kv[0][1], classes[kv[0][1]].index(kv[0][2]))
        )
    ]
    columns = ("month", "strain", "name", "group", "size_class", "first_class", "expected_frags")
    return Table("sellable", columns, tuple(rows))


def month_text(month: tuple[int, int]) -> str:
    """``2026-12``."""
    return f"{month[0]}-{month[1]:02d}"


def months(view: PlanView) -> tuple[str, ...]:
    """``now`` and the months of the horizon."""
    return (NOW, *(month_text(m) for m in view.farm.weeks.months))


def balance_table(plan: Plan) -> Table:
    """O2: the frag balance by strain and week."""
    rows = tuple((b.strain, b.week, b.started, b.sold, b.cleared, b.died, b.detached, b.on_racks) for b in plan.balance)
    return Table("balance", ("strain", "week", "started", "sold", "cleared", "died", "detached", "on_racks"), rows)


def lines_table(plan: Plan) -> Table:
    """Every line of money."""
    rows = tuple((line.line, line.subject, line.week, line.amount) for line in plan.lines)
    return Table("lines", ("line", "subject", "week", "amount"), rows)


def value_by_kind(plan: Plan) -> tuple[tuple[str, Decimal], ...]:
    """Sum of the lines by kind, in the order the kinds first appear."""
    total: dict[str, Decimal] = {}
    for line in plan.lines:
        total[line.line] = total.get(line.line, Decimal(0)) + line.amount
    return tuple(total.items())


def notices_table(plan: Plan) -> Table:
    """What the grower should know."""
    return Table("notices", ("kind", "text"), tuple((n.kind, n.text) for n in plan.notices))
