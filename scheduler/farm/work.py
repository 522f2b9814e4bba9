"""What the working week offers: sessions day by day, people's hours, packing days. Derived from the farm, no decisions."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import lru_cache

from scheduler.farm.farm import Farm
from scheduler.farm.people import WEEKDAYS, BenchSession, Session


def is_absent(farm: Farm, person: str, day: date) -> bool:
    """Whether somebody is away on a day."""
    return any(a.person == person and a.from_date <= day <= a.to_date for a in farm.absences)


def _on(farm: Farm, row: Session, day: date) -> BenchSession:
    present = tuple(p for p in row.people if not is_absent(farm, p, day))
    return BenchSession(
        id=f"{row.session} {day.isoformat()}", name=row.session, day=day, week=farm.weeks.week_of(day),
        start=row.start, minutes=row.minutes, people=present, methods=row.methods,
    )  # fmt: skip


@lru_cache(maxsize=8192)
def sessions_in(farm: Farm, week: int) -> tuple[BenchSession, ...]:
    """The bench sessions of a week in order of time; people away that day are left out."""
    found: list[BenchSession] = []
    for day in farm.weeks.days(week):
        weekday = WEEKDAYS[day.weekday()]
        dated = {r.session: r for r in farm.sessions if r.date == day}
        patterns = {
            r.session: r
            for r in farm.sessions
            if r.date is None
            and r.weekday == weekday
            and (r.from_date is None or r.from_date <= day)
            and (r.to_date is None or day <= r.to_date)
        }
        rows = sorted((patterns | dated).values(), key=lambda r: (r.start, r.session))
        found += [_on(farm, row, day) for row in rows if row.minutes > 0]
    return tuple(found)


def session_end(session: BenchSession) -> datetime:
    """When a session ends by the clock."""
    return datetime.combine(session.day, session.start) + timedelta(minutes=session.minutes)


def bench_minutes(farm: Farm, session: BenchSession, changes: int = 0, fill: float | None = None) -> float:
    """Minutes of bench work one person can be planned for: (length - set-up and clean-down - changes) x ``fill``.

    ``fill``: share of the clock that is work, from 0 to 1; none given: ``bench_fill``.
    """
    s = farm.settings
    clock = session.minutes - s.session_minutes - changes * s.changeover_minutes
    return max(0.0, clock) * (s.bench_fill if fill is None else fill)


def paid_minutes(farm: Farm, person: str, week: int) -> float:
    """A person's paid minutes in a week, less a fifth for every weekday (Monday to Friday) away."""
    away = sum(is_absent(farm, person, day) for day in farm.weeks.days(week)[:5])
    return farm.person[person].hours_per_week * 60 * (5 - away) / 5


def overtime_minutes(farm: Farm, person: str, week: int) -> float:
    """Most overtime minutes of a person in a week, reduced like the paid ones."""
    away = sum(is_absent(farm, person, day) for day in farm.weeks.days(week)[:5])
    return farm.person[person].overtime_hours_per_week * 60 * (5 - away) / 5


def presence_minutes(farm: Farm, person: str, week: int) -> float:
    """Minutes a person spends in bench sessions in a week."""
    return sum(s.minutes for s in sessions_in(farm, week) if person in s.people)


def outside_minutes(farm: Farm, person: str, week: int) -> float:
    """Paid minutes left outside sessions: standing work, packing, moves, cleaning and counting are done in these."""
    return max(0.0, paid_minutes(farm, person, week) - presence_minutes(farm, person, week))


def standing_minutes(farm: Farm, week: int) -> dict[str, float]:
    """Standing work of a week by skill (care, pack): the standing rows, and cleaning every rack of an open tank."""
    racks = sum(not farm.tank_closed(r.tank, week) for r in farm.racks)
    need = {"care": racks * farm.settings.rack_clean_minutes, "pack": 0.0}
    for row in farm.standing:
        need[row.skill] += row.minutes_per_week
    return need


def packing_days(farm: Farm, channel: str, week: int, *, open_only: bool = True) -> tuple[date, ...]:
    """Days of a week on which a channel packs; with ``open_only`` the days closed in the ship calendar are left out."""
    row = farm.channel[channel]
    days = [d for d in farm.weeks.days(week) if WEEKDAYS[d.weekday()] in row.packing_days]
    if open_only:
        shut = [c for c in farm.ship_calendar if c.channel == channel]
        days = [d for d in days if not any(c.from_date <= d <= c.to_date for c in shut)]
    return tuple(days)


def first_late_week(farm: Farm, order: str) -> int:
    """First week whose packing days (by weekday) all lie past the order's due date; at least 1.

    An order still open at the start of week 1 whose due date has passed is late from week 1.
    """
    row = farm.order[order]
    week = max(1, farm.weeks.week_of(row.due))
    while True:
        days = packing_days(farm, row.channel, week, open_only=False)
        if (days and days[0] > row.due) or farm.weeks.monday(week) > row.due:
            return week
        week += 1


def may_deliver(farm: Farm, order: str, week: int) -> bool:
    """O1: whether an order can be delivered in a week: an open packing day, not before ``earliest``, late only if wanted."""
    row = farm.order[order]
    days = packing_days(farm, row.channel, week)
    if not days or (row.earliest is not None and days[-1] < row.earliest):
        return False
    return row.late_ok or week < first_late_week(farm, order)


def condition_days(farm: Farm, plug_kind: str) -> int:
    """Days a kind of plug stands in water before use; 0 for kinds that only soak."""
    return max((row.condition_days for row in farm.plugs if row.plug_kind == plug_kind), default=0)


def plugs_ready(farm: Farm, plug_kind: str, day: date) -> int | None:
    """Plugs of a kind in water long enough by a day; ``None`` where plugs put in on the first Monday will be too."""
    need = timedelta(days=condition_days(farm, plug_kind))
    if farm.weeks.plan_monday + need <= day:
        return None
    rows = [row for row in farm.plugs if row.plug_kind == plug_kind and row.in_water_from is not None]
    return sum(row.in_water for row in rows if row.in_water_from is not None and row.in_water_from + need <= day)
