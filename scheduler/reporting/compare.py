"""Two plans side by side, as tables and sentences."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal

from scheduler.biology.zones import zones
from scheduler.farm.units import CENT, more_or_less
from scheduler.farm.work import first_late_week
from scheduler.plan.model import Cut, LineKind
from scheduler.plan.view import PlanView
from scheduler.reporting.tables.base import Table, Value
from scheduler.reporting.tables.places import zone_use
from scheduler.reporting.tables.trade import Promise, promises

SIDES = ("base", "changed", "difference")

KINDS: dict[LineKind, str] = {
    "order sale": "sold to orders",
    "market sale": "sold to the market",
    "late": "ordered frags sent late",
    "short": "ordered frags not sent",
    "service": "orders without frags to spare",
    "labour": "labour",
    "supplies": "supplies",
    "frags left": "frags left at the end",
    "colony left": "pieces to spare on mothers at the end",
    "uneven": "tanks unevenly full",
    "change": "announced cuts changed",
}
"""Lines of money in words, in the order they are shown."""


def money_table(base: PlanView, changed: PlanView) -> Table:
    """Lines of money by kind, and the value."""
    sums = [_by_kind(v) for v in (base, changed)]
    rows = [
        _row(words, *(s.get(kind, Decimal(0)) for s in sums)) for kind, words in KINDS.items() if kind in {*sums[0], *sums[1]}
    ]
    return Table("money", ("line", *SIDES), (*rows, _row("value of the plan", base.plan.value, changed.plan.value)))


def months_table(base: PlanView, changed: PlanView) -> Table:
    """Expected frags reaching their first size class, by month of the horizon."""
    sums = [_by_month(v) for v in (base, changed)]
    return Table("months", ("month", *SIDES), tuple(_row(m, sums[0][m], sums[1][m]) for m in sorted({*sums[0], *sums[1]})))


def orders_table(base: PlanView, changed: PlanView) -> Table:
    """Orders due within the horizon that are wholly delivered in time, and frags late or not delivered."""
    sides = []
    for view in (base, changed):
        due = [p for p in promises(view) if p.due_in_horizon]
        late, short = sum((p.late for p in due), Decimal(0)), sum((p.short for p in due), Decimal(0))
        sides.append((sum(not p.at_risk for p in due), len(due), late, short))
    names = ("orders in time", "orders due", "frags late", "frags short")
    return Table(
        "orders", ("what", *SIDES), tuple(_row(n, Decimal(a), Decimal(b)) for n, a, b in zip(names, *sides, strict=True))
    )


def racks_table(base: PlanView, changed: PlanView) -> Table:
    """Mean use of each tank over the horizon, percent of its positions."""
    sums = [_by_tank(v) for v in (base, changed)]
    return Table(
        "racks",
        ("tank", *SIDES),
        tuple(_row(t, sums[0].get(t, Decimal(0)), sums[1].get(t, Decimal(0))) for t in dict.fromkeys([*sums[0], *sums[1]])),
    )


def cuts_table(base: PlanView, changed: PlanView) -> Table:
    """Colonies cut otherwise in week 1."""
    one, two = ({c.colony: c for c in v.plan.cuts if c.week == 1} for v in (base, changed))
    rows = []
    for colony in sorted({*one, *two}):
        texts = (_cut(one.get(colony)), _cut(two.get(colony)))
        if texts[0] != texts[1]:
            rows.append((colony, *texts))
    return Table("cuts", ("colony", "base", "changed"), tuple(rows))


def order_answers(base: PlanView, changed: PlanView) -> tuple[str, ...]:
    """For each order only the changed farm has: whether it can be kept, from when, and what it costs elsewhere."""
    known = set(base.farm.order)
    found = []
    for promise in promises(changed):
        if promise.order in known:
            continue
        order = changed.farm.order[promise.order]
        if not promise.by_week:
            found.append(
                f"{order.quantity} {order.strain} {order.size_class} for {order.due}: no, nothing of it is delivered within the weeks planned."
            )
            continue
        brings = sum((r.amount for r in changed.plan.lines if r.line == "order sale" and r.subject == order.order), Decimal(0))
        gain = changed.plan.value - base.plan.value
        found.append(
            f"{order.quantity} {order.strain} {order.size_class} for {order.due}: {_when(changed, promise)}. "
            f"It brings {brings:,.2f}; all else is worth {more_or_less(gain - brings)}, so the plan is worth {more_or_less(gain)}"
            f"{_elsewhere(base, changed, order.order)}."
        )
    return tuple(found)


def _when(view: PlanView, promise: Promise) -> str:
    """Whether an order is kept, and when its frags leave; a week's frags are those expected to make grade."""
    label, late_from = view.farm.weeks.label, first_late_week(view.farm, promise.order)
    parts = [f"{frags:.1f} in {label(week)}" for week, frags in sorted(promise.by_week.items())]
    if len(parts) > 4:
        first, last = min(promise.by_week), max(promise.by_week)
        parts = [f"{sum(promise.by_week.values()):.1f} from {label(first)} to {label(last)}"]
    if promise.late + promise.short < CENT:
        return f"yes, in time; {', '.join(parts)}"
    short = f", {promise.short:.1f} not within the weeks planned" if promise.short >= CENT else ""
    late = f", {promise.late:.1f} late" if promise.late >= CENT else ""
    kept = "wholly, but late" if promise.short < CENT else "in part"
    return f"{kept}: {promise.in_time:.1f} in time{late}{short}; {', '.join(parts)} (late from {label(late_from)})"


def _elsewhere(base: PlanView, changed: PlanView, order: str) -> str:
    """The subjects that lose most, in words."""
    change: dict[str, Decimal] = defaultdict(Decimal)
    for sign, view in ((-1, base), (1, changed)):
        for row in view.plan.lines:
            if not (row.line in ("order sale", "late", "short", "service") and row.subject == order):
                name = (
                    f"order {row.subject}"
                    if row.line in ("order sale", "late", "short", "service")
                    else f"{row.line} {row.subject}"
                )
                change[name] += sign * row.amount
    worst = sorted((c, name) for name, c in change.items() if c < -1)[:3]
    return f"; most of it is lost on {', '.join(f'{name} ({c:,.2f})' for c, name in worst)}" if worst else ""


def _row(name: str, one: Decimal, two: Decimal) -> tuple[Value, ...]:
    return name, one, two, two - one


def _by_kind(view: PlanView) -> dict[LineKind, Decimal]:
    found: dict[LineKind, Decimal] = {}
    for row in view.plan.lines:
        found[row.line] = found.get(row.line, Decimal(0)) + row.amount
    return found


def _by_month(view: PlanView) -> dict[str, Decimal]:
    weeks = view.farm.weeks
    found = {f"{y}-{m:02d}": Decimal(0) for y, m in weeks.months}
    for lot in view.lots.values():
        ready = min(lot.life.ready.values(), default=None)
        if ready is not None and ready in weeks.all and ready >= lot.first_week:
            year, month = weeks.month(ready)
            found[f"{year}-{month:02d}"] += lot.pieces * lot.life.alive[ready]
    return found


def _by_tank(view: PlanView) -> dict[str, Decimal]:
    farm = view.farm
    held: dict[str, Decimal] = dict.fromkeys(farm.tank, Decimal(0))
    room = {t: sum(len(r.open_positions) for r in farm.racks if r.tank == t) for t in farm.tank}
    table = zones(farm)
    for (zone, _), used in zone_use(view).items():
        held[table[zone].tank] += used
    return {t: 100 * h / room[t] / farm.weeks.count for t, h in held.items() if room[t]}


def _cut(cut: Cut | None) -> str:
    return f"{cut.pieces} pieces, {cut.session}" if cut else "not cut"
