"""The lots of a plan as arrays, one strain at a time: growth, losses and leaving by week."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.life import weekly_losses
from scheduler.biology.light import growth_factor
from scheduler.biology.zones import zones
from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan, Sale
from scheduler.plan.view import LotView, PlanView

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STAYS = 10_000
"""Leaving week of pieces that stay to the end."""


@dataclass(frozen=True)
class Calendar:
    """Months of the horizon. ``first[m]`` and ``last[m]`` are the weeks of month m inside it; ``of_week[w - 1]`` its index."""

    months: tuple[tuple[int, int], ...]
    first: Ints
    last: Ints
    of_week: Ints

    @classmethod
    def of(cls, farm: Farm) -> Calendar:
        """The months of a farm's horizon."""
        months = farm.weeks.months
        of_week = np.array([months.index(farm.weeks.month(w)) for w in farm.weeks.all], dtype=np.int64)
        weeks = np.arange(1, len(of_week) + 1)
        first = np.array([weeks[of_week == m].min() for m in range(len(months))], dtype=np.int64)
        last = np.array([weeks[of_week == m].max() for m in range(len(months))], dtype=np.int64)
        return cls(months, first, last, of_week)


@dataclass(frozen=True)
class Parcel:
    """Pieces of a lot that leave together: ``lot`` is its index in the strain. ``to_order``: they go to an order.

    ``sold_as``: index of the class they are sold as, -1 for pieces that are cleared or stay. A frag that has not reached its class by the
    week of its sale stays until it has; what is cleared goes as it is.
    """

    lot: int
    pieces: int
    leaves: int
    to_order: bool
    sold_as: int


@dataclass(frozen=True)
class StrainLots:
    """The lots of one strain, arrays by lot (l) and week 0..horizon (w) or month (m), month 0 being the time before week 1.

    ``cut_week[l]``: week it is cut (0 and below: before the plan).
    ``grown_mm[l, w]``: millimetres expected to be grown by the end of week w, 0 before the cut. ``gate[l]``: first week it may
    count as of a class (healed, attached). ``hazard[l, w]``: losses of week w as a hazard, 0 up to the count; week 0 holds all
    losses since the count before week 1. ``tank[l, w]`` and ``free[l, w]``: index of its tank, and whether it may be sold
    in that week (not in quarantine or on hold, not too old). ``gap_mm[k]``: growth a fresh frag needs for class k.
    """

    strain: str
    classes: tuple[str, ...]
    gap_mm: Floats
    ids: tuple[str, ...]
    pieces: Ints
    planned: NDArray[np.bool_]
    cut_week: Ints
    gate: Ints
    grown_mm: Floats
    hazard: Floats
    tank: Ints
    free: NDArray[np.bool_]
    parcels: tuple[Parcel, ...]
    good_share: float

    @cached_property
    def index(self) -> dict[str, int]:
        """Index of a lot."""
        return {lot: i for i, lot in enumerate(self.ids)}


class Parcels:
    """A farm and a plan as arrays. ``farm`` carries the traits to forecast with."""

    def __init__(self, farm: Farm, plan: Plan) -> None:
        self.farm, self.plan = farm, plan
        self.calendar = Calendar.of(farm)
        self.tanks = tuple(t.tank for t in farm.tanks)
        self._tank_index = {tank: i for i, tank in enumerate(self.tanks)}

    @cached_property
    def strains(self) -> Mapping[str, StrainLots]:
        """Strains that have lots, by name."""
        views: dict[str, list[LotView]] = {}
        for view in PlanView(self.farm, self.plan).lots.values():
            views.setdefault(view.strain, []).append(view)
        return {strain: self._strain(strain, views[strain]) for strain in sorted(views)}

    @cached_property
    def order_sales(self) -> Mapping[str, tuple[Sale, ...]]:
        """Sales to each order."""
        found: dict[str, list[Sale]] = {}
        for sale in self.plan.sales:
            if sale.route == "order" and sale.order is not None:
                found.setdefault(sale.order, []).append(sale)
        return {order: tuple(rows) for order, rows in found.items()}

    def _strain(self, strain: str, views: list[LotView]) -> StrainLots:
        traits, classes = self.farm.traits(strain), self.farm.size_classes(strain)
        shape = (len(views), self.farm.weeks.count + 1)
        grown, hazard = np.zeros(shape), np.zeros(shape)
        tank, free = np.zeros(shape, dtype=np.int64), np.zeros(shape, dtype=np.bool_)
        for i, view in enumerate(views):
            self._fill(view, grown[i], hazard[i], tank[i], free[i])
        cut_week = np.array([v.cut_week for v in views], dtype=np.int64)
        names = tuple(c.size_class for c in classes)
        return StrainLots(
            strain,
            names,
            gap_mm=np.array([c.min_mm - traits.frag_mm for c in classes]),
            ids=tuple(v.id for v in views),
            pieces=np.array([v.pieces for v in views], dtype=np.int64),
            planned=np.array([v.is_new for v in views]),
            cut_week=cut_week,
            gate=cut_week + max(traits.heal_weeks, traits.attach_weeks),
            grown_mm=grown,
            hazard=hazard,
            tank=tank,
            free=free,
            parcels=tuple(p for i, v in enumerate(views) for p in _parcels(i, v, names)),
            good_share=traits.good_share,
        )

    def _fill(self, view: LotView, grown: Floats, hazard: Floats, tank: Ints, free: NDArray[np.bool_]) -> None:
        """Week by week for one lot; weeks before the first are in its first light, as its past light is not in the book."""
        farm, traits, settings = self.farm, self.farm.traits(view.strain), self.farm.settings
        table, growing = zones(farm), 0.0
        for week in range(min(view.cut_week + 1, view.counted_week + 1, 1), farm.weeks.count + 1):
            zone = table[view.stand(max(week - 1, view.first_week if view.is_new else 0)).zone]
            par = zone.par_in(max(1, week))
            if week > view.cut_week:
                growing += traits.frag_mm_per_week * growth_factor(par, traits.par_k)
            at = max(0, week)
            grown[at] = growing
            if week > view.counted_week:
                death, detach = weekly_losses(traits, week - 1 - view.cut_week, par, settings.stress_factor)
                hazard[at] -= np.log1p(-min(death + detach, 0.99))
            now = table[view.stand(max(week, view.first_week if view.is_new else 0)).zone]
            tank[at] = self._tank_index[now.tank]
            age = max(1, week) - view.cut_week
            held = farm.in_quarantine(now.system, max(1, week)) or farm.on_hold(now.system, max(1, week))
            free[at] = not held and age <= settings.max_rack_weeks


def _parcels(index: int, view: LotView, classes: tuple[str, ...]) -> list[Parcel]:
    """A lot's pieces by the week they leave; those not routed stay."""
    found = [
        Parcel(index, s.pieces, s.week, s.route == "order", -1 if s.route == "clear" else classes.index(s.size_class))
        for s in view.sales
    ]
    left = view.pieces - sum(s.pieces for s in view.sales)
    return [*found, Parcel(index, left, STAYS, False, -1)] if left else found
