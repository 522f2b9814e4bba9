"""What the terminal shows while a plan is made."""

from __future__ import annotations

import time
from decimal import Decimal

from rich.console import Console

from scheduler.errors import Finding
from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan

out = Console(highlight=False, soft_wrap=True)
err = Console(stderr=True, highlight=False, soft_wrap=True)


class Stages:
    """Prints each stage with the time since the start, and the best value, bound and gap of a solve at most once a second."""

    def __init__(self, *, quiet: bool = False) -> None:
        self._start = time.monotonic()
        self._last = 0.0
        self._quiet = quiet

    def stage(self, name: str) -> None:
        """A new stage; its own seconds start anew."""
        self._last = 0.0
        if not self._quiet:
            err.print(f"[dim]{time.monotonic() - self._start:6.1f} s[/dim]  {name}")

    def said(self, text: str) -> None:
        """A word to the user, said even where progress is not shown."""
        err.print(text, markup=False)

    def progress(self, stage: str, value: float | None, bound: float | None, elapsed: float) -> None:
        """Best value and bound so far, in cents."""
        if self._quiet or value is None or elapsed - self._last < 1:
            return
        self._last = elapsed
        gap = f", gap {100 * (bound - value) / bound:.1f} %" if bound is not None and bound > 0 else ""
        limit = f", bound {bound / 100:,.0f}" if bound is not None else ""
        err.print(f"[dim]{time.monotonic() - self._start:6.1f} s[/dim]    {stage}: best {value / 100:,.0f}{limit}{gap}")


def findings(title: str, rows: tuple[Finding, ...]) -> None:
    """A list of faults or doubts."""
    if rows:
        out.print(f"{title} ({len(rows)})", style="bold", markup=False)
        for row in rows:
            out.print(f"  {row}", markup=False)


def _season(plan: Plan) -> list[str]:
    found = plan.about.season
    if found is None:
        return []
    return [
        f"Within {found.gap_of_bound_percent:.1f} % of the best possible ({found.gap_percent:.1f} % of the gain over no new cuts): "
        f"no plan in which lots stay where they settle can be worth more than {found.bound:,.2f}; without new cuts {found.value_without_cuts:,.2f}"
    ]


def _learned(plan: Plan) -> list[str]:
    rows, paces = plan.about.learned, plan.about.paces
    strains = {row.strain for row in rows}
    known = [f"{len(rows)} traits of {len(strains)} strains"] * bool(rows) + [f"the growth of {len(paces)} lots"] * bool(paces)
    return [f"Planned with {' and '.join(known)} as learned from counts"] if known else []


def summary(farm: Farm, plan: Plan) -> None:
    """A finished plan in a few lines."""
    near = [c for c in plan.cuts if c.week in farm.weeks.near_weeks]
    sold = sum(s.pieces for s in plan.sales if s.week in farm.weeks.near_weeks)
    currency = farm.settings.currency
    money = sum((line.amount for line in plan.lines if line.line in ("order sale", "market sale")), Decimal(0))
    rows = [
        *_learned(plan),
        f"{farm.settings.farm_name}, {farm.weeks.label(1)} and {farm.weeks.count - 1} weeks more",
        f"Near weeks: {len(near)} colonies cut, {sum(c.pieces for c in near)} pieces; {sold} frags leave the racks",
        f"All weeks: {len(plan.cuts)} cuts, {sum(c.pieces for c in plan.cuts)} pieces; sales {money:,.2f} {currency}",
        f"Value of the plan, end values included: {plan.value:,.2f} {currency}. The audit passed it.",
        *_season(plan),
        f"Near-weeks model: {plan.about.near.outcome} ({plan.about.near.reason}), gap {plan.about.near.gap_percent} %",
    ]
    for row in rows:
        out.print(row, markup=False)
    for notice in plan.notices:
        out.print(f"  {notice.kind}: {notice.text}", markup=False)
