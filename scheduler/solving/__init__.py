"""Solving with limits, progress and interruption."""

from scheduler.solving.budget import Budget
from scheduler.solving.conflict import minimal_conflict
from scheduler.solving.limits import Limits, Outcome, Progress
from scheduler.solving.solve import Solved, solve

__all__ = ["Budget", "Limits", "Outcome", "Progress", "Solved", "minimal_conflict", "solve"]
