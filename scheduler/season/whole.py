"""Whole cuts for the whole season: every colony gets one of its programmes, strain by strain, against what the others leave.

The relaxation mixes programmes; here each colony follows one. Strains are taken a few at a time: first each block while
the others keep their part of the relaxation (relax and fix), then again and again while the others keep their whole
programmes (fix and optimise). Sales stay divisible here; they are made whole when the cuts are entered in the ledger.
"""

from __future__ import annotations

import math
import threading
import time
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from random import Random

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from scheduler.farm.units import cents
from scheduler.season.relaxation import Column, Relaxed, Season
from scheduler.solving import Limits, Progress, solve

Floats = NDArray[np.float64]

Pattern = tuple[tuple[tuple[int, int, int], ...], int]
"""Cuts (week, pieces, track) of a colony, and its end level."""

Way = tuple[int, int]
"""Week in which a piece leaves (horizon + 1: stays), and outlet."""

BLOCK_COLONIES = 5
"""About as many colonies are decided together."""

MOST_PATTERNS = 9
"""Programmes of one colony offered to its block, besides not cutting and those the relaxation mixes."""

TOP_WAYS = 2
"""Weeks of leaving offered to the frags of a cut besides those the relaxation used."""

NOISE = 0.12
"""Spread of the worth of pieces with which further programmes are drawn for variety."""

TOGETHER = 2
"""Blocks solved at the same time, in threads; a fixed number, so that plans repeat on any machine."""

WORK = 0.25
"""Solver work for one block; the gap usually ends it sooner."""

TIGHT = 0.7
"""Shared rows used beyond this share in the relaxation are built into blocks; the others are watched."""

GAP = 0.005
"""A block within this share of its bound is good enough."""

SCALE = 1000
"""Shared rows are counted in thousandths of a position, minute, box or frag."""

FINES = (1.5, 4.0, 12.0)
"""What overrunning a limit costs in the first, the following and the last pass, as multiples of its price."""

FINE_AT_LEAST = 0.15
"""Money a unit of a limit without a price is taken to be worth when it is overrun."""

_SOFT = ("positions", "system", "bench", "outside", "overtime", "fresh", "boxes")

MOST_OVER = 10_000
TENTHS = 10
MOST_OVERTIME = 100_000
SAFETY_SECONDS = 60.0


@dataclass(frozen=True)
class Chosen:
    """Programme of every colony, and how pieces leave: (track, week, outlet) -> pieces (fresh tracks per cut together)."""

    patterns: Mapping[int, Pattern]
    leaving: Mapping[tuple[int, Way], float]
    value: float


def as_relaxed(season: Season, relaxed: Relaxed) -> Chosen:
    """The relaxation itself as wishes: lots leave as it mixes them, and nobody's programme is fixed.

    Pieces it gives to an order that refuses parts stay: such orders are filled last.
    """
    whole = {o.order for o in season.farm.orders if not o.partial_ok}
    leaving: dict[tuple[int, Way], float] = defaultdict(float)
    for column, amount in zip(relaxed.columns, relaxed.amounts, strict=True):
        if amount > 1e-9 and column.source >= len(season.colonies) and season.outlets.rows[column.outlet].order not in whole:
            leaving[season.tracks.lot_from + column.source - len(season.colonies), (column.leaves, column.outlet)] += float(
                amount
            )
    return Chosen({}, leaving, relaxed.value)


@dataclass
class _State:
    """What has been chosen so far, by strain (patterns by colony)."""

    use: dict[str, Floats]
    leaving: dict[str, dict[tuple[int, Way], float]]
    value: dict[str, float]
    patterns: dict[int, Pattern]


class WholeCuts:
    """Chooses one programme for every colony of a season."""

    def __init__(self, season: Season, relaxed: Relaxed, seed: int, *, stop: threading.Event | None = None) -> None:
        self.season, self.relaxed, self.stop = season, relaxed, stop
        self.seed, self.work = seed, WORK
        self.rng = Random(seed)
        self.noise = np.random.default_rng(seed)
        self.count = len(season.colonies)
        self.by_strain: dict[str, list[int]] = defaultdict(list)
        for i, colony in enumerate(season.colonies):
            self.by_strain[colony.strain].append(i)
        self.lots_of: dict[str, list[int]] = defaultdict(list)
        for j, lot in enumerate(season.lots):
            self.lots_of[lot.strain].append(j)
        self.strains = sorted({*self.by_strain, *self.lots_of})
        self.patterns: dict[int, dict[Pattern, None]] = defaultdict(dict)
        self.ways: dict[int, dict[Way, None]] = defaultdict(dict)
        self._uses: dict[tuple[int, Way], Mapping[int, float]] = {}
        self._tight: set[int] = set()
        self._collect()
        self._vary()
        self._keep_best()
        self._widen()

    # ---- what may be chosen ---------------------------------------------------------------------------------------

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
                worth = self._pattern_worth(i, pattern) - sum(
                    a * prices.rows[r] for r, a in self._pattern_use(i, pattern).items()
                )
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
        for track, found in self.season.tracks.choices(used, self.relaxed.prices.rows, TOP_WAYS).items():
            for way in found:
                self.ways[track][way] = None

    # ---- the search -----------------------------------------------------------------------------------------------

    def run(self, passes: int = 2, *, progress: Progress | None = None) -> Chosen:
        """Relax and fix once, then fix and optimise ``passes`` times over all strains in new blocks.

        What a block takes beyond what the others leave is fined, mildly at first and dearly at last, so that early blocks
        need not fit the fractions of the relaxation.
        """
        begun, season = time.monotonic(), self.season
        share = self._relaxed_use()
        total = sum(share.values(), np.zeros(len(season.capacity.rows)))
        self._tight = set(np.flatnonzero((self.relaxed.prices.rows > 1e-6) | (total > TIGHT * season.capacity.limits)).tolist())
        state = _State({}, {}, {}, {})
        order = sorted(self.strains, key=lambda s: -float(share[s] @ self.relaxed.prices.rows))
        for number in range(passes + 1):
            fines = self._fines(FINES[min(number, len(FINES) - 1)] if number < passes else FINES[-1])
            for pair in batched(self._blocks(order), TOGETHER):
                if self.stop is not None and self.stop.is_set() and len(state.value) == len(self.strains):
                    break
                for block, found in zip(pair, self._solve_all(pair, state, share, fines), strict=True):
                    if found is not None:
                        self._note(block, *found, state)
                used = sum((state.use.get(s, share[s]) for s in self.strains), np.zeros(len(season.capacity.rows)))
                self._tight |= set(np.flatnonzero(used > season.capacity.limits + 1e-6).tolist())
                if progress is not None and len(state.value) == len(self.strains):
                    best = sum(state.value.values()) + season.constant
                    progress(
                        "whole cuts", 100 * min(best, self.relaxed.bound), 100 * self.relaxed.bound, time.monotonic() - begun
                    )
            order = self.rng.sample(self.strains, len(self.strains))
        merged = {key: amount for part in state.leaving.values() for key, amount in part.items()}
        return Chosen(state.patterns, merged, sum(state.value.values()) + season.constant)

    def _solve_all(
        self, blocks: Sequence[Sequence[str]], state: _State, share: Mapping[str, Floats], fines: Floats
    ) -> list[tuple[dict[int, Pattern], dict[tuple[int, Way], float]] | None]:
        """Solve blocks at the same time, each against what all strains outside it use now."""
        jobs = []
        for block in blocks:
            others = sum(
                (state.use.get(s, share[s]) for s in self.strains if s not in block), np.zeros(len(self.season.capacity.rows))
            )
            jobs.append((block, self.season.capacity.limits - others))
        known = dict(state.patterns)
        with ThreadPoolExecutor(max_workers=TOGETHER) as pool:
            return list(pool.map(lambda job: self._solve(job[0], job[1], fines, known), jobs))

    def _fines(self, factor: float) -> Floats:
        """Money a unit beyond a limit costs: a multiple of its price; the markets and orders are never overrun."""
        fines = factor * (self.relaxed.prices.rows + FINE_AT_LEAST)
        soft = np.array([row.kind in _SOFT for row in self.season.capacity.rows])
        return np.where(soft, fines, np.inf)

    def at_prices(self) -> Chosen:
        """The best programme of every colony at the prices, without a search: quick, and as far as it fits."""
        season, prices = self.season, self.relaxed.prices
        _, makers = season.reduced(prices)
        patterns: dict[int, Pattern] = {}
        leaving: dict[tuple[int, Way], float] = defaultdict(float)
        value = season.constant
        for column, amount in zip((make() for make in makers), season.amounts, strict=True):
            value += column.worth * amount
            if column.source < self.count:
                patterns[column.source] = (tuple((c.week, c.pieces, c.track) for c in column.cuts), column.end_level)
                for c in column.cuts:
                    leaving[c.track, (c.leaves, c.outlet)] += c.pieces
            else:
                leaving[season.tracks.lot_from + column.source - self.count, (column.leaves, column.outlet)] += amount
        return Chosen(patterns, leaving, value)

    def _note(
        self, block: Sequence[str], chosen: Mapping[int, Pattern], out: Mapping[tuple[int, Way], float], state: _State
    ) -> None:
        """Divide a block's solution among its strains."""
        index = self.season.outlets.strain_index
        for s in block:
            mine = {i: p for i, p in chosen.items() if self.season.colonies[i].strain == s}
            part = {key: a for key, a in out.items() if self.season.tracks.strain[key[0]] == index[s]}
            state.use[s], state.leaving[s], state.value[s] = self._use([s], mine, part), part, self._worth([s], mine, part)
            state.patterns.update(mine)

    def _blocks(self, order: Sequence[str]) -> list[list[str]]:
        blocks: list[list[str]] = [[]]
        size = 0
        for strain in order:
            here = max(1, len(self.by_strain[strain]))
            if size and size + here > BLOCK_COLONIES:
                blocks.append([])
                size = 0
            blocks[-1].append(strain)
            size += here
        return [b for b in blocks if b]

    # ---- one block ------------------------------------------------------------------------------------------------

    def _solve(
        self, block: Sequence[str], limits: Floats, fines: Floats, known: Mapping[int, Pattern]
    ) -> tuple[dict[int, Pattern], dict[tuple[int, Way], float]] | None:
        season = self.season
        build = _Block(self._tight)
        who = [i for s in block for i in self.by_strain[s]]
        choices: list[tuple[cp_model.IntVar, int, Pattern]] = []
        most: dict[int, int] = defaultdict(int)
        for i in who:
            reach: dict[int, int] = {}
            for pattern in self.patterns[i]:
                var = build.add(self._pattern_worth(i, pattern), self._pattern_use(i, pattern), 1)
                if i in known:
                    build.model.add_hint(var, int(known[i] == pattern))
                build.collect(("colony", i), var)
                build.collect(("spare", i), math.floor(TENTHS * self._spare(i, pattern)) * var)
                choices.append((var, i, pattern))
                for _, pieces, track in pattern[0]:
                    build.collect(("track", track), pieces * var)
                    reach[track] = max(reach.get(track, 0), pieces)
            for track, pieces in reach.items():
                most[track] += pieces
        for j in (j for s in block for j in self.lots_of[s]):
            track = season.tracks.lot_from + j
            most[track] = season.lots[j].pieces
            build.collect(("track", track), most[track] * build.model.new_constant(1))
        routes: list[tuple[cp_model.IntVar, int, Way]] = []
        for track, pieces in most.items():
            mine = [build.add(season.tracks.worth(track, *way), self._way_use(track, way), pieces) for way in self.ways[track]]
            build.model.add(sum(mine) == build.total(("track", track)))
            routes += [(var, track, way) for var, way in zip(mine, self.ways[track], strict=True)]
        for i in who:
            build.model.add(build.total(("colony", i)) == 1)
        self._spare_market(build, who)
        for worth, uses in season.overtime_columns():
            build.add(worth, uses, MOST_OVERTIME)
        limit = Limits(deterministic=self.work, seconds=SAFETY_SECONDS, seed=self.seed, gap=GAP)
        found = solve(build.finish(limits, fines), limit, stage="whole cuts")
        if not found.outcome.found:
            return None
        chosen = {i: pattern for var, i, pattern in choices if found.value(var)}
        out = {(track, way): float(found.value(var)) for var, track, way in routes if found.value(var)}
        return chosen, out

    def _way_use(self, track: int, way: Way) -> Mapping[int, float]:
        """Rows a piece uses on a way, remembered."""
        if (track, way) not in self._uses:
            self._uses[track, way] = self.season.tracks.uses(track, *way)
        return self._uses[track, way]

    def _pattern_worth(self, i: int, pattern: Pattern) -> float:
        """Costs of the cuts and the end size at what it brings beyond the coming market."""
        worth = 0.0
        for week, pieces, _ in pattern[0]:
            once, each, _ = self.season.cut_use(i, week)
            worth -= once + each * pieces
        return worth + self._spare(i, pattern) * self.season.spare_worth(i)[2]

    def _spare(self, i: int, pattern: Pattern) -> float:
        programmes, _ = self.season.strains[self.season.colonies[i].strain]
        return float(programmes.spare[programmes.index(pattern[1])])

    def _pattern_use(self, i: int, pattern: Pattern) -> dict[int, float]:
        uses: dict[int, float] = defaultdict(float)
        for week, pieces, track in pattern[0]:
            for row, a, b in self.season.cut_use(i, week)[2]:
                uses[row] += a + b * pieces
            fresh = self.season.fresh_row(track, week)
            if fresh is not None:
                uses[fresh] += pieces
        return uses

    def _spare_market(self, build: _Block, who: Iterable[int]) -> None:
        """The part of a colony's end size that the coming market takes at list price, in tenths of a piece."""
        for i in who:
            alive, listed, beyond = self.season.spare_worth(i)
            row = self.season.capacity.find("end market", self.season.colonies[i].strain)
            if listed > beyond and row is not None:
                most = math.floor(TENTHS * max(self._spare(i, p) for p in self.patterns[i]))
                var = build.add((listed - beyond) / TENTHS, {row: alive / TENTHS}, most)
                build.model.add(var <= build.total(("spare", i)))

    # ---- accounts -------------------------------------------------------------------------------------------------

    def _relaxed_use(self) -> dict[str, Floats]:
        """What each strain uses of every row in the relaxation."""
        rows = len(self.season.capacity.rows)
        found = {s: np.zeros(rows) for s in self.strains}
        for column, amount in zip(self.relaxed.columns, self.relaxed.amounts, strict=True):
            if amount > 1e-9:
                source = column.source
                strain = (
                    self.season.colonies[source].strain if source < self.count else self.season.lots[source - self.count].strain
                )
                for row, use in column.uses.items():
                    found[strain][row] += amount * use
        return found

    def _use(self, block: Sequence[str], chosen: Mapping[int, Pattern], out: Mapping[tuple[int, Way], float]) -> Floats:
        use = np.zeros(len(self.season.capacity.rows))
        for i, pattern in chosen.items():
            for row, amount in self._pattern_use(i, pattern).items():
                use[row] += amount
        for (track, way), pieces in out.items():
            for row, amount in self._way_use(track, way).items():
                use[row] += pieces * amount
        for s in block:
            coming = self.season.capacity.find("end market", s)
            if coming is not None:
                wanted = [
                    (self._spare(i, p) * self.season.spare_worth(i)[0])
                    for i, p in chosen.items()
                    if self.season.colonies[i].strain == s
                ]
                use[coming] = min(self.season.capacity.limits[coming], use[coming] + sum(wanted))
        return use

    def _worth(self, block: Sequence[str], chosen: Mapping[int, Pattern], out: Mapping[tuple[int, Way], float]) -> float:
        worth = sum(self._pattern_worth(i, p) for i, p in chosen.items())
        worth += sum(pieces * self.season.tracks.worth(track, *way) for (track, way), pieces in out.items())
        for s in block:
            row = self.season.capacity.find("end market", s)
            if row is None:
                continue
            used = sum(pieces * self._way_use(track, way).get(row, 0.0) for (track, way), pieces in out.items())
            room = self.season.capacity.limits[row] - used
            mine = [i for i in chosen if self.season.colonies[i].strain == s]
            for i in sorted(mine, key=lambda i: self.season.spare_worth(i)[2] - self.season.spare_worth(i)[1]):
                alive, listed, beyond = self.season.spare_worth(i)
                if alive > 0:
                    fits = min(self._spare(i, chosen[i]), max(0.0, room) / alive)
                    room -= fits * alive
                    worth += fits * (listed - beyond)
        return worth


def batched(blocks: Sequence[Sequence[str]], size: int) -> list[Sequence[Sequence[str]]]:
    """Blocks in groups of ``size``."""
    return [blocks[i : i + size] for i in range(0, len(blocks), size)]


class _Block:
    """A block as a CP-SAT model: shared rows in thousandths (uses rounded up, limits down), money in cents.

    Only the rows in ``tight`` are built; the others are checked afterwards.
    """

    def __init__(self, tight: set[int]) -> None:
        self.model = cp_model.CpModel()
        self._tight = tight
        self._goal: list[cp_model.LinearExpr] = []
        self._shared: dict[int, list[tuple[int, cp_model.IntVar]]] = defaultdict(list)
        self._sums: dict[tuple[str, int], list[cp_model.LinearExpr]] = defaultdict(list)

    def add(self, worth: float, uses: Mapping[int, float], most: int) -> cp_model.IntVar:
        """A whole variable 0..most with its worth and use of shared rows per unit."""
        var = self.model.new_int_var(0, most, "")
        self._goal.append(cents(worth) * var)
        for row, amount in uses.items():
            if row in self._tight and amount:
                self._shared[row].append((math.ceil(amount * SCALE - 1e-6), var))
        return var

    def collect(self, key: tuple[str, int], term: cp_model.LinearExpr) -> None:
        """Add a term to a sum of the block's own."""
        self._sums[key].append(term)

    def total(self, key: tuple[str, int]) -> cp_model.LinearExpr:
        """The sum collected under a key."""
        return sum(self._sums[key], start=cp_model.LinearExpr.sum([]))

    def finish(self, limits: Floats, fines: Floats) -> cp_model.CpModel:
        """The model with its shared rows and objective; a row with a finite fine (money a unit) may be overrun at that cost."""
        for row, terms in self._shared.items():
            limit = math.floor(max(0.0, float(limits[row])) * SCALE + 1e-6)
            weights, variables = zip(*terms, strict=True)
            used = cp_model.LinearExpr.weighted_sum(variables, weights)
            if np.isfinite(fines[row]):
                over = self.model.new_int_var(0, MOST_OVER, "")
                self._goal.append(-cents(float(fines[row])) * over)
                self.model.add(used <= limit + SCALE * over)
            else:
                self.model.add(used <= limit)
        self.model.maximize(sum(self._goal))
        return self.model
