"""The bench day of a plan: clock times for every session, and near weeks that the clock can keep."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_DOWN, Decimal
from typing import Generic, TypeVar

from scheduler.bench.session import SessionSchedule, What, minutes_late, schedule_session
from scheduler.farm.farm import Farm
from scheduler.farm.people import BenchSession
from scheduler.farm.work import condition_days, plugs_ready, sessions_in
from scheduler.plan.model import BenchTask, Cut, Plan, SessionClock
from scheduler.solving import Budget, Limits, Progress

REPLANS = 3
"""How often near weeks are planned again because a session does not fit the clock."""

FILL_STEP = Decimal("0.001")

FAR_TOO_LATE = 5.0
"""Minutes a session may be late by a short look and still be worth its clock before it loses a cut."""

SESSION_SHARE = 0.25
"""Most that the clock of one session takes of the work and time left to all."""

N = TypeVar("N")


@dataclass(frozen=True)
class BenchResult:
    """The clock of every session with cuts. ``late``: sessions not done before clean-down."""

    sessions: tuple[SessionSchedule, ...]

    @property
    def tasks(self) -> tuple[BenchTask, ...]:
        """Everything with a time by the clock, session by session."""
        return tuple(t for s in self.sessions for t in s.tasks)

    @property
    def clocks(self) -> tuple[SessionClock, ...]:
        """How each session came out."""
        return tuple(s.clock for s in self.sessions)

    @property
    def late(self) -> tuple[SessionSchedule, ...]:
        """Sessions that do not fit."""
        return tuple(s for s in self.sessions if not s.fits)

    @property
    def run_order(self) -> dict[str, int]:
        """Place of each lot in its session's order of cutting, from 1."""
        return {lot: i for s in self.sessions for i, lot in enumerate(s.order, start=1)}

    @property
    def fill(self) -> dict[str, float]:
        """Share of the bench minutes that can be planned as work in each session that does not fit."""
        return {s.session.id: float(s.clock.efficiency.quantize(FILL_STEP, rounding=ROUND_DOWN)) for s in self.late}

    def renamed(self, lots: Mapping[str, str]) -> BenchResult:
        """The same with lots under their final codes."""

        def named(s: SessionSchedule) -> SessionSchedule:
            tasks = tuple(t.model_copy(update={"lot": lots.get(t.lot, t.lot)}) if t.lot is not None else t for t in s.tasks)
            return replace(s, tasks=tasks, order=tuple(lots.get(lot, lot) for lot in s.order))

        return BenchResult(tuple(named(s) for s in self.sessions))


def schedule_cuts(
    farm: Farm, cuts: Iterable[Cut], blocks: Mapping[str, int], limits: Limits, *, budget: Budget | None = None,
    known: BenchResult | None = None, progress: Progress | None = None, stop: threading.Event | None = None,
) -> BenchResult:  # fmt: skip
    """Clock times for the near-week sessions of some cuts; ``limits`` are those of one session, ``budget`` that of all.

    ``blocks``: blocks each lot stands in. Sessions whose cuts and labels are those of ``known`` are taken from it.
    """
    by_session: dict[str, list[Cut]] = {}
    for cut in cuts:
        if cut.session is not None:
            by_session.setdefault(cut.session, []).append(cut)
    before = {s.session.id: s for s in known.sessions} if known is not None else {}
    found = []
    for session in _sessions(farm):
        mine = by_session.get(session.id)
        if not mine:
            continue
        done = before.get(session.id)
        if done is None or done.cuts != SessionSchedule.what(farm, mine, blocks):
            most = limits if budget is None else limits.within(budget.part(SESSION_SHARE))
            done = schedule_session(farm, session, mine, blocks, most, progress=progress, stop=stop)
            if budget is not None:
                budget.spend(done.work)
        found.append(done)
    return BenchResult(tuple(found))


class Punctual:
    """Tells quickly whether sessions with some cuts can be done in time. What was looked at is remembered."""

    def __init__(self, farm: Farm, limits: Limits, budget: Budget, stop: threading.Event | None = None) -> None:
        """``limits``: of one look; ``budget``: of all."""
        self.farm, self.limits, self.budget, self.stop = farm, limits, budget, stop
        self._sessions = {s.id: s for s in _sessions(farm)}
        self._known: dict[tuple[str, What], float] = {}

    def minutes_late(self, session: str, cuts: Iterable[Cut], blocks: Mapping[str, int]) -> float:
        """How late a session with those of some cuts that are its own is done, as far as a short look tells; 0: in time."""
        mine = [c for c in cuts if c.session == session]
        key = session, SessionSchedule.what(self.farm, mine, blocks)
        if mine and key not in self._known:
            most = self.limits.within(self.budget.part(SESSION_SHARE))
            self._known[key], work = minutes_late(self.farm, self._sessions[session], mine, blocks, most, self.stop)
            self.budget.spend(work)
        return self._known.get(key, 0.0)


def _sessions(farm: Farm) -> tuple[BenchSession, ...]:
    return tuple(s for week in farm.weeks.near_weeks for s in sessions_in(farm, week))


def schedule_sessions(
    farm: Farm, plan: Plan, limits: Limits, progress: Progress | None = None, stop: threading.Event | None = None
) -> BenchResult:
    """Clock times for every near-week session of a plan; ``limits`` are those of one session."""
    first = {s.lot: len(s.blocks) for s in sorted(plan.stands, key=lambda s: -s.week)}
    return schedule_cuts(farm, plan.cuts, first, limits, progress=progress, stop=stop)


def with_bench(plan: Plan, bench: BenchResult) -> Plan:
    """The plan with its clock times, its cuts in the order of the clock."""
    order = bench.run_order
    cuts = tuple(c.model_copy(update={"run_order": order[c.lot]}) if c.lot in order else c for c in plan.cuts)
    return plan.model_copy(update={"cuts": cuts, "bench": bench.tasks, "clocks": bench.clocks})


# ---- near weeks the clock can keep ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Fitted(Generic[N]):
    """Near weeks that fit the clock, with their schedule.

    ``dropped``: (cut, why) left out to make it fit. ``stuck``: sessions that do not fit although only pinned cuts are left.
    """

    near: N
    bench: BenchResult
    dropped: tuple[tuple[Cut, str], ...]
    stuck: tuple[str, ...]


def fit_sessions(
    farm: Farm,
    near: N,
    *,
    cuts_of: Callable[[N], Sequence[Cut]],
    blocks_of: Callable[[N], Mapping[str, int]],
    replan: Callable[[Mapping[str, float]], N],
    without: Callable[[N, Cut], N],
    value: Callable[[N, Cut], float],
    pinned: Callable[[Cut], bool],
    late: Callable[[N, str], float] = lambda *_: 0.0,
    limits: Limits,
    replans: int = REPLANS,
    budget: Budget | None = None,
    progress: Progress | None = None,
    stop: threading.Event | None = None,
) -> Fitted[N]:
    """Near weeks whose sessions are all done before clean-down, with plugs that have stood in water long enough.

    Where a session's efficiency proves tighter than the fill it was planned with, the near weeks are planned again with
    that fill (``replan``, a fill for each such session), at most ``replans`` times; then the cut of least ``value`` that is
    not ``pinned`` is left out (``without``) until it fits. A replanning that cuts nothing any more is taken as it is. Where near weeks
    are not to be planned again, sessions far too ``late`` (minutes, by a short look) lose cuts before they get their clock.
    ``limits`` are those of one session, ``budget`` that of all.
    """

    def clocked(now: N, known: BenchResult | None) -> BenchResult:
        return schedule_cuts(farm, cuts_of(now), blocks_of(now), limits, budget=budget, known=known, progress=progress, stop=stop)

    dropped: list[tuple[Cut, str]] = []

    def dropping(now: N, cuts: Sequence[Cut], why: str) -> N | None:
        loose = [c for c in cuts if not pinned(c)]
        if not loose:
            return None
        least = min(loose, key=lambda c: (value(now, c), c.colony))
        dropped.append((least, why))
        return without(now, least)

    for session in _sessions(farm) if not replans else ():
        while (minutes := late(near, session.id)) > FAR_TOO_LATE:
            mine = [c for c in cuts_of(near) if c.session == session.id]
            fewer = dropping(near, mine, f"{session.id} would be done {minutes:.0f} minutes too late")
            if fewer is None:
                break
            near = fewer
    fill: dict[str, float] = {}
    bench = clocked(near, None)
    for _ in range(replans):
        if not bench.late or (stop is not None and stop.is_set()):
            break
        tighter = {
            name: min(share, fill.get(name, farm.settings.bench_fill) - float(FILL_STEP)) for name, share in bench.fill.items()
        }
        fill |= {name: max(0.0, share) for name, share in tighter.items()}
        near = replan(dict(fill))
        bench = clocked(near, bench)
    stuck: list[str] = []
    while True:
        trouble = _trouble(farm, cuts_of(near), bench, stuck)
        if trouble is None:
            return Fitted(near, bench, tuple(dropped), tuple(stuck))
        name, cuts, why = trouble
        fewer = dropping(near, cuts, why)
        if fewer is None:
            stuck.append(name)
            continue
        near = fewer
        bench = clocked(near, bench)


def _trouble(farm: Farm, cuts: Sequence[Cut], bench: BenchResult, stuck: Sequence[str]) -> tuple[str, list[Cut], str] | None:
    """The first session that does not fit the clock, or the first day short of plugs ready for use; with the cuts concerned."""
    for s in bench.late:
        if s.session.id not in stuck:
            mine = [c for c in cuts if c.session == s.session.id]
            return s.session.id, mine, f"{s.session.id} would be done at {s.clock.finish:%H:%M}, after {s.clock.latest:%H:%M}"
    kinds = dict.fromkeys(row.plug_kind for row in farm.plugs if row.condition_days)
    for kind in kinds:
        before: list[Cut] = []
        for session in _sessions(farm):
            before += [c for c in cuts if c.session == session.id and farm.traits(c.strain).plug_kind == kind]
            ready, used = plugs_ready(farm, kind, session.day), sum(c.pieces for c in before)
            name = f"{kind} plugs {session.day}"
            if ready is not None and used > ready and name not in stuck:
                days = condition_days(farm, kind)
                return name, before, f"{used} {kind} plugs by {session.day}; {ready} have stood in water for {days} days"
    return None
