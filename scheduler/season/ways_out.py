"""Ways out of single tracks: which weeks and outlets a piece may leave by.

A way is (week, outlet by number); week horizon + 1 is staying.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

import numpy as np

from scheduler.season.tracks import LEFT, LEFT_OLD, Floats, Tracks, times

Way = tuple[int, int]


class WaysOut:
    """Ways out of the tracks of a season."""

    def __init__(self, tracks: Tracks) -> None:
        self.tracks, self.outlets = tracks, tracks.outlets
        self._sold: dict[tuple[int, int, int], Sequence[int]] = {}

    def best(self, prices: Floats, weeks: int) -> Callable[[int], list[Way]]:
        """What tells of a track the ``weeks`` best weeks to leave at some prices, with every outlet of those weeks, and staying."""
        rent = self.tracks.rents(prices)
        sellable, _ = self.tracks.open_ways
        worth, _ = self.outlets.best(prices, self.tracks.sold)

        def of(n: int) -> list[Way]:
            strain = int(self.tracks.strain[n])
            value = np.max(times(self.tracks.alive[n][:, None], worth[strain], sellable[n]), axis=1) - rent[n]
            ranked = [int(w) for w in np.argsort(-value, kind="stable")[:weeks] if np.isfinite(value[w])]
            sold = [(w, o) for w in ranked for k in np.flatnonzero(sellable[n, w]).tolist() for o in self._outlets(strain, w, k)]
            return sold + self._others(n)

        return of

    def all(self, n: int) -> list[Way]:
        """All of a track, in the order of weeks and outlets."""
        sellable, _ = self.tracks.open_ways
        strain = int(self.tracks.strain[n])
        sold = [(w, o) for w, k in np.argwhere(sellable[n]).tolist() for o in self._outlets(strain, w, k)]
        return sorted({*sold, *self._others(n)})

    def for_orders(self, n: int, orders: Collection[str]) -> list[Way]:
        """Those in which a track's frags could go to one of some orders."""
        sellable, _ = self.tracks.open_ways
        strain, rows = int(self.tracks.strain[n]), self.outlets.rows
        return [
            (w, o) for w, k in np.argwhere(sellable[n]).tolist() for o in self.outlets.at(strain, w, k) if rows[o].order in orders
        ]

    def _outlets(self, strain: int, week: int, k: int) -> Sequence[int]:
        """Outlets of a strain that sell in a week as class k, those that only clear left out."""
        key = strain, week, k
        if key not in self._sold:
            self._sold[key] = [o for o in self.outlets.at(*key) if self.outlets.rows[o].kind in self.tracks.sold]
        return self._sold[key]

    def _others(self, n: int) -> list[Way]:
        """Being cleared as soon as nothing else is left, and staying."""
        tracks, rows, end = self.tracks, self.outlets.rows, self.tracks.last + 1
        strain = int(tracks.strain[n])
        found = []
        for w in np.flatnonzero(tracks.open_ways[1][n])[:1].tolist():
            largest = max(0, int((tracks.ready[n] <= w).sum()) - 1)
            found += [(w, o) for o in self.outlets.at(strain, w, largest) if rows[o].kind == "clear"]
        kinds = LEFT_OLD if tracks.left_old[n] else LEFT
        return found + [(end, o) for o in self.outlets.at(strain, end, int(tracks.left_class[n])) if rows[o].kind in kinds]
