"""Writing a farm book. What is written reads back as the same farm; nothing is ever written over a book that exists."""

from __future__ import annotations

import csv
import os
import shutil
import tempfile
from collections.abc import Sequence
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING

from openpyxl import Workbook

from scheduler.book.cellvalues import csv_text, number_format, sheet_value
from scheduler.book.fields import SETTING_COLUMNS, columns, kinds
from scheduler.book.read import read_book
from scheduler.book.style import dress, head
from scheduler.errors import OutputError
from scheduler.farm.farm import TABLES, Farm
from scheduler.farm.rows import Row
from scheduler.farm.settings import Settings
from scheduler.files import atomic_write, atomic_write_text, clear_drafts, refuse_existing
from scheduler.sheets import set_text, workbook_bytes

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet


CHANGES = "about changes"
"""Sheet or file that says what changed since the last book; names beginning with ``about`` are not read."""


def rows_of(farm: Farm, sheet: str) -> Sequence[Row]:
    """The rows of one table of a farm."""
    rows: Sequence[Row] = getattr(farm, sheet)
    return rows


def setting_source(name: str) -> str:
    """Where the default of a setting comes from."""
    extra = Settings.model_fields[name].json_schema_extra
    return str(extra.get("source", "")) if isinstance(extra, dict) else ""


def write_xlsx(farm: Farm, path: Path, changes: Sequence[str] = ()) -> None:
    """Write a farm as a workbook, with the changes made to it on a sheet that is not read.

    Raises ``OutputError`` if there is something at ``path``.
    """
    refuse_existing(path)
    book = Workbook()
    book.remove(book.worksheets[0])
    for sheet, cls in TABLES.items():
        page = book.create_sheet(sheet)
        if cls is Settings:
            fill_settings(page, farm.settings)
        else:
            head(page, cls)
            for number, row in enumerate(rows_of(farm, sheet), start=2):
                fill_row(page, number, row)
        dress(page, cls)
    if changes:
        page = book.create_sheet(CHANGES)
        page.column_dimensions["A"].width = 120
        for number, line in enumerate(changes, start=1):
            put(page, number, 1, line)
    atomic_write(path, workbook_bytes(book), new=True)


def fill_row(page: Worksheet, number: int, row: Row) -> None:
    """Write one row."""
    cls = type(row)
    for column, name in enumerate(columns(cls), start=1):
        value = sheet_value(getattr(row, name), cls.model_fields[name])
        put(page, number, column, value, number_format(value, kinds(cls)[name]))


def put(page: Worksheet, row: int, column: int, value: object, form: str = "General") -> None:
    """Write one value; text as text, always."""
    if value is None:
        return
    cell = page.cell(row, column)
    if isinstance(value, str):
        set_text(cell, value)
    else:
        cell.value = value  # type: ignore[assignment]
    cell.number_format = form


def fill_settings(page: Worksheet, settings: Settings) -> None:
    """Write the settings, one a row, with their meaning and the source of their defaults."""
    for column, name in enumerate(SETTING_COLUMNS, start=1):
        put(page, 1, column, name)
    for number, (name, info) in enumerate(Settings.model_fields.items(), start=2):
        value = sheet_value(getattr(settings, name), info)
        put(page, number, 1, name)
        put(page, number, 2, value, number_format(value, kinds(Settings)[name]))
        put(page, number, 3, info.description or "")
        put(page, number, 4, setting_source(name))


def write_csv(farm: Farm, folder: Path, changes: Sequence[str] = ()) -> None:
    """Write a farm as a folder of CSV files, with the changes made to it in a file that is not read.

    Raises ``OutputError`` if the folder exists and is not empty.

    Text stands as it is, also where it begins with ``=``: the reader takes it as text, and a mark put before it would
    come back as part of the name. The folder appears whole or not at all.
    """
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise OutputError(f"{folder} exists already and was left as it is; give another name or move it away")
        folder.parent.mkdir(parents=True, exist_ok=True)
        clear_drafts(folder)
        draft = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", suffix=".tmp", dir=folder.parent))
    except OSError as error:
        raise OutputError(f"{folder} could not be written: {error.strerror or error}") from error
    try:
        for sheet in TABLES:
            atomic_write_text(draft / f"{sheet}.csv", csv_table(farm, sheet))
        if changes:
            out = StringIO(newline="")
            csv.writer(out, lineterminator="\n").writerows([line] for line in ("change", *changes))
            atomic_write_text(draft / f"{CHANGES}.csv", out.getvalue())
        draft.chmod(0o777 & ~_mask())
        if folder.exists():
            folder.rmdir()
        draft.rename(folder)
    except OSError as error:
        raise OutputError(f"{folder} could not be written: {error.strerror or error}") from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def csv_table(farm: Farm, sheet: str) -> str:
    """One table as CSV text."""
    cls = TABLES[sheet]
    out = StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    if cls is Settings:
        writer.writerow(SETTING_COLUMNS)
        for name, info in Settings.model_fields.items():
            value = csv_text(getattr(farm.settings, name), info)
            writer.writerow([name, value, info.description or "", setting_source(name)])
        return out.getvalue()
    names = columns(cls)
    writer.writerow(names)
    for row in rows_of(farm, sheet):
        writer.writerow([csv_text(getattr(row, name), cls.model_fields[name]) for name in names])
    return out.getvalue()


def convert(source: Path, target: Path) -> Farm:
    """Turn a workbook into a folder of CSV files or the other way round; returns the farm, the same in both.

    A target ending in .xlsx becomes a workbook, any other a folder. Raises ``BookError`` or ``OutputError``.
    """
    farm = read_book(source).farm
    write_book(farm, target)
    return farm


def write_book(farm: Farm, target: Path, changes: Sequence[str] = ()) -> None:
    """Write a farm as a workbook (a target ending in .xlsx) or a folder of CSV files, and read it back.

    Raises ``OutputError`` if there is something at ``target`` or it does not read back the same.
    """
    if target.suffix.lower() == ".xlsx":
        write_xlsx(farm, target, changes)
    else:
        write_csv(farm, target, changes)
    if read_book(target).farm.fingerprint != farm.fingerprint:
        raise OutputError(f"{target} does not read back as it was written; do not use it, and keep the book it was made from")


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
