"""The rest of a season as one mixed-integer programme: every colony's levels week by week, its cuts, and every piece's way.

It knows the same tracks, outlets and shared rows as the season's relaxation, but as a textbook would write it: a unit flow
through (week, level) for every colony, stock balances for the frags, one row for every shared limit. Cuts of a level are offered
in ``SIZES`` sizes from the fewest pieces to the most, which keeps the programme within reach of the solvers it is made for.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from scheduler.season.chosen import Chosen
from scheduler.season.columns import Season
from scheduler.season.programmes import NO_LIMIT
from scheduler.season.ways_out import WaysOut

Floats = NDArray[np.float64]
Key = tuple[Any, ...]

SIZES = 2
"""Sizes of a cut offered at every level: the fewest pieces and the most."""

FREE = 1e6


@dataclass(frozen=True)
class Programme:
    """Maximise ``worth @ x`` with ``low <= rows @ x <= high`` and ``0 <= x <= most``; ``whole`` marks whole variables.

    ``pieces`` marks those that count pieces: whole in life, and parts of pieces where a solver may round them later.
    """

    worth: Floats
    most: Floats
    whole: NDArray[np.bool_]
    pieces: NDArray[np.bool_]
    rows: sparse.csr_matrix
    low: Floats
    high: Floats


@dataclass
class _Draft:
    """A programme being written: columns by key, rows by key with their coefficients."""

    columns: dict[Key, int] = field(default_factory=dict)
    worth: list[float] = field(default_factory=list)
    most: list[float] = field(default_factory=list)
    kind: list[str] = field(default_factory=list)
    entries: dict[Key, dict[int, float]] = field(default_factory=lambda: defaultdict(lambda: defaultdict(float)))
    bounds: dict[Key, tuple[float, float]] = field(default_factory=dict)

    def column(self, key: Key, worth: float, most: float, kind: str) -> int:
        """A new column; ``kind``: ``whole``, ``pieces`` or ``part``."""
        self.columns[key] = len(self.worth)
        self.worth.append(worth)
        self.most.append(most)
        self.kind.append(kind)
        return self.columns[key]

    def put(self, row: Key, column: int, amount: float) -> None:
        """Add to a coefficient; a row not bounded otherwise is an equation with 0."""
        self.entries[row][column] += amount
        self.bounds.setdefault(row, (0.0, 0.0))

    def programme(self) -> Programme:
        """The programme written so far."""
        number = {key: n for n, key in enumerate(self.entries)}
        cells = [(number[key], j, a) for key, row in self.entries.items() for j, a in row.items() if a]
        i, j, a = zip(*cells, strict=True)
        low, high = zip(*(self.bounds[key] for key in self.entries), strict=True)
        kind = np.array(self.kind)
        return Programme(
            np.array(self.worth), np.array(self.most), kind == "whole", kind == "pieces",
            sparse.csr_matrix((a, (i, j)), shape=(len(number), len(self.worth))), np.array(low), np.array(high),
        )  # fmt: skip


class SingleModel:
    """The programme of a season, and the way back from its solution to cuts and ways of leaving."""

    def __init__(self, season: Season) -> None:
        self.season, self.draft = season, _Draft()
        self.last = season.farm.weeks.count
        self._supplied: set[int] = set()
        for strain, (_, who) in season.strains.items():
            for local, i in enumerate(who):
                self._colony(strain, local, int(i))
        for j, lot in enumerate(season.lots):
            track = season.tracks.lot_from + j
            fixed = self.draft.column(("lot", j), 0.0, lot.pieces, "pieces")
            self.draft.put(("lot", j), fixed, 1.0)
            self.draft.bounds["lot", j] = (lot.pieces, lot.pieces)
            self._supply(track, fixed)
        self._stock()
        for n, (worth, uses) in enumerate(season.overtime_columns()):
            self._use(self.draft.column(("overtime", n), worth, FREE, "part"), uses)
        self.programme = self.draft.programme()

    def _use(self, column: int, uses: Mapping[int, float], times: float = 1.0) -> None:
        for row, amount in uses.items():
            self.draft.put(("shared", row), column, amount * times)
            self.draft.bounds["shared", row] = (-np.inf, float(self.season.capacity.limits[row]))

    # ---- colonies -------------------------------------------------------------------------------------------------

    def _colony(self, strain: str, local: int, i: int) -> None:
        """A unit flow through (week, level): stay and grow, or cut, rest and grow."""
        draft, season = self.draft, self.season
        programmes, _ = season.strains[strain]
        start = season.starts[season.colonies[i].colony]
        begin = (start.week, programmes.index(start.level))
        source = draft.column(("start", i), 0.0, 1.0, "part")
        draft.put(("start", i), source, 1.0)
        draft.bounds["start", i] = (1.0, 1.0)
        draft.put(("node", i, *begin), source, 1.0)
        given: dict[int, list[tuple[int, int]]] = defaultdict(list)
        todo, seen, top = [begin], {begin}, len(programmes.sizes) - 1
        while todo:
            week, level = todo.pop()
            if week > self.last:
                continue
            for to, pieces in self._moves(programmes, local, week, level):
                if pieces:
                    again = min(week + programmes.rest, self.last + 1)
                    after = (again, min(to + max(0, again - week - programmes.pause), top))
                    arc = self._cut(i, week, level, pieces)
                    given[week].append((arc, pieces))
                else:
                    after = (week + 1, min(level + 1, top))
                    arc = draft.column(("stay", i, week, level), 0.0, 1.0, "part")
                draft.put(("node", i, week, level), arc, -1.0)
                draft.put(("node", i, *after), arc, 1.0)
                if after not in seen:
                    seen.add(after)
                    todo.append(after)
        self._places(strain, i, given)
        self._end(strain, i, [level for week, level in sorted(seen) if week > self.last])

    @staticmethod
    def _moves(programmes: Any, local: int, week: int, level: int) -> Iterator[tuple[int, int]]:
        """(level after, pieces) of the cuts offered at a level, and (-1, 0) for staying."""
        yield -1, 0
        if programmes.may_cut[local, week]:
            landings = np.flatnonzero(programmes.pieces[level])
            limit = programmes.at_most.get((local, week), NO_LIMIT)
            fits = [int(to) for to in landings if programmes.fewest[level, to] <= limit]
            for n in sorted({round(x) for x in np.linspace(0, len(fits) - 1, SIZES)}) if fits else ():
                yield fits[n], min(int(programmes.pieces[level, fits[n]]), limit)

    def _cut(self, i: int, week: int, level: int, pieces: int) -> int:
        once, each, minutes = self.season.cut_use(i, week)
        arc = self.draft.column(("cut", i, week, level, pieces), -once - each * pieces, 1.0, "whole")
        self._use(arc, {row: a + b * pieces for row, a, b in minutes})
        return arc

    def _places(self, strain: str, i: int, given: Mapping[int, list[tuple[int, int]]]) -> None:
        """Every cut settles as one lot in one light class."""
        draft, season = self.draft, self.season
        tracks, name = season.tracks, season.colonies[i].colony
        for week, arcs in given.items():
            most = max(n for _, n in arcs)
            for arc, pieces in arcs:
                draft.put(("settled", i, week), arc, 1.0)
                draft.put(("pieces", i, week), arc, pieces)
            for k in np.flatnonzero(tracks.admits[name][week - season.first]):
                track = tracks.track(tracks.pairs_of[strain][k], week)
                here = draft.column(("here", i, week, track), 0.0, 1.0, "whole")
                lot = draft.column(("settles", i, week, track), 0.0, most, "pieces")
                draft.put(("settled", i, week), here, -1.0)
                draft.put(("pieces", i, week), lot, -1.0)
                draft.put(("one place", i, week, track), lot, 1.0)
                draft.put(("one place", i, week, track), here, -most)
                draft.bounds["one place", i, week, track] = (-np.inf, 0.0)
                self._supply(track, lot)
                fresh = season.fresh_row(track, week)
                if fresh is not None:
                    self._use(lot, {fresh: 1.0})

    def _end(self, strain: str, i: int, levels: list[int]) -> None:
        """A colony's size at the horizon: within the coming market, or beyond it."""
        draft, season = self.draft, self.season
        programmes, _ = season.strains[strain]
        alive, listed, beyond = season.spare_worth(i)
        row = season.capacity.find("end market", strain)
        inside = draft.column(("inside", i), listed - beyond, FREE, "part") if row is not None and listed > beyond else None
        for level in levels:
            spare = float(programmes.spare[level])
            end = draft.column(("end", i, level), beyond * spare, 1.0, "part")
            draft.put(("node", i, self.last + 1, level), end, -1.0)
            if inside is not None:
                draft.put(("inside", i), end, -spare)
        if inside is not None and row is not None:
            draft.put(("inside", i), inside, 1.0)
            draft.bounds["inside", i] = (-np.inf, 0.0)
            self._use(inside, {row: alive})

    # ---- frags ----------------------------------------------------------------------------------------------------

    def _supply(self, track: int, column: int) -> None:
        self.draft.put(("stock", track, int(self.season.tracks.first[track])), column, -1.0)
        self._supplied.add(track)

    def _stock(self) -> None:
        """Stock after the sales of each week holds positions; what stays after the last week leaves as left over."""
        draft, season = self.draft, self.season
        tracks, outlets = season.tracks, season.outlets
        ways = WaysOut(tracks)
        for track in sorted(self._supplied):
            found = ways.all(track)
            first, place = int(tracks.first[track]), tracks.classes[int(tracks.light_class[track])]
            for week in range(first, self.last + 1):
                stock = draft.column(("stock", track, week), 0.0, FREE, "pieces")
                draft.put(("stock", track, week), stock, 1.0)
                draft.put(("stock", track, week + 1), stock, -1.0)
                rows = [season.capacity.find("positions", place.id, week), season.capacity.find("system", place.system, week)]
                self._use(stock, {r: float(tracks.hold[track, week]) for r in rows if r is not None})
            discounted = {(w, outlets.rows[o].size_class) for w, o in found if outlets.rows[o].kind == "discount"}
            for week, o in dict.fromkeys(found):
                row = outlets.rows[o]
                if row.kind == "clear" and (week, row.size_class) in discounted:
                    continue
                frags = tracks.frags(track, week)
                leaving = draft.column(("leaves", track, week, o), frags * row.worth, FREE, "pieces")
                draft.put(("stock", track, week), leaving, 1.0)
                self._use(leaving, dict(outlets.uses_of(o)), frags)

    # ---- back to a plan -------------------------------------------------------------------------------------------

    def chosen(self, x: Floats | None) -> Chosen:
        """Cuts and ways of leaving of a solution; nothing at all where there is none."""
        patterns: dict[int, Any] = {}
        leaving: dict[Any, float] = {}
        cuts: dict[int, list[tuple[int, int, int]]] = defaultdict(list)
        if x is None:
            return Chosen({}, {}, 0.0)
        place = {(k[1], k[2]): k[3] for k, j in self.draft.columns.items() if k[0] == "here" and x[j] > 0.5}
        for key, j in self.draft.columns.items():
            if key[0] == "cut" and x[j] > 0.5:
                _, i, week, _, pieces = key
                cuts[i].append((week, pieces, place[i, week]))
            elif key[0] == "leaves" and x[j] > 1e-6:
                _, track, week, outlet = key
                leaving[track, (week, outlet)] = float(x[j])
            elif key[0] == "end" and x[j] > 0.5:
                programmes, _ = self.season.strains[self.season.colonies[key[1]].strain]
                patterns[key[1]] = key[2] + programmes.low
        whole = {i: (tuple(sorted(cuts[i])), end) for i, end in patterns.items()}
        return Chosen(whole, leaving, float(self.programme.worth @ x) + self.season.constant)
