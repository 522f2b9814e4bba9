"""The clock of a session: its schedule as tasks with clock times, and how much of the clock was work."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from scheduler.bench.lots import Work, session_shop
from scheduler.bench.schedule import Schedule, schedule, seconds_late
from scheduler.bench.shop import MOTHER, Done, Shop
from scheduler.farm.farm import Farm
from scheduler.farm.people import BenchSession
from scheduler.farm.standard import labels_of, standard
from scheduler.farm.units import seconds
from scheduler.plan.model import BenchTask, Cut, SessionClock
from scheduler.solving import Limits, Progress

What = frozenset[tuple[str, int, int, str | None, str | None]]
"""What the clock of a session depends on: see ``SessionSchedule.what``."""


@dataclass(frozen=True)
class SessionSchedule:
    """The clock of one session. ``order``: lots in the order their colonies are cut. ``fits``: done before clean-down. ``cuts``: see ``what``.

    ``work``: what it took of the solver, in its own units.
    """

    session: BenchSession
    clock: SessionClock
    tasks: tuple[BenchTask, ...]
    order: tuple[str, ...]
    fits: bool
    cuts: What
    work: float = 0.0

    @staticmethod
    def what(farm: Farm, cuts: Sequence[Cut], blocks: Mapping[str, int]) -> What:
        """What a schedule depends on: lot, pieces, labels, cutter and mounter of each cut; ``blocks`` as for ``planned_minutes``."""
        return frozenset((c.lot, c.pieces, labels_of(farm, c.pieces, blocks.get(c.lot, 1)), c.cutter, c.mounter) for c in cuts)


def planned_minutes(farm: Farm, cuts: Sequence[Cut], blocks: Mapping[str, int]) -> dict[str, Decimal]:
    """S1: standard minutes of each person over the cuts of a session; ``blocks`` each lot stands in (1 where not named)."""
    found: dict[str, Decimal] = {}
    for cut in cuts:
        minutes = standard(farm, cut.strain, farm.colony[cut.colony].on_rock)
        mounting = minutes.mounter(cut.pieces, blocks.get(cut.lot, 1))
        for person, work in ((cut.cutter, minutes.cutter(cut.pieces)), (cut.mounter, mounting)):
            found[str(person)] = found.get(str(person), Decimal(0)) + work
    return found


def schedule_session(
    farm: Farm, session: BenchSession, cuts: Sequence[Cut], blocks: Mapping[str, int], limits: Limits,
    progress: Progress | None = None, stop: threading.Event | None = None,
) -> SessionSchedule:  # fmt: skip
    """Clock times of a session with at least one cut."""
    shop, work = session_shop(farm, session, cuts, blocks)
    found = schedule(shop, limits, stage=f"bench {session.id}", progress=progress, stop=stop)
    setup, changes = shop.start, (len(shop.phases) - 1) * shop.changeover
    latest = _latest(farm, session)
    begin = datetime.combine(session.day, session.start)
    need = found.finish - setup - changes
    busiest = max(planned_minutes(farm, cuts, blocks).values())
    outcome = found.outcome
    clock = SessionClock(
        session=session.id,
        finish=begin + timedelta(seconds=found.finish),
        latest=begin + timedelta(seconds=latest),
        work_minutes=busiest,
        clock_minutes=(Decimal(need) / 60).quantize(Decimal("0.01")),
        efficiency=min(Decimal(1), (busiest * 60 / need).quantize(Decimal("0.0001"))) if need > 0 else Decimal(1),
        outcome="optimal" if outcome.outcome == "optimal" else "feasible",
        gap_percent=(Decimal(100) * Decimal(str(outcome.gap or 0))).quantize(Decimal("0.01")),
        overstay_minutes=(Decimal(found.overstay) / 60).quantize(Decimal("0.01")),
        mothers_waiting_minutes=(Decimal(found.away) / 60).quantize(Decimal("0.01")),
    )
    cut_at = {work[d.task.id].lot: d.start for d in found.done if d.task.turn is not None}
    order = tuple(sorted((c.lot for c in cuts), key=lambda lot: (cut_at.get(lot, 0), lot)))
    tasks = tuple(_tasks(farm, session, shop, work, found, begin))
    return SessionSchedule(
        session, clock, tasks, order, found.finish <= latest, SessionSchedule.what(farm, cuts, blocks), found.work
    )


def minutes_late(
    farm: Farm, session: BenchSession, cuts: Sequence[Cut], blocks: Mapping[str, int], limits: Limits, stop: threading.Event | None = None
) -> tuple[float, float]:  # fmt: skip
    """Minutes a session with some cuts is done after clean-down has to begin, 0 if it can be in time, as far as a short look tells;
    and what that took of the solver, in its own units.
    """
    shop, _ = session_shop(farm, session, cuts, blocks)
    late, work = seconds_late(shop, _latest(farm, session), limits, stop=stop)
    return late / 60, work


def _latest(farm: Farm, session: BenchSession) -> int:
    """When clean-down has to begin, in seconds since the session's start."""
    s = farm.settings
    return math.floor(session.minutes * 60 + 1e-6) - seconds(s.session_minutes * (1 - s.setup_share))


def _tasks(
    farm: Farm, session: BenchSession, shop: Shop, work: Mapping[str, Work], found: Schedule, begin: datetime
) -> Iterator[BenchTask]:
    """Everything the clock shows, people's work first by time, each dip beside the task that puts frags or mother in."""
    s = farm.settings
    kneading = _kneadings(found, work, seconds(s.putty_set_minutes), s.kneading_pieces)
    start, end = {d.task.id: d.start for d in found.done}, {d.task.id: d.end for d in found.done}

    def task(first: int, last: int, steps: tuple[str, ...], **more: object) -> BenchTask:
        return BenchTask.model_validate(
            {
                "session": session.id,
                "start": begin + timedelta(seconds=first),
                "end": begin + timedelta(seconds=last),
                "steps": steps,
            }
            | more
        )

    rows: list[BenchTask] = []
    last = {d.person: d.end for d in sorted(found.done, key=lambda d: d.end) if d.task.phase is not None}
    for done in found.done:
        name = done.task.id
        what = work.get(name)
        if what is not None and what.steps == ("break",) and done.start >= last.get(done.person, 0):
            continue  # nothing left to do after it
        if what is None:
            steps = ("change of water",) if name.startswith("change ") else ("new baths",)
            rows.append(task(done.start, done.end, steps, person=done.person))
            continue
        cut_end = done.end - what.tail
        rows.append(
            task(
                done.start, cut_end, what.steps, person=done.person, lot=what.lot, pieces=what.pieces, kneading=kneading.get(name)
            )
        )
        if what.tail:
            back = done.end - what.mother_back
            rows.append(task(cut_end, back, ("mother dip",), lot=what.lot))
            rows.append(task(back, done.end, ("mother back",), person=done.person, lot=what.lot))
    for stay in shop.stays:
        mix = found.mix_of.get(stay.put_in, 0) + 1
        lot = work[stay.put_in].lot
        rows.append(task(end[stay.put_in] - stay.tail, start[stay.take_out], ("dip",), lot=lot, pieces=stay.pieces, mix=mix))
    for wait in shop.waits:
        if wait.cost == MOTHER:
            rows.append(task(end[wait.before], start[wait.after], ("mother dip",), lot=work[wait.before].lot))
    yield from sorted(rows, key=lambda t: (t.start, t.end, t.person or "~", t.lot or "", t.steps))


def _kneadings(found: Schedule, work: Mapping[str, Work], lasts: int, most: int) -> dict[str, int]:
    """Number of the kneading each batch in putty uses: a new one where the last is too stiff or used up."""
    numbers: dict[str, int] = {}
    begun: dict[str, tuple[int, int, int]] = {}  # person -> number, start, pieces
    count = 0
    batches: list[tuple[Done, Work]] = [(d, work[d.task.id]) for d in found.done if d.task.id in work and work[d.task.id].putty]
    for done, what in sorted(batches, key=lambda b: (b[0].start, b[0].person)):
        pieces = what.pieces or 0
        number, start, used = begun.get(done.person, (0, -lasts, most))
        if done.end - start > lasts or used + pieces > most:
            count += 1
            number, start, used = count, done.start, 0
        begun[done.person] = (number, start, used + pieces)
        numbers[done.task.id] = number
    return numbers
