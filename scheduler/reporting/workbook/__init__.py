"""The weekly plan workbook. Values only, no formulas."""

from __future__ import annotations

from openpyxl.workbook import Workbook

from scheduler.bench.prep import into_water
from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Table
from scheduler.reporting.tables.bench import session_views
from scheduler.reporting.tables.prep import preparations
from scheduler.reporting.workbook.about import add_about
from scheduler.reporting.workbook.bench import add_session
from scheduler.reporting.workbook.cautions import add_cautions
from scheduler.reporting.workbook.clock import add_clock
from scheduler.reporting.workbook.helps import add_helps, add_why
from scheduler.reporting.workbook.lists import add_counts, add_held, add_moves, add_orders, add_sales, add_supplies
from scheduler.reporting.workbook.prep import add_labels, add_preparation
from scheduler.reporting.workbook.racks import add_racks
from scheduler.reporting.workbook.record import add_record
from scheduler.reporting.workbook.season import add_ahead, add_rack_use, add_sellable
from scheduler.reporting.workbook.week import add_week
from scheduler.sheets import clean_text

__all__ = ["build_workbook"]


def build_workbook(view: PlanView, tables: dict[str, Table], audit_text: str) -> Workbook:
    """The workbook of a plan from its tables."""
    book = Workbook()
    if book.active is not None:
        book.remove(book.active)
    sessions = session_views(view.farm, view.plan)
    add_week(book, view, tables, sessions)
    preps = preparations(view, tuple(v.session for v in sessions))
    soon = [w for w in into_water(view.farm, view.plan) if w.by < view.farm.weeks.monday(view.farm.weeks.near + 1)]
    for session, prep in zip(sessions, preps, strict=True):
        add_preparation(book, view, prep, soon if prep is preps[0] else ())
        add_session(book, view, session)
        add_clock(book, view, session)
    if preps:
        add_labels(book, view, preps)
    add_racks(book, view)
    add_moves(book, view, tables)
    add_sales(book, view, tables)
    add_orders(book, view, tables)
    add_ahead(book, view, tables)
    add_rack_use(book, view, tables)
    add_sellable(book, view, tables)
    add_why(book, view, tables)
    add_held(book, view, tables)
    add_helps(book, view, tables)
    add_supplies(book, view, tables)
    add_counts(book, view, tables)
    add_record(book, view)
    add_cautions(book, view)
    add_about(book, view, audit_text)
    book.properties.title = clean_text(f"{view.farm.settings.farm_name} {view.farm.weeks.label(1)}")
    book.properties.creator = "frag-scheduler"
    return book
