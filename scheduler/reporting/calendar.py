"""Bench sessions and moves as a calendar (RFC 5545). An event keeps its UID from plan to plan, so that it is updated, not doubled."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from icalendar import Calendar, Event

from scheduler import __version__
from scheduler.errors import OutputError
from scheduler.farm.farm import Farm
from scheduler.farm.work import session_end
from scheduler.plan.view import PlanView
from scheduler.reporting.tables.bench import SessionView, blocks_text, session_views
from scheduler.reporting.tables.places import moves_table

_COMPARED = ("DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "STATUS")
"""Properties whose change makes a new revision of an event (RFC 5545, 3.8.7.4)."""


@dataclass(frozen=True)
class Entry:
    """One event: by the wall clock of the farm (floating time), or whole days; ``end`` is the first moment or day after it."""

    uid: str
    start: datetime | date
    end: datetime | date
    summary: str
    description: str


def entries(view: PlanView) -> tuple[Entry, ...]:
    """The sessions with cuts and the weeks with moves of a plan's near weeks."""
    farm = view.farm
    found = [_session(view, s) for s in session_views(farm, view.plan)]
    moves = moves_table(view)
    for week in farm.weeks.near_weeks:
        rows = [
            r
            for r in moves.pick("week", "lot", "name", "pieces", "from_rack", "from_blocks", "to_rack", "to_blocks")
            if r[0] == week
        ]
        if rows:
            lines = [f"{r[1]} ({r[2]}, {r[3]} plugs): {r[4]} {r[5]} to {r[6]} {r[7]}" for r in rows]
            found.append(
                Entry(_uid(farm, f"moves {farm.weeks.label(week)}"), farm.weeks.monday(week), farm.weeks.monday(week + 1),
                      f"Move {len(rows)} lot{'s' if len(rows) != 1 else ''}", "\n".join(lines))
            )  # fmt: skip
    return tuple(found)


def calendar_bytes(view: PlanView, now: datetime, previous: bytes | None = None) -> bytes:
    """The calendar of a plan. ``now`` is stamped on events (a moment in UTC).

    With the calendar of the last plan, changed events carry the next revision, and events from this plan's first Monday on
    that are gone are cancelled; older ones are left out. Raises ``OutputError`` if ``previous`` is no calendar.
    """
    old = _old_events(previous) if previous else {}
    calendar = Calendar()
    calendar.add("prodid", f"-//frag-scheduler//frag-scheduler {__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", view.farm.settings.farm_name)
    current = {e.uid: _event(e) for e in entries(view)}
    for uid, event in sorted(current.items()):
        _revise(event, old.get(uid), now)
        calendar.add_component(event)
    for uid, event in sorted(old.items()):
        start = event.decoded("dtstart")
        day = start.date() if isinstance(start, datetime) else start
        if uid not in current and day >= view.farm.weeks.plan_monday and _is_ours(view.farm, uid):
            gone = Event.from_ical(event.to_ical())
            gone["STATUS"] = "CANCELLED"
            assert isinstance(gone, Event)
            _revise(gone, event, now)
            calendar.add_component(gone)
    return bytes(calendar.to_ical())


def read_previous(path: Path) -> bytes | None:
    """The calendar at a path, if there is one. Raises ``OutputError`` if it cannot be read."""
    try:
        return path.read_bytes() if path.exists() else None
    except OSError as error:
        raise OutputError(f"{path} cannot be read: {error.strerror}") from error


def _domain(farm: Farm) -> str:
    """Right-hand side of the UIDs: one farm's events are not taken for another's."""
    return f"{hashlib.sha256(farm.settings.farm_name.encode()).hexdigest()[:12]}.frag-scheduler"


def _uid(farm: Farm, what: str) -> str:
    return f"{hashlib.sha256(what.encode()).hexdigest()[:24]}@{_domain(farm)}"


def _is_ours(farm: Farm, uid: str) -> bool:
    return uid.endswith(f"@{_domain(farm)}")


def _session(view: PlanView, s: SessionView) -> Entry:
    farm = view.farm
    start = datetime.combine(s.session.day, s.session.start)
    lines = [f"{', '.join(s.session.people)}. Water in this order, never back: {' > '.join(s.systems)}."]
    for cut in s.cuts:
        traits, stand = farm.traits(cut.strain), view.lots[cut.lot].stands[0]
        toxic = " (toxic: kit)" if traits.toxic else ""
        lines.append(
            f"{cut.run_order}. {cut.colony} {farm.strain[cut.strain].name}{toxic}: {cut.pieces} pieces, label {cut.lot}, to {stand.rack} "
            f"{blocks_text(stand, traits)}; {cut.cutter} cuts, {cut.mounter} mounts"
        )
    summary = f"{s.session.name}: cut {len(s.cuts)}, {s.pieces} pieces"
    return Entry(_uid(farm, f"session {s.session.id}"), start, session_end(s.session), summary, "\n".join(lines))


def _event(entry: Entry) -> Event:
    event = Event()
    event.add("uid", entry.uid)
    event.add("dtstart", entry.start)
    event.add("dtend", entry.end)
    event.add("summary", entry.summary)
    event.add("description", entry.description)
    event.add("status", "CONFIRMED")
    if not isinstance(entry.start, datetime):
        event.add("transp", "TRANSPARENT")
    return event


def _revise(event: Event, old: Event | None, now: datetime) -> None:
    """Stamp an event; one that says the same as before keeps its stamp and revision."""
    for name in ("DTSTAMP", "SEQUENCE"):
        event.pop(name, None)
    if old is not None and all(_text(event, name) == _text(old, name) for name in _COMPARED):
        event.add("dtstamp", old.decoded("dtstamp"))
        event.add("sequence", int(old.get("SEQUENCE", 0)))
    else:
        event.add("dtstamp", now)
        event.add("sequence", int(old.get("SEQUENCE", 0)) + 1 if old is not None else 0)


def _text(event: Event, name: str) -> bytes:
    value = event.get(name)
    return b"" if value is None else bytes(value.to_ical()) if hasattr(value, "to_ical") else str(value).encode()


def _old_events(data: bytes) -> dict[str, Event]:
    try:
        events: Iterable[Event] = Calendar.from_ical(data).walk("VEVENT")  # type: ignore[assignment]
        return {str(e["UID"]): e for e in events if "UID" in e and "DTSTART" in e and "DTSTAMP" in e}
    except (ValueError, KeyError, IndexError) as error:
        raise OutputError(f"the calendar to be updated is no calendar ({error}); move it away or give another name") from error
