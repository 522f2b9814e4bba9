"""What the whole season shares: positions, hours, boxes, market and orders, each a row with a limit.

A row's price (its dual) is what one more of it would earn. Rows are upper limits of a relaxation: what a plan may use of
them is never more.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING, PACKING, Kind, Offer, bench_kinds, bench_offers, outside_offers
from scheduler.farm.work import packing_days, standing_minutes
from scheduler.plan.view import life_of_lot, old_stand
from scheduler.season.classes import light_classes
from scheduler.season.ledger import Ledger, end_market, zone_limit

RowKind = Literal[
    "positions", "system", "bench", "outside", "overtime", "fresh", "boxes", "market", "market group", "order", "end market",
]  # fmt: skip

LIST_PRICE: tuple[RowKind, ...] = ("market", "market group", "end market")
"""Rows of what customers take at list price."""

_FULL_ENUMERATION = 7
"""Kinds of work up to which every set of kinds gets its own row; beyond, only single kinds, pairs and all together."""


@dataclass(frozen=True)
class Row:
    """One shared limit. ``subject`` is a light class, system, set of kinds of work, channel, market key, order or strain."""

    kind: RowKind
    subject: Hashable
    week: int = 0


class Capacity:
    """All rows of a season from ``first`` to the horizon. ``ledger``: what is already promised is taken off.

    ``single``: positions by light zone instead of light class.
    """

    def __init__(self, farm: Farm, first: int = 1, ledger: Ledger | None = None, *, single: bool = False) -> None:
        self.farm = farm
        self.first = first
        self.classes = light_classes(farm, single=single)
        self.weeks = range(first, farm.weeks.count + 1)
        self.rows: list[Row] = []
        self._limits: list[float] = []
        self.index: dict[Row, int] = {}
        self._ledger = ledger
        self._positions()
        self._bench()
        self._outside()
        self._trade()

    @cached_property
    def limits(self) -> NDArray[np.float64]:
        """Right-hand sides, one a row."""
        return np.array(self._limits)

    def _add(self, kind: RowKind, subject: Hashable, week: int, limit: float) -> None:
        row = Row(kind, subject, week)
        self.index[row] = len(self.rows)
        self.rows.append(row)
        self._limits.append(max(0.0, limit))

    def find(self, kind: RowKind, subject: Hashable, week: int = 0) -> int | None:
        """Index of a row; ``None`` if nothing limits it."""
        return self.index.get(Row(kind, subject, week))

    # ---- positions ------------------------------------------------------------------------------------------------

    def _positions(self) -> None:
        """L1 and L9 by light class and system; S5. P2: what today's lots hold alone raises the limit."""
        farm, s = self.farm, self.farm.settings
        today = self._today()
        for week in self.weeks:
            held: dict[str, float] = defaultdict(float)
            room: dict[str, int] = defaultdict(int)
            under: dict[str, int] = defaultdict(int)
            for c in self.classes:
                limit = 0.0
                for z in c.zones:
                    book = today.get((z.id, week), 0.0)
                    limit += max(zone_limit(farm, z), book + z.mothers) - z.mothers
                    held[c.system] += book
                    room[c.system] += z.capacity
                    under[c.system] += z.mothers
                if week in farm.weeks.later_weeks:
                    self._add("positions", c.id, week, limit)
            for name in farm.system:
                limit = max((1 - s.keep_free_share) * room[name], held[name] + under[name]) - under[name]
                self._add("system", name, week, limit)
                self._add("fresh", name, week, farm.system[name].max_fresh)

    def _today(self) -> Mapping[tuple[str, int], float]:
        """Positions today's lots would hold by zone and week if nothing of them left."""
        farm = self.farm
        found: dict[tuple[str, int], float] = defaultdict(float)
        for lot in farm.lots:
            if not lot.alive:
                continue
            stand = old_stand(farm, lot.lot)
            course = life_of_lot(farm, lot.lot, (stand,))
            traits = farm.traits(lot.strain)
            area = traits.plug_area
            for week in self.weeks:
                share = 1.0 if week in farm.weeks.near_weeks else float(course.held[week])
                found[stand.zone, week] += lot.alive * area * share
        return found

    # ---- hours ----------------------------------------------------------------------------------------------------

    def _bench(self) -> None:
        """S1 at the bench: for every set of kinds of work, the minutes of everybody able to do one of them."""
        kinds = sorted(bench_kinds(self.farm), key=sorted)
        for week in self.weeks:
            for chosen, limit in _binding_sets(kinds, bench_offers(self.farm, week)):
                self._add("bench", chosen, week, limit)

    def _outside(self) -> None:
        """S1 outside sessions, without overtime (rows an overtime variable relaxes) and with all of it."""
        for week in self.weeks:
            if self._ledger is None:
                standing = standing_minutes(self.farm, week)
                used = {CARING: standing["care"], PACKING: standing["pack"]}
            else:
                used = self._ledger.outside[week]
            for kind, extra in (("outside", False), ("overtime", True)):
                offers = outside_offers(self.farm, week, overtime=extra)
                for chosen, limit in _binding_sets([PACKING, CARING], offers):
                    taken = sum(used.get(k, 0.0) for k in chosen)
                    self._add(kind, chosen, week, limit - taken)  # type: ignore[arg-type]

    # ---- trade ----------------------------------------------------------------------------------------------------

    def _trade(self) -> None:
        """O1: boxes; the market of each month, strain and class, and of each group; orders; the market after the horizon."""
        farm, ledger = self.farm, self._ledger
        for channel in farm.channels:
            for week in self.weeks:
                boxes = channel.boxes_per_day * len(packing_days(farm, channel.channel, week))
                self._add("boxes", channel.channel, week, boxes - (ledger.boxes[channel.channel, week] if ledger else 0.0))
        for month in dict.fromkeys(farm.weeks.month(w) for w in self.weeks):
            part = farm.weeks.planned_in_month(month) / farm.weeks.weeks_in_month(month)
            for strain in farm.strains:
                for c in farm.size_classes(strain.strain):
                    quantity = farm.market_quantity(month[1], strain=strain.strain, size_class=c.size_class) or 0.0
                    key = (month, strain.strain, c.size_class)
                    self._add("market", key, 0, quantity * part - (ledger.sold[key] if ledger else 0.0))
            for group in farm.group:
                limit = farm.market_quantity(month[1], group=group)
                if limit is not None:
                    sold = ledger.sold_group[month, group] if ledger else 0.0
                    self._add("market group", (month, group), 0, limit * part - sold)
        for order in farm.orders:
            self._add("order", order.order, 0, order.quantity)
        for strain in farm.strains:
            self._add("end market", strain.strain, 0, end_market(farm, strain.strain))

    def set_limit(self, kind: RowKind, subject: Hashable, week: int, limit: float) -> None:
        """Change one limit (an order already partly filled, a rack tried on)."""
        self._limits[self.index[Row(kind, subject, week)]] = max(0.0, limit)
        self.__dict__.pop("limits", None)

    def raised(self, more: Mapping[int, float]) -> Capacity:
        """A copy with some limits raised: index of the row -> by how much."""
        return self.limited([limit + more.get(i, 0.0) for i, limit in enumerate(self._limits)])

    def limited(self, limits: Iterable[float]) -> Capacity:
        """A copy with other limits, one a row."""
        other = copy(self)
        other._limits = [float(x) for x in limits]
        other.__dict__.pop("limits", None)
        return other

    @cached_property
    def sets_by_kind(self) -> dict[tuple[RowKind, Kind, int], list[int]]:
        """Rows of bench, outside and overtime hours that a kind of work uses in a week."""
        found: dict[tuple[RowKind, Kind, int], list[int]] = defaultdict(list)
        for i, row in enumerate(self.rows):
            if row.kind in ("bench", "outside", "overtime"):
                for kind in row.subject:  # type: ignore[attr-defined]
                    found[row.kind, kind, row.week].append(i)
        return found


def _binding_sets(kinds: list[Kind], offers: Iterable[Offer]) -> list[tuple[frozenset[Kind], float]]:
    """Sets of kinds of work whose joint limit can bind (Hall's condition), with the minutes offered to them.

    Of the sets served by the same people only the largest is kept.
    """
    by_able: dict[frozenset[Kind], float] = defaultdict(float)
    for able, minutes in offers:
        by_able[able & frozenset(kinds)] += minutes
    sizes = range(1, len(kinds) + 1) if len(kinds) <= _FULL_ENUMERATION else (1, 2, len(kinds))
    largest: dict[frozenset[frozenset[Kind]], frozenset[Kind]] = {}
    for size in sizes:
        for chosen in combinations(kinds, size):
            served = frozenset(able for able in by_able if able & frozenset(chosen))
            largest[served] = largest.get(served, frozenset()) | frozenset(chosen)
    return [(chosen, sum(by_able[able] for able in served)) for served, chosen in largest.items()]
