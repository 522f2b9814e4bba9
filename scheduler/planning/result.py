"""What planning hands out."""

from __future__ import annotations

from dataclasses import dataclass

from scheduler.audit import Report, audit
from scheduler.errors import AuditFailed
from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan


@dataclass(frozen=True)
class Result:
    """A plan and the report of the audit it passed."""

    plan: Plan
    report: Report


def audited(farm: Farm, plan: Plan, name: str) -> Result:
    """A plan with the report of its audit. Raises ``AuditFailed``, a defect of this program, if it breaks a rule."""
    report = audit(farm, plan)
    if report.breaches:
        first = "\n".join(f"  {b.rule} {', '.join(b.things)}: {b.text}" for b in report.breaches[:20])
        raise AuditFailed(f"{name} breaks {len(report.breaches)} rules and is not handed out:\n{first}")
    return Result(plan, report)
