"""How a finished plan is shown: plain tables, the weekly plan workbook, the week page, CSV and JSON."""

from __future__ import annotations

from scheduler.reporting.tables import Table, all_tables
from scheduler.reporting.write import plan_schema, refuse_filled, write_page, write_plan

__all__ = ["Table", "all_tables", "plan_schema", "refuse_filled", "write_page", "write_plan"]
