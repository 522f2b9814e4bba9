"""What cutting costs, and the bench minutes it takes, by strain and week; and the same at prices of those minutes."""

from __future__ import annotations

from collections import defaultdict
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.hours import Kind, cut_kind, mount_kind
from scheduler.farm.standard import standard
from scheduler.farm.work import bench_minutes, sessions_in
from scheduler.season.capacity import Capacity
from scheduler.season.outlets import interest

Floats = NDArray[np.float64]

CutUse = tuple[float, float, tuple[tuple[int, float, float], ...]]
"""(money once, money a piece, ((row, minutes once, minutes a piece), ...)) of cutting a colony."""


class CutCosts:
    """Costs of one season's cuts. Colonies of one strain cost the same, but for those grown onto rock."""

    def __init__(self, farm: Farm, capacity: Capacity) -> None:
        self.farm, self.weeks, self._sets = farm, capacity.weeks, capacity.sets_by_kind
        self.minute_cost = lru_cache(maxsize=None)(self._minute_cost)
        self._uses: dict[tuple[str, bool, int], CutUse] = {}
        self._plain: dict[tuple[str, bool], tuple[Floats, Floats]] = {}

    # ---- money and minutes ----------------------------------------------------------------------------------------

    def per_piece(self, strain: str) -> float:
        """Supplies a piece takes."""
        kinds = (None, self.farm.traits(strain).plug_kind, self.farm.strain[strain].group)
        return self._supplies("piece", kinds)

    def per_colony(self, strain: str) -> float:
        """Supplies a colony takes."""
        return self._supplies("colony", (None, self.farm.strain[strain].group))

    def _supplies(self, per: str, kinds: tuple[str | None, ...]) -> float:
        return sum(r.quantity_per * float(r.unit_cost) for r in self.farm.supplies if r.per == per and r.only_for in kinds)

    def minutes(self, strain: str, on_rock: bool) -> tuple[float, float, float, float]:
        """Minutes of cutting once and a piece, and of mounting once (the tag of one block) and a piece."""
        found = standard(self.farm, strain, on_rock)
        return float(found.colony), float(found.cut), float(found.tag), float(found.each)

    def _minute_cost(self, week: int) -> float:
        """Money a minute at the bench costs at least in a week: wage, and its part of setting up sessions."""
        farm, s = self.farm, self.farm.settings
        benches = sessions_in(farm, week)
        wage = float(s.wage_per_hour) / 60
        supplies = sum(r.quantity_per * float(r.unit_cost) for r in farm.supplies if r.per == "session")
        once = s.session_minutes * wage + supplies
        offered = [bench_minutes(farm, b) * len(b.people) for b in benches]
        if not any(offered):
            return wage
        if week in farm.weeks.near_weeks:
            return wage + min(once / o for o in offered if o)
        return wage + once * len(benches) / sum(offered)

    def use(self, colony: Colony, week: int) -> CutUse:
        """What cutting a colony in a week costs and uses."""
        key = (colony.strain, colony.on_rock, week)
        if key not in self._uses:
            self._uses[key] = self._use(*key)
        return self._uses[key]

    def _use(self, strain: str, on_rock: bool, week: int) -> CutUse:
        once, cutting, tag, mounting = self.minutes(strain, on_rock)
        rows: dict[int, list[float]] = defaultdict(lambda: [0.0, 0.0])
        for row in self._rows(cut_kind(self.farm, strain), week):
            rows[row][0] += once
            rows[row][1] += cutting
        for row in self._rows(mount_kind(self.farm, strain), week):
            rows[row][0] += tag
            rows[row][1] += mounting
        now, minute = interest(self.farm, week), self.minute_cost(week)
        return (
            now * ((once + tag) * minute + self.per_colony(strain)),
            now * ((cutting + mounting) * minute + self.per_piece(strain)),
            tuple((row, a, b) for row, (a, b) in rows.items()),
        )

    def _rows(self, kind: Kind, week: int) -> list[int]:
        return self._sets.get(("bench", kind, week), [])

    # ---- at prices ------------------------------------------------------------------------------------------------

    def priced(self, strain: str, on_rock: bool, hours: dict[Kind, Floats]) -> tuple[Floats, Floats]:
        """Cost of cutting at all, and of a piece, by week (one number a week of the season), minutes at ``hours``."""
        key = (strain, on_rock)
        if key not in self._plain:
            uses = [self._use(strain, on_rock, w) for w in self.weeks]
            self._plain[key] = np.array([u[0] for u in uses]), np.array([u[1] for u in uses])
        once, each = self._plain[key]
        at_once, cutting, tag, mounting = self.minutes(strain, on_rock)
        cut, mount = hours[cut_kind(self.farm, strain)], hours[mount_kind(self.farm, strain)]
        return once + at_once * cut + tag * mount, each + cutting * cut + mounting * mount

    def hour_prices(self, rows: Floats) -> dict[Kind, Floats]:
        """Price of a minute of each kind of bench work by week."""
        kinds = {k for s in self.farm.strains for k in (cut_kind(self.farm, s.strain), mount_kind(self.farm, s.strain))}
        return {k: np.array([rows[self._rows(k, w)].sum() for w in self.weeks]) for k in kinds}
