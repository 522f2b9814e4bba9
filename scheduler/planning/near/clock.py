"""Near weeks their bench sessions can keep by the clock."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from scheduler.errors import PinConflict
from scheduler.farm.farm import Farm
from scheduler.plan.model import Announced, Cut
from scheduler.planning.bench_day import REPLANS, BenchResult, Fitted, Punctual, fit_sessions, schedule_cuts
from scheduler.planning.near.filling import Filling, More, with_fewer
from scheduler.planning.near.plan import NearPlan
from scheduler.planning.pins import ASKING, asked_for, describe_pin, pinned_colonies
from scheduler.solving import Budget, Limits, Outcome, Progress
from scheduler.week.model import ChosenCut
from scheduler.week.options import NearWorth
from scheduler.week.worth import change_cost, keeps

SESSION_WORK, SESSION_SECONDS = 1.0, 20.0
"""Most solver work, and most seconds, for the clock of one session."""

LOOK_WORK, LOOK_SECONDS = 0.02, 2.0
"""The same for a short look whether a session can be in time."""

FIRST_SHARE, AGAIN_SHARE = 0.65, 0.5
"""Shares of the work and time left: for planning the near weeks, and for each time they are planned again."""

Planned = Callable[[Mapping[str, float], Limits], NearPlan]
"""Near weeks planned within limits, with a fill for some sessions (share of the clock that is work)."""


def by_the_clock(
    farm: Farm, planned: Planned, worth: NearWorth, pins: Sequence[str], solving: Limits, *, announced: Sequence[Announced] = (),
    more: More | None = None, allowed: Callable[[NearPlan], bool] = lambda _: True, progress: Progress | None = None,
    stop: threading.Event | None = None,
) -> tuple[NearPlan, BenchResult]:  # fmt: skip
    """The near weeks with the clock of their sessions, all within ``solving``; lots carry the name of ``working_name`` there.

    Sessions too long lose cuts; only where pins ask for cuts are near weeks planned again first. Where announced cuts are lost
    by that, near weeks that only keep what was announced (and those first planned, if planned again) are fitted too, by leaving
    cuts out, and the best is taken. Sessions that end early then are filled up by ``more`` cuts, as far as they are ``allowed``,
    and cuts that no pin speaks of make way for better ones.
    Raises ``PinConflict`` where the cuts that pins ask for cannot be done in a session's time, or lack plugs.
    """
    budget, limits = Budget(solving), replace(solving, deterministic=SESSION_WORK, seconds=SESSION_SECONDS)
    first = near = planned({}, budget.part(FIRST_SHARE))
    budget.spend(near.work)
    fewest = _fewest(farm, near, pins)
    told = {(a.colony, a.week, a.session): a for a in announced}

    def again(fill: Mapping[str, float]) -> NearPlan:
        nonlocal near
        part = budget.part(AGAIN_SHARE)
        try:
            near = planned(fill, part)
            budget.spend(near.work)
        except PinConflict:  # that fill is a guess; whether what pins ask for fits, the clock has to say
            budget.spend(part.deterministic or 0.0)
        return near

    def value(near: NearPlan, cut: Cut) -> float:
        row = told.get((cut.colony, cut.week, cut.session or ""))
        kept = row is not None and keeps(row, near.cuts)
        return _value(worth, near, cut) + (change_cost(farm, row) / 100 if row is not None and kept else 0.0)

    def fitted(near: NearPlan, replans: int) -> Fitted[NearPlan]:
        return fit_sessions(
            farm, near, cuts_of=bench_cuts, blocks_of=_blocks, replan=again, value=value,
            without=lambda near, cut: _without(farm, near, cut, fewest.get(cut.colony, 0), solving.seed),
            pinned=lambda cut: cut.pieces <= fewest.get(cut.colony, 0), late=late, limits=limits, budget=budget, replans=replans,
            progress=progress, stop=stop,
        )  # fmt: skip

    punctual = Punctual(farm, replace(limits, deterministic=LOOK_WORK, seconds=LOOK_SECONDS), budget, stop)

    def late(wider: NearPlan, session: str) -> float:
        return punctual.minutes_late(session, bench_cuts(wider), _blocks(wider))

    found = fitted(first, REPLANS if fewest else 0)  # what pins ask for may have to go to other sessions
    calmer = (first, first.kept) if fewest else (first.kept,)
    others = [n for n in calmer if n is not None and _kept(announced, n) > _kept(announced, found.near)]
    for other in (fitted(n, 0) for n in others):
        if (not other.stuck, other.near.worth(farm, announced)) > (not found.stuck, found.near.worth(farm, announced)):
            found = other
    if found.stuck:
        raise _conflict(farm, found, pins, limits, budget)
    near, bench = found.near, found.bench
    if more is not None and near.prices is not None:

        def clocked(wider: NearPlan, known: BenchResult) -> BenchResult:
            cuts = bench_cuts(wider)
            return schedule_cuts(farm, cuts, _blocks(wider), limits, budget=budget, known=known, progress=progress, stop=stop)

        def over() -> bool:
            return budget.over or (stop is not None and stop.is_set())

        filling = Filling(farm, more, late, clocked, allowed, lambda now: now.worth(farm, announced), over, solving.seed)
        near, bench = filling.fill(near, bench)
        sessions = sorted({s.id for o in near.options for s in o.sessions})
        ready = {row.colony for row in announced if keeps(row, near.cuts)}  # plugs and people: not upset by chance
        held = pinned_colonies(farm, pins) | ready
        near, bench = filling.renew(near, bench, sessions, held)
    lost = [text for cut, why in found.dropped if (text := _told(near, cut, why))]
    return replace(near, gave_way=(*near.gave_way, *lost), outcome=_outcome(near, near.worth(farm, announced))), bench


def _outcome(near: NearPlan, worth: int) -> Outcome | None:
    """How the near weeks were found, with what they are worth by the clock; proved best only if that is their bound."""
    before = near.outcome
    if before is None or near.prices is None:
        return before
    if before.bound is not None and worth >= before.bound - 1:
        return replace(before, outcome="optimal", reason="proved", value=float(worth))
    reason = "best found by the clock" if before.reason == "proved" else before.reason
    return replace(before, outcome="feasible", reason=reason, value=float(worth))


def _kept(announced: Sequence[Announced], near: NearPlan) -> int:
    """How many announced cuts near weeks keep."""
    return sum(keeps(row, near.cuts) for row in announced)


def working_name(cut: ChosenCut) -> str:
    """Name of a lot until it has its label code."""
    return f"{cut.option.colony.colony} {cut.option.week}"


def bench_cuts(near: NearPlan) -> list[Cut]:
    """The cuts of near weeks under their working names."""
    return [
        Cut(
            lot=working_name(c), colony=c.option.colony.colony, strain=c.option.strain, week=c.option.week, pieces=c.pieces,
            session=c.session, cutter=c.cutter, mounter=c.mounter,
        )
        for c in near.cuts
    ]  # fmt: skip


def _blocks(near: NearPlan) -> dict[str, int]:
    return {working_name(c): len(c.blocks) for c in near.cuts}


def _fewest(farm: Farm, near: NearPlan, pins: Sequence[str]) -> dict[str, int]:
    """Fewest pieces of each colony that pins ask for."""
    least = {o.name: o.fewest for o in near.options}
    return {name: max(pieces, least.get(name, 1)) for name, pieces in asked_for(farm, pins).items()}


def _without(farm: Farm, near: NearPlan, cut: Cut, fewest: int, seed: int) -> NearPlan:
    """The near weeks without a cut, or with as few pieces of it as pins ask for, in places it has already."""
    made = next(c for c in near.cuts if working_name(c) == cut.lot)
    others = tuple(c for c in near.cuts if c is not made)
    if not fewest:
        return replace(near, cuts=others)
    return replace(near, cuts=(*others, with_fewer(farm, made, fewest, seed)))


def _told(near: NearPlan, cut: Cut, why: str) -> str | None:
    """What has become of a cut that did not fit the clock; ``None`` if it is made after all, by others or in another session."""
    pieces = sum(c.pieces for c in near.cuts if c.option.name == cut.colony)
    if pieces >= cut.pieces:
        return None
    return f"{cut.colony}: {f'{pieces} of {cut.pieces} pieces' if pieces else 'not cut'}, since {why}"


def _value(worth: NearWorth, near: NearPlan, cut: Cut) -> float:
    """What a cut brings beyond waiting, money."""
    made = next(c for c in near.cuts if working_name(c) == cut.lot)
    colony, week = made.option.colony, made.option.week
    piece = worth.piece(cut.strain, week, made.section.zone)
    return cut.pieces * piece - worth.waiting(colony, week, cut.pieces) - worth.colony_cost(colony)


def _conflict(farm: Farm, found: Fitted[NearPlan], pins: Sequence[str], limits: Limits, budget: Budget) -> PinConflict:
    """Pins whose cuts do not fit the first session (or the plugs) that is stuck, none of which could be spared."""
    name, cuts, blocks = found.stuck[0], bench_cuts(found.near), _blocks(found.near)
    late = next((s for s in found.bench.late if s.session.id == name), None)
    if late is not None:
        why = f"{name} would be done at {late.clock.finish:%H:%M}, after {late.clock.latest:%H:%M}"
        cuts = [c for c in cuts if c.session == name]
        for cut in list(cuts):
            rest = [c for c in cuts if c is not cut]
            if rest and schedule_cuts(farm, rest, blocks, limits, budget=budget).late:
                cuts = rest
    else:
        kind = name.removesuffix(f" plugs {name[-10:]}")
        why = f"too few {name} have stood in water long enough"
        cuts = [c for c in cuts if farm.traits(c.strain).plug_kind == kind]
    held = {c.colony for c in cuts}
    names = [p.pin for p in farm.pins if p.pin in pins and p.kind in ASKING and p.colony in held]
    return PinConflict(names, [f"{describe_pin(farm, n)}, but {why}" for n in names])
