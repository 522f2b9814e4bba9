"""Programmes made to measure: the best cuts of one colony within what all others leave.

The programmes of a relaxation fit as fractions, and seldom whole. Here what is left of every limit is known, so that a cut is
worth what just so many pieces bring: as many as find a place, for as long as it stays free, and as markets and orders still
take. An exact dynamic programme over (week, level) chooses the cuts by that. Each cut is looked at as if it were the only
one: two cuts of a colony may count on the same place or customer, which whoever decides about them has to settle.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scheduler.season.columns import Season
from scheduler.season.outlets import Outlet
from scheduler.season.pool import Pattern
from scheduler.season.programmes import NO_LIMIT, StrainProgrammes
from scheduler.season.ways_out import Way, WaysOut

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FORBIDDING = 1e9
"""Price of the coming market where it is full."""

SLACK = 1e-9


@dataclass(frozen=True)
class Exit:
    """A way out of a track: worth of a piece, and what it uses of shared rows beside positions."""

    worth: float
    way: Way
    uses: tuple[tuple[int, float], ...]


@dataclass(frozen=True)
class Left:
    """What is left: of every row, and of positions by light class and week (shape classes, horizon + 1)."""

    rows: Floats
    space: Floats


@dataclass(frozen=True)
class Fitted:
    """A programme of one colony, and pieces of its cuts by (track, way out)."""

    pattern: Pattern
    leaving: Mapping[tuple[int, Way], int]


class Fitting:
    """Fits programmes of a season's colonies, one at a time."""

    def __init__(self, season: Season) -> None:
        self.season = season
        self._every = WaysOut(season.tracks)
        self._alone: dict[int, StrainProgrammes] = {}
        self._exits: dict[int, tuple[Exit, ...]] = {}

    def programme(self, i: int, room: Floats) -> Fitted | None:
        """The best programme of colony ``i`` within what is left of every row (>= 0); ``None`` if it can never be cut."""
        season = self.season
        programmes = self._programmes(i)
        most = programmes.most_uncut(0)
        if not most.any():
            return None
        left, cuts = self.left(room), dict[tuple[int, int], tuple[int, list[Exit]]]()
        gain = np.full((1, season.farm.weeks.count + 2, int(most.max()) + 1), -np.inf)
        for week in np.flatnonzero(most).tolist():
            once, each, minutes = season.cut_use(i, week)
            hours = min((math.floor((room[r] - a) / b + SLACK) for r, a, b in minutes if b > 0), default=NO_LIMIT)
            for track in self._tracks(i, week):
                fresh = season.fresh_row(track, week)
                limit = min(int(most[week]), hours, math.floor(room[fresh] + SLACK) if fresh is not None else NO_LIMIT)
                exits = self.leaving(track, left, limit)
                total = -once
                for n, out in enumerate(exits, start=1):
                    total += out.worth - each
                    if total > gain[0, week, n]:
                        gain[0, week, n] = total
                        cuts[week, n] = track, exits
        _, choice = programmes.solve_by_size(gain, self._end(i, room))
        made = programmes.follow(choice, 0)
        leaving = Counter[tuple[int, Way]]()
        pattern = []
        for week, n in made.cuts:
            track, exits = cuts[week, n]
            pattern.append((week, n, track))
            leaving.update((track, out.way) for out in exits[:n])
        return Fitted((tuple(pattern), made.end_level), leaving)

    def _programmes(self, i: int) -> StrainProgrammes:
        """Programmes of colony ``i`` alone, remembered."""
        if i not in self._alone:
            programmes, who = self.season.strains[self.season.colonies[i].strain]
            self._alone[i] = programmes.of_one(int(np.flatnonzero(who == i)[0]))
        return self._alone[i]

    def _end(self, i: int, room: Floats) -> Floats:
        """Worth of a colony's size at the horizon by level, shape (1, levels): in the coming market if it has room."""
        row = self.season.capacity.find("end market", self.season.colonies[i].strain)
        each = self.season.spare_at(i, FORBIDDING if row is not None and room[row] < 1 else 0.0)
        worth: Floats = each * self._programmes(i).spare[None, :]
        return worth

    def _tracks(self, i: int, week: int) -> Iterator[int]:
        """Tracks a cut of a colony may settle on."""
        colony, tracks = self.season.colonies[i], self.season.tracks
        pairs = tracks.pairs_of[colony.strain]
        for k in np.flatnonzero(tracks.admits[colony.colony][week - self.season.first]):
            yield tracks.track(pairs[k], week)

    # ---- how frags leave ------------------------------------------------------------------------------------------

    def leaving(self, track: int, left: Left, most: int) -> list[Exit]:
        """How 1, 2, ... pieces leave a track, best first, as many of ``most`` as there is room for.

        Free positions by week are nested limits on what stays on, so that the greedy choice is the best for every number of pieces
        (they are the independent sets of a matroid), but for what a market is left with when pieces do not fill it evenly.
        """
        first, room = int(self.season.tracks.first[track]), left.rows
        space = left.space[int(self.season.tracks.light_class[track])]
        hold = np.maximum(self.season.tracks.hold[track, first : len(space)], SLACK)
        free = np.minimum(most, np.floor(space[first:] / hold + SLACK))
        if most < 1 or not len(free) or free[0] < 1:
            return []
        used, found = defaultdict[int, float](float), list[Exit]()
        for out in self._ways_out(track):
            n = float(most - len(found))
            stays = free[: out.way[0] - first]
            if len(stays):
                n = min(n, float(stays.min()))
            for row, amount in out.uses:
                n = min(n, math.floor((room[row] - used[row]) / amount + SLACK))
            if n < 1:
                continue
            stays -= n
            for row, amount in out.uses:
                used[row] += n * amount
            found += [out] * int(n)
            if len(found) == most:
                break
        return found

    def left(self, room: Floats) -> Left:
        """What is left of every row; positions are those of a light class that its system still has too."""
        return Left(room, np.append(room, np.inf)[self._space_rows].min(axis=2))

    @cached_property
    def _space_rows(self) -> Ints:
        """The rows of positions by light class and week, its own and its system's; one past the last row where there is none."""
        capacity = self.season.capacity
        table = np.full((len(capacity.classes), self.season.farm.weeks.count + 1, 2), len(capacity.rows))
        for (place, week), rows in self.season.tracks.space_rows.items():
            table[place, week, : len(rows)] = rows
        return table

    def _ways_out(self, track: int) -> tuple[Exit, ...]:
        """All ways out of a track that may be the best, most worth first."""
        if track not in self._exits:
            self._exits[track] = self._worthwhile(track)
        return self._exits[track]

    def _worthwhile(self, track: int) -> tuple[Exit, ...]:
        """Of ways that share a market, a later one only if it is worth more: the earlier frees its place sooner.

        Orders that refuse parts are not for one cut to fill.
        """
        tracks, best, found = self.season.tracks, dict[object, float](), list[Exit]()
        for week, number in self._every.all(track):
            market = self._customers[number]
            if market is None:
                continue
            worth = tracks.worth(track, week, number)
            if worth > best.get(market, -math.inf):
                best[market] = worth
                frags, uses = tracks.frags(track, week), self.season.outlets.uses_of(number)
                found.append(Exit(worth, (week, number), tuple((row, frags * a) for row, a in uses if frags * a > 0)))
        return tuple(sorted(found, key=lambda out: -out.worth))

    @cached_property
    def _customers(self) -> list[object]:
        """What every outlet has in common with others that sell to the same customers; ``None``: not for a single cut."""
        return [self._market(outlet) for outlet in self.season.outlets.rows]

    def _market(self, outlet: Outlet) -> object:
        if outlet.order is not None:
            return ("order", outlet.order) if self.season.farm.order[outlet.order].partial_ok else None
        if outlet.kind == "list":
            return "list", outlet.size_class, self.season.farm.weeks.month(outlet.week)
        return "beyond" if outlet.kind in ("discount", "clear") else outlet.kind
