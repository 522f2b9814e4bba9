"""The near weeks in a few numbers, week 1 day by day, and the orders at risk."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from scheduler.farm.people import WEEKDAYS
from scheduler.farm.work import is_absent, packing_days, sessions_in
from scheduler.plan.view import PlanView
from scheduler.reporting.tables.base import Table, Value
from scheduler.reporting.tables.bench import SessionView
from scheduler.reporting.tables.trade import promises


def at_risk(view: PlanView, all_of_them: str = "sell and pack") -> tuple[str, ...]:
    """How many orders may not be wholly delivered in time, then a line each; ``all_of_them``: the sheet that has the rest."""
    risky = [p for p in promises(view) if p.at_risk]
    if not risky:
        return ("Orders at risk: none of those due within the weeks planned",)
    orders = view.farm.order
    shown = [
        f"{p.order} (due {orders[p.order].due:%m-%d}: {p.in_time:.1f} of {orders[p.order].quantity} in time)" for p in risky[:8]
    ]
    more = [f"and {len(risky) - 8} more, see {all_of_them}"] if len(risky) > 8 else []
    return (f"Orders at risk: {len(risky)}", *shown, *more)


def pins_held(view: PlanView) -> tuple[str, ...]:
    """What the grower pinned and this plan holds, a line each."""
    dropped = view.plan.about.dropped_pins
    return tuple(f"{p.text} ({p.note})" if p.note else p.text for p in view.farm.pins if p.pin not in dropped)


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


def many(count: int, one: str, more: str = "") -> str:
    """``1 lot``, ``2 lots``."""
    return f"{count} {one if count == 1 else more or one + 's'}"


def days(
    view: PlanView, tables: dict[str, Table], sessions: tuple[SessionView, ...], *, sheets: bool = True
) -> list[tuple[Value, ...]]:
    """Week 1 day by day, one thing a line; ``sheets``: with the names of the workbook's sheets that say more."""
    farm = view.farm
    rows: list[tuple[Value, ...]] = []
    moves = tables["moves"].column("week").count(1)
    counts = tables["count_lots"].column("week").count(1)
    any_day = []
    if moves:
        any_day.append(f"move {many(moves, 'lot')}{' (sheet moves)' if sheets else ''}")
    if counts:
        any_day.append(f"count {many(counts, 'lot')} on the racks{' (sheet count and measure)' if sheets else ''}")
    order_now = [str(item) for item, note in tables["supplies"].pick("item", "note") if str(note).startswith("order now")]
    if order_now:
        any_day.append(f"order {', '.join(order_now)}")
    rows.append(("any day", "; ".join(any_day) or "nothing"))
    by_id = {v.session.id: v for v in sessions}
    for day in farm.weeks.days(1):
        parts = []
        for s in sessions_in(farm, 1):
            if s.day != day:
                continue
            v = by_id.get(s.id)
            if v is None:
                parts.append(f"{s.start:%H:%M} {s.name}: no cuts planned")
            else:
                parts.append(f"{v.clock} {s.name}: cut {many(len(v.cuts), 'colony', 'colonies')}, {many(v.pieces, 'piece')}")
        parts += _packing(view, tables, day)
        parts += [f"order {o.order} is due" for o in farm.orders if o.due == day]
        away = [p.person for p in farm.people if is_absent(farm, p.person, day)]
        parts += [f"away: {', '.join(away)}"] if away else []
        if parts or day.weekday() < 5:
            rows.append((f"{WEEKDAYS[day.weekday()]} {day:%m-%d}", "\n".join(parts) or "nothing planned"))
    return rows


def _packing(view: PlanView, tables: dict[str, Table], day: date) -> list[str]:
    found = []
    for channel in view.farm.channels:
        days = packing_days(view.farm, channel.channel, 1)
        if day not in days:
            continue
        rows = tables["sales"].pick("week", "channel", "expected_frags")
        frags = sum((Decimal(str(f)) for w, c, f in rows if w == 1 and c == channel.channel), Decimal(0))
        if frags:
            share = f", over {len(days)} days" if len(days) > 1 else ""
            found.append(f"pack {channel.channel}: about {frags:.0f} frags in the week{share}")
    return found
