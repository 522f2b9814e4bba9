"""Plain tables made once from a farm and its plan; the workbook and the CSV files show the same ones."""

from __future__ import annotations

from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.reporting.tables.base import Table, Value, csv_bytes, csv_text
from scheduler.reporting.tables.bench import cuts_table, held_table, session_views, sessions_table, stand_by_table
from scheduler.reporting.tables.clock import clock_table, efficiency_table
from scheduler.reporting.tables.evenness import evenness_table
from scheduler.reporting.tables.helps import helps_table, prices_table, why_table
from scheduler.reporting.tables.hours import hours_table
from scheduler.reporting.tables.places import moves_table, positions_table, rack_use_table
from scheduler.reporting.tables.prep import dips_table, draws_table, into_water_table, labels_table, preparations
from scheduler.reporting.tables.season import balance_table, lines_table, notices_table, sellable_table
from scheduler.reporting.tables.stock import counts_due_table, light_due_table, lots_to_count_table, supplies_table
from scheduler.reporting.tables.trade import orders_table, sales_table

__all__ = ["Table", "Value", "all_tables", "csv_bytes", "csv_text", "tables_of"]


def all_tables(farm: Farm, plan: Plan) -> dict[str, Table]:
    """Every table by name."""
    return tables_of(PlanView(farm, plan))


def tables_of(view: PlanView) -> dict[str, Table]:
    """Every table by name, from a farm and plan already read together."""
    farm, plan = view.farm, view.plan
    sessions = session_views(farm, plan)
    preps = preparations(view, tuple(v.session for v in sessions))
    found = (
        cuts_table(view), sessions_table(sessions), clock_table(plan), efficiency_table(plan), labels_table(preps),
        dips_table(preps), draws_table(view, preps), into_water_table(view), stand_by_table(farm, plan), held_table(farm, plan),
        moves_table(view), positions_table(view), sales_table(view), orders_table(view), rack_use_table(view),
        sellable_table(view), supplies_table(view), counts_due_table(view), lots_to_count_table(view), light_due_table(view),
        balance_table(plan), lines_table(plan), notices_table(plan), evenness_table(view), helps_table(plan), prices_table(farm, plan),
        why_table(farm, plan), hours_table(view),
    )  # fmt: skip
    return {table.name: table for table in found}
