"""Use of tanks by week, hours by skill, and what would help, for the page."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Table
from scheduler.reporting.tables.places import tank_use

MOST_HELPS = 40
"""Rows of what would help that are on the page; all are in the table of the same name."""


def capacity_payload(view: PlanView, tables: dict[str, Table]) -> dict[str, Any]:
    """Percent by tank and week, minutes by kind of work and week, and the ranking of what would help."""
    hours: dict[tuple[str, str], list[list[float]]] = defaultdict(list)
    for where, skills, needed, offered in tables["hours"].pick("where", "skills", "minutes_needed", "minutes_offered"):
        hours[str(where), str(skills)].append([float(str(needed)), float(str(offered))])
    helps = tables["what_would_help"].pick("kind", "text", "at_most", "up_to")
    return {
        "tanks": [
            [name, [round(percent, 6) for percent in weeks.values()]]
            for name, weeks in tank_use(view, tables["rack_use"]).items()
        ],
        "hours": [[where, skills, weeks] for (where, skills), weeks in hours.items()],
        "overtime": {str(o.week): round(float(o.minutes), 1) for o in view.plan.overtime},
        "helps": [
            [kind, text, float(str(gain)), None if up_to is None else float(str(up_to))]
            for kind, text, gain, up_to in helps[:MOST_HELPS]
        ],
        "helpsAll": len(helps),
    }
