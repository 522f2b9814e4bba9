"""The week page: one HTML file with everything in it."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from scheduler import __version__
from scheduler.forecast.outlook import Outlook
from scheduler.plan.view import PlanView
from scheduler.reporting.cautions import ALWAYS, CHECKS, CITES, DEFER, cautions
from scheduler.reporting.page.bench import bench_payload
from scheduler.reporting.page.capacity import capacity_payload
from scheduler.reporting.page.embed import json_for_html, policy, unturned
from scheduler.reporting.page.months import months_payload
from scheduler.reporting.page.racks import Places
from scheduler.reporting.page.why import why_payload
from scheduler.reporting.tables import Table
from scheduler.reporting.tables.bench import session_views
from scheduler.reporting.tables.week import at_risk, days, headline, pins_held

PAGE = "week.html"
"""Name of the page beside plan.json."""

STYLES = ("colours.css", "page.css", "racks.css", "bench.css", "print.css")
SCRIPTS = (
    "tools.js", "data.js", "cards.js", "drawing.js", "racks.js", "zones.js", "find.js", "bench.js", "step.js", "capacity.js", "charts.js",
    "months.js", "why.js", "start.js",
)  # fmt: skip
"""Parts of the script, in the order they are joined."""


def page_bytes(view: PlanView, tables: dict[str, Table], audit_text: str, outlook: Outlook | None = None) -> bytes:
    """The page of a plan as UTF-8. ``outlook``: a forecast of this plan; without it months show what the plan expects alone."""
    style, script = joined(STYLES), "\n".join(['"use strict";', joined(SCRIPTS)])
    text = _environment().get_template("week.html.j2").render(
        policy=policy(style, script), style=Markup(style), script=Markup(script), data=json_for_html(payload(view, tables, outlook)),
        audit=audit_text, version=__version__, **_words(view, tables),
    )  # fmt: skip
    return unturned(text).encode("utf-8")


def payload(view: PlanView, tables: dict[str, Table], outlook: Outlook | None) -> dict[str, Any]:
    """Everything the page draws, by section."""
    farm = view.farm
    weeks = farm.weeks
    return {
        "about": {"farm": farm.settings.farm_name, "currency": farm.settings.currency, "near": len(weeks.near_weeks)},
        "weeks": [[weeks.label(w), weeks.monday(w).isoformat()] for w in weeks.all],
        "places": Places(view, tables).payload(),
        "bench": bench_payload(view),
        "capacity": capacity_payload(view, tables),
        "months": months_payload(view, tables, outlook),
        "why": why_payload(view, tables),
    }


def _words(view: PlanView, tables: dict[str, Table]) -> dict[str, Any]:
    """What the page says without a script: the week in numbers and by day, the plan, cautions."""
    farm, plan, weeks = view.farm, view.plan, view.farm.weeks
    sessions = session_views(farm, plan)
    return {
        "farm_name": farm.settings.farm_name, "currency": farm.settings.currency, "week": weeks.label(1), "weeks": weeks.count,
        "near": weeks.near, "first": weeks.monday(1).isoformat(), "last": weeks.days(1)[-1].isoformat(),
        "near_labels": [weeks.label(w) for w in weeks.near_weeks], "headline": _rounded(headline(view, tables)),
        "at_risk": at_risk(view, "Months"),
        "days": [(str(day), str(what).split("\n")) for day, what in days(view, tables, sessions, sheets=False)],
        "pins": pins_held(view), "dropped": ", ".join(plan.about.dropped_pins),
        "notices": plan.notices, "value": f"{plan.value:,.2f}", "season": plan.about.season, "seed": plan.about.seed,
        "fingerprint": plan.about.book_fingerprint[:12], "cautions": cautions(view), "always": ALWAYS, "papers": CITES, "checks": CHECKS,
        "defer": DEFER,
    }  # fmt: skip


def joined(names: tuple[str, ...]) -> str:
    """The named assets, one after the other."""
    folder = files("scheduler.reporting.page") / "assets"
    return "\n".join((folder / name).read_text(encoding="utf-8").strip() for name in names) + "\n"


def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("scheduler.reporting.page"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
        keep_trailing_newline=True,
    )  # fmt: skip


def _rounded(rows: list[tuple[Any, ...]]) -> list[tuple[str, list[str]]]:
    """Numbers of the headline as the workbook shows them: whole, or one place."""
    return [
        (name, [f"{value:.1f}" if "hours" in name or "expected" in name else f"{value:.0f}" for value in values])
        for name, *values in rows
    ]
