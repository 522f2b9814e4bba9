"""The season as quick planning sees it: solved every few weeks, and read by the calendar in between."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from scheduler.biology.zones import zones
from scheduler.farm.farm import Farm
from scheduler.planning.on_racks import wishes_of
from scheduler.planning.season_plan import LOOSE, SeasonPlan, standing
from scheduler.season.guide import Wish
from scheduler.season.near_worth import NearValuation
from scheduler.season.relaxation import Season, relax
from scheduler.season.sales import Growing
from scheduler.season.whole import as_relaxed

SOLVED_WEEKS = 4
"""The season is solved anew when its prices are so many weeks old."""


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
        season = Season(farm, standing(lots), pins=pins)
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

    def worth(self, farm: Farm) -> NearValuation:
        """The season as the near weeks of a farm see it, with the pieces cut since it was solved taken off what it wants."""
        done = Counter[str]()
        for lot in farm.lots:
            done[lot.strain] += lot.started if lot.cut_date >= self.monday else 0
        for past in farm.past_lots:
            done[past.strain] += past.started if past.cut_date >= self.monday else 0
        return NearValuation(self.plan.season, self.plan.relaxed, farm, done)

    def wishes_now(self, farm: Farm, lots: Sequence[Growing]) -> dict[str, list[Wish]]:
        """What it still wants of the lots a farm has now: what should have left and has not leaves as soon as it can."""
        return {lot.id: self._left(lot, farm) for lot in lots if lot.id in self.wishes}

    def _left(self, lot: Growing, farm: Farm) -> list[Wish]:
        end = self.plan.season.farm.weeks.count
        age, gone, found = self._age(farm), max(0, self.pieces[lot.id] - lot.pieces), list[Wish]()
        for wish in self.wishes[lot.id]:
            taken = min(gone, wish.pieces)
            gone -= taken
            closed = wish.outlet.order is not None and wish.outlet.order not in farm.order
            if wish.pieces > taken and wish.outlet.week <= end and not closed:
                week = max(1, wish.outlet.week - age)
                found.append(Wish(replace(wish.outlet, week=week), wish.pieces - taken))
        return found
