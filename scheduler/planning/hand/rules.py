"""The rules themselves: which colony next, and how many pieces are enough.

Both are common practice and have no published source. Neither looks at money, hours to come or the weeks ahead beyond
what is said here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, Protocol

from scheduler.biology.life import life
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.planning.hand.demand import Demand
from scheduler.planning.hand.stock import Stock

RuleName = Literal["simple", "experienced"]

THREE_MONTHS = 13
"""Weeks of market beyond which the simple rule lets a strain rest."""

WEEKS_IN_HAND = 4
"""Weeks of orders and market the experienced rule wants covered beyond the time a frag takes to its size."""


class Rule(Protocol):
    """A way of choosing the next colony to cut."""

    def next(self, week: int, able: Mapping[str, int]) -> Colony | None:
        """The next of the colonies able to give pieces (name to pieces), or ``None`` when enough is cut."""


class Simple:
    """Most pieces over keep first, orders not covered before all else; no strain with over three months of market on the racks."""

    def __init__(self, farm: Farm, stock: Stock, demand: Demand) -> None:
        self.farm, self.stock, self.demand = farm, stock, demand
        self._known: dict[tuple[str, int, float], Literal["short", "wanted", "enough"]] = {}

    def next(self, week: int, able: Mapping[str, int]) -> Colony | None:
        """The colony with most pieces over keep whose strain is wanted."""
        colonies = [self.farm.colony[name] for name in able]
        state = {s: self._state(s, week) for s in {c.strain for c in colonies}}
        wanted = [c for c in colonies if state[c.strain] != "enough"]
        return min(wanted, key=lambda c: (state[c.strain] != "short", -self._over_keep(c, week), c.colony), default=None)

    def _state(self, strain: str, week: int) -> Literal["short", "wanted", "enough"]:
        """Whether frags of a strain are short for orders, wanted for the market, or enough for three months."""
        frags = self.stock.frags(strain, week)
        if (strain, week, frags) not in self._known:
            owed = self.demand.owed(strain, week, week + THREE_MONTHS)
            takes = sum(self.demand.market(strain, w) for w in range(week, week + THREE_MONTHS))
            self._known[strain, week, frags] = "short" if frags < owed else "wanted" if frags - owed <= takes else "enough"
        return self._known[strain, week, frags]

    def _over_keep(self, colony: Colony, week: int) -> float:
        return self.stock.size(colony, week) - self.farm.traits(colony.strain).keep_pieces


class Experienced:
    """The strain whose ready and growing frags run out soonest, if that is before new ones would be of size and four weeks more."""

    def __init__(self, farm: Farm, stock: Stock, demand: Demand) -> None:
        self.farm, self.stock, self.demand = farm, stock, demand
        self._known: dict[tuple[str, int, float, int], int] = {}

    def next(self, week: int, able: Mapping[str, int]) -> Colony | None:
        """The ripest colony of the strain with the shortest cover."""
        ripest: dict[str, Colony] = {}
        for name, most in able.items():
            colony = self.farm.colony[name]
            best = ripest.get(colony.strain)
            if best is None or (most, self.stock.size(colony, week)) > (able[best.colony], self.stock.size(best, week)):
                ripest[colony.strain] = colony
        short = []
        for strain, colony in ripest.items():
            wanted = self._weeks_to_size(colony, week) + WEEKS_IN_HAND
            cover = self._cover(strain, week, wanted)
            if cover < wanted:
                short.append((cover, -able[colony.colony], colony.colony))
        return self.farm.colony[min(short)[2]] if short else None

    def _cover(self, strain: str, week: int, most: int) -> int:
        """Weeks for which what stands on the racks lasts, at most ``most``."""
        frags = self.stock.frags(strain, week)
        if (strain, week, frags, most) not in self._known:
            self._known[strain, week, frags, most] = self.demand.cover(strain, week, frags, most)
        return self._known[strain, week, frags, most]

    def _weeks_to_size(self, colony: Colony, week: int) -> int:
        """Weeks until frags of a colony first reach a class in its light; 0 if they never do."""
        ready = life(self.farm, colony.strain, week, week, (colony.par_umol,)).ready
        return min(ready.values()) - week if ready else 0
