"""Two farms planned side by side: the one in the book and one with changes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from joblib import Parallel, delayed

from scheduler.farm.farm import Farm
from scheduler.farm.units import CENT, more_or_less
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.planning.pipeline import plan_farm
from scheduler.season.relaxation import ENOUGH
from scheduler.solving import Limits

Verdict = Literal["better", "worse", "too close to tell"]


@dataclass(frozen=True)
class Comparison:
    """A base plan and the plan of the changed farm, each with its farm."""

    base: PlanView
    changed: PlanView

    @property
    def difference(self) -> Decimal:
        """Value of the changed farm's plan less that of the base plan, money."""
        return self.changed.plan.value - self.base.plan.value

    @property
    def bounds_difference(self) -> Decimal:
        """The same for the upper bounds, money."""
        return bound_of(self.changed.plan) - bound_of(self.base.plan)

    @property
    def unproved(self) -> Decimal:
        """What either plan may still fall short of the best for its farm, the larger of the two, money."""
        return max(slack_of(self.base.plan), slack_of(self.changed.plan))

    @property
    def verdict(self) -> Verdict:
        """Which farm is worth more, where the difference is larger than what is unproved."""
        if abs(self.difference) <= max(self.unproved, CENT):
            return "too close to tell"
        return "better" if self.difference > 0 else "worse"

    @property
    def found_to(self) -> Decimal:
        """How closely the bounds are found, money: if they differ by less, that says nothing."""
        return Decimal(repr(ENOUGH)) * max(bound_of(self.base.plan), bound_of(self.changed.plan))

    @property
    def alike(self) -> bool:
        """Whether both plans do the same and nothing speaks for a difference of the farms."""
        one, two = self.base.plan, self.changed.plan
        return one.cuts == two.cuts and one.sales == two.sales and not self.difference and not self.bounds_difference

    def told(self) -> tuple[str, ...]:
        """What plans and bounds say of the change, in sentences."""
        if self.alike:
            return ("The change makes no difference: both plans are the same, and so are their bounds.",)
        worth = f"The plan with the change is worth {more_or_less(self.difference, self.base.farm.settings.currency)}"
        short = f"either plan may be up to {self.unproved:,.2f} short of the best for its farm"
        said = f"The bounds, which no plan can beat, differ by {self.bounds_difference:+,.2f}"
        if self.verdict == "better":
            return f"{worth}, and {short}: a gain, from which the cost of the change itself is still to be taken.", f"{said}."
        if self.verdict == "worse":
            return f"{worth}, and {short}: a loss.", f"{said}."
        plans = f"{worth}, but {short}: too close to tell. What is done otherwise may be as good either way."
        if abs(self.bounds_difference) <= self.found_to:
            return plans, f"{said}; they are found to about {self.found_to:,.0f}, so they show no difference either."
        how = "more" if self.bounds_difference > 0 else "less"
        why = f"found to about {self.found_to:,.0f} and without the luck of a search they are the better guess: worth {how}"
        return plans, f"{said}; {why}."


def bound_of(plan: Plan) -> Decimal:
    """Upper bound on the value of any plan of the farm, money."""
    return plan.value + slack_of(plan)


def slack_of(plan: Plan) -> Decimal:
    """How much better a plan of the farm could not be ruled out to be, money.

    Of a plan without a bound on its season, what the near-weeks search left open.
    """
    near, season = plan.about.near, plan.about.season
    return max(Decimal(0), season.bound - plan.value if season is not None else near.bound - near.value)


def compare_farms(
    base: Farm, changed: Farm, *, limits: Limits, jobs: int = 2, stage: Callable[[str], None] = lambda _: None
) -> Comparison:
    """Plan both farms, at once in two processes or one after the other (``jobs`` 1), with the same limits and seed.

    Raises what ``plan_farm`` raises for either.
    """
    stage("planning both farms")
    plans = Parallel(n_jobs=jobs)(delayed(_plan)(farm, limits) for farm in (base, changed))
    return Comparison(PlanView(base, plans[0]), PlanView(changed, plans[1]))


def _plan(farm: Farm, limits: Limits) -> Plan:
    return plan_farm(farm, limits=limits).plan
