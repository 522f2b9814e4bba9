"""The near weeks, planned once, and again from what was planned before."""

from __future__ import annotations

import threading
from collections.abc import Collection, Mapping
from dataclasses import replace

from scheduler.farm.farm import Farm
from scheduler.planning.near.look import Looked, look
from scheduler.planning.near.pins import held
from scheduler.planning.near.placed import placed
from scheduler.planning.near.plan import NearPlan
from scheduler.planning.near.search import search
from scheduler.planning.near.start import Begin, begun
from scheduler.planning.near.weeks import NearWeeks
from scheduler.solving import Limits as SolveLimits
from scheduler.solving import Progress
from scheduler.week.floor import Floor
from scheduler.week.model import Limits, Start
from scheduler.week.options import NearWorth
from scheduler.week.prices import Prices
from scheduler.week.releases import Stock


class NearPlanner:
    """Plans the near weeks of one farm. Without ``stock`` the lots of the book sell as planned and stay where they are.

    ``begin`` gives cuts to begin the search from, which also stand where time is too short for better ones. The near weeks can be
    planned again with less time in some sessions: what was looked at stays, and the search may begin from the plan before.
    """

    def __init__(
        self, farm: Farm, floor: Floor, worth: NearWorth, limits: Limits, pins: Collection[str], solving: SolveLimits,
        progress: Progress | None = None, stop: threading.Event | None = None, stock: Stock | None = None,
        begin: Begin | None = None,
    ) -> None:  # fmt: skip
        self._weeks = NearWeeks(farm, floor, worth, limits, pins, solving, progress, stop, stock)
        self._begin = begin
        self._looked: Looked | None = None
        self._best = Start()

    def plan(self) -> NearPlan:
        """Solve and place. Raises ``PinConflict`` if the pins cannot hold together, ``NoPlanFound`` if time was too short."""
        weeks = self._weeks
        options, refusals = weeks.choices
        start = held(weeks)
        if not options:
            return NearPlan((), (), refusals, None, (), work=weeks.budget.work)
        prices = Prices(weeks.worth, options)
        if self._looked is None:
            start, kept, self._looked = look(weeks, self._begin, options, prices, start)
        else:
            seen = self._looked
            start, kept = begun(weeks, self._begin, seen.every, prices, start, seen.told, self._best, seen.moving, seen.sales)
        if weeks.many and self._begin is not None:
            self._best, outcome = start, replace(self._looked.outcome, outcome="feasible", reason="one cut after the other")
        else:
            self._best, outcome = search(weeks, self._looked, prices, start, kept, by_chance=not self._best.cuts)
        found = placed(weeks, self._best, outcome)
        calm = replace(placed(weeks, kept, outcome), prices=prices) if weeks.limits.announced else None
        return replace(found, work=weeks.budget.work, kept=calm, prices=prices)

    def again(self, fill: Mapping[str, float], solving: SolveLimits) -> NearPlan:
        """Plan once more within limits of their own, with less of the clock in some sessions (a share, by session id)."""
        self._weeks.shorter(fill, solving)
        return self.plan()
