"""The one place that writes text into a spreadsheet cell, so that nothing a user typed ever becomes a formula."""

from __future__ import annotations

import re
from io import BytesIO
from typing import TYPE_CHECKING

from openpyxl.cell.cell import MergedCell

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell.cell import Cell

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
"""First characters a spreadsheet program may take for the start of a formula."""

LONGEST_TEXT = 32_767
"""Most characters a cell holds."""

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")


def clean_text(text: str) -> str:
    """Text as a cell can hold it: without control characters, at most ``LONGEST_TEXT`` characters."""
    return _CONTROL.sub("", text)[:LONGEST_TEXT]


def set_text(cell: Cell | MergedCell, text: str) -> None:
    """Put text into a cell as text, whatever it begins with. Raises ``TypeError`` inside a merged range."""
    if isinstance(cell, MergedCell):
        raise TypeError(f"{cell.coordinate} is covered by a merged cell")
    value = clean_text(text)
    cell.value = value
    cell.data_type = "s"  # after the value: setting the value guesses a type
    if value.startswith(FORMULA_STARTS):
        quote_prefix(cell)


def quote_prefix(cell: Cell) -> None:
    """Mark a cell so that a spreadsheet program keeps its content as text when it is edited."""
    if not cell.quotePrefix:  # reading it also gives an unstyled cell a style of its own to set
        cell.quotePrefix = True


def workbook_bytes(book: Workbook) -> bytes:
    """The .xlsx file of a workbook, for ``atomic_write``."""
    buffer = BytesIO()
    book.save(buffer)
    return buffer.getvalue()
