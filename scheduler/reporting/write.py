"""Writes a finished plan: the workbook, plan.json and the tables as CSV."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from scheduler.farm.farm import Farm
from scheduler.files import atomic_write, folder_lock
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.reporting.tables import csv_bytes, tables_of
from scheduler.reporting.workbook import build_workbook
from scheduler.sheets import workbook_bytes


def plan_schema() -> dict[str, Any]:
    """The JSON schema of plan.json."""
    return Plan.model_json_schema()


def write_plan(farm: Farm, plan: Plan, folder: Path, audit_text: str) -> tuple[Path, ...]:
    """Write a plan into ``folder`` / ISO week of week 1 and return the files: workbook, plan.json, tables as CSV.

    Everything is made in memory before the first file is written. Raises ``OutputError`` where a file cannot be written.
    """
    label = farm.weeks.label(1)
    target = Path(folder) / label
    view = PlanView(farm, plan)
    tables = tables_of(view)
    files: dict[Path, bytes] = {
        target / f"weekly-plan-{label}.xlsx": workbook_bytes(build_workbook(view, tables, audit_text)),
        target / "plan.json": (plan.model_dump_json(indent=2) + "\n").encode("utf-8"),
    }
    files |= {target / "tables" / f"{name}.csv": csv_bytes(table) for name, table in tables.items()}
    with folder_lock(target):
        for path, data in files.items():
            atomic_write(path, data)
    return tuple(files)
