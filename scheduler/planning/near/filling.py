"""Sessions filled up by the clock: what it leaves over gets further cuts, and cuts make way for others in turn.

Sessions are planned by the minutes of their work; the clock adds waiting, for dips, for those who cut and for lots that come
last, which no sum of minutes knows. So a session may be too long by a little, lose a cut, and end an hour early; and which cuts
go together in one session is seen only with its times.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from random import Random

from scheduler.bench.session import SessionSchedule
from scheduler.farm.farm import Farm
from scheduler.planning.bench_day import BenchResult
from scheduler.planning.near.places import Coming, tidy
from scheduler.planning.near.plan import NearPlan
from scheduler.week.floor import blocks_positions
from scheduler.week.model import ChosenCut

SLACK_MINUTES = 10.0
"""Sessions done so much before they have to are filled up: less is hardly enough to fetch and cut another colony."""

TRIES = 6
"""Cuts tried in one session."""

SMALLER = 2
"""How often a cut that makes its session late is tried with fewer pieces."""

ROUNDS = 5
"""Rounds for each session in which cuts make way for others."""

TOGETHER, MOST_OUT = 2, 6
"""Most sessions that change together in a round, and most cuts that make way."""

More = Callable[[NearPlan, Collection[str], Random | None], Sequence[ChosenCut]]
"""Further cuts in some sessions that keep every rule but the clock's beside those of near weeks, most worth first; with chance, in
an order that chance shakes."""


@dataclass(frozen=True)
class Filling:
    """``more``: further cuts; ``late``: minutes a session of near weeks is late, by a short look; ``clocked``: the bench day of near
    weeks, from another; ``allowed``: whether what else near weeks have to keep is kept; ``worth``: of near weeks; ``over``: whether
    to end.
    """

    farm: Farm
    more: More
    late: Callable[[NearPlan, str], float]
    clocked: Callable[[NearPlan, BenchResult], BenchResult]
    allowed: Callable[[NearPlan], bool]
    worth: Callable[[NearPlan], int]
    over: Callable[[], bool]
    seed: int

    def fill(self, near: NearPlan, bench: BenchResult) -> tuple[NearPlan, BenchResult]:
        """Near weeks with what the clock still takes and their bench day; worth no less, and all sessions in time as before."""
        spare = [s.session.id for s in bench.sessions if minutes_left(s) >= SLACK_MINUTES]
        return self._better(self._filled(near, spare, None), near, bench) if spare and not self.over() else (near, bench)

    def renew(
        self, near: NearPlan, bench: BenchResult, sessions: Sequence[str], held: Collection[str]
    ) -> tuple[NearPlan, BenchResult]:  # fmt: skip
        """Ruin and recreate: some cuts of one or two ``sessions`` make way, others are tried in an order shaken by chance, and what
        is worth more and in time is kept. Colonies of ``held`` stay as they are.
        """
        chance = Random(self.seed)
        for _ in range(ROUNDS * len(sessions)):
            if self.over():
                break
            some = chance.sample(sessions, min(len(sessions), chance.randint(1, TOGETHER)))
            loose = [c.option.name for c in near.cuts if c.session in some and c.option.name not in held]
            out = chance.sample(loose, min(len(loose), chance.randint(1, MOST_OUT)))
            kept = replace(near, cuts=tuple(c for c in near.cuts if c.option.name not in out))
            near, bench = self._better(self._filled(kept, some, chance), near, bench)
        return near, bench

    def _better(self, other: NearPlan, near: NearPlan, bench: BenchResult) -> tuple[NearPlan, BenchResult]:
        """Other near weeks with their bench day if they are worth more and in time, else what there is."""
        if self.worth(other) > self.worth(near):
            trial = self.clocked(other, bench)
            if not trial.late:
                return other, trial
        return near, bench

    def _filled(self, near: NearPlan, sessions: Collection[str], chance: Random | None) -> NearPlan:
        """Near weeks with further cuts in some sessions, each as large as the clock takes it, as far as they bring something."""
        tried: Counter[str] = Counter()
        for cut in self.more(near, sessions, chance):
            if tried[cut.session] < TRIES:
                tried[cut.session] += 1
                near = self._with(cut, near)
        return near

    def _with(self, cut: ChosenCut, near: NearPlan) -> NearPlan:
        """With a cut, smaller where the clock asks for it; without it if it is then too small to pay."""
        for _ in range(SMALLER + 1):
            wider = replace(near, cuts=(*near.cuts, cut))
            if self.worth(wider) <= self.worth(near) or not self.allowed(wider):
                break
            late = self.late(wider, cut.session)
            if late <= 0:
                return wider
            pieces = cut.pieces - math.ceil(late / self._minutes_a_piece(cut))
            if pieces < cut.option.fewest:
                break
            cut = with_fewer(self.farm, cut, pieces, self.seed)
        return near

    def _minutes_a_piece(self, cut: ChosenCut) -> float:
        """Of the longer of cutting and mounting, which are two people's work."""
        traits = self.farm.traits(cut.option.strain)
        return max(1 / 60, traits.minutes_cut, traits.minutes_mount + self.farm.settings.label_minutes)


def minutes_left(session: SessionSchedule) -> float:
    """Minutes from the end of a session's work to when it has to be done."""
    return (session.clock.latest - session.clock.finish).total_seconds() / 60


def with_fewer(farm: Farm, cut: ChosenCut, pieces: int, seed: int) -> ChosenCut:
    """A cut of fewer pieces, in positions it has already."""
    traits = farm.traits(cut.option.strain)
    held = blocks_positions(cut.blocks, traits.plug_rows, traits.plug_cols)
    name = cut.option.name
    smaller = tidy(farm, [Coming(name, cut.option.strain, pieces, cut.section, held, cut.blocks)], seed)
    return replace(cut, pieces=pieces, blocks=smaller[name])
