"""The sheet on which the crew says what was done, and the hidden one that lets it be read back."""

from __future__ import annotations

from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.datavalidation import DataValidation

from scheduler.plan.view import PlanView
from scheduler.record import KEY_SHEET, RECORD_SHEET, planned_work
from scheduler.record.layout import COLUMNS, CONDITIONS, CREW, HEADS, HOW_TO, KEY_COLUMN, MARKS, USED, head_key, shown
from scheduler.record.planned import Group
from scheduler.record.read import CHUNK, digest
from scheduler.reporting.tables import Value
from scheduler.reporting.workbook import style
from scheduler.reporting.workbook.page import Page
from scheduler.sheets import set_text

_WIDTHS = (17, 11, 20, 7.5, 20, 10.5, 7, 8.5, 8.5, 8, 14, 8.5, 10.5, 19, 4)
_TEXTS = frozenset({"name", "lot", "detail", "mark", "rack", "blocks", "note"})
"""Columns formatted as text, so that a program makes no date or time of what is typed."""

_OFF = PatternFill("solid", start_color="D9D9D9")
"""Cells a section has no use for."""

_KEY_FONT = Font(name=style.FACE, size=6, color="A6A6A6")


def add_record(book: Workbook, view: PlanView) -> None:
    """Both sheets: one row a planned thing by session, packing and moves, with empty columns for the crew."""
    work = planned_work(view)
    page = Page(book, RECORD_SHEET, view.farm, _WIDTHS)
    page.title("What was done", f"plan {work.plan}; fill this in at the end of the week, then enter it into the book with: "
               "frag-scheduler record BOOK THIS_FILE --out NEW_BOOK")  # fmt: skip
    for line in HOW_TO:
        page.text(line)
    page.gap()
    marks = _choices(page, MARKS)
    conditions = _choices(page, CONDITIONS)
    for before, group in zip((None, *work.groups), work.groups, strict=False):
        if before is not None and before.week != group.week:
            style.break_before(page.ws, page.row)  # a week is handed in by itself
        _group(page, group, marks, conditions)
    last = page.row
    ws = page.ws
    ws.column_dimensions[get_column_letter(KEY_COLUMN)].hidden = True
    ws.print_area = f"A1:{get_column_letter(KEY_COLUMN - 1)}{last}"
    keys = book.create_sheet(KEY_SHEET)
    text = work.model_dump_json()
    set_text(keys.cell(1, 1), "What the sheet record is read back with. Do not change it.")
    set_text(keys.cell(1, 2), digest(text))
    for number, start in enumerate(range(0, len(text), CHUNK), start=2):
        set_text(keys.cell(number, 1), text[start : start + CHUNK])
    keys.sheet_state = "hidden"


def _choices(page: Page, words: tuple[str, ...]) -> DataValidation:
    rule = DataValidation(type="list", formula1=f'"{",".join(words)}"', allow_blank=True, showErrorMessage=True)
    page.ws.add_data_validation(rule)
    return rule


def _group(page: Page, group: Group, marks: DataValidation, conditions: DataValidation) -> None:
    """One list: heading, the row of its mark, its things, and rows for what nobody planned."""
    blank = [""] * len(CREW)
    total = sum(t.pieces for t in group.things)
    page.heading(group.title)
    head_row: tuple[Value, ...] = ("all of it" if group.marked else "", "", "", total if group.marked else "", "", *blank)
    rows: list[tuple[Value, ...]] = [head_row] if group.marked else []
    rows += [(*shown(group, t), *blank) for t in group.things]
    rows += [("", "", "", "", "", *blank)] * group.spare
    keys = group.rows if group.marked else group.rows[1:]
    off = [i for i, name in enumerate(COLUMNS) if name in CREW and name not in USED[group.section]]

    def ground(row: int, column: int) -> PatternFill | None:
        if group.marked and row == 0:
            return style.HEAD_FILL if column < 5 else _OFF if COLUMNS[column] not in ("mark", "note") else None
        if column in off:
            return _OFF
        return style.HEAD_FILL if column < 5 and row < len(keys) - group.spare else None

    head = page.table(HEADS[group.section], rows, fill=ground, bold=(3,), min_height=16)
    _key(page, head, head_key(group.section))
    for row, key in enumerate(keys, start=head + 1):
        _key(page, row, key)
        for column, name in enumerate(COLUMNS[:-1], start=1):
            if name in _TEXTS and (name in CREW or key.startswith(f"{group.key} more")):
                page.cell(row, column).number_format = "@"
        if group.section == "colonies":
            conditions.add(page.cell(row, 6))
        elif group.marked:
            marks.add(page.cell(row, 6))
    page.gap()


def _key(page: Page, row: int, key: str) -> None:
    cell = page.cell(row, KEY_COLUMN)
    set_text(cell, key)
    cell.font = _KEY_FONT
