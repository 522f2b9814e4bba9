"""Spreadsheet files: the one place that writes text into a cell, so that nothing a user typed ever becomes a formula, and
the one that opens a workbook from outside, which is measured before it is unpacked.
"""

from __future__ import annotations

import re
import tempfile
import warnings
import zipfile
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from openpyxl import load_workbook
from openpyxl.cell.cell import MergedCell

from scheduler.errors import Finding, OutputError

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell.cell import Cell

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
"""First characters a spreadsheet program may take for the start of a formula."""

LONGEST_TEXT = 32_767
"""Most characters a cell holds."""

MAX_FILE_BYTES = 50_000_000
MAX_PARTS = 2_000
MAX_UNPACKED_BYTES = 300_000_000
MAX_RATIO = 200
SMALL_PART_BYTES = 1_000_000
"""A part below this may be packed as tightly as it likes: a blank sheet is."""

_DECLARATIONS = [word.encode(code) for word in ("<!DOCTYPE", "<!ENTITY") for code in ("utf-8", "utf-16-le", "utf-16-be")]
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
    """The .xlsx file of a workbook, for ``atomic_write``. Raises ``OutputError`` (sheets pass through temporary files)."""
    buffer = BytesIO()
    try:
        book.save(buffer)
    except OSError as error:
        raise OutputError(f"the workbook could not be made in {tempfile.gettempdir()}: {error.strerror or error}") from error
    return buffer.getvalue()


class UnreadableWorkbook(Exception):
    """A file that is no workbook to be opened; ``finding`` says why."""

    def __init__(self, path: Path, found: str, expected: str, hint: str = "") -> None:
        self.finding = Finding(path.name, found, expected, hint)
        super().__init__(str(self.finding))


def guarded_bytes(path: Path) -> bytes:
    """The bytes of a workbook of reasonable size that declares no entities. Raises ``UnreadableWorkbook`` or ``OSError``."""
    size = path.stat().st_size
    if size > MAX_FILE_BYTES:
        raise UnreadableWorkbook(path, f"a file of {size / 1e6:.0f} MB", f"at most {MAX_FILE_BYTES / 1e6:.0f} MB")
    data = path.read_bytes()
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            parts = archive.infolist()
            _measure(path, parts)
            for part in parts:
                if part.filename.lower().endswith((".xml", ".rels", ".vml")):
                    content = archive.read(part)
                    if any(word in content for word in _DECLARATIONS):
                        raise UnreadableWorkbook(
                            path, f"a document type or entity declaration in {part.filename}", "a plain workbook"
                        )
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        raise UnreadableWorkbook(
            path, f"no readable workbook ({error})", "an .xlsx workbook", "save it again as .xlsx"
        ) from error
    return data


def _measure(path: Path, parts: list[zipfile.ZipInfo]) -> None:
    if len(parts) > MAX_PARTS:
        raise UnreadableWorkbook(path, f"{len(parts)} parts inside the file", f"at most {MAX_PARTS}")
    total = sum(part.file_size for part in parts)
    if total > MAX_UNPACKED_BYTES:
        raise UnreadableWorkbook(path, f"{total / 1e6:.0f} MB once unpacked", f"at most {MAX_UNPACKED_BYTES / 1e6:.0f} MB")
    for part in parts:
        if part.file_size > SMALL_PART_BYTES and part.file_size > MAX_RATIO * max(part.compress_size, 1):
            ratio = part.file_size / max(part.compress_size, 1)
            raise UnreadableWorkbook(path, f"{part.filename} packed {ratio:.0f} to 1", f"at most {MAX_RATIO} to 1")


def load_guarded(path: Path, data: bytes, *, values: bool) -> Workbook:
    """The workbook of bytes from ``guarded_bytes``; with ``values`` formulas give their stored values.

    Raises ``UnreadableWorkbook``.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # parts of a workbook that are no tables are of no concern here
            return load_workbook(BytesIO(data), data_only=values)
    except Exception as error:  # the library raises whatever a broken part makes it stumble over
        text = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise UnreadableWorkbook(path, f"no readable workbook ({text})", "an .xlsx workbook", "save it again as .xlsx") from error
