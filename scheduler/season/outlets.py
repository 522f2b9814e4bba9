"""Outlets: every way a frag can leave, or still be there at the end, with its worth and what it uses of the season's rows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from scheduler.farm.coral import SizeClass
from scheduler.farm.farm import Farm
from scheduler.farm.hours import PACKING
from scheduler.farm.work import first_late_week, may_deliver, packing_days
from scheduler.season.capacity import Capacity

OutletKind = Literal["list", "discount", "clear", "order", "left listed", "left beyond", "left old"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Outlet:
    """One way out for a frag of a strain: sold as a class in a week, or (week horizon + 1) left at the end.

    ``worth`` is money per expected frag, packing and interest taken off.
    """

    kind: OutletKind
    strain: str
    size_class: str
    week: int
    worth: float
    channel: str = ""
    order: str | None = None


def interest(farm: Farm, week: int) -> float:
    """Worth today of one unit of money in a week."""
    return float((1 + farm.settings.interest_percent_per_year / 100) ** (-week / 52))


def packing_cost(farm: Farm, strain: str, channel: str) -> float:
    """Wage and supplies of packing one frag of a strain, its share of a box included."""
    s = farm.settings
    per_box = farm.channel[channel].frags_per_box
    minutes = s.pack_frag_minutes + s.pack_box_minutes / per_box
    kinds = (None, farm.traits(strain).plug_kind, farm.strain[strain].group)
    supplies = sum(
        row.quantity_per * float(row.unit_cost) * (1 / per_box if row.per == "box" else 1.0)
        for row in farm.supplies
        if row.per == "box" or (row.per == "frag packed" and row.only_for in kinds)
    )
    return minutes / 60 * float(s.wage_per_hour) + supplies


def order_bonus(farm: Farm, order: str, week: int) -> float:
    """What delivering a frag of an order in a week saves in late and short costs, interest taken off."""
    row, s, last = farm.order[order], farm.settings, farm.weeks.count
    saved = 0.0
    if row.late_ok:
        late = first_late_week(farm, order)
        saved += sum(float(s.late_cost) * interest(farm, w) for w in range(max(late, week + 1), last + 1))
    if row.due <= farm.weeks.days(last)[-1]:
        saved += float(s.short_cost) * interest(farm, last)
    return saved


def unserved_cost(farm: Farm) -> float:
    """What orders cost if nothing is delivered to them (money, not negative)."""
    return sum(o.quantity * order_bonus(farm, o.order, 0) for o in farm.orders)


class Outlets:
    """All outlets of a season as a table, by strain, week and class."""

    def __init__(self, farm: Farm, capacity: Capacity) -> None:
        self.farm = farm
        self.capacity = capacity
        self.strain_index = {s.strain: i for i, s in enumerate(farm.strains)}
        self.most_classes = max((len(farm.size_classes(s.strain)) for s in farm.strains), default=1) or 1
        self.rows: list[Outlet] = []
        self._cells: list[tuple[int, int, float]] = []
        self._slot: list[tuple[int, int, int]] = []
        self._masks: dict[frozenset[str], NDArray[np.bool_]] = {}
        self._uses: dict[int, tuple[tuple[int, float], ...]] = {}
        for strain in farm.strains:
            for k, size_class in enumerate(farm.size_classes(strain.strain)):
                self._sold(strain.strain, k, size_class)
                self._left(strain.strain, k, size_class)

    def _add(self, outlet: Outlet, k: int, uses: list[tuple[int | None, float]]) -> None:
        column = len(self.rows)
        self.rows.append(outlet)
        self._slot.append((self.strain_index[outlet.strain], outlet.week, k))
        self._cells += [(row, column, amount) for row, amount in uses if row is not None]

    def _packed(self, channel: str, week: int) -> list[tuple[int | None, float]]:
        s, per_box = self.farm.settings, self.farm.channel[channel].frags_per_box
        minutes = s.pack_frag_minutes + s.pack_box_minutes / per_box
        sets = self.capacity.sets_by_kind
        hours = [*sets["outside", PACKING, week], *sets["overtime", PACKING, week]]
        return [(self.capacity.find("boxes", channel, week), 1 / per_box), *((row, minutes) for row in hours)]

    def _sold(self, strain: str, k: int, row: SizeClass) -> None:
        """O1: market at list and at discount, clearing, and orders, in every week their channel packs."""
        farm, cap = self.farm, self.capacity
        good, group = farm.traits(strain).good_share, farm.strain[strain].group
        listed, beyond, rest = float(row.list_price), float(row.discount_price), (1 - good) * float(row.b_price)
        wanted = [o for o in farm.orders if strain in (o.strain, *o.substitutes) and o.size_class == row.size_class]
        for week in cap.weeks:
            now, month = interest(farm, week), farm.weeks.month(week)
            for c in (c.channel for c in farm.channels if c.market and packing_days(farm, c.channel, week)):
                cost, packed = packing_cost(farm, strain, c), self._packed(c, week)
                uses = [
                    *packed,
                    (cap.find("market", (month, strain, row.size_class)), good),
                    (cap.find("market group", (month, group)), good),
                ]
                self._add(Outlet("list", strain, row.size_class, week, now * (good * listed + rest - cost), c), k, uses)
                self._add(Outlet("discount", strain, row.size_class, week, now * (good * beyond + rest - cost), c), k, packed)
                self._add(Outlet("clear", strain, row.size_class, week, now * (beyond - cost), c), k, packed)
            for o in wanted:
                if may_deliver(farm, o.order, week):
                    cost, packed = packing_cost(farm, strain, o.channel), self._packed(o.channel, week)
                    worth = now * (good * float(o.price) + rest - cost) + good * order_bonus(farm, o.order, week)
                    outlet = Outlet("order", strain, row.size_class, week, worth, o.channel, o.order)
                    self._add(outlet, k, [*packed, (cap.find("order", o.order), good)])

    def _left(self, strain: str, k: int, row: SizeClass) -> None:
        """Frags left at the horizon, valued as this class: within the coming market, beyond it, or past ``max_rack_weeks``."""
        farm, s = self.farm, self.farm.settings
        good = farm.traits(strain).good_share
        then = interest(farm, farm.weeks.count) * s.end_frag_share
        packing = s.pack_frag_minutes * float(s.wage_per_hour) / 60
        rest = (1 - good) * float(row.b_price) - packing
        end = farm.weeks.count + 1
        listed = then * (good * float(row.list_price) + rest)
        beyond = then * max(0.0, good * float(row.discount_price) + rest)
        room: list[tuple[int | None, float]] = [(self.capacity.find("end market", strain), 1.0)]
        self._add(Outlet("left listed", strain, row.size_class, end, listed), k, room)
        self._add(Outlet("left beyond", strain, row.size_class, end, beyond), k, [])
        self._add(Outlet("left old", strain, row.size_class, end, then * float(row.discount_price)), k, [])

    # ---- the table ------------------------------------------------------------------------------------------------

    @cached_property
    def uses(self) -> sparse.csr_matrix:
        """Use of each row (columns) by each outlet (rows), per expected frag."""
        rows, columns, amounts = zip(*self._cells, strict=True) if self._cells else ((), (), ())
        shape = (len(self.rows), len(self.capacity.rows))
        return sparse.csr_matrix((amounts, (columns, rows)), shape=shape)

    def uses_of(self, outlet: int) -> tuple[tuple[int, float], ...]:
        """(row, use of it per expected frag) of one outlet, remembered."""
        if outlet not in self._uses:
            cells = slice(*self.uses.indptr[outlet : outlet + 2])
            self._uses[outlet] = tuple(zip(self.uses.indices[cells].tolist(), self.uses.data[cells].tolist(), strict=True))
        return self._uses[outlet]

    @cached_property
    def worths(self) -> Floats:
        """Worth of each outlet per expected frag."""
        return np.array([o.worth for o in self.rows])

    def at(self, strain: int, week: int, k: int) -> list[int]:
        """Outlets of a strain (by index) as class k in a week."""
        return self._by_slot.get((strain, week, k), [])

    @cached_property
    def _by_slot(self) -> dict[tuple[int, int, int], list[int]]:
        found: dict[tuple[int, int, int], list[int]] = {}
        for i, slot in enumerate(self._slot):
            found.setdefault(slot, []).append(i)
        return found

    @cached_property
    def _slots(self) -> Ints:
        """Slot number of each outlet: its (strain, week, class) counted through."""
        strain, week, k = (np.array(x, dtype=np.int64) for x in zip(*self._slot, strict=True))
        slots: Ints = (strain * (self.farm.weeks.count + 2) + week) * self.most_classes + k
        return slots

    def best(self, prices: Floats, kinds: frozenset[str]) -> tuple[Floats, Ints]:
        """Best worth less prices by (strain, week, class), and the outlet it comes from (-inf, -1 where there is none).

        Both have shape (strains, horizon + 2, classes). ``kinds`` are the outlet kinds that count.
        """
        shape = (len(self.strain_index), self.farm.weeks.count + 2, self.most_classes)
        worth = np.full(int(np.prod(shape)), -np.inf)
        which = np.full(int(np.prod(shape)), -1, dtype=np.int64)
        if self.rows:
            net = self.worths - self.uses @ prices
            net = np.where(self._of_kind(kinds), net, -np.inf)
            slot = self._slots
            np.maximum.at(worth, slot, net)
            hit = np.flatnonzero((net == worth[slot]) & np.isfinite(net))
            which[slot[hit[::-1]]] = hit[::-1]
        return worth.reshape(shape), which.reshape(shape)

    def _of_kind(self, kinds: frozenset[str]) -> NDArray[np.bool_]:
        if kinds not in self._masks:
            self._masks[kinds] = np.array([o.kind in kinds for o in self.rows], dtype=np.bool_)
        return self._masks[kinds]
