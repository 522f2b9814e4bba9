"""One sheet per bench session: what is cut in which order, by whom and when, and where it goes."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise, zip_longest

from openpyxl.styles import PatternFill
from openpyxl.workbook import Workbook

from scheduler.farm.coral import Traits
from scheduler.farm.farm import Farm
from scheduler.farm.people import WEEKDAYS
from scheduler.plan.model import BenchTask, Cut
from scheduler.plan.view import PlanView
from scheduler.reporting.cautions import TOXIC_KIT
from scheduler.reporting.tables import Value
from scheduler.reporting.tables.bench import SessionView, blocks_text, colony_place
from scheduler.reporting.tables.clock import Entry, lot_clock, person_entries, rounded_up, session_clock, session_tasks
from scheduler.reporting.tables.week import many
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import BOX, Page

_TICKS_BEFORE = (
    "all on the sheet prepare ticked",
    "first aid, eye wash and phone at hand",
    "room aired, sockets and leads clear of water",
    "water chemistry steady, no large water change today",
)
_TICKS_AFTER = (
    "all lots in the racks and blocks named, tubs emptied",
    "mothers back in their places",
    "tools and bench clean and dry, blades away",
    "pieces done, lost and places written down",
)
_HEADERS = (
    "", "colony", "strain", "stands in", "cuts", "from", "pieces", "label code", "dip, min", "frags out", "mounts", "racked by",
    "to rack and blocks", "done", "lost, elsewhere",
)  # fmt: skip
_WIDTHS_MANY = (4, 9, 16, 14, 7, 6, 7, 10.5, 13.5, 12.5, 7, 7, 17, 5, 10)
_WIDTHS_FEW = (4, 9, 13, 11.5, 6.5, 6, 6.5, 9.5, 11, 12, 6.5, 7, 13, 5, 8)
"""The letters are as large as the two pages of a session allow: many colonies want rows of one line, few a narrow sheet."""

PAGES = 2
"""A session is printed on at most so many pages."""

ONE_PAGE = 6
"""With no more colonies than this it is printed on one: its last rows alone on a second one are overlooked."""

FEW_COLONIES = 12
"""With more colonies than this the lists by person begin a new page."""

ALARM = "!"

TIME_WIDTH = 7.0
"""Least width of a time in the lists by person, characters."""


def session_title(view: SessionView) -> str:
    """Name of a session's sheet: session and day."""
    return f"{view.session.name} {view.session.day:%m-%d}"


def add_session(book: Workbook, view: PlanView, session: SessionView) -> None:
    """The sheet of one bench session."""
    farm, s = view.farm, session.session
    few = len(session.cuts) <= FEW_COLONIES
    page = Page(book, session_title(session), farm, _WIDTHS_FEW if few else _WIDTHS_MANY)
    page.ws.page_setup.fitToHeight = 1 if len(session.cuts) <= ONE_PAGE else PAGES
    day = f"{WEEKDAYS[s.day.weekday()]} {s.day.isoformat()}"
    page.title(f"{s.name}  {day}  {session.clock}", f"week {farm.weeks.label(s.week)}; methods offered: {', '.join(s.methods)}")
    for line in _top_lines(view, session):
        page.text(line, font=style.BOLD if line.startswith(("Water", "Finish")) else style.PLAIN)
    toxic = {c.lot for c in session.cuts if farm.traits(c.strain).toxic}
    if toxic:
        page.text(TOXIC_KIT, font=style.BOLD, fill=style.HEAD_FILL)
    page.gap()
    rows, changes = _rows(view, session, toxic)

    def ground(row: int, _: int) -> PatternFill | None:
        return style.HEAD_FILL if row in changes else None

    page.table(_HEADERS, rows, fill=ground, bold=(5, 6, 7, 9))
    page.text(
        f"Frags go to the rack and blocks named, plug after plug in reading order: A1 is the first corner. Dip: minutes for frags / "
        f"for the mother. {ALARM} set an alarm: frags out of the dip between these times.",
        font=style.QUIET,
    )  # fmt: skip
    if not few:
        style.break_before(page.ws, page.row)
    else:
        page.gap()
    _by_person(page, view, session)
    stand_by: list[tuple[Value, ...]] = [
        (BOX, f"{b.colony} {farm.strain[farm.colony[b.colony].strain].name}, {_where(farm, b.colony)}", b.pieces)
        for b in view.plan.stand_by
        if b.session == s.id
    ]
    ticks = zip_longest(_TICKS_BEFORE, _TICKS_AFTER, stand_by)
    page.heading("Before, after, and if a colony is unfit when lifted")
    page.table(
        ("", "before the first cut", "", "after the last", "", "stand-by colony", "most pieces"),
        [(BOX if a else "", a or "", BOX if b else "", b or "", *(c or ("", "", ""))) for a, b, c in ticks],
        spans=(1, 3, 1, 4, 1, 3, 2), min_height=15,
    )  # fmt: skip


def _top_lines(view: PlanView, session: SessionView) -> list[str]:
    farm = view.farm
    people = "; ".join(
        f"{person} {work:.0f} of {session.offered:.0f} min" if work else f"{person} (no cut planned)"
        for person, work in session.work.items()
    )
    lines = [f"People: {people}.  {many(len(session.cuts), 'colony', 'colonies')}, {many(session.pieces, 'piece')}."]
    systems = "  >  ".join(
        f"{system}{' (quarantine: own tubs and tools)' if farm.in_quarantine(system, session.session.week) else ''}"
        for system in session.systems
    )
    changes = f"; at each change new baths and clean tools, {farm.settings.changeover_minutes:g} min" if session.changes else ""
    lines.append(f"Water in this order, never back: {systems}{changes}.")
    clock = session_clock(view.plan, session.session.id)
    if clock is not None:
        share = f"{clock.work_minutes:.0f} of {clock.clock_minutes:.0f} minutes of the busiest person are work"
        lines.append(
            f"Finish: last frag in its rack by {rounded_up(clock.finish)}; clean-down begins at {clock.latest:%H:%M} at the latest ({share})."
        )
    return lines


def _by_person(page: Page, view: PlanView, session: SessionView) -> None:
    """Everybody's work in order of time, side by side; only baths carry an alarm."""
    if not session_tasks(view.plan, session.session.id):
        return
    people = [p for p in session.session.people if person_entries(view.farm, view.plan, session.session.id, p)]
    page.heading("By the clock")
    spans = _spans(page.widths, len(people))
    lists = [[_entry(e) for e in person_entries(view.farm, view.plan, session.session.id, p)] for p in people]
    rows = [[value for cell in row for value in cell] for row in zip_longest(*lists, fillvalue=("", ""))]
    headers = [text for person in people for text in ("", person)]

    def ground(row: int, column: int) -> PatternFill | None:
        return style.HEAD_FILL if ALARM in str(rows[row][column - column % 2]) else None

    page.table(headers, rows, spans=spans, fill=ground, bold=tuple(range(0, 2 * len(people), 2)))
    page.text(
        "Order and person hold; times are a guide, except at breaks and where frags come out of the dip, not later than named.",
        font=style.QUIET,
    )
    page.gap()


def _entry(entry: Entry) -> tuple[str, str]:
    if entry.alarm and entry.finish_by is not None:
        return f"{ALARM} {entry.start:%H:%M}", f"{entry.what}; by {entry.finish_by:%H:%M}"
    if entry.finish_by is not None:
        return f"{BOX} {entry.start:%H:%M}", f"{entry.what} to {rounded_up(entry.end)}, all above done"
    return f"{BOX} {entry.start:%H:%M}", entry.what


def _spans(widths: Sequence[float], people: int) -> tuple[int, ...]:
    """Sheet columns of each person's time and text, so that all get about the same width."""
    edges = [0.0]
    for width in widths:
        edges.append(edges[-1] + width)
    share = edges[-1] / people
    cuts = [0, *(min(range(len(edges)), key=lambda i: abs(edges[i] - share * k)) for k in range(1, people)), len(widths)]
    spans: list[int] = []
    for first, last in pairwise(cuts):
        times = next(n for n in range(1, last - first) if edges[first + n] - edges[first] >= TIME_WIDTH or n == last - first - 1)
        spans += [times, last - first - times]
    return tuple(spans)


def _where(farm: Farm, colony: str) -> str:
    c = farm.colony[colony]
    text = ", ".join(x for x in (c.tank, colony_place(farm, colony)) if x)
    return f"{text}; cut in the tank, on rock" if c.on_rock else text


def dip_window(traits: Traits) -> str:
    """The dip and its window of minutes for frags and mother."""
    if traits.dip == "none":
        return "none"
    least, most = traits.dip_minutes_frags, traits.dip_minutes_frags + traits.dip_slack_frags
    mother = f" / {traits.dip_minutes_mother:g}" if traits.dip_minutes_mother else ""
    return f"{traits.dip} {least:g}-{most:g}{mother}"


def _rows(view: PlanView, session: SessionView, toxic: set[str]) -> tuple[list[tuple[Value, ...]], set[int]]:
    """The cut list, with a row where the water changes; those rows' numbers come along."""
    farm = view.farm
    tasks = session_tasks(view.plan, session.session.id)
    rows: list[tuple[Value, ...]] = []
    changes: set[int] = set()
    several = len({farm.traits(c.strain).plug_kind for c in session.cuts}) > 1
    system = session.systems[0]
    for cut in session.cuts:
        now = farm.system_of_tank(farm.colony[cut.colony].tank)
        if now != system:
            system = now
            changes.add(len(rows))
            text = f"change to {now}"
            rows.append(("", "", text, "new baths, tools", *[""] * (len(_HEADERS) - 4)))
        rows.append(_row(view, cut, tasks, cut.lot in toxic, several))
    return rows, changes


def _row(view: PlanView, cut: Cut, tasks: Sequence[BenchTask], toxic: bool, several: bool) -> tuple[Value, ...]:
    """A line of the cut list; with ``several`` kinds of plugs in the session each lot says its own."""
    farm = view.farm
    traits, stand = farm.traits(cut.strain), view.lots[cut.lot].stands[0]
    name = f"{farm.strain[cut.strain].name} (toxic)" if toxic else farm.strain[cut.strain].name
    clock = lot_clock(farm, cut, tasks)
    begin = f"{clock.cut:%H:%M}" if clock is not None else ""
    out = f"{ALARM} {clock.out:%H:%M}-{clock.out_by:%H:%M}" if clock is not None and clock.out and clock.out_by else ""
    racked = rounded_up(clock.racked) if clock is not None and clock.racked else ""
    place = f"{stand.rack} {blocks_text(stand, traits)}" + (f", {traits.plug_kind} plugs" if several else "")
    return (
        cut.run_order, cut.colony, name, _where(farm, cut.colony), cut.cutter, begin, cut.pieces, cut.lot, dip_window(traits), out,
        cut.mounter, racked, place, "", "",
    )  # fmt: skip
