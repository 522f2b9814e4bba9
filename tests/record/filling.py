"""A plan workbook's sheets for the crew, filled by script: cells are named by row key and column."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.record import Filled, read_filled
from scheduler.record.layout import COLUMNS, KEY_COLUMN
from scheduler.reporting.workbook.record import add_record
from scheduler.sheets import workbook_bytes

Cells = dict[tuple[str, str], Any]


@cache
def _sheets(farm: Farm, document: str) -> bytes:
    book = Workbook()
    book.remove(book.worksheets[0])
    add_record(book, PlanView(farm, Plan.model_validate_json(document)))
    return workbook_bytes(book)


def blank(farm: Farm, plan: Plan, path: Path) -> Path:
    """The two sheets of a plan, nothing filled in."""
    path.write_bytes(_sheets(farm, plan.model_dump_json()))
    return path


def rows(path: Path) -> dict[str, int]:
    """Row of every key."""
    return _rows(load_workbook(path)["record"])


def _rows(sheet: Worksheet) -> dict[str, int]:
    return {str(sheet.cell(r, KEY_COLUMN).value): r for r in range(1, sheet.max_row + 1) if sheet.cell(r, KEY_COLUMN).value}


def fill(path: Path, cells: Cells, target: Path | None = None) -> Path:
    """Write cells, named by (row key, column), and save."""
    book = load_workbook(path)
    sheet = book["record"]
    at = _rows(sheet)
    for (key, column), value in cells.items():
        sheet.cell(at[key], COLUMNS.index(column) + 1).value = value
    book.save(target or path)
    return target or path


def filled(farm: Farm, plan: Plan, folder: Path, cells: Cells) -> Filled:
    """A plan's sheets with cells filled, read back."""
    return read_filled(fill(blank(farm, plan, folder / "plan.xlsx"), cells))
