"""The forecast: sellable frags by month with their spread, cover of orders, what may be promised, shortages and gluts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from scheduler.farm.farm import Farm
from scheduler.farm.trade import Order
from scheduler.forecast.draws import Shared, StrainDraws, StrainSampler
from scheduler.forecast.learn import Learned, learn, learned_farm
from scheduler.forecast.parcels import Calendar, Floats, Ints, Parcels
from scheduler.forecast.starts import pieces_to_start_unsure
from scheduler.plan.model import Plan

Month = tuple[int, int]
Cell = tuple[str, str]
"""Strain and size class."""

QUANTILES = (0.10, 0.50, 0.90)
LIKELY = 0.5
"""A shortage or glut is foreseen from this chance on (farm choice)."""


@dataclass(frozen=True)
class OrderChance:
    """How likely an order is covered.

    ``started``: pieces the plan routes to it, ``by_due`` of them packed in or before the week it is due. ``on_time``: chance that these
    deliver the open quantity in grade by then, those not ready in the week of their sale following as they are; ``at_all``: by the end of
    the horizon, with those packed late. ``with_market``: chance by the due
    week if frags of the strain planned for the market or not planned to be sold were sent too, as if no other order wanted them.
    ``wanted``: pieces like those by the due week that would cover it with the farm's service level, all that is uncertain counted;
    ``None`` where there are none, or hardly any come through in time.
    """

    order: Order
    started: int
    by_due: int
    on_time: float
    at_all: float
    with_market: float
    wanted: int | None


@dataclass(frozen=True)
class Outlook:
    """A finished forecast. Arrays are whole frags by draw: (draws, months), supply (draws, months + 1) with "now" first.

    ``reaching``: frags newly reaching a class in a month while still on the farm; a frag that passes two classes counts once in each.
    ``supply``, ``on_hand`` and ``after`` as in ``StrainDraws``. ``demand``: what market and orders take in a month, ``ahead`` in the
    ``glut_months`` months after it.
    """

    farm: Farm
    learned: Learned
    seed: int
    months: tuple[Month, ...]
    reaching: Mapping[Cell, Ints]
    supply: Mapping[Cell, Ints]
    on_hand: Mapping[Cell, Ints]
    after: Mapping[Cell, Ints]
    demand: Mapping[Cell, Floats]
    ahead: Mapping[Cell, Floats]
    orders: tuple[OrderChance, ...]

    @cached_property
    def sellable(self) -> dict[str, Ints]:
        """Frags reaching their first class, each once, by strain."""
        first = {s: self.farm.size_classes(s)[0].size_class for s, _ in self.reaching}
        return {s: table for (s, k), table in self.reaching.items() if k == first[s]}

    @cached_property
    def total(self) -> Ints:
        """``sellable`` of all strains together (draws, months)."""
        tables = list(self.sellable.values())
        if not tables:
            return np.zeros((self.farm.settings.forecast_draws, len(self.months)), dtype=np.int64)
        return np.asarray(sum(tables[1:], tables[0]), dtype=np.int64)

    def promise(self, cell: Cell, level: float | None = None) -> tuple[int, ...]:
        """Most graded frags of a class that can be promised by the end of "now" and of each month with a chance of ``level``."""
        wanted = self.farm.settings.service_level if level is None else level
        return tuple(int(n) for n in at_least_with(self.supply[cell], wanted))

    def earliest(self, cell: Cell, quantity: int, level: float | None = None) -> Month | None:
        """First month by whose end a new order of so many can be covered with a chance of ``level``; ``None`` if in none."""
        for month, most in zip((self.months[0], *self.months), self.promise(cell, level), strict=True):
            if most >= quantity:
                return month
        return None

    def short_chance(self, cell: Cell) -> Floats:
        """Chance by month that fewer frags are on hand than market and orders would take (months,)."""
        return np.asarray((self.on_hand[cell] < self.demand[cell] - 1e-9).mean(axis=0))

    def glut_chance(self, cell: Cell) -> Floats:
        """Chance by month that more frags are left than the next ``glut_months`` months take (months,)."""
        return np.asarray((self.after[cell] > self.ahead[cell] + 1e-9).mean(axis=0))


def at_least_with(draws: Ints, level: float) -> Ints:
    """Largest n reached by at least a share ``level`` of the draws, for each column."""
    ordered = np.sort(draws, axis=0)
    index = min(len(ordered) - 1, math.floor((1 - level) * len(ordered) + 1e-9))
    return np.asarray(ordered[index])


def quantiles(draws: Ints) -> Ints:
    """P10, P50, P90 as whole frags (3, months): the smallest count that a share of the draws does not exceed."""
    return np.asarray(np.quantile(draws, QUANTILES, axis=0, method="inverted_cdf"))


def pieces_for(quantity: int, pieces: int, delivered: Ints, level: float) -> int | None:
    """Pieces that cover an order with a chance of ``level``, if more of them fare like those drawn.

    ``delivered`` (draws,) of ``pieces``; their mean and variance give the survival and the weight of a beta-binomial. ``None``
    where nothing is known or no number would do.
    """
    survival = float(delivered.mean()) / pieces if pieces else 0.0
    if not 0 < survival < 1:
        return None
    chance_alone = survival * (1 - survival) / pieces
    shared = (float((delivered / pieces).var()) / chance_alone - 1) / max(pieces - 1, 1)
    sample = 1 / min(max(shared, 1e-6), 0.999) - 1
    try:
        return pieces_to_start_unsure(quantity, survival, sample, level)
    except ValueError:
        return None


def forecast(farm: Farm, plan: Plan, *, learned: Learned | None = None, draws: int | None = None, seed: int = 1) -> Outlook:
    """Forecast a plan of a farm, with what its counts say (``learned``, worked out from the farm if not given).

    ``farm`` is the farm of the book, over as many weeks as the plan. The same arguments give the same draws.
    """
    if plan.about.weeks != farm.settings.horizon_weeks or plan.about.plan_monday != farm.weeks.plan_monday:
        raise ValueError(
            f"a plan of {plan.about.weeks} weeks from {plan.about.plan_monday} for a farm planned over "
            f"{farm.settings.horizon_weeks} weeks from {farm.weeks.plan_monday}"
        )
    known = learned or learn(farm)
    return _Forecast(learned_farm(farm, known), plan, known, draws or farm.settings.forecast_draws, seed).outlook()


class _Forecast:
    def __init__(self, farm: Farm, plan: Plan, learned: Learned, draws: int, seed: int) -> None:
        self.farm, self.learned, self.draws, self.seed = farm, learned, draws, seed
        self.parcels = Parcels(farm, plan)
        self.calendar: Calendar = self.parcels.calendar
        self.rng = np.random.default_rng(seed)
        self.sent: dict[str, list[tuple[Ints, Ints]]] = {}

    def outlook(self) -> Outlook:
        months = self.calendar.months
        shared = Shared.draw(self.rng, self.draws, len(self.farm.tanks), len(months), self.learned.spreads.shock)
        found: dict[Cell, tuple[StrainDraws, int]] = {}
        for strain, lots in self.parcels.strains.items():
            sampler = StrainSampler(self.farm, lots, self.calendar, self.learned, shared, self.rng)
            drawn = sampler.sample()
            found |= {(strain, name): (drawn, k) for k, name in enumerate(lots.classes)}
            self._deliver(sampler)
        tables = {
            name: {cell: getattr(drawn, name)[:, k] for cell, (drawn, k) in found.items()}
            for name in ("reaching", "supply", "on_hand", "after")
        }
        demand = {cell: self._demand(cell) for cell in found}
        ahead = {cell: self._ahead(cell) for cell in found}
        orders = tuple(self._chance(order, tables["supply"]) for order in self.farm.orders)
        return Outlook(self.farm, self.learned, self.seed, months, **tables, demand=demand, ahead=ahead, orders=orders)

    # ---- orders ---------------------------------------------------------------------------------------------------

    def _deliver(self, sampler: StrainSampler) -> None:
        """What a strain's lots bring to each order, by its day and later."""
        lots = sampler.lots
        for order_id, sales in self.parcels.order_sales.items():
            due = self.farm.weeks.week_of(self.farm.order[order_id].due)
            for k, name in enumerate(lots.classes):
                rows = [s for s in sales if s.lot in lots.index and s.size_class == name]
                if rows:
                    where = np.array([lots.index[s.lot] for s in rows], dtype=np.int64)
                    weeks, pieces = np.array([s.week for s in rows]), np.array([float(s.pieces) for s in rows])
                    self.sent.setdefault(order_id, []).append(sampler.delivered(k, where, weeks, pieces, due))

    def _chance(self, order: Order, supply: Mapping[Cell, Ints]) -> OrderChance:
        nothing = np.zeros(self.draws, dtype=np.int64)
        timely, late = (sum(parts, nothing) for parts in zip((nothing, nothing), *self.sent.get(order.order, []), strict=True))
        due = self.farm.weeks.week_of(order.due)
        sales = self.parcels.order_sales.get(order.order, ())
        by_due = sum(s.pieces for s in sales if s.week <= due)
        at = int(np.searchsorted(self.calendar.last, due, side="right"))
        more = supply.get((order.strain, order.size_class))
        spare = more[:, at] if more is not None and due >= 1 else nothing

        def covered(delivered: Ints) -> float:
            return float((delivered >= order.quantity).mean())

        return OrderChance(
            order, sum(s.pieces for s in sales), by_due, covered(timely),
            covered(timely + late) if order.late_ok else covered(timely), covered(timely + spare),
            pieces_for(order.quantity, by_due, timely, self.farm.settings.service_level),
        )  # fmt: skip

    # ---- demand ---------------------------------------------------------------------------------------------------

    def _taken(self, cell: Cell, month: Month, *, whole: bool) -> float:
        """What market and orders take of a class in a month; ``whole``: as if all of its weeks were planned."""
        strain, size_class = cell
        weeks = self.farm.weeks
        share = 1.0 if whole else weeks.planned_in_month(month) / weeks.weeks_in_month(month)
        market = self.farm.market_quantity(month[1], strain=strain, size_class=size_class) or 0.0
        due = [o for o in self.farm.orders if (o.strain, o.size_class) == cell and self._month_of(o) == month]
        return market * share + sum(o.quantity for o in due)

    def _month_of(self, order: Order) -> Month:
        """Month an order is due in; overdue ones are due now."""
        return self.farm.weeks.month(max(1, self.farm.weeks.week_of(order.due)))

    def _demand(self, cell: Cell) -> Floats:
        return np.array([self._taken(cell, month, whole=False) for month in self.calendar.months])

    def _ahead(self, cell: Cell) -> Floats:
        """What the months after each month take, as many as ``glut_months``."""
        months = list(self.calendar.months)
        while len(months) < len(self.calendar.months) + self.farm.settings.glut_months:
            year, number = months[-1]
            months.append((year + number // 12, number % 12 + 1))
        taken = [self._taken(cell, month, whole=True) for month in months]
        reach = self.farm.settings.glut_months
        return np.array([sum(taken[m + 1 : m + 1 + reach]) for m in range(len(self.calendar.months))])
