"""One look at the season: the relaxation, its prices and bound, and a whole programme for every colony."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from scheduler.farm.farm import Farm
from scheduler.season.capacity import Row
from scheduler.season.chosen import Chosen, as_relaxed
from scheduler.season.columns import Floats, Season
from scheduler.season.guide import Guide
from scheduler.season.ledger import Ledger
from scheduler.season.parted import PartedRelaxation
from scheduler.season.relaxation import ENOUGH, Relaxation, Relaxed, use_by_strain
from scheduler.season.sales import Growing
from scheduler.season.tracks import StandingLot
from scheduler.season.whole import WholeCuts
from scheduler.solving import Progress

LOOSE = 2e-3
"""How close prices need to be once the bound is known and only whole cuts and sales are wanted."""

LOOSE_LARGE = 5e-3
"""The same for each part of a large farm."""

PARTED = 2500
"""From so many colonies and lots on later weeks are relaxed part by part and by light class. At 2,100 that takes 130 seconds less and
brings 0.4 % less; at 4,100 a whole round zone by zone took 24 minutes.
"""

MANY_COLONIES = 200
"""From so many colonies on a relaxation zone by zone begins from the prices of light classes, which saves a third of its rounds; on
smaller farms the rounds from nothing meet more programmes to choose whole ones from, worth 0.5 % of the demo farm's plan.
"""


@dataclass(frozen=True)
class SeasonPlan:
    """A season with its relaxation and the programmes chosen. ``search``: what chose them, if whole ones were."""

    season: Season
    relaxed: Relaxed
    chosen: Chosen
    search: WholeCuts | None

    def guide(self) -> Guide:
        """What was chosen as wishes, none handed out yet."""
        return Guide(self.season, self.chosen)

    def prices_for(self, season: Season, *, by_class: bool = False) -> Floats:
        """Its prices for the rows another season of the same farm has too; rows of a week are the same by the calendar.

        ``by_class``: where positions are shared by light zone there and by light class here, a zone has the price of its class.
        """
        return self._carried(season, by_class)(self.relaxed.prices.rows)

    def use_for(self, season: Season) -> dict[str, Floats]:
        """What each strain uses here of the rows another season of the same farm has too; of a light zone what it uses of the class."""
        carried = self._carried(season, True)
        used = use_by_strain(self.season, self.relaxed.columns, self.relaxed.amounts)
        return {s: carried(rows) for s, rows in used.items()}

    def _carried(self, season: Season, by_class: bool) -> Callable[[Floats], Floats]:
        """Numbers by row here as numbers by row of another season; rows it has for itself get 0."""
        shift = (season.farm.weeks.plan_monday - self.season.farm.weeks.plan_monday).days // 7
        known, none = self.season.capacity.index, len(self.season.capacity.rows)
        mine, places = self.season.capacity.classes, self.season.tracks.class_of
        alike = {c.id: mine[places[c.zones[0].id]].id for c in season.capacity.classes if c.zones[0].id in places}

        def number(row: Row) -> int:
            then = replace(row, week=row.week + shift) if row.week else row
            if by_class and row.kind == "positions" and then not in known:
                then = replace(then, subject=alike.get(str(row.subject)))
            return known.get(then, none)

        at = np.array([number(row) for row in season.capacity.rows])
        return lambda rows: np.append(rows, 0.0)[at]


def standing(lots: Sequence[Growing]) -> list[StandingLot]:
    """Lots with pieces not routed yet, as the season sees them."""
    return [StandingLot(g.id, g.strain, g.unrouted, g.life, g.zone, g.system, g.sellable_from) for g in lots if g.unrouted > 0]


def plan_season(
    farm: Farm, lots: Sequence[Growing], *, pins: Sequence[str], seed: int, whole: bool = False, first: int = 1, ledger: Ledger | None = None,
    cuts: Mapping[str, Mapping[int, int]] | None = None, order_need: Mapping[str, float] | None = None,
    warm: SeasonPlan | None = None, cutting: bool = True, single: bool = False,
    room: Mapping[tuple[str, int], float] | None = None, progress: Progress | None = None, stop: threading.Event | None = None,
) -> SeasonPlan:  # fmt: skip
    """Plan the season from week ``first`` on. ``lots`` stand already; ``cuts`` (colony -> week -> pieces) are decided.

    ``whole``: choose whole programmes; otherwise the relaxation alone. ``single``: positions by light zone instead of light
    class; ``room``: their limits by zone and week, instead of the farm's. ``order_need``: graded frags to plan for, by order.
    """
    season = Season(farm, standing(lots), first=first, ledger=ledger, cuts=cuts, pins=pins, cutting=cutting, single=single)
    _ask_for(season, order_need or {})
    for (zone, week), limit in (room or {}).items():
        if week >= first:
            season.capacity.set_limit("positions", zone, week, limit)
    prices = warm.prices_for(season, by_class=len(farm.colonies) >= MANY_COLONIES) if warm is not None else None
    relaxation: Relaxation | PartedRelaxation
    if whole and is_large(farm, lots):
        wanted = warm.use_for(season) if warm is not None else None
        relaxation = PartedRelaxation(season, wanted=wanted, warm=prices, elastic=first > 1)
        enough = LOOSE_LARGE
    else:
        relaxation = Relaxation(season, warm=prices, elastic=first > 1)
        enough = ENOUGH if first == 1 and cutting else LOOSE
    relaxed = relaxation.solve(enough=enough, progress=progress, stop=stop)
    _leave_whole_orders(season)
    if not whole:
        return SeasonPlan(season, relaxed, as_relaxed(season, relaxed), None)
    search = WholeCuts(season, relaxed, seed, stop=stop)
    return SeasonPlan(season, relaxed, search.run(relaxation, progress=progress), search)


def is_large(farm: Farm, lots: Sequence[Growing]) -> bool:
    """Whether the later weeks of a farm with these lots are too large to be relaxed zone by zone and at once."""
    return len(farm.colonies) + len(standing(lots)) >= PARTED


def by_zone(
    plan: SeasonPlan, lots: Sequence[Growing], *, seed: int, ledger: Ledger, cuts: Mapping[str, Mapping[int, int]],
    order_need: Mapping[str, float], stop: threading.Event | None = None,
) -> SeasonPlan:  # fmt: skip
    """A season planned by light class, with positions by light zone, at the same prices and with nothing chosen: to mend in.

    ``lots``, ``ledger`` and ``order_need`` as ``plan`` was given them.
    """
    old = plan.season
    season = Season(old.farm, standing(lots), first=old.first, ledger=ledger, cuts=cuts, pins=old.pins, single=True)
    _ask_for(season, order_need)
    prices = season.price(plan.prices_for(season, by_class=True))
    columns = [make() for make in season.reduced(prices)[1]]
    relaxed = replace(plan.relaxed, prices=prices, columns=columns, amounts=np.zeros(len(columns)))
    _leave_whole_orders(season)
    return SeasonPlan(season, relaxed, Chosen({}, {}, relaxed.value), WholeCuts(season, relaxed, seed, stop=stop))


def _ask_for(season: Season, order_need: Mapping[str, float]) -> None:
    """Orders get what they still need."""
    for order, need in order_need.items():
        season.capacity.set_limit("order", order, 0, need)


def _leave_whole_orders(season: Season) -> None:
    """Orders that refuse parts are filled last, whole, from what the market would have had."""
    for row in season.farm.orders:
        if not row.partial_ok:
            season.capacity.set_limit("order", row.order, 0, 0.0)
