"""The clock times of a session: finish as early as possible, then least time over the minimum in dips, then mothers back soonest.

Last of all lots are mounted early and without others between, and dips are mixed anew as late as they may.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from ortools.sat.python import cp_model

from scheduler.bench.guess import first_schedule
from scheduler.bench.shop import DIP, MOTHER, SPREAD, Done, Shop, Stay, Task, Wait, change_id, mix_id
from scheduler.solving import Limits, Outcome, Progress, Solved, solve

BOUND_FIRST = 0.5
"""Share of the limits for a search from the bound upwards; where it proves nothing, the rest looks for a better finish."""

LOWER_AIMS = 0.2
"""Share of the limits that each of the three lower aims gets."""

_Times = dict[str, Done]


@dataclass(frozen=True)
class Schedule:
    """Tasks with their times, in order of start, changes of water and new mixes among them.

    ``finish``: end of the last task that counts. ``overstay``: seconds in dips beyond the least. ``away``: seconds mothers
    stay in dips beyond the least. ``outcome`` is that of the finish time. ``mix_of``: put-in task -> number of the mix of
    its dip and water that it goes into, from 0. ``work``: the solver's work for all aims, in its own units.
    """

    done: tuple[Done, ...]
    finish: int
    overstay: int
    away: int
    outcome: Outcome
    mix_of: dict[str, int]
    work: float = 0.0


def schedule(
    shop: Shop, limits: Limits, *, stage: str = "bench", progress: Progress | None = None, stop: threading.Event | None = None
) -> Schedule:
    """Schedule a shop. The finish has the limits to itself, the lower aims get a part of them on top. Repeats exactly under a work limit.

    Where the search ends before it finds anything, the first schedule made without a solver is handed back.
    """
    if not shop.tasks:
        return Schedule((), shop.start, 0, 0, Outcome("optimal", "proved", float(shop.start), float(shop.start), 0.0), {})
    model = _Model(shop)
    times, mix_of = first_schedule(shop)
    if not shop.one_order:
        model.hint(times, mix_of)
    model.model.minimize(model.finish)
    solved = solve(
        model.model, _part(limits, BOUND_FIRST), stage=stage, progress=progress, stop=stop, linearization=0, bound_first=True
    )
    outcome = solved.outcome
    if outcome.found and outcome.outcome != "optimal" and outcome.reason != "interrupted":
        solved, outcome = model.improved(solved, _part(limits, 1 - BOUND_FIRST), stage, progress, stop)
    if not outcome.found:
        finish = _finish(times, shop.start)
        outcome = Outcome("feasible", outcome.reason, float(finish), outcome.bound, outcome.seconds, outcome.work)
        return replace(_summed(shop, times, mix_of, outcome), work=outcome.work)
    times, mix_of = model.read(solved)
    work = outcome.work
    for aim, cost in ((None, DIP), (DIP, MOTHER), (MOTHER, SPREAD)):
        if stop is not None and stop.is_set():
            break
        model.keep(solved, aim)
        if cost == SPREAD:
            model.freeze(times)
        model.hint(times, mix_of)
        model.model.minimize(model.cost(cost))
        better = solve(model.model, _part(limits, LOWER_AIMS), stage=f"{stage} dips", stop=stop, linearization=0)
        work += better.outcome.work
        if not better.outcome.found:
            break
        solved, (times, mix_of) = better, model.read(better)
    return replace(_summed(shop, times, mix_of, outcome), work=work)


def seconds_late(shop: Shop, latest: int, limits: Limits, *, stop: threading.Event | None = None) -> tuple[int, float]:
    """How long after ``latest`` a shop is done, as far as a short look tells (0: it can be done by then); and the solver's work.

    Often the first schedule made without a solver is in time; else one that is gets looked for, not the best.
    """
    times, mix_of = first_schedule(shop)
    late = _finish(times, shop.start) - latest
    if late <= 0:
        return 0, 0.0
    model = _Model(shop)
    over = model.late(latest)
    model.hint(times, mix_of)
    model.model.minimize(over)
    solved = solve(model.model, limits, stage="bench in time", stop=stop, linearization=0, bound_first=True)
    return (solved.value(over) if solved.outcome.found else late), solved.outcome.work


def _part(limits: Limits, share: float) -> Limits:
    def of(limit: float | None) -> float | None:
        return None if limit is None else limit * share

    return replace(limits, seconds=of(limits.seconds), deterministic=of(limits.deterministic))


def _summed(shop: Shop, times: _Times, mix_of: dict[str, int], outcome: Outcome) -> Schedule:
    def beyond(kind: int) -> int:
        waits = [w for w in shop.waits if w.cost == kind]
        return sum(times[w.after].start - times[w.before].end + w.tail - w.least for w in waits)

    done = tuple(sorted(times.values(), key=lambda d: (d.start, d.person, d.task.id)))
    return Schedule(done, _finish(times, shop.start), beyond(DIP), beyond(MOTHER), outcome, mix_of)


def _finish(times: _Times, start: int) -> int:
    """End of the last task that counts; ``start`` if there is none."""
    return max((d.end for d in times.values() if d.task.counts), default=start)


def _done_by(task: str, person: str) -> Callable[[_Times, dict[str, int]], bool]:
    return lambda times, _: times[task].person == person


def _goes_into(put_in: str, mix: int) -> Callable[[_Times, dict[str, int]], bool]:
    return lambda _, mix_of: mix_of[put_in] == mix


def _last_end(tasks: Sequence[Task]) -> Callable[[_Times], int]:
    return lambda times: max(times[t.id].end for t in tasks)


def _last_out(stays: Sequence[Stay]) -> Callable[[_Times], int]:
    return lambda times: max(times[s.take_out].start for s in stays)


def _time_in(stay: Stay) -> Callable[[_Times], int]:
    return lambda times: times[stay.take_out].start - times[stay.put_in].end + stay.tail


class _Model:
    """The CP-SAT model of a shop; one method for each rule. ``hints`` knows the value of every variable in given times."""

    def __init__(self, shop: Shop) -> None:
        self.shop, self.model, self.most = shop, cp_model.CpModel(), shop.horizon
        self.start: dict[str, cp_model.IntVar] = {}
        self.does: dict[tuple[str, str], cp_model.IntVar] = {}
        self.mix: dict[str, dict[int, cp_model.IntVar]] = {}
        self.at: dict[str, list[cp_model.IntervalVar]] = {p: [] for p in shop.people}
        self.task: dict[str, Task] = {}
        self.mixing: list[str] = []
        self.hints: list[tuple[cp_model.IntVar, Callable[[_Times, dict[str, int]], int]]] = []
        for task in shop.tasks:
            self._add(task)
        self.finish = self._time("finish", lambda times: _finish(times, shop.start))
        self.model.add_max_equality(self.finish, [self._end(t.id) for t in shop.tasks if t.counts])
        self._waits()
        self._turns()
        self._water()
        self._baths()
        self._one_order()
        for intervals in self.at.values():
            self.model.add_no_overlap(intervals)

    # ---- variables ------------------------------------------------------------------------------------------------

    def _time(self, name: str, hint: Callable[[_Times], int], low: int | None = None, high: int | None = None) -> cp_model.IntVar:
        var = self.model.new_int_var(self.shop.start if low is None else low, self.most if high is None else high, name)
        self.hints.append((var, lambda times, _: hint(times)))
        return var

    def _flag(self, name: str, hint: Callable[[_Times, dict[str, int]], bool]) -> cp_model.IntVar:
        var = self.model.new_bool_var(name)
        self.hints.append((var, lambda times, mixes: int(hint(times, mixes))))
        return var

    def _end(self, task: str) -> cp_model.LinearExpr:
        return self.start[task] + self.task[task].seconds

    def _from(self, wait: Wait) -> cp_model.LinearExpr:
        return self._end(wait.before) - wait.tail

    def _dipped(self, stay: Stay) -> cp_model.LinearExpr:
        return self._end(stay.put_in) - stay.tail

    def _add(self, task: Task) -> None:
        """A task: one of its people does it, in one go."""
        name = task.id
        self.task[name] = task
        start = self._time(name, lambda times: times[name].start, max(self.shop.start, task.earliest), task.latest)
        self.start[name] = start
        for person in task.people:
            label = f"{name} by {person}"
            if len(task.people) == 1:
                self.does[name, person] = self.model.new_constant(1)
                interval = self.model.new_fixed_size_interval_var(start, task.seconds, label)
            else:
                does = self._flag(label, _done_by(name, person))
                self.does[name, person] = does
                interval = self.model.new_optional_fixed_size_interval_var(start, task.seconds, does, label)
            self.at[person].append(interval)
        if len(task.people) > 1:
            self.model.add_exactly_one(self.does[name, p] for p in task.people)

    # ---- rules ----------------------------------------------------------------------------------------------------

    def _waits(self) -> None:
        """A later step begins after the earlier one, within its window."""
        for wait in self.shop.waits:
            self.model.add(self.start[wait.after] >= self._from(wait) + wait.least)
            if wait.most is not None:
                self.model.add(self.start[wait.after] <= self._from(wait) + wait.most)
            if wait.same_person:
                for person in self.task[wait.after].people:
                    self.model.add(self.does[wait.after, person] == self.does.get((wait.before, person), 0))

    def _turns(self) -> None:
        """All tasks of a turn end before one of a later turn begins."""
        bound = [t for t in self.shop.tasks if t.turn is not None]
        turns = sorted({t.turn for t in bound if t.turn is not None})
        borders: list[cp_model.IntVar | int] = [self.shop.start]
        for turn in turns[1:]:
            before = [t for t in bound if t.turn is not None and t.turn < turn]
            after = [t for t in bound if t.turn is not None and t.turn >= turn]
            border = self._time(f"turn {turn}", _last_end(before))
            for task in before:
                self.model.add(self._end(task.id) <= border)
            for task in after:
                self.model.add(self.start[task.id] >= border)
            borders.append(border)
        for turn, begin, end in zip(turns, borders, [*borders[1:], self.finish], strict=False):
            for person in self.shop.people:
                self._room(person, [t for t in bound if t.turn == turn and person in t.people], begin, end)

    def _water(self) -> None:
        """Nobody goes back to an earlier water system; each change takes everybody who works on both sides of it."""
        bound = [t for t in self.shop.tasks if t.phase is not None]
        for person in self.shop.people:
            mine = [t for t in bound if person in t.people]
            since: cp_model.LinearExpr | int = self.shop.start
            for phase in self.shop.phases[1:]:
                before = [t for t in mine if t.phase is not None and t.phase < phase]
                after = [t for t in mine if t.phase is not None and t.phase >= phase]
                if before and after:
                    change = self._change(person, phase, before, after)
                    self._room(person, [t for t in before if t.phase == phase - 1], since, change)
                    since = change + self.shop.changeover
            last = max(self.shop.phases, default=0)
            self._room(person, [t for t in mine if t.phase == last and t.counts], since, self.finish)

    def _change(self, person: str, phase: int, before: Sequence[Task], after: Sequence[Task]) -> cp_model.IntVar:
        name = change_id(phase, person)
        change = self._time(name, lambda times: times[name].start)
        for task in before:
            self.model.add(self._end(task.id) <= change).only_enforce_if(self.does[task.id, person])
        for task in after:
            self.model.add(self.start[task.id] >= change + self.shop.changeover).only_enforce_if(self.does[task.id, person])
        self.at[person].append(self.model.new_fixed_size_interval_var(change, self.shop.changeover, name))
        self.start[name], self.does[name, person] = change, self.model.new_constant(1)
        self.task[name] = Task(name, self.shop.changeover, (person,), phase, counts=False)
        return change

    def _room(self, person: str, tasks: Sequence[Task], begin: cp_model.LinearExpr | int, end: cp_model.LinearExpr | int) -> None:
        """A person's work between two times fits between them. It follows from the rest and helps the proof."""
        work = [self.does[t.id, person] * t.seconds for t in tasks]
        if work:
            self.model.add(cp_model.LinearExpr.sum(work) + begin <= end)

    def _baths(self) -> None:
        """Baths side by side hold one lot each; they are mixed anew after so many pieces, and empty before other water."""
        shop = self.shop
        for kind in dict.fromkeys(s.kind for s in shop.stays):
            stays = [s for s in shop.stays if s.kind == kind]
            intervals = []
            for stay in stays:
                name, put, out = f"in {kind}: {stay.put_in}", stay.put_in, stay.take_out
                length = self._time(name, _time_in(stay), 0)
                intervals.append(self.model.new_interval_var(self._dipped(stay), length, self.start[out], f"bath of {put}"))
            self.model.add_cumulative(intervals, [min(s.baths, shop.baths) for s in stays], shop.baths)
            for phase in sorted({s.phase for s in stays})[1:]:
                before, after = [s for s in stays if s.phase < phase], [s for s in stays if s.phase >= phase]
                border = self._time(f"{kind} for phase {phase}", _last_out(before))
                for stay in before:
                    self.model.add(self.start[stay.take_out] <= border)
                for stay in after:
                    self.model.add(self._dipped(stay) >= border)
        for group in shop.bath_groups():
            self._mixes(group)

    def _mixes(self, stays: Sequence[Stay]) -> None:
        """Which mix each lot goes into: lots put in before a new one is made, in the old, the others in the new."""
        shop, first = self.shop, stays[0]
        count = shop.mixes(stays)
        if count < 2:
            return
        for stay in stays:
            put = stay.put_in
            self.mix[put] = {m: self._flag(f"mix {m} {put}", _goes_into(put, m)) for m in range(count)}
            self.model.add_exactly_one(self.mix[put].values())
        for m in range(count):
            load = [self.mix[s.put_in][m] * min(s.pieces, shop.mix_pieces) for s in stays]
            self.model.add(cp_model.LinearExpr.sum(load) <= shop.mix_pieces)
        for m in range(1, count):
            name = mix_id(first.phase, first.kind, m)
            self._add(Task(name, shop.mix_seconds, shop.mixers[first.phase], first.phase, counts=False))
            self.mixing.append(name)
            for stay in stays:
                for n, goes in self.mix[stay.put_in].items():
                    rule = self._dipped(stay) <= self.start[name] if n < m else self._dipped(stay) >= self._end(name)
                    self.model.add(rule).only_enforce_if(goes)

    def _one_order(self) -> None:
        """Every station serves the jobs in one order."""
        for a, b in combinations(self.shop.one_order, 2):
            first = self.model.new_bool_var(f"{a[0]} before {b[0]}")
            for one, two in zip(a, b, strict=True):
                self.model.add(self._end(one) <= self.start[two]).only_enforce_if(first)
                self.model.add(self._end(two) <= self.start[one]).only_enforce_if(first.negated())

    # ---- aims -----------------------------------------------------------------------------------------------------

    def cost(self, kind: int) -> cp_model.LinearExpr:
        """Seconds beyond the least over the waits that cost; with ``SPREAD`` also late mounting and dips mixed anew early."""
        terms = [self.start[w.after] - self._from(w) - w.least for w in self.shop.waits if w.cost == kind]
        if kind == SPREAD:
            terms += [self.start[name] for name in self._loose()] + [self.most - self.start[name] for name in self.mixing]
        return cp_model.LinearExpr.sum(terms)

    def late(self, latest: int) -> cp_model.IntVar:
        """Seconds between a time and the finish, 0 if that is earlier."""
        over = self._time("late", lambda times: max(0, _finish(times, self.shop.start) - latest), low=0)
        self.model.add(over >= self.finish - latest)
        return over

    def keep(self, solved: Solved, kind: int | None) -> None:
        """Later searches keep the finish, or the cost of a kind, of a solution."""
        aim: cp_model.LinearExpr = self.finish if kind is None else self.cost(kind)
        self.model.add(aim <= solved.value(aim))

    def improved(
        self, solved: Solved, limits: Limits, stage: str, progress: Progress | None, stop: threading.Event | None
    ) -> tuple[Solved, Outcome]:
        """A better finish if one is found, between the finish and the bound of a search; with what came of both searches."""
        first = solved.outcome
        if first.bound is not None:
            self.model.add(self.finish >= math.ceil(first.bound - 1e-6))
        self.hint(*self.read(solved))
        again = solve(self.model, limits, stage=stage, progress=progress, stop=stop, linearization=0)
        bounds = [o.bound for o in (first, again.outcome) if o.bound is not None]
        best = again if again.outcome.found and (again.outcome.value or 0) <= (first.value or 0) else solved
        outcome = replace(
            again.outcome, outcome="optimal" if again.outcome.outcome == "optimal" else "feasible", value=best.outcome.value,
            bound=max(bounds, default=None), seconds=first.seconds + again.outcome.seconds, work=first.work + again.outcome.work,
        )  # fmt: skip
        return best, outcome

    def freeze(self, times: _Times) -> None:
        """Later searches only move mounting in stretches and the mixing of dips."""
        loose = {*self._loose(), *self.mixing}
        for name, done in times.items():
            if name not in loose:
                self.model.add(self.start[name] == done.start)

    def _loose(self) -> list[str]:
        """Work that no window, turn or break binds: mounting."""
        tied = {name for w in self.shop.waits if w.most is not None for name in (w.before, w.after)}
        return [t.id for t in self.shop.tasks if t.turn is None and t.latest is None and t.id not in tied]

    def hint(self, times: _Times, mix_of: dict[str, int]) -> None:
        """Begin the next search from given times."""
        self.model.clear_hints()  # type: ignore[no-untyped-call]
        for var, value in self.hints:
            self.model.add_hint(var, value(times, mix_of))

    def read(self, solved: Solved) -> tuple[_Times, dict[str, int]]:
        """Times and mixes of a solution."""
        times = {
            name: Done(task, next(p for p in task.people if solved.value(self.does[name, p])), solved.value(self.start[name]))
            for name, task in self.task.items()
        }
        mix_of = {put: next(m for m, var in row.items() if solved.value(var)) for put, row in self.mix.items()}
        return times, {s.put_in: mix_of.get(s.put_in, 0) for s in self.shop.stays}
