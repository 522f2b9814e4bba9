"""What a schedule has to respect, without a solver: tasks of people, waits between them, baths, order, breaks. Whole seconds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

DIP, MOTHER, SPREAD = 1, 2, 3
"""What a wait beyond its least costs: frags longer in a dip, a mother longer away from her tank, a lot mounted in pieces."""


@dataclass(frozen=True)
class Task:
    """Work of one person without interruption.

    ``people``: who may do it. ``phase``: place of its water system in the session, from 0; nobody goes back, and each
    change costs ``Shop.changeover``; ``None`` for work bound to no water. ``turn``: all tasks of a turn end before one of
    a later turn begins. ``earliest``, ``latest``: bounds of its start. ``counts``: whether it is part of the finish time.
    """

    id: str
    seconds: int
    people: tuple[str, ...]
    phase: int | None = None
    turn: int | None = None
    earliest: int = 0
    latest: int | None = None
    counts: bool = True


@dataclass(frozen=True)
class Wait:
    """``after`` begins at least ``least`` and at most ``most`` seconds after ``tail`` seconds before ``before`` ends.

    ``same_person``: both are done by the same one. ``cost``: ``DIP``, ``MOTHER``, ``SPREAD``, or 0.
    """

    before: str
    after: str
    least: int = 0
    most: int | None = None
    same_person: bool = False
    cost: int = 0
    tail: int = 0


@dataclass(frozen=True)
class Stay:
    """A lot in a dip from ``tail`` seconds before task ``put_in`` ends to the start of task ``take_out``.

    It holds ``baths`` baths of its kind, and its ``pieces`` wear the mix down.
    """

    kind: str
    put_in: str
    take_out: str
    baths: int
    pieces: int
    phase: int
    tail: int = 0


@dataclass(frozen=True)
class Shop:
    """A session as a small shop.

    ``baths`` side by side of each kind; after ``mix_pieces`` pieces of a phase they are all mixed anew by one of
    ``mixers`` of that phase (``mix_seconds``). ``start``: when work can begin (set-up done). ``one_order``: jobs, each a
    tuple of task ids, that every station serves in the same order. Tasks and stays come in an order the turns allow.
    """

    tasks: tuple[Task, ...]
    waits: tuple[Wait, ...] = ()
    stays: tuple[Stay, ...] = ()
    baths: int = 1
    mix_pieces: int = 10**6
    mix_seconds: int = 0
    mixers: dict[int, tuple[str, ...]] = field(default_factory=dict)
    changeover: int = 0
    start: int = 0
    one_order: tuple[tuple[str, ...], ...] = ()

    @property
    def people(self) -> tuple[str, ...]:
        """Everybody who may do something."""
        return tuple(dict.fromkeys(p for t in self.tasks for p in t.people))

    @property
    def phases(self) -> tuple[int, ...]:
        """Phases in order."""
        return tuple(sorted({t.phase for t in self.tasks if t.phase is not None}))

    @property
    def horizon(self) -> int:
        """A time by which everything could be done one after the other."""
        work = sum(t.seconds for t in self.tasks) + sum(w.least for w in self.waits)
        pauses = (len(self.phases) + 1) * self.changeover + sum(self.mixes(s) for s in self.bath_groups()) * self.mix_seconds
        last = max((t.latest or t.earliest) + t.seconds for t in self.tasks)
        return self.start + work + pauses + last

    def bath_groups(self) -> tuple[tuple[Stay, ...], ...]:
        """Stays of one kind of dip and phase, in order of phase."""
        found: dict[tuple[int, str], list[Stay]] = defaultdict(list)
        for stay in self.stays:
            found[stay.phase, stay.kind].append(stay)
        return tuple(tuple(found[key]) for key in sorted(found))

    def mixes(self, stays: Sequence[Stay]) -> int:
        """Mixes for stays of one dip and phase taken in their order."""
        count, left = 0, 0
        for stay in stays:
            pieces = min(stay.pieces, self.mix_pieces)
            if pieces > left:
                count, left = count + 1, self.mix_pieces
            left -= pieces
        return count


def change_id(phase: int, person: str) -> str:
    """Id of a person's change to the water of a phase."""
    return f"change {phase} {person}"


def mix_id(phase: int, kind: str, number: int) -> str:
    """Id of mixing a dip anew for the ``number``-th time (from 1) in the water of a phase."""
    return f"mix {phase} {number} {kind}"


@dataclass(frozen=True)
class Done:
    """A task with its start, end and person."""

    task: Task
    person: str
    start: int

    @property
    def end(self) -> int:
        """When it ends."""
        return self.start + self.task.seconds
