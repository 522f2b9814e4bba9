"""Two rules growers plan by hand with, as planners that keep every hard rule: what a plan has to beat."""

from scheduler.planning.hand.plan import plan_by_hand
from scheduler.planning.hand.rules import RuleName

__all__ = ["RuleName", "plan_by_hand"]
