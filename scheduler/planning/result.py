"""What planning hands out."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.audit import Report
from scheduler.plan.model import Plan


@dataclass(frozen=True)
class Result:
    """A plan and the report of the audit it passed."""

    plan: Plan
    report: Report
