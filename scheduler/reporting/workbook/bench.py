"""One sheet per bench session: what is cut in which order, and where it goes."""

from __future__ import annotations

from decimal import Decimal

from openpyxl.styles import PatternFill
from openpyxl.workbook import Workbook

from scheduler.farm.farm import Farm
from scheduler.farm.people import WEEKDAYS
from scheduler.farm.settings import Settings
from scheduler.farm.units import LITRES_PER_US_GALLON, exact
from scheduler.plan.model import Cut
from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Value
from scheduler.reporting.tables.bench import SessionView, blocks_text, dip_text
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import BOX, Page

TOXIC_KIT = (
    "Kit for toxic corals: nitrile gloves (two pairs), eye shield, mask, long sleeves; cut wet or under water, never dry, brush or "
    "heat; own tubs and tools; bleach solution ready for tools and bench (1 part 5 % household bleach to 9 parts water, never mixed "
    "with other cleaners, window open); nobody works alone."
)
_TICKS_BEFORE = (
    "first aid, eye wash and phone at hand",
    "baths mixed, labels written, plugs counted out",
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
    "order", "colony", "strain", "stands in", "PAR", "cuts", "mounts", "pieces", "plug", "label code", "dip", "to rack",
    "blocks", "pieces done", "lost", "where it went", "minutes",
)  # fmt: skip
_WIDTHS = (6, 9.5, 14, 15, 5.5, 8, 9, 7, 6.5, 10.5, 13, 8, 13, 7.5, 5, 11, 8)


def session_title(view: SessionView) -> str:
    """Name of a session's sheet: session and day."""
    return f"{view.session.name} {view.session.day:%m-%d}"


def iodine_text(s: Settings) -> str:
    """How an iodine bath of the farm's volume is mixed: strength x volume / strength of the stock (10 mg per mL and percent)."""
    stock_ml = exact(s.iodine_mg_per_litre) * exact(s.dip_litres) / (exact(s.iodine_stock_percent) * 10)
    volume = f"{s.dip_litres:g} L" if s.measures == "metric" else f"{exact(s.dip_litres) / LITRES_PER_US_GALLON:.2f} gal"
    drops = stock_ml * exact(s.drops_per_ml)
    return f"Iodine bath: {volume} of the system's water with {stock_ml:.1f} mL (about {drops:.0f} drops) of {s.iodine_stock_percent:g} % stock."


def add_session(book: Workbook, view: PlanView, session: SessionView) -> None:
    """The sheet of one bench session."""
    farm, s = view.farm, session.session
    page = Page(book, session_title(session), farm, _WIDTHS)
    day = f"{WEEKDAYS[s.day.weekday()]} {s.day.isoformat()}"
    page.title(f"{s.name}  {day}  {session.clock}", f"week {farm.weeks.label(s.week)}; methods offered: {', '.join(s.methods)}")
    for line in _top_lines(farm, session):
        page.text(line, font=style.BOLD if line.startswith(("Water", "Change")) else style.PLAIN)
    toxic = {c.lot for c in session.cuts if farm.traits(c.strain).toxic}
    if toxic:
        page.text(TOXIC_KIT, font=style.BOLD, fill=style.HEAD_FILL)
    page.gap()
    rows, changes = _rows(view, session, toxic)

    def ground(row: int, _: int) -> PatternFill | None:
        return style.HEAD_FILL if row in changes else None

    page.table(_HEADERS, rows, fill=ground, repeat=True, min_height=27, bold=(7, 9, 12))
    page.text(
        "frags go to the rack and blocks named, plug after plug in reading order: A1 is the first corner.", font=style.QUIET
    )
    page.gap()
    stand_by = [
        (BOX, b.colony, farm.strain[farm.colony[b.colony].strain].name, _where(farm, b.colony), b.pieces, "")
        for b in view.plan.stand_by
        if b.session == s.id
    ]
    page.heading("Stand-by: if a colony is unfit when lifted")
    page.table(
        ("", "colony", "strain", "stands in", "most pieces", "used for"), stand_by, spans=(1, 1, 1, 1, 2, 2), min_height=16
    )
    page.gap()
    page.heading("Before and after")
    ticks: list[tuple[Value, ...]] = [
        (BOX, before, BOX, after) for before, after in zip(_TICKS_BEFORE, _TICKS_AFTER, strict=True)
    ]
    page.table(("", "before the first cut", "", "after the last"), ticks, spans=(1, 6, 1, 6), min_height=16)


def _top_lines(farm: Farm, session: SessionView) -> list[str]:
    people = "; ".join(
        f"{person} {work:.0f} of {session.offered:.0f} min" if work else f"{person} (no cut planned)"
        for person, work in session.work.items()
    )
    lines = [f"People: {people}.  {len(session.cuts)} colonies, {session.pieces} pieces."]
    systems = "  >  ".join(
        f"{system}{' (quarantine: own tubs and tools)' if farm.in_quarantine(system, session.session.week) else ''}"
        for system in session.systems
    )
    lines.append(f"Water in this order, never back: {systems}")
    if session.changes:
        lines.append(
            f"Changes of water: {session.changes}, each with new baths and clean tools, {farm.settings.changeover_minutes:g} min."
        )
    if any(farm.traits(c.strain).dip == "iodine" for c in session.cuts):
        lines.append(iodine_text(farm.settings))
    return lines


def _where(farm: Farm, colony: str) -> str:
    c = farm.colony[colony]
    text = f"{c.tank}, {c.place}" if c.place else c.tank
    if c.rack and c.positions:
        text += f" ({c.rack} {c.positions})"
    return f"{text}; cut in the tank, on rock" if c.on_rock else text


def _rows(view: PlanView, session: SessionView, toxic: set[str]) -> tuple[list[tuple[Value, ...]], set[int]]:
    """The cut list, with a row where the water changes; those rows' numbers come along."""
    farm = view.farm
    rows: list[tuple[Value, ...]] = []
    changes: set[int] = set()
    system = session.systems[0]
    for cut in session.cuts:
        now = farm.system_of_tank(farm.colony[cut.colony].tank)
        if now != system:
            system = now
            changes.add(len(rows))
            text = f"change to {now}"
            rows.append(("", text, "new baths, clean tools", *[""] * (len(_HEADERS) - 3)))
        rows.append(_row(view, cut, cut.lot in toxic))
    return rows, changes


def _row(view: PlanView, cut: Cut, toxic: bool) -> tuple[Value, ...]:
    farm = view.farm
    traits, stand = farm.traits(cut.strain), view.lots[cut.lot].stands[0]
    name = f"{farm.strain[cut.strain].name} (toxic)" if toxic else farm.strain[cut.strain].name
    par: Decimal = exact(farm.colony[cut.colony].par_umol)
    return (
        cut.run_order, cut.colony, name, _where(farm, cut.colony), round(par), cut.cutter, cut.mounter, cut.pieces,
        traits.plug_kind, cut.lot, dip_text(traits), stand.rack, blocks_text(stand, traits), "", "", "", "",
    )  # fmt: skip
