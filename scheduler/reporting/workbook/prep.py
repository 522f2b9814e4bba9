"""What to lay out before a session, day before and hour before; and the sheet of labels."""

from __future__ import annotations

from collections.abc import Sequence

from openpyxl.workbook import Workbook

from scheduler.bench.dose import dose_text, volume_text
from scheduler.bench.prep import Bath, IntoWater, Label, PlugSet, Preparation
from scheduler.farm.people import WEEKDAYS
from scheduler.farm.units import exact
from scheduler.plan.view import PlanView
from scheduler.reporting.cautions import DEFER, TOXIC_KIT, table_cautions
from scheduler.reporting.tables import Value
from scheduler.reporting.tables.prep import weeks_left
from scheduler.reporting.tables.week import many
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import BOX, Page

_WIDTHS = (4, 13, 12, 16, 12, 12, 12, 14)
_LABEL_COLUMNS = 8


def add_preparation(book: Workbook, view: PlanView, prep: Preparation, into_water: Sequence[IntoWater]) -> None:
    """The preparation sheet of one session; ``into_water``: plugs to put into water for coming weeks."""
    farm, s = view.farm, prep.session
    page = Page(book, f"prepare {s.name} {s.day:%m-%d}", farm, _WIDTHS, landscape=False)
    page.ws.page_setup.fitToHeight = 2
    page.title(f"Prepare {s.name}, {WEEKDAYS[s.day.weekday()]} {s.day.isoformat()}, {s.start:%H:%M}")
    page.heading("Day before: labels, written dry")
    page.text(_labelling(view, prep))
    page.table(
        ("", "write", "lot tag", "strain", "plug", "pieces", _times(view)),
        [(BOX, x.code, x.lot, x.strain, x.plug_kind, x.pieces, x.labels) for x in prep.labels],
        spans=(1, 1, 1, 2, 1, 1, 1), bold=(1, 2), min_height=16,
    )  # fmt: skip
    page.gap()
    page.heading("Hour before: plugs into water")
    page.table(("", "plug", "plugs", "what", "in water by", "mounted from"), [_plugs(p) for p in prep.plugs],
               spans=(1, 1, 1, 2, 1, 2), min_height=16)  # fmt: skip
    page.gap()
    page.heading("Hour before: dips and rinses")
    page.table(
        ("", "water", "dip", "in each bath", "baths x mixes", "frags, min", "mothers, min"),
        [_bath(view, b) for b in prep.baths], spans=(1, 1, 1, 2, 1, 1, 1), bold=(3,), min_height=16, empty="no dips",
    )  # fmt: skip
    page.text(_rinses(view, prep))
    page.gap()
    _supplies(page, view, prep)
    if into_water:
        page.heading("Plugs that must stand in water for days: put in by")
        rows: list[tuple[Value, ...]] = [
            (BOX, w.by, WEEKDAYS[w.by.weekday()], w.plug_kind, w.plugs, w.used_from, "too late" if w.overdue else "")
            for w in into_water
        ]
        page.table(("", "by", "day", "plug", "plugs", "for use from", ""), rows, min_height=16, spans=(1, 1, 1, 1, 1, 2, 1))
        page.gap()
    _cautions(page, view, prep)


def _times(view: PlanView) -> str:
    return "plugs" if view.farm.settings.labelling == "plug" else "tags"


def _labelling(view: PlanView, prep: Preparation) -> str:
    s = view.farm.settings
    count = sum(x.labels for x in prep.labels)
    what = "every plug carries the short code" if s.labelling == "plug" else "one tag for each block, told apart by the rack map"
    when = "" if s.labels_written == "before" else " The mounter writes them in the session; lay pens and dry plugs out."
    fresh = dict.fromkeys(f"{x.code} for {x.strain}" for x in prep.labels if x.proposed)
    new = f" New codes: {', '.join(fresh)}; the book takes them on when the lots are recorded." if fresh else ""
    return f"{count} labels, about {prep.label_minutes:.0f} minutes: {what}; the lot tag stands by its block.{when}{new}"


def _plugs(p: PlugSet) -> tuple[Value, ...]:
    if p.condition_days:
        stock = "enough for it" if p.ready is None else f"{p.ready} ready by then"
        what = f"conditioned {p.condition_days} days ({stock})"
        return BOX, p.plug_kind, p.plugs, what, f"{p.in_water_by:%m-%d}", f"{p.soak_until:%H:%M}"
    return BOX, p.plug_kind, p.plugs, "soak in water of the system", f"{p.soak_from:%H:%M}", f"{p.soak_until:%H:%M}"


def _bath(view: PlanView, b: Bath) -> tuple[Value, ...]:
    volume = volume_text(b.dose.litres, view.farm.settings.measures)
    mothers = f"{b.mothers[0]:g}-{b.mothers[1]:g}" if b.mothers else ""
    return (
        BOX,
        b.system,
        b.dose.dip,
        f"{volume}: {dose_text(b.dose)}",
        f"{b.baths} x {b.mixes}",
        f"{b.frags[0]:g}-{b.frags[1]:g}",
        mothers,
    )


def _rinses(view: PlanView, prep: Preparation) -> str:
    s = view.farm.settings
    volume = volume_text(exact(s.rinse_litres), s.measures)
    notes = sorted({b.dose.note for b in prep.baths if b.dose.note})
    text = f"Rinse baths: {prep.rinses}, one for each water, {volume} of its own water." if prep.rinses else "No rinse baths."
    return f"{text} Dips in the water of the system, mixed fresh. {'; '.join(notes)}{'.' if notes else ''}"


def _supplies(page: Page, view: PlanView, prep: Preparation) -> None:
    page.heading("Lay out: glue, putty, blades, kit")
    if prep.kneadings:
        s = view.farm.settings
        page.text(
            f"Putty: {many(prep.kneadings, 'kneading')}, each for at most {s.kneading_pieces} pieces and {s.putty_set_minutes:g} minutes."
        )
    page.text(f"Tools: {', '.join(prep.methods)}; spare blades, sharps box, bucket for chips and slime.")
    if prep.toxic:
        page.text(f"For {', '.join(prep.toxic)}: {TOXIC_KIT}", font=style.BOLD, fill=style.HEAD_FILL)
    lasts = weeks_left(view)
    rows: list[tuple[Value, ...]] = [
        (BOX, d.item, d.need, d.unit, d.before, d.after, _lasts(view, lasts[d.item]) if d.after >= 0 else "not enough: order")
        for d in prep.draws
    ]
    page.table(("", "item", "need", "unit", "in stock", "left", "stock lasts"), rows, spans=(1, 2, 1, 1, 1, 1, 1), min_height=16,
               formats={2: "0.##", 4: "0.##", 5: "0.##"}, empty="no supplies in the book")  # fmt: skip
    page.text("What to order and by when: sheet supplies.", font=style.QUIET)
    page.gap()


def _lasts(view: PlanView, weeks: int) -> str:
    return f"{weeks} weeks" if weeks < view.farm.weeks.count else f"over {weeks} weeks"


def _cautions(page: Page, view: PlanView, prep: Preparation) -> None:
    farm = view.farm
    cuts = [c for c in view.plan.cuts if c.session == prep.session.id]
    page.heading("Cautions for what is on this table")
    traits = [farm.traits(c.strain) for c in cuts]
    rows: list[tuple[Value, ...]] = [
        (c.about, c.text, c.source) for c in table_cautions(traits, glue=bool(cuts), putty=any(t.uses_putty for t in traits))
    ]
    page.table(("about", "what to do", "source"), rows, spans=(2, 4, 2), bold=(0,))
    page.text(DEFER, font=style.BOLD)


# ---- labels --------------------------------------------------------------------------------------------------------


def add_labels(book: Workbook, view: PlanView, preps: Sequence[Preparation]) -> None:
    """A plain grid of everything that is written, to copy from or to print and cut: the lot's tag, then its plugs' codes."""
    page = Page(book, "labels", view.farm, (11.5,) * _LABEL_COLUMNS, landscape=False)
    page.title(
        "Labels",
        "first the tag of the lot with its rack and blocks, then the code of each plug; codes stay with their strain for life",
    )
    for prep in preps:
        page.heading(f"{prep.session.name} {prep.session.day.isoformat()}")
        for label in prep.labels:
            _lot_labels(page, view, label)
        page.gap()


def _lot_labels(page: Page, view: PlanView, label: Label) -> None:
    stand = view.lots[label.lot].stands[0]
    page.text(f"{label.lot}   {label.strain}, {label.pieces} pieces, rack {stand.rack}", font=style.BOLD, fill=style.HEAD_FILL)
    if view.farm.settings.labelling == "block":
        cells: list[str] = [f"{label.lot} {i}/{label.blocks}" for i in range(1, label.blocks + 1)]
    else:
        cells = [label.code] * label.labels
    for start in range(0, len(cells), _LABEL_COLUMNS):
        row = cells[start : start + _LABEL_COLUMNS]
        page.grid(row, height=18)
