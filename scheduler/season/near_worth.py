"""The season as the near weeks see it: what a piece brings, what a cut now takes from later weeks, how many are wanted.

Everything comes from the relaxation, at its prices; a cut it makes, in whole or in part, is favoured.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from scheduler.biology.growth import after_cut, curve, rested_from, uncut_level
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.plan.model import Announced
from scheduler.season.capacity import LIST_PRICE
from scheduler.season.columns import Floats, Season
from scheduler.season.relaxation import Relaxed

ADHERENCE = 0.1
"""A piece of a cut that the relaxation makes counts this share of its worth more: farm choice, no published source."""

MARKET_SHARES = (0.75, 1.0)
"""Share of their price that markets cost pieces up to those the relaxation cuts of a strain in the near weeks, and beyond them. The
price is what the last piece that is sold loses there, and near the optimum no cut would be ahead of waiting by it; to the first
pieces the market is more open. Farm choice, no published source.
"""


class NearValuation:
    """Prices for the near-weeks model of a farm. Money as floats.

    A season priced some weeks ago may still serve: ``farm`` is then the farm as it is now, its weeks are the season's by the
    calendar, and what the relaxation wanted cut since and ``done`` has not been (pieces by strain) is wanted now.

    Which week the relaxation cuts a colony in is often a matter of cents, and another one a week later. So what was
    ``announced`` is favoured as the colony is in any near week.
    """

    def __init__(
        self, season: Season, relaxed: Relaxed, farm: Farm | None = None, done: Mapping[str, int] | None = None,
        announced: Sequence[Announced] = (),
    ) -> None:  # fmt: skip
        self.season, self.relaxed, self.farm = season, relaxed, farm or season.farm
        self._listed, self._beyond = (self._ways(share) for share in MARKET_SHARES)
        self._shift = (self.farm.weeks.plan_monday - season.farm.weeks.plan_monday).days // 7
        self._part: dict[tuple[str, int], float] = defaultdict(float)
        self._wanted: dict[str, float] = defaultdict(float)
        cut = {c.colony: self.farm.weeks.week_of(c.last_cut) + self._shift for c in self.farm.colonies if c.last_cut is not None}
        for column, amount in zip(relaxed.columns, relaxed.amounts, strict=True):
            for planned in column.cuts:
                week = planned.week - self._shift
                if week < self.farm.weeks.near_weeks.stop and amount > 1e-6:
                    name, strain = season.colonies[column.source].colony, season.colonies[column.source].strain
                    self._wanted[strain] += float(amount) * planned.pieces
                    if week >= 1 or cut.get(name, 0) < planned.week:
                        self._part[name, max(1, week)] += float(amount)
        for strain, pieces in (done or {}).items():
            self._wanted[strain] = max(0.0, self._wanted[strain] - pieces)
        self._favour(announced)

    def _favour(self, announced: Sequence[Announced]) -> None:
        """Announced cuts are favoured as in the near week that the relaxation likes best."""
        near = self.farm.weeks.near_weeks
        best = {(a.colony, a.week): max(self._part.get((a.colony, week), 0.0) for week in near) for a in announced}
        self._part.update(best)

    def _ways(self, share: float) -> Floats:
        """Worth of a piece by track where markets cost so much of their price."""
        if share == 1.0:
            return self.relaxed.prices.ways.worth
        costs = np.array([share if row.kind in LIST_PRICE else 1.0 for row in self.season.capacity.rows])
        return self.season.tracks.ways(self.relaxed.prices.rows * costs).worth

    def piece(self, strain: str, week: int, zone_id: str, *, discount: bool = False) -> float:
        """Net worth of a fresh piece mounted in a week in a light zone; ``discount``: beyond what is wanted."""
        tracks = self.season.tracks
        pair = tracks.pair_of.get((strain, tracks.class_of[zone_id]))
        if pair is None:
            return 0.0
        worth = float((self._beyond if discount else self._listed)[tracks.track(pair, week + self._shift)])
        return worth - self._each(strain, week + self._shift) if np.isfinite(worth) else 0.0

    def _each(self, strain: str, week: int) -> float:
        _, who = self.season.strains[strain]
        return self.season.cut_use(int(who[0]), week)[1]

    def waiting(self, colony: Colony, week: int, pieces: int) -> float:
        """Money a cut now takes from the rest of the season, less what it is favoured by; may be negative."""
        favour = ADHERENCE * self._part.get((colony.colony, week), 0.0) * pieces * self._mean_piece(colony, week)
        return self.lost(colony, week, pieces) - favour

    def lost(self, colony: Colony, week: int, pieces: int) -> float:
        """What the best programme from the week after the near ones loses by a cut of so many pieces now."""
        season, farm, shift = self.season, self.farm, self._shift
        programmes, who = season.strains[colony.strain]
        local = next(k for k, i in enumerate(who) if season.colonies[i].colony == colony.colony)
        table, last = self.relaxed.prices.tables[colony.strain][0], season.farm.weeks.count - shift
        traits = farm.traits(colony.strain)
        sizes = curve(traits)
        begin = min(last + 1, max(farm.weeks.near_weeks.stop, rested_from(farm, colony)))
        stay = table[begin + shift, local, programmes.index(uncut_level(farm, colony, begin))]
        again = min(last + 1, week + traits.rest_weeks)
        landed = after_cut(sizes, uncut_level(farm, colony, week), pieces) + max(0, again - week - traits.pause_weeks)
        return float(stay - table[again + shift, local, programmes.index(min(landed, len(sizes) - 1))])

    def _mean_piece(self, colony: Colony, week: int) -> float:
        tracks, at = self.season.tracks, week + self._shift
        pairs = [
            p for k, p in enumerate(tracks.pairs_of[colony.strain]) if tracks.admits[colony.colony][at - self.season.first, k]
        ]
        values = [float(self._listed[tracks.track(p, at)]) for p in pairs]
        return max((v for v in values if np.isfinite(v)), default=0.0)

    def colony_cost(self, colony: Colony) -> float:
        """Cost of cutting a colony at all."""
        return self.season.cut_use(self.season.place[colony.colony], self.season.first)[0]

    def list_room(self, strain: str, week: int) -> int:  # noqa: ARG002 - one figure for all near weeks
        """Pieces the season still wants of a strain by the end of the near weeks, rounded up."""
        return math.ceil(self._wanted[strain] - 1e-6)
