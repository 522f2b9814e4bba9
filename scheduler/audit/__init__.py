"""Checks a finished plan against every rule and works out its value, sharing no code with the planner."""

from scheduler.audit.report import Breach, Report
from scheduler.audit.run import audit

__all__ = ["Breach", "Report", "audit"]
