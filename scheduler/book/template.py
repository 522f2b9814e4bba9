"""An empty farm book to start from."""

from __future__ import annotations

from datetime import date, time
from pathlib import Path
from typing import TYPE_CHECKING

from openpyxl import Workbook
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from scheduler.book.cellvalues import number_format, sheet_value
from scheduler.book.coerce import coerce
from scheduler.book.fields import EXAMPLE_COLUMN, REQUIRED_TABLES, columns, expected_words, kinds
from scheduler.book.style import (
    EXAMPLE_FILL,
    EXAMPLE_FONT,
    LAST_LISTED_ROW,
    OPTIONAL_FILL,
    OPTIONAL_FONT,
    WRAPPED,
    dress,
    head,
)
from scheduler.book.write import fill_settings, put
from scheduler.farm.farm import TABLES
from scheduler.farm.rows import Row
from scheduler.farm.settings import Settings
from scheduler.files import atomic_write, refuse_existing
from scheduler.sheets import set_text, workbook_bytes

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

ABOUT = (
    ("Farm book", True),
    (
        "One sheet a table, one row a thing, one value a cell. Headings in row 1; the note on each heading says what it wants.",
        False,
    ),
    ("Dark headings must be filled in every row; pale ones may stay empty.", False),
    (
        "A row with the word example in the last column shows how to fill the sheet. It is not read; delete it when you like.",
        False,
    ),
    (
        "Dates: date cells, or text such as 2026-11-30. Times: 08:30. Shares: 0.4, not 40 %. Decimal point, no thousands mark.",
        False,
    ),
    (
        "Several values in one cell are separated by ;  A single - stands for an empty list where empty means something else.",
        False,
    ),
    ("Names that look like numbers (007) stay as they are if their cell is formatted as text.", False),
    ("Sheets whose name begins with about, guide or lists are not read. This file is never written to.", False),
)


def write_template(path: Path) -> None:
    """Write an empty farm book. Raises ``OutputError`` if there is something at ``path``."""
    refuse_existing(path)
    book = Workbook()
    _about(book.worksheets[0])
    for sheet, cls in TABLES.items():
        page = book.create_sheet(sheet)
        if cls is Settings:
            fill_settings(page, Settings())
            dress(page, cls)
            _blank_book_date(page)
            for row in page.iter_rows(min_row=2, min_col=3, max_col=4):
                for cell in row:
                    cell.alignment = WRAPPED
            continue
        head(page, cls)
        _example(page, cls)
        dress(page, cls)
        _formats(page, cls)
    atomic_write(path, workbook_bytes(book))


def _blank_book_date(page: Worksheet) -> None:
    """The one setting with no good default: a book without a date would be planned from on the wrong day."""
    for row in page.iter_rows(min_row=2, max_col=2):
        if row[0].value == "book_date":
            page.cell(row[0].row, 2).value = None


def _about(page: Worksheet) -> None:
    page.title = "about"
    page.column_dimensions["A"].width = 20
    page.column_dimensions["B"].width = 110
    row = 1
    for text, title in ABOUT:
        set_text(page.cell(row, 1), text)
        if title:
            page.cell(row, 1).font = Font(bold=True, size=16)
        row += 1
    row += 1
    for column, text in enumerate(("sheet", "what it holds"), start=1):
        cell = page.cell(row, column)
        set_text(cell, text)
        cell.font, cell.fill = OPTIONAL_FONT, OPTIONAL_FILL
    for sheet, cls in TABLES.items():
        row += 1
        set_text(page.cell(row, 1), sheet)
        needed = " Must be filled." if sheet in REQUIRED_TABLES else ""
        set_text(page.cell(row, 2), cls.ABOUT + needed)
        page.cell(row, 2).alignment = WRAPPED


def example_of(cls: type[Row], name: str) -> str:
    """The example of a column as it would be typed."""
    return str((cls.model_fields[name].examples or [""])[0])


def _example(page: Worksheet, cls: type[Row]) -> None:
    """The example row, marked in the last column."""
    names = columns(cls)
    for column, name in enumerate(names, start=1):
        info, kind = cls.model_fields[name], kinds(cls)[name]
        value = sheet_value(coerce(example_of(cls, name), kind, expected_words(info)), info)
        put(page, 2, column, value, number_format(value, kind))
    put(page, 1, len(names) + 1, EXAMPLE_COLUMN)
    put(page, 2, len(names) + 1, EXAMPLE_COLUMN)
    page.cell(1, len(names) + 1).font, page.cell(1, len(names) + 1).fill = OPTIONAL_FONT, OPTIONAL_FILL
    page.column_dimensions[get_column_letter(len(names) + 1)].width = 12
    for column in range(1, len(names) + 2):
        page.cell(2, column).font, page.cell(2, column).fill = EXAMPLE_FONT, EXAMPLE_FILL


def _formats(page: Worksheet, cls: type[Row]) -> None:
    """Number formats for rows still to be filled, so that 007 stays 007 and dates look alike."""
    samples: dict[type, object] = {date: date(2026, 1, 1), time: time(8), str: ""}
    for column, name in enumerate(columns(cls), start=1):
        kind = kinds(cls)[name]
        form = number_format(samples.get(kind.base, 1), kind)  # type: ignore[arg-type]
        if form != "General":
            page.column_dimensions[get_column_letter(column)].number_format = form


__all__ = ["ABOUT", "LAST_LISTED_ROW", "example_of", "write_template"]
