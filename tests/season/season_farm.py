"""Seasons of small farms for tests: what stands today, and the relaxation of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from scheduler.biology.life import life
from scheduler.farm.farm import Farm
from scheduler.plan.view import old_stand, pars_of
from scheduler.season.columns import Floats, Season
from scheduler.season.relaxation import Mix, Relaxed, relax
from scheduler.season.tracks import StandingLot


def lots_of(farm: Farm) -> list[StandingLot]:
    """The lots on racks with all their pieces, where they stand."""
    found = []
    for lot in farm.lots:
        if lot.alive:
            stand = old_stand(farm, lot.lot)
            counted = min(1, farm.weeks.week_of(lot.count_date))
            course = life(farm, lot.strain, farm.weeks.week_of(lot.cut_date), counted, pars_of(farm, 1, (stand,)))
            found.append(StandingLot(lot.lot, lot.strain, lot.alive, course, stand.zone, farm.system_of_rack(lot.rack), 1))
    return found


def season_of(farm: Farm, **more: Any) -> Season:
    """The whole season of a farm, all pins kept."""
    return Season(farm, lots_of(farm), **({"pins": [p.pin for p in farm.pins]} | more))


def bound_of(farm: Farm, *, season: Mapping[str, Any] | None = None, **more: Any) -> Relaxed:
    """The relaxation of the whole season of a farm, solved to the end. ``season``: how the season is made."""
    return relax(season_of(farm, **(season or {})), **({"rounds": 200, "enough": 1e-9} | more))


def use_of(season: Season, mix: Relaxed | Mix) -> Floats:
    """What a mix of columns uses of every row."""
    used = np.zeros(len(season.capacity.rows))
    for column, amount in zip(mix.columns, mix.amounts, strict=True):
        for row, use in column.uses.items():
            used[row] += amount * use
    return used


def worth_of(mix: Relaxed | Mix) -> float:
    """Money of a mix of columns, constants left out."""
    return float(sum(a * c.worth for c, a in zip(mix.columns, mix.amounts, strict=True)))
