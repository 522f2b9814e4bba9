"""A sheet written from top to bottom: titles, sentences and tables."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from datetime import date, time
from decimal import Decimal

from openpyxl.cell.cell import Cell
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from scheduler.farm.farm import Farm
from scheduler.reporting.tables import Value
from scheduler.reporting.workbook import style
from scheduler.sheets import clean_text, set_text

_NOT_IN_NAMES = str.maketrans(dict.fromkeys("[]:*?/\\'\t\n", "-"))
BOX = "☐"
_TALLEST = 400.0
"""A spreadsheet row is at most 409 points high."""

HEAD_LEFT = Alignment(horizontal="left", vertical="bottom", wrap_text=True)
HEAD_RIGHT = Alignment(horizontal="right", vertical="bottom", wrap_text=True, indent=1)


def sheet_name(book: Workbook, wanted: str) -> str:
    """A sheet name a spreadsheet accepts: no forbidden characters, at most 31, not used yet."""
    base = clean_text(wanted).translate(_NOT_IN_NAMES).strip() or "sheet"
    name, number = base[:31], 1
    taken = {title.lower() for title in book.sheetnames}
    while name.lower() in taken:
        number += 1
        name = f"{base[: 31 - len(f' ({number})')]} ({number})"
    return name


def put(cell: Cell, value: Value, number_format: str | None = None) -> None:
    """A value into a cell: text as text, numbers as numbers, never a formula."""
    if value is None:
        return
    if isinstance(value, bool):
        set_text(cell, "yes" if value else "no")
    elif isinstance(value, str):
        set_text(cell, value)
    elif isinstance(value, date):
        cell.value = value
        cell.number_format = number_format or "yyyy-mm-dd"
    elif isinstance(value, time):
        set_text(cell, value.strftime("%H:%M"))
    else:
        cell.value = float(value) if isinstance(value, Decimal) else value
        cell.number_format = number_format or ("0" if isinstance(value, int) else "0.0")


class Page:
    """A sheet and the row to write next. ``widths`` are its column widths in characters."""

    def __init__(
        self, book: Workbook, name: str, farm: Farm, widths: Sequence[float], *, landscape: bool = True, one_page: bool = False
    ) -> None:
        self.ws: Worksheet = book.create_sheet(sheet_name(book, name))
        self.farm = farm
        self.widths = tuple(widths)
        self.row = 1
        for i, width in enumerate(widths, 1):
            self.ws.column_dimensions[get_column_letter(i)].width = width
        style.print_setup(self.ws, farm, landscape=landscape, one_page=one_page)

    def cell(self, row: int, col: int) -> Cell:
        """A cell, both from 1."""
        found = self.ws.cell(row, col)
        assert isinstance(found, Cell)
        return found

    def title(self, text: str, below: str = "") -> None:
        """The sheet's title and a quiet line below it."""
        self.text(text, font=style.TITLE)
        if below:
            self.text(below, font=style.QUIET)
        self.gap()

    def gap(self, height: float = 7) -> None:
        """An empty row."""
        self.ws.row_dimensions[self.row].height = height
        self.row += 1

    def heading(self, text: str) -> None:
        """A heading inside the sheet."""
        cell = self.cell(self.row, 1)
        set_text(cell, text)
        cell.font = style.HEADING
        self.ws.row_dimensions[self.row].height = 17
        self.row += 1

    def text(self, text: str, font: Font = style.PLAIN, fill: PatternFill | None = None) -> None:
        """A sentence across the whole sheet, wrapped."""
        last = len(self.widths)
        cell = self.cell(self.row, 1)
        set_text(cell, text)
        cell.font, cell.alignment = font, style.LEFT
        if fill is not None:
            cell.fill = fill
        if last > 1:
            self.ws.merge_cells(start_row=self.row, start_column=1, end_row=self.row, end_column=last)
        width, scale = sum(self.widths), 1.0
        if font is style.TITLE:
            width, scale = width * 0.55, 1.7
        self.ws.row_dimensions[self.row].height = min(
            _TALLEST, scale * _height(text, width, font.b is True, small=font is style.QUIET)
        )
        self.row += 1

    def table(
        self, headers: Sequence[str], rows: Sequence[Sequence[Value]], *, spans: Sequence[int] | None = None,
        formats: dict[int, str] | None = None, fill: Callable[[int, int], PatternFill | None] | None = None,
        repeat: bool = False, empty: str = "none", min_height: float = 0, bold: Sequence[int] = (), centre: Sequence[int] = (),
    ) -> int:  # fmt: skip
        """A table with a header row; returns the row of the header.

        ``spans``: sheet columns each table column covers (default one). ``repeat``: print the header on every page.
        ``fill(row, column)`` may give a cell its ground. ``empty`` is written where there are no rows.
        """
        spans = spans or (1,) * len(headers)
        starts = [1 + sum(spans[:i]) for i in range(len(spans))]
        widths = [sum(self.widths[a - 1 : a - 1 + n]) for a, n in zip(starts, spans, strict=True)]
        numeric = [(i in (formats or {})) or any(_is_number(r[i]) for r in rows) for i in range(len(spans))]
        head = self.row
        for i, text in enumerate(headers):
            align = HEAD_RIGHT if numeric[i] else HEAD_LEFT
            self._fill_cell(head, starts[i], spans[i], text, style.BOLD, align, style.HEAD_FILL, None)
            self._border(head, starts[i], spans[i], head=True)
        self.ws.row_dimensions[head].height = max(_height(t, w, True) for t, w in zip(headers, widths, strict=True)) + 2
        if repeat:
            self.ws.print_title_rows = f"{head}:{head}"
        self.row += 1
        for r, row in enumerate(rows):
            height = max(min_height, style.LINE_HEIGHT + 2)
            for i, value in enumerate(row):
                align = style.CENTER if i in centre else style.RIGHT if numeric[i] and not isinstance(value, str) else style.LEFT
                ground = fill(r, i) if fill is not None else None
                font = style.BOLD if i in bold else style.PLAIN
                self._fill_cell(self.row, starts[i], spans[i], value, font, align, ground, (formats or {}).get(i))
                self._border(self.row, starts[i], spans[i])
                if isinstance(value, str):
                    height = max(height, _height(value, widths[i], i in bold) + 2)
            self.ws.row_dimensions[self.row].height = height
            self.row += 1
        if not rows:
            cell = self.cell(self.row, 1)
            set_text(cell, empty)
            cell.font = style.QUIET
            self.row += 1
        return head

    def grid(self, texts: Sequence[str], *, height: float) -> None:
        """A row of outlined cells with a text in the middle of each."""
        for i, text in enumerate(texts, 1):
            self._fill_cell(self.row, i, 1, text, style.BOLD, style.CENTER, None, None)
            self._border(self.row, i, 1)
        self.ws.row_dimensions[self.row].height = height
        self.row += 1

    def _fill_cell(
        self, row: int, col: int, span: int, value: Value, font: Font, align: Alignment, ground: PatternFill | None,
        number_format: str | None,
    ) -> None:  # fmt: skip
        cell = self.cell(row, col)
        put(cell, value, number_format)
        cell.font, cell.alignment = font, align
        if ground is not None:
            cell.fill = ground
        if span > 1:
            self.ws.merge_cells(start_row=row, start_column=col, end_row=row, end_column=col + span - 1)

    def _border(self, row: int, col: int, span: int, *, head: bool = False) -> None:
        for c in range(col, col + span):
            self.ws.cell(row, c).border = style.HEAD_BORDER if head else style.CELL_BORDER


def _is_number(value: Value) -> bool:
    return isinstance(value, (int, float, Decimal)) and not isinstance(value, bool)


def _height(text: str, width: float, bold: bool, *, small: bool = False) -> float:
    """Height in points that wrapped text needs in a column of that width."""
    room = max(3, int(width * (1.4 if small else 1.13 if bold else 1.25)))
    lines = sum(max(1, len(textwrap.wrap(part, room))) for part in text.split("\n") or [""])
    return min(_TALLEST, lines * (style.LINE_HEIGHT - 1.5 if small else style.LINE_HEIGHT) + 1)
