"""What is at stake with a colony in a near week: a cut now against the best programme without one, at the season's prices.

Prices can be left out by kind, to see which of the things shared stands against a cut.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.growth import uncut_level
from scheduler.farm.coral import Colony
from scheduler.season.capacity import LIST_PRICE, RowKind
from scheduler.season.columns import Season
from scheduler.season.relaxation import Relaxed
from scheduler.season.tracks import Ways

Floats = NDArray[np.float64]

Shared = Literal["market", "places", "hands", "packing", "new frags"]
"""Kinds of things shared whose prices can be left out."""

ROWS: dict[Shared, tuple[RowKind, ...]] = {
    "market": (*LIST_PRICE, "order"),
    "places": ("positions", "system"),
    "hands": ("bench",),
    "packing": ("outside", "overtime", "boxes"),
    "new frags": ("fresh",),
}

ALL: frozenset[Shared] = frozenset(ROWS)


@dataclass(frozen=True)
class Stake:
    """A cut of ``pieces`` now: what it brings net of work, and what the later cuts it takes would have brought. Money."""

    pieces: int
    brings: float
    later: float

    @property
    def ahead(self) -> float:
        """What a cut now brings beyond waiting; negative where waiting is better."""
        return self.brings - self.later


class Stakes:
    """Stakes of one season at the prices of its relaxation."""

    def __init__(self, season: Season, relaxed: Relaxed) -> None:
        self.season, self.relaxed = season, relaxed
        self.farm = season.farm
        self._at = lru_cache(maxsize=None)(self._priced)
        self._local = {season.colonies[int(i)].colony: k for _, who in season.strains.values() for k, i in enumerate(who)}

    def _priced(self, free: frozenset[Shared]) -> tuple[Floats, Ways]:
        """Row prices and ways out with some kinds of rows free of charge."""
        gone = {kind for what in free for kind in ROWS[what]}
        kept = np.array([row.kind not in gone for row in self.season.capacity.rows], dtype=np.bool_)
        rows = np.where(kept, self.relaxed.prices.rows, 0.0)
        return rows, self.season.tracks.ways(rows)

    def piece(self, colony: Colony, week: int, *, free: Collection[Shared] = (), zone: str | None = None) -> float:
        """Worth of a piece cut in a week, net of work; ``-inf`` where no light class takes it. ``zone``: of its class only."""
        rows, ways = self._at(frozenset(free))
        season, tracks = self.season, self.season.tracks
        _, each, uses = season.cut_use(season.place[colony.colony], week)
        best = -np.inf
        for k, pair in enumerate(tracks.pairs_of[colony.strain]):
            where = tracks.pairs[pair][1]
            admitted = bool(tracks.admits[colony.colony][week - season.first, k])
            if admitted if zone is None else where == tracks.class_of[zone]:
                row = season.capacity.find("fresh", tracks.classes[where].system, week)
                best = max(best, float(ways.worth[tracks.track(pair, week)]) - (rows[row] if row is not None else 0.0))
        return float(best - each - sum(b * rows[r] for r, _, b in uses))

    def of_cut(self, colony: Colony, week: int, pieces: int, zone: str, *, free: Collection[Shared] = ()) -> Stake:
        """The stake of a cut that is made."""
        value = self.piece(colony, week, free=free, zone=zone)
        if not np.isfinite(value):  # a lot put where the season has no track for it: what it brings elsewhere tells most
            value = max(0.0, self.piece(colony, week, free=free))
        later = self._later(colony, week)
        landing = min(np.flatnonzero(self._most(colony, week) >= pieces), key=lambda to: later[to], default=0)
        return Stake(pieces, float(pieces * value - self._once(colony, week, free)), float(later[landing]))

    def best(self, colony: Colony, week: int, *, free: Collection[Shared] = ()) -> Stake | None:
        """The best lawful cut of a week by what it is ahead of waiting; ``None`` if there is none in any light class."""
        value = self.piece(colony, week, free=free)
        most = self._most(colony, week)
        if not np.isfinite(value) or not most.any():
            return None
        brings = most * value - self._once(colony, week, free)
        later = self._later(colony, week)
        ahead = np.where(most > 0, brings - later, -np.inf)
        to = int(np.argmax(ahead))
        return Stake(int(most[to]), float(brings[to]), float(later[to]))

    def _once(self, colony: Colony, week: int, free: Collection[Shared]) -> float:
        rows, _ = self._at(frozenset(free))
        once, _, uses = self.season.cut_use(self.season.place[colony.colony], week)
        return float(once + sum(a * rows[r] for r, a, _ in uses))

    def _most(self, colony: Colony, week: int) -> NDArray[np.int64]:
        """Most pieces of a cut in a week by the level it lands at."""
        programmes, _ = self.season.strains[colony.strain]
        most: NDArray[np.int64] = programmes.pieces[programmes.index(uncut_level(self.farm, colony, week))]
        return most

    def _later(self, colony: Colony, week: int) -> Floats:
        """What the later cuts lose by a cut in a week, by the level it lands at."""
        season, last = self.season, self.farm.weeks.count
        programmes, _ = season.strains[colony.strain]
        table, k = self.relaxed.prices.tables[colony.strain][0], self._local[colony.colony]
        begin = min(last + 1, max(self.farm.weeks.near_weeks.stop, season.starts[colony.colony].week))
        stay = table[begin, k, programmes.index(uncut_level(self.farm, colony, begin))]
        again = min(last + 1, week + programmes.rest)
        levels = np.arange(len(programmes.sizes))
        landed = np.minimum(levels + max(0, again - week - programmes.pause), len(levels) - 1)
        return np.asarray(stay - table[again, k, landed], dtype=np.float64)
