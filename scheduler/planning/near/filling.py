"""Sessions the clock leaves early are filled up: with cuts left out for the clock, whole or smaller, and with others.

Sessions are planned by the minutes of their work; the clock adds waiting, for dips, for those who cut and for lots that come
last, which no sum of minutes knows. So a session may be too long by a little, lose a cut, and end an hour early.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

from scheduler.bench.session import SessionSchedule
from scheduler.farm.farm import Farm
from scheduler.planning.bench_day import BenchResult
from scheduler.planning.near.places import Coming, tidy
from scheduler.planning.near.plan import NearPlan
from scheduler.week.floor import blocks_positions
from scheduler.week.model import ChosenCut

SLACK_MINUTES = 10.0
"""Sessions done so much before they have to are filled up: less is hardly enough to fetch and cut another colony."""

TRIES = 4
"""Cuts tried in one session."""

SMALLER = 2
"""How often a cut that makes its session late is tried with fewer pieces."""

More = Callable[[NearPlan, Collection[str]], Sequence[ChosenCut]]
"""Further cuts in some sessions that keep every rule but the clock's beside those of near weeks, most worth first."""


@dataclass(frozen=True)
class Filling:
    """``more``: further cuts; ``clocked``: the bench day of near weeks, from one of fewer cuts; ``allowed``: whether what else
    near weeks have to keep is kept; ``worth``: of near weeks.
    """

    farm: Farm
    more: More
    clocked: Callable[[NearPlan, BenchResult], BenchResult]
    allowed: Callable[[NearPlan], bool]
    worth: Callable[[NearPlan], int]
    seed: int

    def fill(self, near: NearPlan, bench: BenchResult, stopped: Callable[[], bool]) -> tuple[NearPlan, BenchResult]:
        """Near weeks with what the clock still takes and their bench day; worth no less, and all sessions in time as before."""
        tried: Counter[str] = Counter()
        spare = {s.session.id for s in bench.sessions if minutes_left(s) >= SLACK_MINUTES}
        for cut in self.more(near, spare) if spare else ():
            if stopped():
                break
            if tried[cut.session] < TRIES:
                tried[cut.session] += 1
                near, bench = self._with(cut, near, bench)
        return near, bench

    def _with(self, cut: ChosenCut, near: NearPlan, bench: BenchResult) -> tuple[NearPlan, BenchResult]:
        """With a cut, as large as the clock takes it; without it if that is too small to pay."""
        for _ in range(SMALLER + 1):
            wider = replace(near, cuts=(*near.cuts, cut))
            if self.worth(wider) <= self.worth(near) or not self.allowed(wider):
                break
            trial = self.clocked(wider, bench)
            if not trial.late:
                return wider, trial
            over = max(-minutes_left(s) for s in trial.late)
            pieces = cut.pieces - math.ceil(over / self._minutes_a_piece(cut))
            if pieces < cut.option.fewest:
                break
            cut = with_fewer(self.farm, cut, pieces, self.seed)
        return near, bench

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
