"""The season as quick planning sees it: solved every few weeks, and read by the calendar in between."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from scheduler.biology.zones import zones
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.work import may_deliver, packing_days
from scheduler.plan.model import Announced
from scheduler.planning.on_racks import wishes_of
from scheduler.planning.quick_farm import keeping_rent
from scheduler.planning.quick_sooner import first_to_leave
from scheduler.planning.season_plan import LOOSE, SeasonPlan, standing
from scheduler.season.chosen import as_relaxed
from scheduler.season.columns import Season
from scheduler.season.cover import with_cover
from scheduler.season.guide import Wish
from scheduler.season.near_worth import NearValuation
from scheduler.season.outlets import Outlet
from scheduler.season.relaxation import relax
from scheduler.season.sales import Growing

SOLVED_WEEKS = 4
"""The season is solved anew when its prices are so many weeks old."""

PATIENCE = 0.99
"""Worth of a piece cut a week later than it could be: a cut put off may be put off again (farm choice)."""


@dataclass(frozen=True)
class QuickSeason:
    """A season solved for the farm of some week: prices, cuts and ways out as the relaxation mixes them.

    ``wishes`` by lot of that week, ``pieces`` the lots had then.
    """

    plan: SeasonPlan
    wishes: Mapping[str, Sequence[Wish]]
    pieces: Mapping[str, int]

    @classmethod
    def solved(cls, farm: Farm, lots: Sequence[Growing], pins: Sequence[str], before: QuickSeason | None) -> QuickSeason:
        """The season of a farm; prices found before are where the search begins."""
        season = Season(farm, standing(lots), pins=pins, rent=keeping_rent(farm), within_market=True)
        for order in farm.orders:
            if order.partial_ok:
                season.capacity.set_limit("order", order.order, 0, with_cover(farm, order.order))
        relaxed = relax(season, enough=LOOSE, warm=before.plan.prices_for(season) if before is not None else None)
        plan = SeasonPlan(season, relaxed, as_relaxed(season, relaxed), None)
        return cls(plan, wishes_of(plan), {lot.id: lot.pieces for lot in lots})

    @property
    def monday(self) -> date:
        """Monday of the week it was solved for."""
        return self.plan.season.farm.weeks.plan_monday

    def serves(self, farm: Farm) -> bool:
        """Whether it can still be read for a farm: not too old, with the same light zones and no colony it does not know."""
        then, age = self.plan.season.farm, self._age(farm)
        return 0 <= age < SOLVED_WEEKS and zones(then).keys() == zones(farm).keys() and farm.colony.keys() <= then.colony.keys()

    def _age(self, farm: Farm) -> int:
        return (farm.weeks.plan_monday - self.monday).days // 7

    def worth(self, farm: Farm, announced: Sequence[Announced] = ()) -> ImpatientValuation:
        """The season as the near weeks of a farm see it, with the pieces cut since it was solved taken off what it wants."""
        done = Counter[str]()
        for lot in farm.lots:
            done[lot.strain] += lot.started if lot.cut_date >= self.monday else 0
        for past in farm.past_lots:
            done[past.strain] += past.started if past.cut_date >= self.monday else 0
        return ImpatientValuation(self.plan.season, self.plan.relaxed, farm, done, announced)

    # ---- lots on racks --------------------------------------------------------------------------------------------

    def wishes_now(self, farm: Farm, lots: Sequence[Growing]) -> dict[str, list[Wish]]:
        """What it still wants of the lots a farm has now: what should have left and has not leaves as soon as it can."""
        return pooled(farm, lots, {lot.id: self._left(lot, farm) for lot in lots if lot.id in self.wishes})

    def _left(self, lot: Growing, farm: Farm) -> list[Wish]:
        end, age = self.plan.season.farm.weeks.count, self._age(farm)
        gone, found = max(0, self.pieces[lot.id] - lot.unrouted), list[Wish]()
        for wish in self.wishes[lot.id]:
            taken = min(gone, wish.pieces)
            gone -= taken
            closed = wish.outlet.order is not None and wish.outlet.order not in farm.order
            if wish.pieces > taken and wish.outlet.week <= end and not closed:
                outlet = replace(wish.outlet, week=max(1, wish.outlet.week - age))
                found.append(Wish(replace(outlet, week=_soonest(farm, lot, outlet)), wish.pieces - taken))
        return sorted(found, key=lambda w: w.outlet.week)


class ImpatientValuation(NearValuation):
    """A near valuation in which every week a piece waits it is worth a little less."""

    def piece(self, strain: str, week: int, zone_id: str, *, discount: bool = False) -> float:
        """Net worth of a fresh piece mounted in a week in a light zone."""
        return super().piece(strain, week, zone_id, discount=discount) * PATIENCE ** (week - 1)

    def _mean_piece(self, colony: Colony, week: int) -> float:
        return super()._mean_piece(colony, week) * PATIENCE ** (week - 1)


def pooled(farm: Farm, lots: Sequence[Growing], wishes: Mapping[str, Sequence[Wish]]) -> dict[str, list[Wish]]:
    """The same wishes, strain by strain, for the lots that are to leave first (``first_to_leave``).

    What a lot is to grow on to a larger class is not taken for a smaller one.
    """
    found: dict[str, list[Wish]] = {lot.id: [] for lot in lots if lot.id in wishes}
    for strain in dict.fromkeys(lot.strain for lot in lots):
        mine = {lot.id: lot for lot in lots if lot.strain == strain and lot.id in wishes}
        left = {name: lot.unrouted for name, lot in mine.items()}
        entries = [(wish.outlet.week, name, wish) for name in mine for wish in wishes[name]]
        coming = {name: Counter[str]() for name in mine}
        for _, name, wish in entries:
            coming[name][wish.outlet.size_class] += wish.pieces
        for week, name, wish in sorted(entries, key=lambda e: (e[0], e[2].outlet.kind != "clear", e[1])):
            coming[name][wish.outlet.size_class] -= wish.pieces
            need, in_turn = wish.pieces, sorted(mine, key=lambda n: first_to_leave(farm, mine[n], left[n]))
            able = [n for n in in_turn if mine[n].life.reached(wish.outlet.size_class, week)]
            for other in [name] if wish.outlet.kind == "clear" else [*able, name]:
                kept = _growing_on(mine[other], coming[other], wish.outlet.size_class) if other != name else 0
                taken = max(0, min(need, left[other] - kept))
                if taken > 0:
                    found[other].append(Wish(wish.outlet, taken))
                    left[other] -= taken
                    need -= taken
    return found


def _growing_on(lot: Growing, coming: Mapping[str, int], size_class: str) -> int:
    """Pieces of a lot still to come as a larger class than one."""
    ready = lot.life.ready
    return sum(n for other, n in coming.items() if size_class in ready and ready.get(other, -1) > ready[size_class])


def _soonest(farm: Farm, lot: Growing, outlet: Outlet) -> int:
    """The first week in which a lot could leave by an outlet as well: an order at any time, a market in the same month.

    The season does not mind which of these weeks it is; on racks what is sold may still die, and holds its place.
    """
    if outlet.kind not in ("order", "list"):
        return outlet.week
    for week in range(1, outlet.week):
        if not lot.life.reached(outlet.size_class, week) or not packing_days(farm, outlet.channel, week):
            continue
        if outlet.order is None:
            if farm.weeks.month(week) == farm.weeks.month(outlet.week):
                return week
        elif may_deliver(farm, outlet.order, week):
            return week
    return outlet.week
