"""Cells of a folder of CSV files, one file a table."""

from __future__ import annotations

import csv
from io import StringIO
from pathlib import Path

from scheduler.book.coerce import is_blank
from scheduler.book.raw import MAX_COLUMNS, MAX_ROWS, RawBook, RawTable, table_name
from scheduler.errors import BookError, Finding

MAX_FILE_BYTES = 50_000_000


def read_csv_folder(folder: Path) -> RawBook:
    """Every table of a folder of CSV files as it stands there."""
    raw = RawBook(folder.name)
    files = sorted(p for p in folder.iterdir() if p.suffix.lower() == ".csv" and p.is_file() and not p.name.startswith("."))
    if not files:
        raise BookError([Finding(str(folder), "no CSV file", "one CSV file for each table, such as colonies.csv")])
    for path in files:
        name = table_name(path.stem)
        if name is None:
            continue
        if name in raw.tables:
            raw.faults.append(Finding(path.name, "a second file of this name", f"one file {name}.csv"))
            continue
        rows = _rows(path, raw)
        if rows is not None:
            raw.tables[name] = RawTable(name, path.name, csv=True, rows=rows)
    return raw


def _rows(path: Path, raw: RawBook) -> list[tuple[int, list[object]]] | None:
    """Line numbers and values of the lines that are not blank; ``None`` after a fault of the whole file."""
    if path.stat().st_size > MAX_FILE_BYTES:
        raw.faults.append(Finding(path.name, "a file too large", f"at most {MAX_FILE_BYTES / 1e6:.0f} MB"))
        return []
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raw.faults.append(Finding(f"{path.name} line {line}", "letters in another encoding", "UTF-8", "save as CSV UTF-8"))
        return []
    rows: list[tuple[int, list[object]]] = []
    reader = csv.reader(StringIO(text, newline=""), strict=True)
    line = 1
    try:
        for values in reader:
            cells: list[object] = [None if is_blank(v) else v for v in values]
            while cells and cells[-1] is None:
                cells.pop()
            if cells:
                rows.append((line, cells))
            if line > MAX_ROWS or len(cells) > MAX_COLUMNS:
                raw.faults.append(
                    Finding(f"{path.name} line {line}", "too large a table", f"at most {MAX_ROWS} lines, {MAX_COLUMNS} columns")
                )
                return []
            line = reader.line_num + 1
    except csv.Error as error:
        raw.faults.append(
            Finding(f"{path.name} line {line}", f"a broken line ({error})", "comma-separated values", "check its quotes")
        )
        return []
    if rows and len(rows[0][1]) == 1 and any(mark in str(rows[0][1][0]) for mark in ";\t"):
        mark = "semicolons" if ";" in str(rows[0][1][0]) else "tabs"
        raw.faults.append(
            Finding(f"{path.name} line {rows[0][0]}", f"columns separated by {mark}", "columns separated by commas")
        )
        return []
    return rows
