"""A first schedule without a solver: whatever can begin earliest is done next, as people, baths and windows allow."""

from __future__ import annotations

from bisect import insort
from collections import defaultdict
from dataclasses import dataclass, field

from scheduler.bench.shop import Done, Shop, Stay, Task, Wait, change_id, mix_id


@dataclass
class _Diary:
    """A person's busy times."""

    busy: list[tuple[int, int]] = field(default_factory=list)

    def free_from(self, earliest: int, length: int) -> int:
        """First time at or after ``earliest`` with so much free time."""
        start = earliest
        for begin, end in self.busy:
            if begin >= start + length:
                break
            start = max(start, end)
        return start

    def take(self, start: int, length: int) -> None:
        if length:
            insort(self.busy, (start, start + length))


def first_schedule(shop: Shop) -> tuple[dict[str, Done], dict[str, int]]:
    """Every task with its person and start, changes of water and new mixes included; and the mix each lot goes into.

    What can begin earliest is placed next, together with what has to follow it within a window. Always succeeds;
    ``one_order`` is not kept.
    """
    return _Guess(shop).run()


class _Guess:
    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.diary = {p: _Diary() for p in shop.people}
        self.done: dict[str, Done] = {}
        self.mix_of: dict[str, int] = {}
        self.waits: dict[str, list[Wait]] = defaultdict(list)
        for wait in shop.waits:
            self.waits[wait.after].append(wait)
        self.stay_out = {s.take_out: s for s in shop.stays}
        self.stay_in = {s.put_in: s for s in shop.stays}
        self.in_bath: dict[str, list[tuple[int, int, int]]] = defaultdict(list)  # kind -> (start, end, baths)
        self.mix: dict[tuple[int, str], tuple[int, int, int]] = {}  # phase, kind -> number, pieces used, earliest dip
        self.changed: dict[str, tuple[int, int]] = {}  # person -> phase, from when

    def run(self) -> tuple[dict[str, Done], dict[str, int]]:
        for task in self.shop.tasks:
            if task.latest is not None:
                self._put(Done(task, task.people[0], task.latest))
        bundles = self._bundles()
        while bundles:
            ready = [b for b in bundles if self._may_begin(b)]
            first = min(ready, key=lambda b: (self._earliest(b[0]), bundles.index(b)))
            self._place(first)
            bundles.remove(first)
        return self.done, self.mix_of

    def _bundles(self) -> list[list[Task]]:
        """Tasks with those that follow them within a window, in the order of the shop."""
        leader: dict[str, str] = {}
        found: dict[str, list[Task]] = {}
        for task in self.shop.tasks:
            if task.id not in self.done:
                bound = next((w.before for w in self.waits[task.id] if w.most is not None), None)
                leader[task.id] = task.id if bound is None else leader[bound]
                found.setdefault(leader[task.id], []).append(task)
        return list(found.values())

    def _may_begin(self, bundle: list[Task]) -> bool:
        """Whether all that comes before has its time: earlier steps, earlier turns, and for a person earlier water."""
        names = {t.id for t in bundle}
        for task in bundle:
            if any(w.before not in self.done and w.before not in names for w in self.waits[task.id]):
                return False
            for other in self.shop.tasks:
                if other.id in self.done or other.id in names:
                    continue
                if task.turn is not None and other.turn is not None and other.turn < task.turn:
                    return False
                if task.phase is not None and other.phase is not None and other.phase < task.phase:
                    if set(task.people) & set(other.people):
                        return False
                    out = self.stay_in.get(task.id)
                    if out is not None and any(s.take_out == other.id and s.kind == out.kind for s in self.shop.stays):
                        return False
        return True

    # ---- one bundle -----------------------------------------------------------------------------------------------

    def _place(self, bundle: list[Task]) -> None:
        """Places a bundle; where a window cannot be kept, it begins that much later."""
        phase = max((t.phase for t in bundle if t.phase is not None), default=0)
        for person in dict.fromkeys(p for t in bundle for p in t.people):
            self._change(person, phase)
        delay: dict[str, int] = defaultdict(int)
        dips = [self.stay_in[t.id] for t in bundle if t.id in self.stay_in]
        ready = {s.put_in: self._bath_ready(s) for s in dips}
        while True:
            trial: dict[str, Done] = {}
            late = self._try(bundle, ready, delay, trial)
            if late is None:
                break
            delay[late[0]] = late[1]
        for done in trial.values():
            self._put(done)
        for stay in dips:
            begin, end = self.done[stay.put_in].end - stay.tail, self.done[stay.take_out].start
            self.in_bath[stay.kind].append((begin, end, min(stay.baths, self.shop.baths)))

    def _earliest(self, task: Task) -> int:
        return min(self._free(p, task, self._low(task, {}), {}) for p in task.people)

    def _low(self, task: Task, trial: dict[str, Done]) -> int:
        """Earliest start by the tasks before it."""
        low = [self.shop.start, task.earliest]
        for wait in self.waits[task.id]:
            before = trial.get(wait.before) or self.done[wait.before]
            low.append(before.end - wait.tail + wait.least)
        if task.turn is not None:
            low += [d.end for d in self.done.values() if d.task.turn is not None and d.task.turn < task.turn]
        return max(low)

    def _try(
        self, bundle: list[Task], ready: dict[str, int], delay: dict[str, int], trial: dict[str, Done]
    ) -> tuple[str, int] | None:
        """Fills ``trial``; or names a task that has to start later, and when."""
        for task in bundle:
            low = max(self._low(task, trial), delay[task.id])
            if task.id in ready:
                low = max(low, ready[task.id] + self.stay_in[task.id].tail - task.seconds)
            people, high, blame = task.people, None, ""
            for wait in self.waits[task.id]:
                before = trial.get(wait.before) or self.done[wait.before]
                if wait.most is not None:
                    high, blame = before.end - wait.tail + wait.most, wait.before
                if wait.same_person:
                    people = (before.person,)
            free = [(self._free(p, task, low, trial), p) for p in people]
            # the mounter, named last, lifts frags out if in time: the cutter has the next colony in hand
            start, person = next((f for f in reversed(free) if high is None or f[0] <= high), min(free))
            if high is not None and start > high:
                return blame, trial[blame].start + start - high
            trial[task.id] = Done(task, person, start)
            out = self.stay_out.get(task.id)
            if out is not None:
                begin = trial[out.put_in].end - out.tail
                full = self._full(out, begin, start)
                if full is not None:
                    return out.put_in, trial[out.put_in].start + full - begin
        return None

    def _free(self, person: str, task: Task, low: int, trial: dict[str, Done]) -> int:
        diary = _Diary(list(self.diary[person].busy))
        for done in trial.values():
            if done.person == person:
                diary.take(done.start, done.task.seconds)
        if task.phase is not None and person in self.changed:
            low = max(low, self.changed[person][1])
        return diary.free_from(low, task.seconds)

    def _put(self, done: Done) -> None:
        self.done[done.task.id] = done
        self.diary[done.person].take(done.start, done.task.seconds)

    # ---- baths and water ------------------------------------------------------------------------------------------

    def _full(self, stay: Stay, begin: int, end: int) -> int | None:
        """If the baths cannot take a lot over a time: when one of them next becomes free."""
        taken = self.in_bath[stay.kind]
        for moment in [begin, *(b for b, _, _ in taken if begin < b < end)]:
            held = sum(n for b, e, n in taken if b <= moment < e)
            if held + min(stay.baths, self.shop.baths) > self.shop.baths:
                return min(e for b, e, _ in taken if b <= moment < e)
        return None

    def _bath_ready(self, stay: Stay) -> int:
        """Earliest time a lot's dip may begin: earlier water's frags are out, and a fresh mix is made where one is due."""
        shop, key = self.shop, (stay.phase, stay.kind)
        pieces = min(stay.pieces, shop.mix_pieces)
        if key not in self.mix:
            self.mix[key] = 0, 0, max([shop.start, *(e for _, e, _ in self.in_bath[stay.kind])])
        number, used, earliest = self.mix[key]
        if used + pieces > shop.mix_pieces:
            number, used = number + 1, 0
            task = Task(
                mix_id(stay.phase, stay.kind, number), shop.mix_seconds, shop.mixers[stay.phase], stay.phase, counts=False
            )
            dipped = [s for s in shop.stays if s.put_in in self.mix_of and (s.phase, s.kind) == key]
            last = max(self.done[s.put_in].end - s.tail for s in dipped)
            for person in task.people:
                self._change(person, stay.phase)
            start, person = min((self._free(p, task, max(earliest, last), {}), p) for p in task.people)
            self._put(Done(task, person, start))
            earliest = start + task.seconds
        self.mix[key] = number, used + pieces, earliest
        self.mix_of[stay.put_in] = number
        return earliest

    def _change(self, person: str, phase: int) -> None:
        """A person who works on both sides of a change of water changes after the last work in the water before."""
        mine = {t.phase for t in self.shop.tasks if person in t.people and t.phase is not None}
        for later in [p for p in self.shop.phases if self.changed.get(person, (0, 0))[0] < p <= phase]:
            if min(mine) >= later or max(mine) < later:
                continue
            last = [d.end for d in self.done.values() if d.person == person and d.task.phase is not None]
            length = self.shop.changeover
            start = self.diary[person].free_from(max([self.shop.start, *last]), length)
            self._put(Done(Task(change_id(later, person), length, (person,), later, counts=False), person, start))
            self.changed[person] = later, start + length
