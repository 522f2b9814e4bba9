"""Every colony with its reason and the money at stake, for the page."""

from __future__ import annotations

from typing import Any

from scheduler.plan.view import PlanView
from scheduler.reporting.tables import Table, Value


def why_payload(view: PlanView, tables: dict[str, Table]) -> list[list[Any]]:
    """Colony, strain, name, week cut (0: not cut in the near weeks), reason, detail, money at stake, ready Monday."""
    rows: list[list[Any]] = [
        [colony, strain, name, week, reason, detail, _money(stake), ""]
        for colony, strain, name, week, reason, detail, stake in tables["why_cut"].pick(
            "colony", "strain", "name", "week", "reason", "detail", "at_stake"
        )
    ]
    given = {row[0] for row in rows}
    for cut in view.plan.cuts:  # a plan by another way of planning gives no reasons
        if cut.week in view.farm.weeks.near_weeks and cut.colony not in given:
            name = view.farm.strain[cut.strain].name
            rows.append([cut.colony, cut.strain, name, cut.week, "cut", f"{cut.pieces} pieces", None, ""])
    rows += [
        [colony, strain, name, 0, reason, detail, _money(stake), str(ready or "")]
        for colony, strain, name, reason, detail, ready, stake in tables["not_cut"].pick(
            "colony", "strain", "name", "reason", "detail", "ready_monday", "at_stake"
        )
    ]
    return rows


def _money(value: Value) -> float | None:
    return None if value is None else float(str(value))
