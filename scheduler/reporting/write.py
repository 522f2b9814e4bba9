"""Writes a finished plan: the workbook, the week page, plan.json and the tables as CSV."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from scheduler.errors import OutputError, RecordError
from scheduler.farm.farm import Farm
from scheduler.file_sets import write_together
from scheduler.files import atomic_write
from scheduler.forecast.outlook import Outlook
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.record import read_filled
from scheduler.reporting.page import PAGE, page_bytes
from scheduler.reporting.tables import csv_bytes, tables_of
from scheduler.reporting.workbook import build_workbook
from scheduler.sheets import workbook_bytes


def plan_schema() -> dict[str, Any]:
    """The JSON schema of plan.json."""
    return Plan.model_json_schema()


def write_plan(farm: Farm, plan: Plan, folder: Path, audit_text: str, outlook: Outlook | None = None) -> tuple[Path, ...]:
    """Write a plan into ``folder`` / ISO week of week 1 and return the files: workbook, page, plan.json, tables as CSV.

    ``outlook``: a forecast of the plan, shown on the page.

    Everything is made in memory before the first file is written, and the files appear together. Raises ``OutputError``
    where a file cannot be written, or where the crew has filled in the workbook that is there.
    """
    label = farm.weeks.label(1)
    target = Path(folder) / label
    view = PlanView(farm, plan)
    tables = tables_of(view)
    files: dict[str, bytes] = {
        f"weekly-plan-{label}.xlsx": workbook_bytes(build_workbook(view, tables, audit_text)),
        PAGE: page_bytes(view, tables, audit_text, outlook),
        "plan.json": (plan.model_dump_json(indent=2) + "\n").encode("utf-8"),
    }
    files |= {f"tables/{name}.csv": csv_bytes(table) for name, table in tables.items()}
    refuse_filled(farm, folder)
    return write_together(target, files)


def write_page(farm: Farm, plan: Plan, file: Path, audit_text: str, outlook: Outlook | None = None) -> None:
    """Write the page of a plan. Raises ``OutputError``."""
    view = PlanView(farm, plan)
    atomic_write(Path(file), page_bytes(view, tables_of(view), audit_text, outlook))


def refuse_filled(farm: Farm, folder: Path) -> None:
    """Raise ``OutputError`` if the workbook of week 1 in ``folder`` has been filled in by the crew: it is not written over."""
    label = farm.weeks.label(1)
    path = Path(folder) / label / f"weekly-plan-{label}.xlsx"
    try:
        filled = path.is_file() and any(entry.cells for entry in read_filled(path).entries.values())
    except RecordError:  # of another version, or spoiled: nothing that could be entered into a book
        filled = False
    if filled:
        raise OutputError(f"{path} has been filled in and was left as it is; record it first, or give another folder with --out")
