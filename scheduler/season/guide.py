"""The season plan's wishes for every piece, handed to lots one after the other in whole pieces."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

from scheduler.season.chosen import Chosen
from scheduler.season.columns import Season
from scheduler.season.outlets import Outlet


@dataclass(frozen=True)
class Wish:
    """Whole pieces of a lot that should leave by an outlet (its week is horizon + 1 for those that stay)."""

    outlet: Outlet
    pieces: int


class Guide:
    """What is left of the season plan's wishes by track."""

    def __init__(self, season: Season, chosen: Chosen) -> None:
        self.season = season
        self._pool: dict[int, list[list[float]]] = defaultdict(list)
        for (track, (week, outlet)), pieces in sorted(chosen.leaving.items(), key=lambda x: (x[0][0], x[0][1])):
            self._pool[track].append([float(week), float(outlet), pieces])

    def lot(self, number: int) -> list[Wish]:
        """Wishes for a standing lot."""
        return self.take(self.season.tracks.lot_from + number, self.season.lots[number].pieces)

    def take(self, track: int, pieces: int) -> list[Wish]:
        """Wishes for so many pieces of a track, soonest first, made whole by rounding their running total: up for an order, which
        half a frag short is not filled.
        """
        found: list[Wish] = []
        total, given = 0.0, 0
        for entry in self._pool.get(track, []):
            amount = min(entry[2], pieces - total)
            if amount <= 1e-9:
                continue
            entry[2] -= amount
            total += amount
            outlet = self.season.outlets.rows[int(entry[1])]
            whole = min(pieces, round(total) if outlet.order is None else math.ceil(total - 1e-6)) - given
            if whole > 0:
                found.append(Wish(outlet, whole))
                given += whole
        return found
