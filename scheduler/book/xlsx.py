"""Cells of a workbook, with their places."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

from openpyxl.utils import get_column_letter

from scheduler.book.coerce import Unreadable, is_blank
from scheduler.book.raw import MAX_COLUMNS, MAX_ROWS, RawBook, RawTable, table_name
from scheduler.errors import BookError, Finding
from scheduler.sheets import UnreadableWorkbook, guarded_bytes, load_guarded

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.cell.cell import Cell
    from openpyxl.worksheet.worksheet import Worksheet


def read_xlsx(path: Path) -> RawBook:
    """Every table of a workbook as it stands there. Raises ``BookError`` if the file cannot be opened at all."""
    try:
        data = guarded_bytes(path)
    except UnreadableWorkbook as error:
        raise BookError([error.finding]) from error
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


def _load(path: Path, data: bytes, *, values: bool) -> Workbook:
    try:
        return load_guarded(path, data, values=values)
    except UnreadableWorkbook as error:
        raise BookError([error.finding]) from error


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
