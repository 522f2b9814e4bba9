"""Prices of the season for quick planning: solved every few weeks, carried over by the calendar in between."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.farm import Farm
from scheduler.planning.season_plan import LOOSE, SeasonPlan, standing
from scheduler.season.capacity import Row
from scheduler.season.relaxation import ROUNDS, Season, relax
from scheduler.season.sales import Growing
from scheduler.season.whole import as_relaxed

SOLVED_WEEKS = 4
"""Prices are solved anew when they are so many weeks old."""

ROUNDS_BETWEEN = 6
"""Rounds in the other weeks, begun at the prices carried over: enough to mix programmes and ways out at them."""

ENOUGH_BETWEEN = 1e-2

_Key = tuple[str, Hashable, date | None]
"""Kind and subject of a row, and the Monday of its week (``None``: a row of no week)."""


@dataclass(frozen=True)
class CarriedPrices:
    """Prices of the season's rows, and the Monday of the plan they were solved for."""

    solved: date
    rows: Mapping[_Key, float]

    def age(self, farm: Farm) -> int:
        """Weeks since they were solved."""
        return (farm.weeks.plan_monday - self.solved).days // 7

    def asked(self, farm: Farm, rows: Sequence[Row]) -> NDArray[np.float64]:
        """Prices to begin with, by row. A week new at the end of the horizon has the price of the week before."""
        return np.array([self._of(_key(farm, row)) for row in rows])

    def _of(self, key: _Key) -> float:
        kind, subject, monday = key
        if key not in self.rows and monday is not None:
            return self.rows.get((kind, subject, monday - timedelta(weeks=1)), 0.0)
        return self.rows.get(key, 0.0)


def _key(farm: Farm, row: Row) -> _Key:
    return row.kind, row.subject, farm.weeks.monday(row.week) if row.week else None


def priced_season(
    farm: Farm, lots: Sequence[Growing], pins: Sequence[str], before: CarriedPrices | None
) -> tuple[SeasonPlan, CarriedPrices]:
    """The season at its prices, and what to carry to the next week. Wishes for lots are those of the relaxation."""
    season = Season(farm, standing(lots), pins=pins)
    anew = before is None or not 0 <= before.age(farm) < SOLVED_WEEKS
    relaxed = relax(
        season,
        rounds=ROUNDS if anew else ROUNDS_BETWEEN,
        enough=LOOSE if anew else ENOUGH_BETWEEN,
        warm=before.asked(farm, season.capacity.rows) if before is not None else None,
    )
    rows = {_key(farm, row): float(price) for row, price in zip(season.capacity.rows, relaxed.prices.rows, strict=True)}
    carried = CarriedPrices(farm.weeks.plan_monday if anew or before is None else before.solved, rows)
    return SeasonPlan(season, relaxed, as_relaxed(season, relaxed), None), carried
