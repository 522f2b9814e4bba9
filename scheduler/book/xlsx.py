"""Cells of a workbook, with their places. The file comes from outside: it is measured before it is opened."""

from __future__ import annotations

import warnings
import zipfile
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, cast

from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from scheduler.book.coerce import Unreadable, is_blank
from scheduler.book.raw import MAX_COLUMNS, MAX_ROWS, RawBook, RawTable, table_name
from scheduler.errors import BookError, Finding

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell.cell import Cell
    from openpyxl.worksheet.worksheet import Worksheet

MAX_FILE_BYTES = 50_000_000
MAX_PARTS = 2_000
MAX_UNPACKED_BYTES = 300_000_000
MAX_RATIO = 200
SMALL_PART_BYTES = 1_000_000
"""A part below this may be packed as tightly as it likes: a blank sheet is."""

_DECLARATIONS = [word.encode(code) for word in ("<!DOCTYPE", "<!ENTITY") for code in ("utf-8", "utf-16-le", "utf-16-be")]


def read_xlsx(path: Path) -> RawBook:
    """Every table of a workbook as it stands there. Raises ``BookError`` if the file cannot be opened at all."""
    data = _guarded(path)
    book = _load(path, data, values=False)
    raw = RawBook(path.name)
    values: Workbook | None = None
    for sheet in book.worksheets:
        name = table_name(sheet.title)
        if name is None:
            continue
        cells = _cells(sheet, raw)
        if values is None and any(cell.data_type == "f" for row in cells.values() for cell in row.values()):
            values = _load(path, data, values=True)
        _add(raw, name, sheet, cells, values[sheet.title] if values is not None else None)
    return raw


def _fail(path: Path, found: str, expected: str, hint: str = "") -> BookError:
    return BookError([Finding(path.name, found, expected, hint)])


def _guarded(path: Path) -> bytes:
    """The bytes of the file, if it is a workbook of reasonable size that declares no entities."""
    size = path.stat().st_size
    if size > MAX_FILE_BYTES:
        raise _fail(path, f"a file of {size / 1e6:.0f} MB", f"at most {MAX_FILE_BYTES / 1e6:.0f} MB")
    data = path.read_bytes()
    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            parts = archive.infolist()
            _measure(path, parts)
            for part in parts:
                if part.filename.lower().endswith((".xml", ".rels", ".vml")):
                    content = archive.read(part)
                    if any(word in content for word in _DECLARATIONS):
                        raise _fail(path, f"a document type or entity declaration in {part.filename}", "a plain workbook")
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        raise _fail(path, f"no readable workbook ({error})", "an .xlsx workbook", "save it again as .xlsx") from error
    return data


def _measure(path: Path, parts: list[zipfile.ZipInfo]) -> None:
    if len(parts) > MAX_PARTS:
        raise _fail(path, f"{len(parts)} parts inside the file", f"at most {MAX_PARTS}")
    total = sum(part.file_size for part in parts)
    if total > MAX_UNPACKED_BYTES:
        raise _fail(path, f"{total / 1e6:.0f} MB once unpacked", f"at most {MAX_UNPACKED_BYTES / 1e6:.0f} MB")
    for part in parts:
        if part.file_size > SMALL_PART_BYTES and part.file_size > MAX_RATIO * max(part.compress_size, 1):
            ratio = part.file_size / max(part.compress_size, 1)
            raise _fail(path, f"{part.filename} packed {ratio:.0f} to 1", f"at most {MAX_RATIO} to 1")


def _load(path: Path, data: bytes, *, values: bool) -> Workbook:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # parts of a workbook that are no tables are of no concern here
            return load_workbook(BytesIO(data), data_only=values)
    except Exception as error:  # the library raises whatever a broken part makes it stumble over
        text = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise _fail(path, f"no readable workbook ({text})", "an .xlsx workbook", "save it again as .xlsx") from error


def _cells(sheet: Worksheet, raw: RawBook) -> dict[int, dict[int, Cell]]:
    """Filled cells by row and column (both from 1) within the caps; cells beyond are faults."""
    found: dict[int, dict[int, Cell]] = {}
    beyond: list[Cell] = []
    # The sheet's own store: asking for rows and columns would make every empty cell up to the farthest one.
    stored = cast("dict[tuple[int, int], Cell]", sheet._cells)
    for (row, column), cell in stored.items():
        if is_blank(cell.value):
            continue
        if row > MAX_ROWS or column > MAX_COLUMNS:
            beyond.append(cell)
        else:
            found.setdefault(row, {})[column] = cell
    if beyond:
        raw.faults.append(
            Finding(
                f"{sheet.title}!{beyond[0].coordinate}",
                f"{len(beyond)} filled cell{'s' if len(beyond) > 1 else ''} out there",
                f"at most {MAX_ROWS} rows and {MAX_COLUMNS} columns ({get_column_letter(MAX_COLUMNS)})",
                "clear it",
            )
        )
    return found


def _add(raw: RawBook, name: str, sheet: Worksheet, cells: dict[int, dict[int, Cell]], values: Worksheet | None) -> None:
    """Put a sheet among the tables."""
    if name in raw.tables:
        raw.faults.append(Finding(sheet.title, "a second sheet of this name", f"one sheet {name}"))
        return
    for merged in sheet.merged_cells.ranges:
        raw.faults.append(
            Finding(f"{sheet.title}!{merged.coord}", "merged cells", "one value in every cell", "unmerge and fill each cell")
        )
    rows: list[tuple[int, list[object]]] = []
    for number in sorted(cells):
        row = cells[number]
        line: list[object] = [None] * max(row)
        for column, cell in row.items():
            line[column - 1] = _value(cell, values)
        rows.append((number, line))
        if sheet.row_dimensions[number].hidden and number != min(cells):
            raw.doubts.append(Finding(f"{sheet.title}!{number}:{number}", "a hidden row", "every row in sight", "it is read"))
    if sheet.sheet_state != "visible":
        raw.doubts.append(Finding(sheet.title, "a hidden sheet", "every sheet in sight", "it is read"))
    raw.tables[name] = RawTable(name, sheet.title, csv=False, rows=rows)


def _value(cell: Cell, values: Worksheet | None) -> object:
    value: object = cell.value
    kind = cell.data_type
    if kind == "f":
        stored = values.cell(cell.row, cell.column) if values is not None else None
        value, kind = (stored.value, stored.data_type) if stored is not None else (None, "n")
        if value is None:
            return Unreadable(
                "a formula without a stored value", "a value", "open and save in a spreadsheet program, or type the value"
            )
    if kind == "e":
        return Unreadable(f"the error {value}", "a value", "mend the formula or type the value")
    return value if isinstance(value, str | bool | int | float) or hasattr(value, "isoformat") else str(value)
