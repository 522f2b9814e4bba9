"""What orders and the market will ask of a strain, as a grower reckons it."""

from __future__ import annotations

import math
from collections import defaultdict
from statistics import median

from scheduler.biology.life import weeks_to_class
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Order
from scheduler.farm.work import first_late_week

_NEVER = 1000


class Demand:
    """Orders still open, and frags the market takes at list price. ``need`` is kept by the seller, in graded frags."""

    def __init__(self, farm: Farm) -> None:
        self.farm, self.weeks = farm, farm.weeks
        self.need = {o.order: float(o.quantity) for o in farm.orders}
        self._late = {o.order: first_late_week(farm, o.order) for o in farm.orders}
        self._orders: dict[str, list[Order]] = defaultdict(list)
        for order in farm.orders:
            self._orders[order.strain].append(order)
        self._market: dict[tuple[str, int], float] = {}
        self._monthly: dict[tuple[str, int], float] = {}
        self._growing: dict[tuple[str, str], int] = {}

    def open(self, order: str, week: int) -> bool:
        """Whether an order still wants frags in a week or later."""
        return self.need[order] > 1e-6 and (self.farm.order[order].late_ok or week < self._late[order])

    def growing_weeks(self, strain: str, size_class: str) -> int:
        """Weeks a fresh frag takes to a class, in the light the strain's colonies stand in; 0 for a class it does not have."""
        if (strain, size_class) not in self._growing:
            traits, row = self.farm.traits(strain), self.farm.size_class(strain, size_class)
            pars = [c.par_umol for c in self.farm.colonies if c.strain == strain]
            par = median(pars) if pars else (traits.par_min + traits.par_max) / 2
            grown = weeks_to_class(traits, row, par) if row is not None else 0.0
            weeks = max(traits.heal_weeks, traits.attach_weeks, grown) if row is not None else 0.0
            self._growing[strain, size_class] = math.ceil(min(weeks, _NEVER))
        return self._growing[strain, size_class]

    def due(self, order: Order) -> int:
        """Week an order is due, from 1."""
        return max(1, self.weeks.week_of(order.due))

    def owed(self, strain: str, week: int, until: int) -> float:
        """Frags of a strain that open orders want of what is cut now, reckoned to week ``until``.

        An order of a larger class counts as many weeks earlier as it takes longer to grow than the first class.
        """
        total = 0.0
        for o in self._orders[strain]:
            if self.open(o.order, week):
                longer = self.growing_weeks(strain, o.size_class) - self._first(strain)
                if self.due(o) - longer <= until:
                    total += self.need[o.order]
        return total

    def _first(self, strain: str) -> int:
        return min((self.growing_weeks(strain, c.size_class) for c in self.farm.size_classes(strain)), default=0)

    def too_soon(self, order: Order, week: int) -> bool:
        """Whether frags cut from next week on can still grow up for an order, so that none need be kept for it yet."""
        return week + self.growing_weeks(order.strain, order.size_class) < self.due(order)

    def market(self, strain: str, week: int) -> float:
        """Frags of a strain the market takes at list price in one week, all classes together; any week from 1 on."""
        if (strain, week) not in self._market:
            month = self.weeks.month(week)
            self._market[strain, week] = self._in_month(strain, month) / self.weeks.weeks_in_month(month)
        return self._market[strain, week]

    def _in_month(self, strain: str, month: tuple[int, int]) -> float:
        """A strain's market of a month, less its part of what the group's limit cuts off."""
        group = self.farm.strain[strain].group
        limit = self.farm.market_quantity(month[1], group=group)
        kin = sum(self._asked(s.strain, month[1]) for s in self.farm.strains if s.group == group)
        return self._asked(strain, month[1]) * (1.0 if limit is None or kin <= limit else limit / kin)

    def _asked(self, strain: str, month: int) -> float:
        if (strain, month) not in self._monthly:
            quantities = (
                self.farm.market_quantity(month, strain=strain, size_class=c.size_class) for c in self.farm.size_classes(strain)
            )
            self._monthly[strain, month] = sum(q or 0.0 for q in quantities)
        return self._monthly[strain, month]

    def cover(self, strain: str, week: int, frags: float, most: int) -> int:
        """Weeks, from this one on, for which ``frags`` of a strain last; at most ``most``."""
        asked = 0.0
        for ahead in range(most):
            asked += self.market(strain, week + ahead)
            if frags < asked + self.owed(strain, week, week + ahead):
                return ahead
        return most
