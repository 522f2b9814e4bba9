"""What a piece is worth, and what waiting is worth: the valuation the near weeks are planned with.

A piece is worth its expected sale in the first size class less the work to come. Waiting is worth the regrowth it
brings: the best cut programme of one colony over the horizon, found by dynamic programming over (week, level) with
every piece worth the same, so that the programme depends on the colony's growth, rest, keep and share alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.growth import after_cut, curve, most_pieces, rested_from, season_open, uncut_level
from scheduler.biology.life import life
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm

Floats = NDArray[np.float64]

PATIENCE = 0.94
"""Worth of a piece a week later, beside one now. Markets and benches of a week not used are gone, which a programme for one
colony alone cannot see; without this every colony would wait for its last weeks. Farm choice: of 1.00, 0.98, 0.96, 0.94, 0.92
and 0.90 the best plan of the demo farm."""


@dataclass(frozen=True)
class CutProgramme:
    """The best programme of one colony in pieces: ``worth[week, level]`` from a week on, rested; ``take`` the cut then.

    Arrays have shape (horizon + 2, levels); row 0 is unused, row horizon + 1 is the end value.
    """

    worth: Floats
    take: NDArray[np.int64]


def programme(farm: Farm, colony: Colony, patience: float) -> CutProgramme:
    """Best cuts of one colony over the horizon if a piece is worth 1 now and ``patience`` times as much each week later.

    A spare piece at the end is worth end_colony_share, likewise.
    """
    traits = farm.traits(colony.strain)
    sizes = curve(traits)
    count, last = len(sizes), farm.weeks.count
    level = np.arange(count)
    most = np.array([most_pieces(traits, s) for s in sizes])
    spare = np.maximum(0.0, np.array(sizes) - traits.keep_pieces) * farm.settings.end_colony_share
    worth = np.zeros((last + 2, count))
    take = np.zeros((last + 2, count), dtype=np.int64)
    worth[last + 1] = spare
    top = int(most.max(initial=0))
    after = {
        n: np.array([after_cut(sizes, k, n) if most[k] >= n else 0 for k in range(count)])
        for n in range(traits.min_pieces, top + 1)
    }
    for week in range(last, 0, -1):
        best = patience * worth[week + 1][np.minimum(level + 1, count - 1)]
        if colony.condition == "fit" and season_open(farm, colony, week):
            again = week + traits.rest_weeks
            grown = max(0, min(again, last + 1) - week - traits.pause_weeks)
            future = patience ** (min(again, last + 1) - week) * worth[min(again, last + 1)]
            for n, landed in after.items():
                value = np.where(most >= n, n + future[np.minimum(landed + grown, count - 1)], -1.0)
                better = value > best + 1e-9
                best = np.where(better, value, best)
                take[week] = np.where(better, n, take[week])
        worth[week] = best
    return CutProgramme(worth, take)


class Worth:
    """Values of pieces and of waiting for one farm, money as floats (models round to cents)."""

    def __init__(self, farm: Farm, patience: float = PATIENCE) -> None:
        self.farm = farm
        self.patience = patience

    @cached_property
    def programmes(self) -> dict[str, CutProgramme]:
        """Cut programme of every fit colony."""
        return {c.colony: programme(self.farm, c, self.patience) for c in self.farm.colonies if c.condition == "fit"}

    def graded_price(self, strain: str, size_class: str, *, discount: bool = False) -> float:
        """Mean price of a sold frag of a class: list (or discount) where it makes grade, else the B price."""
        row = self.farm.size_class(strain, size_class)
        if row is None:
            return 0.0
        good = self.farm.traits(strain).good_share
        return good * float(row.discount_price if discount else row.list_price) + (1 - good) * float(row.b_price)

    def packing_cost(self) -> float:
        """Wage for packing one frag, its share of a box included."""
        s = self.farm.settings
        per_box = max((c.frags_per_box for c in self.farm.channels), default=1.0)
        return (s.pack_frag_minutes + s.pack_box_minutes / per_box) / 60 * float(s.wage_per_hour)

    def work_cost(self, strain: str) -> float:
        """Wage and supplies of cutting and mounting one piece."""
        traits, s = self.farm.traits(strain), self.farm.settings
        minutes = traits.minutes_cut + traits.minutes_mount + s.label_minutes
        supplies = sum(
            row.quantity_per * float(row.unit_cost)
            for row in self.farm.supplies
            if row.per == "piece" and row.only_for in (None, traits.plug_kind, self.farm.strain[strain].group)
        )
        return minutes / 60 * float(s.wage_per_hour) + supplies

    def colony_cost(self, colony: Colony) -> float:
        """Wage for fetching, setting up and dipping a colony once."""
        return self.farm.traits(colony.strain).minutes_colony / 60 * float(self.farm.settings.wage_per_hour)

    def piece(self, strain: str, week: int, par_umol: float, *, discount: bool = False) -> float:
        """Net worth of a fresh piece mounted in a week in light of that PAR: best class by value per week of its stay."""
        found = life(self.farm, strain, week, week, (par_umol,))
        first = min(found.ready.items(), key=lambda kv: kv[1], default=None)
        if first is None:
            return 0.0
        alive = float(found.alive_when_ready[first[0]])
        late = self.farm.settings.interest_percent_per_year / 100 * (first[1] - week) / 52
        sale = alive * (self.graded_price(strain, first[0], discount=discount) - self.packing_cost())
        return sale / (1 + late) - self.work_cost(strain)

    def waiting(self, colony: Colony, week: int, pieces: int) -> float:
        """Future pieces lost by cutting now instead of following the best programme uncut until the near weeks end."""
        weeks = self.farm.weeks
        traits = self.farm.traits(colony.strain)
        sizes = curve(traits)
        table = self.programmes[colony.colony].worth
        beyond = weeks.near_weeks[-1] + 1
        start = max(beyond, min(weeks.count + 1, rested_from(self.farm, colony)))
        uncut = self.patience ** (start - week) * table[start, uncut_level(self.farm, colony, start)]
        again = min(weeks.count + 1, week + traits.rest_weeks)
        landed = after_cut(sizes, uncut_level(self.farm, colony, week), pieces)
        grown = max(0, again - week - traits.pause_weeks)
        cut = self.patience ** (again - week) * table[again, min(len(sizes) - 1, landed + grown)]
        return float(uncut - cut)
