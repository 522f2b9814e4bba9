"""Tables of the bench's clock: tasks by time, and by person what to do when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from scheduler.farm.farm import Farm
from scheduler.plan.model import BenchTask, Cut, Plan, SessionClock
from scheduler.reporting.tables.base import Table, Value


def rounded_up(moment: datetime) -> str:
    """A time rounded up to the minute: what is done "by" it is done."""
    return f"{moment + timedelta(seconds=59):%H:%M}"


@dataclass(frozen=True)
class LotClock:
    """When the work on a lot happens. Times not planned are ``None``.

    ``out``: when the frags come out of the dip; ``out_by`` the latest that is allowed.
    """

    cut: datetime
    cut_end: datetime
    out: datetime | None
    out_by: datetime | None
    mount: datetime | None
    racked: datetime | None


def session_tasks(plan: Plan, session: str) -> tuple[BenchTask, ...]:
    """Tasks of a session in order of time."""
    return tuple(sorted((t for t in plan.bench if t.session == session), key=lambda t: (t.start, t.end)))


def session_clock(plan: Plan, session: str) -> SessionClock | None:
    """How a session's clock came out, if it has one."""
    return next((c for c in plan.clocks if c.session == session), None)


def latest_out(farm: Farm, cut: Cut, dip: BenchTask) -> datetime:
    """The latest time a lot may stay in its dip: the stay planned is a multiple of the least, the window too."""
    traits = farm.traits(cut.strain)
    s = farm.settings
    rounds = -(-cut.pieces // (s.baths * s.bath_pieces))
    most = (traits.dip_minutes_frags + traits.dip_slack_frags) * rounds
    return dip.start + (datetime.resolution * round(most * 60_000_000))


def lot_clock(farm: Farm, cut: Cut, tasks: Sequence[BenchTask]) -> LotClock | None:
    """The clock of one lot."""
    mine = [t for t in tasks if t.lot == cut.lot]
    cutting = [t for t in mine if "cut" in t.steps]
    if not cutting:
        return None
    dip = next((t for t in mine if t.steps == ("dip",)), None)
    mount = [t for t in mine if {"mount", "dunk", "rack"} & set(t.steps)]
    return LotClock(
        cut=cutting[0].start,
        cut_end=cutting[-1].end,
        out=dip.end if dip is not None else None,
        out_by=latest_out(farm, cut, dip) if dip is not None else None,
        mount=mount[0].start if mount else None,
        racked=mount[-1].end if mount else None,
    )


@dataclass(frozen=True)
class Entry:
    """A line of a person's list: when it begins, what it is; ``alarm`` for baths, ``finish_by`` for breaks and baths, ``lot`` it is for."""

    start: datetime
    end: datetime
    what: str
    alarm: bool = False
    finish_by: datetime | None = None
    lot: str | None = None


def person_entries(farm: Farm, plan: Plan, session: str, person: str) -> tuple[Entry, ...]:
    """What a person does in a session, in order; work on one lot without anything between is one line."""
    tasks = session_tasks(plan, session)
    cuts = {c.lot: c for c in plan.cuts if c.session == session}
    dips = {t.lot: t for t in tasks if t.steps == ("dip",)}
    entries: list[Entry] = []
    last_lot: str | None = None
    for task in tasks:
        if task.person != person:
            continue
        name = "/".join(task.steps)
        if task.lot is None:
            text = {"break": "break", "change of water": "change water, baths, tools"}.get(name, "mix the dip anew")
            entries.append(Entry(task.start, task.end, text, finish_by=task.start if name == "break" else None))
            last_lot = None
            continue
        cut = cuts[task.lot]
        colony = cut.colony
        if "cut" in task.steps:
            entries.append(Entry(task.start, task.end, f"cut {colony}: {cut.pieces} {task.lot}", lot=task.lot))
        elif task.steps == ("mother back",):
            text = f"mother back {task.end:%H:%M}"
            if entries and entries[-1].what.startswith(f"cut {colony}:"):
                entries[-1] = replace(entries[-1], end=task.end, what=f"{entries[-1].what}; {text}")
            else:
                entries.append(Entry(task.start, task.end, f"{colony}: {text}", lot=task.lot))
        elif dips.get(task.lot) is not None and dips[task.lot].end == task.start:
            by = latest_out(farm, cut, dips[task.lot])
            entries.append(Entry(task.start, task.end, f"dip out {task.lot}, rinse", True, by, task.lot))
        elif "label" in task.steps:
            entries.append(Entry(task.start, task.end, f"label {task.pieces} for {task.lot}, into water", lot=task.lot))
        elif "mount" in task.steps and last_lot == task.lot and entries and entries[-1].end == task.start:
            pieces = _pieces(entries[-1].what) + (task.pieces or 0)
            entries[-1] = replace(entries[-1], end=task.end, what=f"mount {task.lot}: {pieces}")
        elif "mount" in task.steps:
            entries.append(Entry(task.start, task.end, f"mount {task.lot}: {task.pieces}", lot=task.lot))
        else:
            entries.append(Entry(task.start, task.end, f"{', '.join(task.steps)} {task.lot}", lot=task.lot))
        last_lot = task.lot if "mount" in task.steps else None
    return tuple(entries)


def _pieces(text: str) -> int:
    return int(text.rsplit(" ", 1)[1])


def clock_table(plan: Plan) -> Table:
    """Every task of the bench with its times."""
    rows: list[tuple[Value, ...]] = []
    for t in sorted(plan.bench, key=lambda t: (t.start, t.end, t.person or "~", t.lot or "")):
        colony = next((c.colony for c in plan.cuts if c.lot == t.lot), None)
        rows.append(
            (t.session, t.start.date(), t.start.strftime("%H:%M:%S"), t.end.strftime("%H:%M:%S"), t.person, t.lot, colony,
             ", ".join(t.steps), t.pieces, t.mix, t.kneading)
        )  # fmt: skip
    columns = ("session", "day", "start", "end", "person", "lot", "colony", "steps", "pieces", "mix", "kneading")
    return Table("clock", columns, tuple(rows))


def efficiency_table(plan: Plan) -> Table:
    """Each session's clock: finish, work against clock, proof."""
    rows = tuple(
        (c.session, c.finish.strftime("%H:%M:%S"), c.latest.strftime("%H:%M:%S"), round(c.work_minutes, 2), round(c.clock_minutes, 2),
         c.efficiency, c.outcome, c.gap_percent, c.overstay_minutes, c.mothers_waiting_minutes)
        for c in plan.clocks
    )  # fmt: skip
    columns = (
        "session", "finish", "clean_down_begins", "work_minutes", "clock_minutes", "efficiency", "outcome", "gap_percent",
        "overstay_minutes", "mothers_waiting_minutes",
    )  # fmt: skip
    return Table("session_clocks", columns, rows)
