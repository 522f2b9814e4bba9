"""Reading a filled plan workbook: which plan it is, and every cell the crew filled, with its place."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, cast

from openpyxl.utils import get_column_letter
from pydantic import ValidationError

from scheduler.errors import Finding, RecordError
from scheduler.file_sets import unfinished
from scheduler.record.cells import Entry, Written, as_text, is_empty
from scheduler.record.layout import COLUMNS, CREW, HEADS, KEY_COLUMN, head_key, shown, things_by_key
from scheduler.record.planned import KEY_SHEET, RECORD_SHEET, Group, PlannedWork, Thing
from scheduler.sheets import UnreadableWorkbook, guarded_bytes, load_guarded

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell
    from openpyxl.worksheet.worksheet import Worksheet

Line = dict[int, dict[int, "Cell"]]
"""Filled cells by row and column, both from 1."""

CHUNK = 30_000
"""Characters of the planned work kept in one cell of the key sheet."""


def digest(text: str) -> str:
    """What the key sheet is sealed with."""
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True)
class Filled:
    """A filled workbook: the work planned, the crew's entries by row key, and the faults met in reading."""

    work: PlannedWork
    entries: dict[str, Entry]
    faults: tuple[Finding, ...]


def read_filled(path: Path) -> Filled:
    """Read a filled plan workbook. Raises ``RecordError`` if it is none; other faults come with the result."""
    path = Path(path)
    if path.suffix.lower() not in (".xlsx", ".xlsm"):
        found = f"a {path.suffix or 'nameless'} file" if path.exists() else "nothing there"
        raise RecordError([Finding(str(path), found, "the plan workbook, filled in (.xlsx)")])
    if unfinished(path):
        hint = "run frag-scheduler plan into that folder again"
        raise RecordError([Finding(str(path), "part of a plan whose writing was cut short", "a whole plan", hint)])
    try:
        data = guarded_bytes(path)
        book = load_guarded(path, data, values=False)
    except UnreadableWorkbook as error:
        raise RecordError([error.finding]) from error
    except OSError as error:
        raise RecordError(
            [Finding(str(path), f"no file to be read ({error.strerror})", "the plan workbook, filled in")]
        ) from error
    for name in (RECORD_SHEET, KEY_SHEET):
        if name not in book.sheetnames:
            raise RecordError([Finding(path.name, f"no sheet {name!r}", "a weekly plan workbook of this program")])
    work = _work(path, cast("Worksheet", book[KEY_SHEET]))
    faults: list[Finding] = []
    cells = _cells(cast("Worksheet", book[RECORD_SHEET]))
    if any(cell.data_type == "f" for line in cells.values() for cell in line.values()):
        cells = _stored(cells, cast("Worksheet", load_guarded(path, data, values=True)[RECORD_SHEET]), faults)
    return Filled(work, _entries(work, cells, faults), tuple(faults))


def _work(path: Path, sheet: Worksheet) -> PlannedWork:
    """The planned work from the key sheet."""
    text = "".join(str(row[0]) for row in sheet.iter_rows(min_row=2, max_col=1, values_only=True) if row[0] is not None)
    seal = sheet.cell(1, 2).value
    if seal != digest(text):
        raise RecordError(
            [Finding(f"{path.name}, sheet {KEY_SHEET}", "other contents than this program wrote", "that sheet as it was",
                     "copy what was filled in into a fresh copy of the workbook")]
        )  # fmt: skip
    try:
        return PlannedWork.model_validate_json(text)
    except ValidationError as error:
        found = f"the form of another version of this program ({error.error_count()} differences)"
        raise RecordError([Finding(f"{path.name}, sheet {KEY_SHEET}", found, "a plan of this version")]) from error


def _cells(sheet: Worksheet) -> Line:
    """Filled cells by row and column, without making the empty ones."""
    found: dict[int, dict[int, Cell]] = {}
    for (row, column), cell in cast("dict[tuple[int, int], Cell]", sheet._cells).items():
        if column <= KEY_COLUMN and not is_empty(cell.value):
            found.setdefault(row, {})[column] = cell
    return found


def _where(row: int, column: int) -> str:
    return f"{RECORD_SHEET}!{get_column_letter(column)}{row}"


def _stored(cells: Line, values: Worksheet, faults: list[Finding]) -> Line:
    """The cells with what formulas last gave in their place."""
    found = _cells(values)
    for row, line in cells.items():
        for column in line:
            if column not in found.get(row, {}):
                faults.append(Finding(_where(row, column), "a formula without a stored value", "a value"))
    return found


def _entries(work: PlannedWork, cells: Line, faults: list[Finding]) -> dict[str, Entry]:
    """The crew's entries by row key; rows and cells that are not as the plan wrote them are faults."""
    known = things_by_key(work)
    heads = {head_key(section): words for section, words in HEADS.items()}
    entries: dict[str, Entry] = {}
    for row in sorted(cells):
        line = cells[row]
        key = as_text(line[KEY_COLUMN].value) if KEY_COLUMN in line else ""
        if key in heads:
            _check_head(row, line, heads[key], faults)
        elif key in entries:
            where = _where(row, min(line))
            faults.append(
                Finding(
                    where, f"a second row for {key!r}", "one row each; use the empty rows", f"first in row {entries[key].row}"
                )
            )
        elif key in known:
            entries[key] = _entry(key, row, line, known, faults)
        elif key:
            faults.append(Finding(_where(row, KEY_COLUMN), f"the key {key!r}", "a key of this plan"))
        else:
            _check_stray(row, line, entries, faults)
    for key, (group, thing) in known.items():
        if key not in entries and (thing is not None or (key == group.key and group.marked)):
            name = f"{thing.colony or thing.lot} of {group.title}" if thing else group.title
            faults.append(
                Finding(RECORD_SHEET, f"no row for {name}", "every row the plan wrote", "put it back from a fresh copy")
            )
    return entries


def _check_head(row: int, line: dict[int, Cell], words: tuple[str, ...], faults: list[Finding]) -> None:
    found = tuple(as_text(line[c].value) if c in line else "" for c in range(1, KEY_COLUMN))
    if found != words:
        column = next(i for i, (a, b) in enumerate(zip(found, words, strict=True), 1) if a != b)
        faults.append(
            Finding(
                _where(row, column), f"the heading {found[column - 1]!r}", f"{words[column - 1]!r}", "columns stay where they are"
            )
        )


def _check_stray(row: int, line: dict[int, Cell], entries: dict[str, Entry], faults: list[Finding]) -> None:
    """A row without a key may hold text across the sheet; numbers and marks in the crew's columns are lost there."""
    stray = [c for c in line if COLUMNS[c - 1] in CREW]
    if stray and entries:
        faults.append(
            Finding(
                _where(row, stray[0]),
                repr(as_text(line[stray[0]].value)),
                "entries in the rows of the plan only",
                "use the empty rows of the list",
            )
        )


def _entry(
    key: str, row: int, line: dict[int, Cell], known: dict[str, tuple[Group, Thing | None]], faults: list[Finding]
) -> Entry:
    group, thing = known[key]
    entry = Entry(key, row)
    free = thing is None and key != group.key
    for column, cell in line.items():
        name = COLUMNS[column - 1]
        if name in CREW or (free and name in ("name", "lot", "detail")):
            if cell.data_type == "e":
                faults.append(Finding(_where(row, column), f"the error {cell.value}", "a value"))
                continue
            entry.cells[name] = Written(cell.value, _where(row, column))
    if thing is not None:
        for index, (name, planned) in enumerate(zip(COLUMNS, shown(group, thing), strict=False), 1):
            found = as_text(line[index].value) if index in line else ""
            if found != as_text(planned):
                faults.append(
                    Finding(
                        _where(row, index),
                        repr(found),
                        f"{as_text(planned)!r} as planned",
                        f"write what was done to the right ({name} is the plan's)",
                    )
                )
    return entry
