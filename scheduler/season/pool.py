"""What each colony may be given: programmes near the relaxation's, and for their frags the ways out worth a thought."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from functools import cached_property

import numpy as np

from scheduler.season.block import Unit
from scheduler.season.columns import Column, Season
from scheduler.season.relaxation import Relaxed
from scheduler.season.ways_out import Way, WaysOut

Pattern = tuple[tuple[tuple[int, int, int], ...], int]
"""Cuts (week, pieces, track) of a colony, and its end level."""

MOST_PATTERNS = 9
"""Programmes of one colony offered to its block, besides not cutting and those the relaxation mixes."""

TOP_WAYS = 2
"""Weeks of leaving offered to the frags of a cut besides those the relaxation used."""

NOISE = 0.12
"""Spread of the worth of pieces with which further programmes are drawn for variety."""


class ProgrammePool:
    """Programmes by colony (``patterns``) and ways out by track (``ways``), in the order they were met."""

    def __init__(self, season: Season, relaxed: Relaxed, seed: int) -> None:
        self.season, self.relaxed = season, relaxed
        self.ways_out = WaysOut(season.tracks)
        self.noise = np.random.default_rng(seed)
        self.count = len(season.colonies)
        self.patterns: dict[int, dict[Pattern, None]] = defaultdict(dict)
        self.ways: dict[int, dict[Way, None]] = defaultdict(dict)
        self._uses: dict[tuple[int, Way], Mapping[int, float]] = {}
        self._units: dict[tuple[int, Way], Unit] = {}
        self._cutting: dict[tuple[int, Pattern], Mapping[int, float]] = {}
        self._cut_units: dict[tuple[int, Pattern], Unit] = {}
        self._collect()
        self._vary()
        self._keep_best()
        self._widen()

    def _collect(self) -> None:
        """Programmes and ways the relaxation met."""
        for column in self.relaxed.columns:
            if column.source < self.count:
                self._know(column.source, column)
            else:
                track = self.season.tracks.lot_from + column.source - self.count
                self.ways[track][column.leaves, column.outlet] = None

    def _know(self, i: int, column: Column) -> None:
        self.patterns[i][tuple((c.week, c.pieces, c.track) for c in column.cuts), column.end_level] = None
        for c in column.cuts:
            self.ways[c.track][c.leaves, c.outlet] = None

    def _vary(self, draws: int = 4) -> None:
        """Further programmes: the best ones if pieces of some weeks were worth a little more or less."""
        season, prices = self.season, self.relaxed.prices
        for strain, (programmes, who) in season.strains.items():
            names = [season.colonies[i].colony for i in who]
            piece = np.array([prices.piece[name] for name in names])
            cost = np.zeros_like(piece)
            for local, i in enumerate(who):
                for week in np.flatnonzero(programmes.may_cut[local]):
                    cost[local, week] = season.cut_use(int(i), int(week))[0]
            end = season.end_worth(strain, prices.rows)
            for _ in range(draws):
                shaken = piece * (1 + NOISE * self.noise.standard_normal(piece.shape))
                _, choice = programmes.solve(shaken, cost, end)
                for local, i in enumerate(who):
                    self._know(int(i), season.column(int(i), programmes.follow(choice, local), prices))

    def _keep_best(self) -> None:
        """The MOST_PATTERNS best programmes of each colony at the prices, and those the relaxation mixes."""
        prices = self.relaxed.prices
        used = {
            (c.source, (tuple((x.week, x.pieces, x.track) for x in c.cuts), c.end_level))
            for c, amount in zip(self.relaxed.columns, self.relaxed.amounts, strict=True)
            if c.source < self.count and amount > 1e-6
        }
        for i, patterns in self.patterns.items():

            def net(pattern: Pattern, i: int = i) -> float:
                worth = self.pattern_worth(i, pattern) - sum(a * prices.rows[r] for r, a in self.pattern_use(i, pattern).items())
                return float(worth + sum(n * float(prices.ways.worth[track]) for _, n, track in pattern[0]))

            ranked = sorted(patterns, key=lambda p: -net(p))
            none = [p for p in patterns if not p[0]]
            kept = [*none, *(p for p in patterns if (i, p) in used), *ranked[:MOST_PATTERNS]]
            self.patterns[i] = dict.fromkeys(kept)

    def _widen(self) -> None:
        """For every track in use the best weeks to leave, with every outlet of those weeks, and staying."""
        used = sorted(
            {t for p in self.patterns.values() for cuts, _ in p for _, _, t in cuts}
            | {self.season.tracks.lot_from + j for j in range(len(self.season.lots))}
        )
        for track in used:
            self.ways[track].update(dict.fromkeys(self._usual(track)))

    def learn(self, patterns: Mapping[int, Pattern], leaving: Iterable[tuple[int, Way]], orders: Collection[str]) -> None:
        """Programmes and ways out of a plan that came about otherwise, and every week that could fill one of some orders."""
        for i, pattern in patterns.items():
            self.patterns[i][pattern] = None
        for track, way in leaving:
            self.ways[track][way] = None
        used = {t for some in self.patterns.values() for cuts, _ in some for _, _, t in cuts}
        used |= {self.season.tracks.lot_from + j for j in range(len(self.season.lots))}
        self._meet(used)
        for track in used:
            self.ways[track].update(dict.fromkeys(self.ways_out.for_orders(track, orders)))

    def add(self, i: int, pattern: Pattern, leaving: Iterable[tuple[int, Way]]) -> None:
        """A further programme of colony ``i``, with ways out of its cuts."""
        self.patterns[i][pattern] = None
        self._meet(t for _, _, t in pattern[0])
        for track, way in leaving:
            self.ways[track][way] = None

    def _meet(self, tracks: Iterable[int]) -> None:
        """Offer the usual ways out of tracks nobody has used so far."""
        for track in tracks:
            if track not in self.ways:
                self.ways[track] = dict.fromkeys(self._usual(track))

    @cached_property
    def _usual(self) -> Callable[[int], list[Way]]:
        """The ways out of a track that are always offered."""
        return self.ways_out.best(self.relaxed.prices.rows, TOP_WAYS)

    def way_use(self, track: int, way: Way) -> Mapping[int, float]:
        """Rows a piece uses on a way, remembered."""
        if (track, way) not in self._uses:
            self._uses[track, way] = self.season.tracks.uses(track, *way)
        return self._uses[track, way]

    def way_unit(self, track: int, way: Way) -> Unit:
        """A piece on a way, as blocks count it."""
        if (track, way) not in self._units:
            self._units[track, way] = Unit.of(self.season.tracks.worth(track, *way), self.way_use(track, way))
        return self._units[track, way]

    def pattern_unit(self, i: int, pattern: Pattern) -> Unit:
        """A colony's programme, as blocks count it."""
        if (i, pattern) not in self._cut_units:
            self._cut_units[i, pattern] = Unit.of(self.pattern_worth(i, pattern), self.pattern_use(i, pattern))
        return self._cut_units[i, pattern]

    def pattern_worth(self, i: int, pattern: Pattern) -> float:
        """Costs of the cuts and the end size at what it brings beyond the coming market."""
        worth = 0.0
        for week, pieces, _ in pattern[0]:
            once, each, _ = self.season.cut_use(i, week)
            worth -= once + each * pieces
        return worth + self.spare(i, pattern) * self.season.spare_worth(i)[2]

    def spare(self, i: int, pattern: Pattern) -> float:
        """Pieces of a colony beyond what it keeps, at the horizon."""
        programmes, _ = self.season.strains[self.season.colonies[i].strain]
        return float(programmes.spare[programmes.index(pattern[1])])

    def pattern_use(self, i: int, pattern: Pattern) -> Mapping[int, float]:
        """Shared rows a programme's cuts use, its frags' stay and sale left out, remembered."""
        if (i, pattern) not in self._cutting:
            uses: dict[int, float] = defaultdict(float)
            for week, pieces, track in pattern[0]:
                for row, amount in self.season.cutting_rows(i, week, pieces, track):
                    uses[row] += amount
            self._cutting[i, pattern] = uses
        return self._cutting[i, pattern]
