"""How the sheets of a farm book look: headings with notes, widths, drop-down lists."""

from __future__ import annotations

from typing import TYPE_CHECKING

from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation

from scheduler.book.fields import SETTING_COLUMNS, columns, expected_words, is_required, kinds, linked_table
from scheduler.farm.rows import Row
from scheduler.farm.settings import Settings
from scheduler.sheets import set_text

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

LAST_LISTED_ROW = 2000
"""Drop-down lists and number formats reach down to this row."""

REQUIRED_FILL = PatternFill("solid", fgColor="1F4E5F")
OPTIONAL_FILL = PatternFill("solid", fgColor="DCE6EA")
REQUIRED_FONT = Font(bold=True, color="FFFFFF")
OPTIONAL_FONT = Font(bold=True, color="1F2A30")


def note_text(cls: type[Row], name: str) -> str:
    """What the note on a heading says."""
    info = cls.model_fields[name]
    target = linked_table(cls, name)
    parts = [f"{info.description or name}.", f"Expected: {expected_words(info)}."]
    if target is not None:
        parts.append(f"Names from the sheet {target.SHEET}.")
    parts.append("Must be filled." if is_required(info) else "May stay empty.")
    return "\n".join(parts)


def head(page: Worksheet, cls: type[Row]) -> None:
    """The heading row of a table: dark where a column must be filled, with a note on each cell."""
    for column, name in enumerate(columns(cls), start=1):
        cell = page.cell(1, column)
        set_text(cell, name)
        needed = is_required(cls.model_fields[name])
        cell.font = REQUIRED_FONT if needed else OPTIONAL_FONT
        cell.fill = REQUIRED_FILL if needed else OPTIONAL_FILL
        note = Comment(note_text(cls, name), "farm book")
        note.width, note.height = 320, 130
        cell.comment = note


def dress(page: Worksheet, cls: type[Row]) -> None:
    """Freeze the heading and the first column, set widths, and offer lists where a column has a choice."""
    page.freeze_panes = "B2"
    page.sheet_view.zoomScale = 100
    if cls is Settings:
        for index, (name, width) in enumerate(zip(SETTING_COLUMNS, (28, 22, 80, 60), strict=True), start=1):
            cell = page.cell(1, index)
            set_text(cell, name)
            cell.font, cell.fill = REQUIRED_FONT, REQUIRED_FILL
            page.column_dimensions[get_column_letter(index)].width = width
        return
    for column, name in enumerate(columns(cls), start=1):
        letter = get_column_letter(column)
        page.column_dimensions[letter].width = min(max(len(name) + 3, 12), 34)
        offer(page, cls, name, letter)


def offer(page: Worksheet, cls: type[Row], name: str, letter: str) -> None:
    """A drop-down list for a column, where its values are known. It helps typing; the reader does the checking."""
    kind = kinds(cls)[name]
    target = linked_table(cls, name)
    if kind.many:
        return
    if kind.choices or kind.base is bool:
        listed = ",".join(kind.choices or ("yes", "no"))
        if len(listed) > 250:
            return
        formula = f'"{listed}"'
    elif target is not None:
        formula = f"{target.SHEET}!$A$2:$A${LAST_LISTED_ROW}"
    else:
        return
    rule = DataValidation(type="list", formula1=formula, allow_blank=True, showErrorMessage=False)
    rule.add(f"{letter}2:{letter}{LAST_LISTED_ROW}")
    page.add_data_validation(rule)


EXAMPLE_FONT = Font(italic=True, color="5A6B73")
EXAMPLE_FILL = PatternFill("solid", fgColor="F3F1E7")
WRAPPED = Alignment(wrap_text=True, vertical="top")
