"""Whole cuts for the whole season: every colony gets one of its programmes, strain by strain, against what the others leave.

The relaxation mixes programmes; here each colony follows one. Strains are taken a few at a time: first each block while
the others keep their part of the relaxation, which is solved again for what blocks so far have left (relax and fix), and,
when that has been entered in the ledger, again and again within what the others leave, with programmes made to measure (fix
and optimise).
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from random import Random

import numpy as np
from numpy.typing import NDArray

from scheduler.season.chosen import Accounts, Choice, Chosen
from scheduler.season.columns import Season
from scheduler.season.fitting import Fitting
from scheduler.season.parted import Mixing
from scheduler.season.pool import ProgrammePool
from scheduler.season.relaxation import Mix, Relaxed, use_by_strain
from scheduler.season.strain_block import Decided, StrainBlock
from scheduler.solving import Progress

Floats = NDArray[np.float64]
Block = Sequence[str]

BLOCK_COLONIES = 5
"""About as many colonies are decided together."""

TOGETHER = 2
"""Blocks solved at the same time, in threads; a fixed number, so that plans repeat on any machine."""

GAP_FIRST, GAP = 0.01, 0.001
"""A block within this share of its bound is good enough: in the first pass, much of which is mended anyway, and in mending."""

WORK = 0.25
"""Solver work for one block; the gap usually ends it sooner. With a fifth of it many blocks end before their first good choice."""

WORK_STOPPED, GAP_STOPPED = 0.05, 0.03
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


class WholeCuts:
    """Chooses one programme for every colony of a season."""

    def __init__(self, season: Season, relaxed: Relaxed, seed: int, *, stop: threading.Event | None = None) -> None:
        """``relaxed``: prices, and programmes to choose from besides others that are near at these prices."""
        self.season, self.relaxed, self.stop = season, relaxed, stop
        self.seed = seed
        self.pool = ProgrammePool(season, relaxed, seed)
        self.accounts = Accounts(season, self.pool)
        self.fitting = Fitting(season)
        self._tight: set[int] = set()

    # ---- relax and fix --------------------------------------------------------------------------------------------

    def run(self, relaxation: Mixing, *, progress: Progress | None = None) -> Chosen:
        """Relax and fix: each block against the others' part of the relaxation or, once chosen, their whole programmes.

        What it takes beyond that is fined, since it need not fit the fractions of the relaxation.
        """
        begun, limits, strains = time.monotonic(), self.season.capacity.limits, self.accounts.strains
        choice, nothing = Choice(), np.zeros(len(limits))
        rest = self._rest(relaxation, strains, nothing)
        share = use_by_strain(self.season, rest.columns, rest.amounts)
        blocks = self._blocks(sorted(strains, key=lambda s: -float(share[s] @ rest.rows)))
        step = -(-len(blocks) // AGAIN)

        def ask(block: Block) -> Callable[[], Decided | None]:
            others = sum((choice.use.get(s, share[s]) for s in strains if s not in block), nothing)
            used = sum((choice.use.get(s, share[s]) for s in strains), nothing)
            self._tight |= set(np.flatnonzero((rest.rows > 1e-6) | (used > TIGHT * limits)).tolist())
            return self._model(block, limits - others, self._fines(rest), Decided(dict(choice.patterns), {}), gap=GAP_FIRST)

        for number, (block, found) in enumerate(self._in_turn(deque(blocks), ask), start=1):
            if found is not None:
                self.accounts.note(choice, block, found.patterns, found.leaving)
            self._told(progress, choice, begun)
            if number % step == 0 and (open_ := [s for s in strains if s not in choice.use]):
                rest = self._rest(relaxation, open_, self.accounts.used(choice))
                share = use_by_strain(self.season, rest.columns, rest.amounts)
        return self.accounts.chosen(choice)

    def _rest(self, relaxation: Mixing, strains: Sequence[str], taken: Floats) -> Mix:
        """What the relaxation would do with some strains in what the others, with their whole programmes, leave."""
        mine = np.array([s in strains for s in self.season.strain_of])
        return relaxation.mix(np.maximum(0.0, self.season.capacity.limits - taken), np.where(mine, self.season.amounts, 0.0))

    def _fines(self, rest: Mix) -> Floats:
        """Money a unit beyond a limit costs: a multiple of its price; the markets and orders are never overrun."""
        fines = FINE * (rest.rows + FINE_AT_LEAST)
        soft = np.array([row.kind in _SOFT for row in self.season.capacity.rows])
        return np.where(soft, fines, np.inf)

    # ---- fix and optimise -----------------------------------------------------------------------------------------

    def mend(self, entered: Chosen, passes: int, *, orders: Collection[str] = (), progress: Progress | None = None) -> Chosen:
        """Fix and optimise: all strains ``passes`` times in new blocks, from a plan as it was entered and strictly within the limits.

        ``orders``, which refuse parts, are decided too. No block ends worth less than it was, so neither does the whole. A block that
        takes what another, solved at the same time, has taken is tried again, and so is one that overruns a row not built so far.
        """
        begun, accounts = time.monotonic(), self.accounts
        self.pool.learn(entered.patterns, entered.leaving, orders)
        choice = Choice()
        accounts.note(choice, accounts.strains, entered.patterns, entered.leaving)
        limits = self._limits(choice, orders)
        rng, never = Random(self.seed), np.full(len(limits), np.inf)

        def ask(block: Block) -> Callable[[], Decided | None]:
            room = limits - accounts.used(choice, but=block)
            self._fit(block, choice, room, rng)
            known = Decided(dict(choice.patterns), choice.ways)
            return self._model(block, room, never, known, gap=GAP, whole_orders=True)

        for _ in range(passes):
            if self._stopped:
                break
            todo = deque(self._blocks(rng.sample(accounts.strains, len(accounts.strains))))
            most = 2 * len(todo)
            for block, found in self._in_turn(todo, ask):
                if self._stopped:
                    todo.clear()
                elif found is not None:
                    after = choice.copied()
                    accounts.note(after, block, found.patterns, found.leaving)
                    over = set(np.flatnonzero(accounts.used(after) > limits + 1e-6).tolist())
                    if sum(after.worth[s] - choice.worth[s] for s in block) > 0:
                        if not over:
                            choice = after
                        elif most > 0:
                            todo.append(block)
                    self._tight |= over
                most -= 1
                self._told(progress, choice, begun)
        return accounts.chosen(choice)

    def _limits(self, choice: Choice, orders: Collection[str]) -> Floats:
        """What may be used from now on: no more than now where that is beyond a limit. Rows that are nearly full are built from now on."""
        capacity, used = self.season.capacity, self.accounts.used(choice)
        limits = np.maximum(capacity.limits, used)
        for order in orders:
            row = capacity.find("order", order)
            if row is not None:
                limits[row] = max(limits[row], self.season.farm.order[order].quantity + FRAGS_OVER)
        self._tight |= set(np.flatnonzero(used > TIGHT * limits).tolist())
        self._tight |= {n for n, row in enumerate(capacity.rows) if row.kind in ("market", "market group", "order")}
        return limits

    def _fit(self, block: Block, choice: Choice, room: Floats, rng: Random) -> None:
        """Programmes made to measure for the colonies of a block, one after the other, beside its lots as they are sold now."""
        accounts, lots = self.accounts, self.season.tracks.lot_from
        for s in block:
            room = room - accounts.use(s, {}, {key: n for key, n in choice.leaving[s].items() if key[0] >= lots})
        who = [i for s in block for i in accounts.colonies_of[s]]
        for i in rng.sample(who, len(who)):
            room = np.maximum(0.0, room)
            found = self.fitting.programme(i, room)
            if found is not None:
                self.pool.add(i, found.pattern, found.leaving)
                room = room - accounts.use(self.season.colonies[i].strain, {i: found.pattern}, found.leaving)

    # ---- blocks ---------------------------------------------------------------------------------------------------

    def _in_turn(
        self, todo: deque[Block], ask: Callable[[Block], Callable[[], Decided | None]]
    ) -> Iterator[tuple[Block, Decided | None]]:  # fmt: skip
        """Solve blocks, ``TOGETHER`` at a time, and give what was found in their order.

        A block is asked for once the one ``TOGETHER`` before it has been taken note of; more may be added to ``todo``.
        """
        running: deque[tuple[Block, Future[Decided | None]]] = deque()
        with ThreadPoolExecutor(max_workers=TOGETHER) as threads:
            while todo or running:
                if todo and len(running) < TOGETHER:
                    block = todo.popleft()
                    running.append((block, threads.submit(ask(block))))
                else:
                    block, found = running.popleft()
                    yield block, found.result()

    def _model(
        self, block: Block, room: Floats, fines: Floats, known: Decided, *, gap: float, whole_orders: bool = False
    ) -> Callable[[], Decided | None]:  # fmt: skip
        """The model of a block within what all strains outside it leave, ready to be solved."""
        who = [i for s in block for i in self.accounts.colonies_of[s]]
        lots = [j for s in block for j in self.accounts.lots_of[s]]
        model = StrainBlock(self.season, self.pool, who, lots, self._tight, known, whole_orders=whole_orders)
        work, gap = (WORK_STOPPED, GAP_STOPPED) if self._stopped else (WORK, gap)
        return lambda: model.solve(room, fines, gap=gap, work=work, seed=self.seed)

    def _blocks(self, order: Sequence[str]) -> list[Block]:
        blocks: list[list[str]] = [[]]
        size = 0
        for strain in order:
            here = max(1, len(self.accounts.colonies_of[strain]))
            if size and size + here > BLOCK_COLONIES:
                blocks.append([])
                size = 0
            blocks[-1].append(strain)
            size += here
        return [b for b in blocks if b]

    @property
    def _stopped(self) -> bool:
        return self.stop is not None and self.stop.is_set()

    def _told(self, progress: Progress | None, choice: Choice, begun: float) -> None:
        if progress is not None and len(choice.worth) == len(self.accounts.strains):
            best = sum(choice.worth.values()) + self.season.constant
            progress("whole cuts", 100 * min(best, self.relaxed.bound), 100 * self.relaxed.bound, time.monotonic() - begun)
