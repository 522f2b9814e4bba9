"""Where the plan comes from: book, versions, how the search ended, audit, value, and what it rests on."""

from __future__ import annotations

from datetime import date
from typing import Any

from openpyxl.workbook import Workbook

from scheduler.farm.settings import Settings
from scheduler.plan.identity import plan_id
from scheduler.plan.model import About, SeasonResult
from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Value
from scheduler.reporting.tables.season import value_by_kind
from scheduler.reporting.tables.stock import unsourced_traits
from scheduler.reporting.workbook.page import Page


def setting_rows(settings: Settings) -> list[tuple[Value, ...]]:
    """(setting, value, meaning, source) of every setting; a value that differs from the default is the farm's own."""
    rows: list[tuple[Value, ...]] = []
    for name, info in type(settings).model_fields.items():
        value = getattr(settings, name)
        extra: Any = info.json_schema_extra
        source = str(extra["source"]) if isinstance(extra, dict) and "source" in extra else ""
        if value != info.default:
            source = "set in the farm book"
        rows.append((name, _text(value), info.description or "", source))
    return rows


def _text(value: Any) -> str:
    if value is None:
        return "not set"
    if isinstance(value, tuple):
        return "; ".join(f"{v:g}" if isinstance(v, float) else str(v) for v in value)
    if isinstance(value, date):
        return value.isoformat()
    return f"{value:g}" if isinstance(value, float) else str(value)


def _season(found: SeasonResult | None) -> str:
    """How far from the best the plan can be."""
    if found is None:
        return "not worked out"
    return (
        f"within {found.gap_of_bound_percent:.1f} % of the best possible ({found.gap_percent:.1f} % of the gain over no new cuts): "
        f"no plan in which lots stay where they settle can be worth more than {found.bound:,.2f}; without new cuts it is {found.value_without_cuts:,.2f}"
    )


def _learned(about: About) -> str:
    """How many traits, and of how many lots the growth, are planned with as counts have taught them."""
    strains = dict.fromkeys(row.strain for row in about.learned)
    traits = f"{len(about.learned)} of {len(strains)} strains ({', '.join(strains)})" if strains else "none; as in the book"
    return traits + (f"; growth of {len(about.paces)} lots on racks" if about.paces else "")


def add_about(book: Workbook, view: PlanView, audit_text: str) -> None:
    """The sheet about the plan."""
    plan, farm = view.plan, view.farm
    about, near = plan.about, plan.about.near
    page = Page(book, "about", farm, (23, 17, 44, 30), landscape=False)
    page.title("About this plan", f"{about.farm_name}, {about.weeks} weeks from {about.plan_monday.isoformat()}")
    facts: list[tuple[Value, ...]] = [
        ("plan", plan_id(plan)),
        ("farm book (SHA-256)", about.book_fingerprint),
        ("seed", str(about.seed)),
        ("versions", "; ".join(f"{k} {v}" for k, v in sorted(about.versions.items()))),
        ("pins dropped", ", ".join(about.dropped_pins) or "none"),
        ("pins given", ", ".join(p.pin for p in about.added_pins) or "none"),
        ("traits learned from counts", _learned(about)),
        ("season", _season(about.season)),
        ("near weeks, outcome", f"{near.outcome}: {near.reason}"),
        ("near weeks, value and bound", f"{near.value:,.2f} of at most {near.bound:,.2f} (gap {near.gap_percent:.2f} %); a measure of its own"),
        ("near weeks, time", f"{near.wall_seconds:.1f} s with seed {near.seed}"),
    ]  # fmt: skip
    page.table(("", "this plan"), facts, spans=(1, 3), bold=(0,))
    page.gap()
    page.heading("Audit")
    page.text(audit_text or "not audited")
    page.gap()
    page.heading(f"What the plan is worth, {farm.settings.currency}")
    money = "#,##0.00"
    values: list[tuple[Value, ...]] = [*value_by_kind(plan), ("sum", plan.value)]
    page.table(("line", "amount"), values, formats={1: money})
    page.gap()
    page.heading("Settings and where they come from")
    page.table(("setting", "value", "meaning", "source"), setting_rows(farm.settings))
    page.gap()
    page.heading("Traits that rest on no published source or own counts")
    rows: list[tuple[Value, ...]] = [(who, evidence, traits) for who, traits, evidence in unsourced_traits(farm)]
    page.table(("group or strain", "evidence", "traits"), rows, spans=(1, 1, 2))
