"""Whole cuts for the whole season: every colony gets one of its programmes, strain by strain, against what the others leave.

The relaxation mixes programmes; here each colony follows one. Strains are taken a few at a time: first each block while
the others keep their part of the relaxation, which is solved again for what blocks so far have left (relax and fix), and,
when that has been entered in the ledger, again and again within what the others leave (fix and optimise).
"""

from __future__ import annotations

import threading
import time
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from random import Random

import numpy as np
from numpy.typing import NDArray

from scheduler.season.columns import Season
from scheduler.season.parted import Mixing
from scheduler.season.pool import Pattern, ProgrammePool, Way
from scheduler.season.relaxation import Mix, Relaxed, use_by_strain
from scheduler.season.strain_block import Decided, StrainBlock
from scheduler.solving import Progress

Floats = NDArray[np.float64]

BLOCK_COLONIES = 5
"""About as many colonies are decided together."""

TOGETHER = 2
"""Blocks solved at the same time, in threads; a fixed number, so that plans repeat on any machine."""

WORK = 0.25
"""Solver work for one block; the gap usually ends it sooner. With a fifth of it many blocks end before their first good choice."""

WORK_STOPPED = 0.02
"""The same once the user wants to stop: every colony still needs a programme."""

TIGHT = 0.7
"""Shared rows used beyond this share in the relaxation are built into blocks; the others are watched."""

FINE = 3.0
"""What overrunning a limit costs in the first pass, as a multiple of its price."""

AGAIN = 12
"""Most times the rest is relaxed again in the first pass."""

FINE_AT_LEAST = 0.15
"""Money a unit of a limit without a price is taken to be worth when it is overrun."""

FRAGS_OVER = 1.0
"""Frags an order that refuses parts may get beyond what it asks for, since pieces are whole."""

_SOFT = ("positions", "system", "bench", "outside", "overtime", "fresh", "boxes")


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

    def copy(self) -> _State:
        """A state that changes by itself."""
        return _State(dict(self.use), dict(self.leaving), dict(self.value), dict(self.patterns))


class WholeCuts:
    """Chooses one programme for every colony of a season."""

    def __init__(self, season: Season, relaxed: Relaxed, seed: int, *, stop: threading.Event | None = None) -> None:
        """``relaxed``: prices, and programmes to choose from besides others that are near at these prices."""
        self.season, self.relaxed, self.stop = season, relaxed, stop
        self.seed = seed
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

    def run(self, relaxation: Mixing, *, progress: Progress | None = None) -> Chosen:
        """Relax and fix: each block against the others' part of the relaxation or, once chosen, their whole programmes.

        What it takes beyond that is fined, since it need not fit the fractions of the relaxation.
        """
        begun, limits = time.monotonic(), self.season.capacity.limits
        state, nothing = _State({}, {}, {}, {}), np.zeros(len(limits))
        rest = self._rest(relaxation, self.strains, nothing)
        share = use_by_strain(self.season, rest.columns, rest.amounts)
        pairs = batched(self._blocks(sorted(self.strains, key=lambda s: -float(share[s] @ rest.rows))), TOGETHER)
        step = -(-len(pairs) // AGAIN)
        for number, pair in enumerate(pairs, start=1):
            used = sum((state.use.get(s, share[s]) for s in self.strains), nothing)
            self._tight |= set(np.flatnonzero((rest.rows > 1e-6) | (used > TIGHT * limits)).tolist())
            for block, found in zip(pair, self._solve_all(pair, state, share, self._fines(rest), limits), strict=True):
                if found is not None:
                    self._note(block, found, state)
            self._told(progress, state, begun)
            if number % step == 0 and (open_ := [s for s in self.strains if s not in state.use]):
                rest = self._rest(relaxation, open_, sum(state.use.values(), nothing))
                share = use_by_strain(self.season, rest.columns, rest.amounts)
        return self._chosen(state)

    def _rest(self, relaxation: Mixing, strains: Sequence[str], taken: Floats) -> Mix:
        """What the relaxation would do with some strains in what the others, with their whole programmes, leave."""
        mine = np.array([s in strains for s in self.season.strain_of])
        return relaxation.mix(np.maximum(0.0, self.season.capacity.limits - taken), np.where(mine, self.season.amounts, 0.0))

    def mend(self, entered: Chosen, passes: int, *, orders: Collection[str] = (), progress: Progress | None = None) -> Chosen:
        """Fix and optimise: all strains ``passes`` times in new blocks, from a plan as it was entered and strictly within the limits.

        ``orders``, which refuse parts, are decided too. No block ends worth less than it was, so neither does the whole.
        """
        begun = time.monotonic()
        self.pool.learn(entered.patterns, entered.leaving, orders)
        state = _State({}, {}, {}, {})
        self._note(self.strains, Decided(entered.patterns, entered.leaving), state)
        total = sum(state.use.values(), np.zeros(len(self.season.capacity.rows)))
        limits = np.maximum(self.season.capacity.limits, total)
        for order in orders:
            row = self.season.capacity.find("order", order)
            if row is not None:
                limits[row] = max(limits[row], self.season.farm.order[order].quantity + FRAGS_OVER)
        self._tight |= set(np.flatnonzero(total > TIGHT * limits).tolist())
        self._tight |= {n for n, row in enumerate(self.season.capacity.rows) if row.kind in ("market", "market group", "order")}
        never = np.full(len(limits), np.inf)
        rng = Random(self.seed)
        turns = [rng.sample(self.strains, len(self.strains)) for _ in range(passes)]
        for pair in (pair for turn in turns for pair in batched(self._blocks(turn), TOGETHER)):
            if self._stopped:
                break
            for block, found in zip(pair, self._solve_all(pair, state, {}, never, limits, orders=True), strict=True):
                before = sum(state.value[s] for s in block)
                after = state.copy()
                if found is not None:
                    self._note(block, found, after)
                used = sum(after.use.values(), np.zeros(len(limits)))
                if sum(after.value[s] for s in block) > before and (used <= limits + 1e-6).all():
                    state = after
            self._told(progress, state, begun)
        return self._chosen(state)

    @property
    def _stopped(self) -> bool:
        return self.stop is not None and self.stop.is_set()

    def _told(self, progress: Progress | None, state: _State, begun: float) -> None:
        if progress is not None and len(state.value) == len(self.strains):
            best = sum(state.value.values()) + self.season.constant
            progress("whole cuts", 100 * min(best, self.relaxed.bound), 100 * self.relaxed.bound, time.monotonic() - begun)

    def _chosen(self, state: _State) -> Chosen:
        merged = {key: amount for part in state.leaving.values() for key, amount in part.items()}
        return Chosen(state.patterns, merged, sum(state.value.values()) + self.season.constant)

    def _solve_all(
        self, blocks: Sequence[Sequence[str]], state: _State, share: Mapping[str, Floats], fines: Floats,
        limits: Floats, *, orders: bool = False,
    ) -> list[Decided | None]:  # fmt: skip
        """Solve blocks at the same time, each against what all strains outside it use now."""
        nothing = np.zeros(len(limits))
        jobs = []
        for block in blocks:
            others = sum((state.use[s] if s in state.use else share[s] for s in self.strains if s not in block), nothing)
            jobs.append((block, limits - others))
        patterns = dict(state.patterns)
        leaving = {key: n for part in state.leaving.values() for key, n in part.items()} if orders else {}
        known = Decided(patterns, leaving)

        def solve(job: tuple[Sequence[str], Floats]) -> Decided | None:
            block, room = job
            who = [i for s in block for i in self.by_strain[s]]
            lots = [j for s in block for j in self.lots_of[s]]
            model = StrainBlock(self.season, self.pool, who, lots, self._tight, known, whole_orders=orders)
            return model.solve(room, fines, work=WORK_STOPPED if self._stopped else WORK, seed=self.seed)

        with ThreadPoolExecutor(max_workers=TOGETHER) as threads:
            return list(threads.map(solve, jobs))

    def _fines(self, rest: Mix) -> Floats:
        """Money a unit beyond a limit costs: a multiple of its price; the markets and orders are never overrun."""
        fines = FINE * (rest.rows + FINE_AT_LEAST)
        soft = np.array([row.kind in _SOFT for row in self.season.capacity.rows])
        return np.where(soft, fines, np.inf)

    def _note(self, block: Sequence[str], found: Decided, state: _State) -> None:
        """Divide a block's solution among its strains."""
        chosen, out = found.patterns, found.leaving
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

    def use_of(self, chosen: Chosen) -> Floats:
        """What a choice uses of every row."""
        state = _State({}, {}, {}, {})
        self._note(self.strains, Decided(chosen.patterns, chosen.leaving), state)
        return sum(state.use.values(), np.zeros(len(self.season.capacity.rows)))

    # ---- accounts -------------------------------------------------------------------------------------------------

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
