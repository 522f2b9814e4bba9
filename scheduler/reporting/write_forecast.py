"""Writes a forecast: a workbook, and its tables as CSV."""

from __future__ import annotations

from pathlib import Path

from scheduler.farm.farm import Farm
from scheduler.file_sets import write_together
from scheduler.forecast.outlook import Outlook
from scheduler.reporting.tables.base import csv_bytes
from scheduler.reporting.tables.forecast import forecast_tables
from scheduler.reporting.workbook.forecast import build_forecast_workbook
from scheduler.sheets import workbook_bytes


def write_forecast(farm: Farm, outlook: Outlook, folder: Path) -> tuple[Path, ...]:
    """Write a forecast into ``folder`` / ISO week of week 1, beside the plan, and return the files: workbook, tables as CSV.

    ``farm`` is the farm of the book. Everything is made in memory first, and the files appear together. Raises ``OutputError``.
    """
    label = farm.weeks.label(1)
    target = Path(folder) / label
    tables = forecast_tables(farm, outlook)
    files = {f"forecast-{label}.xlsx": workbook_bytes(build_forecast_workbook(farm, outlook, tables))}
    files |= {f"tables/{name}.csv": csv_bytes(table) for name, table in tables.items()}
    return write_together(target, files)
