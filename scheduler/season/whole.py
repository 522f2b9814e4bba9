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

from scheduler.season.block import Block
from scheduler.season.pool import Pattern, ProgrammePool, Way
from scheduler.season.relaxation import Relaxed, Season
from scheduler.solving import Limits, Progress, solve

Floats = NDArray[np.float64]

BLOCK_COLONIES = 5
"""About as many colonies are decided together."""

TOGETHER = 2
"""Blocks solved at the same time, in threads; a fixed number, so that plans repeat on any machine."""

WORK = 0.25
"""Solver work for one block; the gap usually ends it sooner."""

TIGHT = 0.7
"""Shared rows used beyond this share in the relaxation are built into blocks; the others are watched."""

GAP = 0.005
"""A block within this share of its bound is good enough."""

FINES = (1.5, 4.0, 12.0)
"""What overrunning a limit costs in the first, the following and the last pass, as multiples of its price."""

FINE_AT_LEAST = 0.15
"""Money a unit of a limit without a price is taken to be worth when it is overrun."""

_SOFT = ("positions", "system", "bench", "outside", "overtime", "fresh", "boxes")

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
        self.count = len(season.colonies)
        self.by_strain: dict[str, list[int]] = defaultdict(list)
        for i, colony in enumerate(season.colonies):
            self.by_strain[colony.strain].append(i)
        self.lots_of: dict[str, list[int]] = defaultdict(list)
        for j, lot in enumerate(season.lots):
            self.lots_of[lot.strain].append(j)
        self.strains = sorted({*self.by_strain, *self.lots_of})
        self.pool = ProgrammePool(season, relaxed, seed)
        self._tight: set[int] = set()

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
        build = Block(self._tight)
        who = [i for s in block for i in self.by_strain[s]]
        choices: list[tuple[cp_model.IntVar, int, Pattern]] = []
        most: dict[int, int] = defaultdict(int)
        for i in who:
            reach: dict[int, int] = {}
            for pattern in self.pool.patterns[i]:
                var = build.add(self.pool.pattern_worth(i, pattern), self.pool.pattern_use(i, pattern), 1)
                if i in known:
                    build.model.add_hint(var, int(known[i] == pattern))
                build.collect(("colony", i), var)
                build.collect(("spare", i), math.floor(TENTHS * self.pool.spare(i, pattern)) * var)
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
            mine = [
                build.add(season.tracks.worth(track, *way), self.pool.way_use(track, way), pieces)
                for way in self.pool.ways[track]
            ]
            build.model.add(sum(mine) == build.total(("track", track)))
            routes += [(var, track, way) for var, way in zip(mine, self.pool.ways[track], strict=True)]
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

    def _spare_market(self, build: Block, who: Iterable[int]) -> None:
        """The part of a colony's end size that the coming market takes at list price, in tenths of a piece."""
        for i in who:
            alive, listed, beyond = self.season.spare_worth(i)
            row = self.season.capacity.find("end market", self.season.colonies[i].strain)
            if listed > beyond and row is not None:
                most = math.floor(TENTHS * max(self.pool.spare(i, p) for p in self.pool.patterns[i]))
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
            for row, amount in self.pool.pattern_use(i, pattern).items():
                use[row] += amount
        for (track, way), pieces in out.items():
            for row, amount in self.pool.way_use(track, way).items():
                use[row] += pieces * amount
        for s in block:
            coming = self.season.capacity.find("end market", s)
            if coming is not None:
                wanted = [
                    (self.pool.spare(i, p) * self.season.spare_worth(i)[0])
                    for i, p in chosen.items()
                    if self.season.colonies[i].strain == s
                ]
                use[coming] = min(self.season.capacity.limits[coming], use[coming] + sum(wanted))
        return use

    def _worth(self, block: Sequence[str], chosen: Mapping[int, Pattern], out: Mapping[tuple[int, Way], float]) -> float:
        worth = sum(self.pool.pattern_worth(i, p) for i, p in chosen.items())
        worth += sum(pieces * self.season.tracks.worth(track, *way) for (track, way), pieces in out.items())
        for s in block:
            row = self.season.capacity.find("end market", s)
            if row is None:
                continue
            used = sum(pieces * self.pool.way_use(track, way).get(row, 0.0) for (track, way), pieces in out.items())
            room = self.season.capacity.limits[row] - used
            mine = [i for i in chosen if self.season.colonies[i].strain == s]
            for i in sorted(mine, key=lambda i: self.season.spare_worth(i)[2] - self.season.spare_worth(i)[1]):
                alive, listed, beyond = self.season.spare_worth(i)
                if alive > 0:
                    fits = min(self.pool.spare(i, chosen[i]), max(0.0, room) / alive)
                    room -= fits * alive
                    worth += fits * (listed - beyond)
        return worth


def batched(blocks: Sequence[Sequence[str]], size: int) -> list[Sequence[Sequence[str]]]:
    """Blocks in groups of ``size``."""
    return [blocks[i : i + size] for i in range(0, len(blocks), size)]
