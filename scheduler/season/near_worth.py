"""The season as the near weeks see it: what a piece brings, what a cut now takes from later weeks, how many are wanted.

Everything comes from the relaxation: a strain's pieces up to what it cuts in the near weeks sell in their market, those
beyond are worth the margin; a cut it makes, in whole or in part, is favoured.
"""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np

from scheduler.biology.growth import after_cut, curve, uncut_level
from scheduler.farm.coral import Colony
from scheduler.season.relaxation import Relaxed, Season

ADHERENCE = 0.25
"""A piece of a cut that the relaxation makes counts this share of its worth more: farm choice, no published source."""

_MARKETS = ("market", "market group", "end market")


class NearValuation:
    """Prices for the near-weeks model. Money as floats."""

    def __init__(self, season: Season, relaxed: Relaxed) -> None:
        self.season, self.relaxed = season, relaxed
        self.farm = season.farm
        open_market = relaxed.prices.rows.copy()
        for i, row in enumerate(season.capacity.rows):
            if row.kind in _MARKETS:
                open_market[i] = 0.0
        self._full = season.tracks.ways(open_market).worth
        self._margin = relaxed.prices.ways.worth
        self._part: dict[tuple[str, int], float] = defaultdict(float)
        self._target: dict[str, float] = defaultdict(float)
        for column, amount in zip(relaxed.columns, relaxed.amounts, strict=True):
            for cut in column.cuts:
                if cut.week in self.farm.weeks.near_weeks and amount > 1e-6:
                    colony = season.colonies[column.source]
                    self._part[colony.colony, cut.week] += float(amount)
                    self._target[colony.strain] += float(amount) * cut.pieces
        self._pair = {pair: n for n, pair in enumerate(season.tracks.pairs)}

    def piece(self, strain: str, week: int, zone_id: str, *, discount: bool = False) -> float:
        """Net worth of a fresh piece mounted in a week in a light zone; ``discount``: at the margin of a full market."""
        tracks = self.season.tracks
        pair = self._pair.get((strain, tracks.class_of[zone_id]))
        if pair is None:
            return 0.0
        worth = float((self._margin if discount else self._full)[tracks.track(pair, week)])
        return worth - self._each(strain, week) if np.isfinite(worth) else 0.0

    def _each(self, strain: str, week: int) -> float:
        _, who = self.season.strains[strain]
        return self.season.cut_use(int(who[0]), week)[1]

    def waiting(self, colony: Colony, week: int, pieces: int) -> float:
        """Money a cut now takes from the rest of the season, less what it is favoured by; may be negative."""
        favour = ADHERENCE * self._part.get((colony.colony, week), 0.0) * pieces * self._mean_piece(colony, week)
        return self.lost(colony, week, pieces) - favour

    def lost(self, colony: Colony, week: int, pieces: int) -> float:
        """What the best programme from the week after the near ones loses by a cut of so many pieces now."""
        season, last = self.season, self.farm.weeks.count
        programmes, who = season.strains[colony.strain]
        local = next(k for k, i in enumerate(who) if season.colonies[i].colony == colony.colony)
        table = self.relaxed.prices.tables[colony.strain][0]
        traits = self.farm.traits(colony.strain)
        sizes = curve(traits)
        begin = max(self.farm.weeks.near_weeks.stop, season.starts[colony.colony].week)
        stay = table[begin, local, programmes.index(uncut_level(self.farm, colony, begin))]
        again = min(last + 1, week + traits.rest_weeks)
        landed = after_cut(sizes, uncut_level(self.farm, colony, week), pieces) + max(0, again - week - traits.pause_weeks)
        return float(stay - table[again, local, programmes.index(min(landed, len(sizes) - 1))])

    def _mean_piece(self, colony: Colony, week: int) -> float:
        tracks = self.season.tracks
        pairs = [
            p for k, p in enumerate(tracks.pairs_of[colony.strain]) if tracks.admits[colony.colony][week - self.season.first, k]
        ]
        values = [float(self._full[tracks.track(p, week)]) for p in pairs]
        return max((v for v in values if np.isfinite(v)), default=0.0)

    def colony_cost(self, colony: Colony) -> float:
        """Cost of cutting a colony at all."""
        return self.season.cut_use(self.season.place[colony.colony], self.season.first)[0]

    def list_room(self, strain: str, week: int) -> int:  # noqa: ARG002 - one figure for all near weeks
        """Pieces the relaxation cuts of a strain in the near weeks, rounded up."""
        return math.ceil(self._target[strain] - 1e-6)
