"""A session's cuts as a small shop: tasks, waits, dips and breaks from routes, traits and settings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import pairwise

from scheduler.bench.dose import NO_DIP
from scheduler.bench.shop import DIP, MOTHER, SPREAD, Shop, Stay, Task, Wait
from scheduler.farm.bench import RouteStep
from scheduler.farm.coral import Traits
from scheduler.farm.farm import Farm
from scheduler.farm.people import BenchSession
from scheduler.farm.standard import Standard, labels_of, standard
from scheduler.farm.units import seconds
from scheduler.farm.work import condition_days
from scheduler.plan.model import Cut


@dataclass(frozen=True)
class Work:
    """What a task of the shop is: steps on so many pieces of a lot.

    ``mother_dip`` and ``mother_back``: seconds at its end in which the cutter waits beside the mother's dip and puts her back.
    """

    lot: str | None
    steps: tuple[str, ...]
    pieces: int | None = None
    putty: bool = False
    mother_dip: int = 0
    mother_back: int = 0

    @property
    def tail(self) -> int:
        """Seconds from the end of the steps to the end of the task."""
        return self.mother_dip + self.mother_back


def order_key(farm: Farm, week: int, cuts: Sequence[Cut], cut: Cut) -> tuple[bool, int, int, str, bool, bool]:
    """S3, S4: clean systems by health rank, quarantine after; toxic corals last in a part; slimy ones after the others."""
    system = farm.system_of_tank(farm.colony[cut.colony].tank)
    here = {farm.traits(c.strain).toxic for c in cuts if farm.system_of_tank(farm.colony[c.colony].tank) == system}
    toxic_part = {frozenset({False}): 0, frozenset({True, False}): 1, frozenset({True}): 2}[frozenset(here)]
    traits = farm.traits(cut.strain)
    rank = farm.system[system].health_rank
    return farm.in_quarantine(system, week), rank, toxic_part, system, traits.toxic, traits.slimy


@dataclass
class _Builder:
    farm: Farm
    session: BenchSession
    cuts: Sequence[Cut]
    blocks: Mapping[str, int]
    tasks: list[Task] = field(default_factory=list)
    waits: list[Wait] = field(default_factory=list)
    stays: list[Stay] = field(default_factory=list)
    work: dict[str, Work] = field(default_factory=dict)

    def build(self) -> Shop:
        s = self.farm.settings
        keys = {c.lot: order_key(self.farm, self.session.week, self.cuts, c) for c in self.cuts}
        turns = {key: i for i, key in enumerate(sorted(set(keys.values())))}
        systems = {name: i for i, name in enumerate(dict.fromkeys(key[3] for key in turns))}
        mixers: dict[int, tuple[str, ...]] = {}
        for cut in sorted(self.cuts, key=lambda c: (turns[keys[c.lot]], self._by_lag(c))):
            phase = systems[keys[cut.lot][3]]
            self._lot(cut, phase, turns[keys[cut.lot]])
            mixers[phase] = tuple(dict.fromkeys((*mixers.get(phase, ()), str(cut.cutter))))
        self._breaks()
        return Shop(
            tasks=tuple(self.tasks), waits=tuple(self.waits), stays=tuple(self.stays), baths=s.baths, mix_pieces=s.mix_pieces,
            mix_seconds=seconds(s.mix_minutes), mixers=mixers, changeover=seconds(s.changeover_minutes),
            start=seconds(s.session_minutes * s.setup_share),
        )  # fmt: skip

    def _by_lag(self, cut: Cut) -> tuple[bool, float, str]:
        """A good order to begin with: Mitten's rule, cutting and mounting with the dip as a lag between them."""
        minutes = standard(self.farm, cut.strain, self.farm.colony[cut.colony].on_rock)
        cutting, mounting = float(minutes.cutter(cut.pieces)), float(minutes.mount * cut.pieces)
        lag = self.farm.traits(cut.strain).dip_minutes_frags
        last = cutting > mounting
        return last, -(lag + mounting) if last else cutting + lag, cut.lot

    # ---- one colony -----------------------------------------------------------------------------------------------

    def _lot(self, cut: Cut, phase: int, turn: int) -> None:
        farm, lot = self.farm, cut.lot
        traits, route = farm.traits(cut.strain), farm.route(farm.strain[cut.strain].group)
        on_rock = farm.colony[cut.colony].on_rock
        minutes = standard(farm, cut.strain, on_rock)
        mother_dips = not on_rock and self._dips(route, traits) and traits.dip_minutes_mother > 0
        frags_dip = self._dips(route, traits) and traits.dip_minutes_frags > 0
        before: str | None = None
        dip_next = False
        for number, run in enumerate(_runs(route, keep_mother=not mother_dips)):
            if run == ():
                dip_next = frags_dip
                continue
            cutting = any(row.step == "cut" for row in run)
            ids = self._run(cut, traits, minutes, run, f"{lot}/{number}", phase, turn if cutting else None)
            if cutting and mother_dips:
                self._mother(cut, traits, minutes, route, ids[-1], phase)
            if before is not None:
                self._follow(traits, cut, before, ids[0], phase, dip_next)
            before, dip_next = ids[-1], False
            if any(row.step == "mount" for row in run):
                self._labels(cut, traits, minutes, route, ids[0])
        if dip_next and before is not None:  # nothing follows the dip in the route: the frags are still lifted out
            self._add(f"{lot}/out", Work(lot, ("rinse",), cut.pieces), 0, (str(cut.cutter),), phase)
            self._follow(traits, cut, before, f"{lot}/out", phase, True)

    @staticmethod
    def _dips(route: Sequence[RouteStep], traits: Traits) -> bool:
        return traits.dip != NO_DIP and any(row.step == "dip" for row in route)

    def _add(
        self, name: str, work: Work, length: int, people: tuple[str, ...], phase: int | None, turn: int | None = None
    ) -> None:
        self.tasks.append(Task(name, length, people, phase, turn))
        self.work[name] = work

    def _run(
        self, cut: Cut, traits: Traits, minutes: Standard, run: Sequence[RouteStep], name: str, phase: int, turn: int | None
    ) -> list[str]:
        """Consecutive steps of one worker: one task, or batches where frags are mounted."""
        worker = run[0].worker
        who = {"cutter": (cut.cutter,), "mounter": (cut.mounter,), "either": (cut.cutter, cut.mounter)}[worker]
        people = tuple(dict.fromkeys(str(p) for p in who))
        steps = tuple(row.step for row in run)
        mounting = "mount" in steps
        sizes = self._batches(traits, minutes, run, cut.pieces) if mounting else [cut.pieces]
        ids = []
        for i, pieces in enumerate(sizes):
            share = Decimal(pieces) / cut.pieces
            length = sum(seconds(minutes.step(row, cut.pieces, 0) * share) for row in run)
            ids.append(f"{name}/{i}")
            self._add(ids[-1], Work(cut.lot, steps, pieces, mounting and traits.uses_putty), length, people, phase, turn)
        self.waits += [Wait(a, b, same_person=worker == "either", cost=SPREAD) for a, b in pairwise(ids)]
        return ids

    def _batches(self, traits: Traits, minutes: Standard, run: Sequence[RouteStep], pieces: int) -> list[int]:
        """Pieces of each stretch of mounting: with putty what one kneading covers while it is soft, evenly shared."""
        s = self.farm.settings
        each = float(sum(minutes.step(row, pieces, 0) for row in run)) / pieces
        longest = s.putty_set_minutes if traits.uses_putty else s.batch_minutes
        most = max(1, math.floor(longest / each + 1e-9)) if each else pieces
        if traits.uses_putty:
            most = min(most, s.kneading_pieces)
        count = math.ceil(pieces / most)
        return [pieces // count + (i < pieces % count) for i in range(count)]

    def _follow(self, traits: Traits, cut: Cut, before: str, after: str, phase: int, dip: bool) -> None:
        """The next run of steps, at once or out of the dip within its window."""
        tail = self.work[before].tail
        if not dip:
            self.waits.append(Wait(before, after, tail=tail))
            return
        s = self.farm.settings
        rounds = math.ceil(cut.pieces / (s.baths * s.bath_pieces))
        least, slack = seconds(traits.dip_minutes_frags) * rounds, seconds(traits.dip_slack_frags) * rounds
        self.waits.append(Wait(before, after, least, least + slack, cost=DIP, tail=tail))
        baths = min(s.baths, math.ceil(cut.pieces / s.bath_pieces))
        self.stays.append(Stay(traits.dip, before, after, baths, cut.pieces, phase, tail))

    def _mother(self, cut: Cut, traits: Traits, minutes: Standard, route: Sequence[RouteStep], cutting: str, phase: int) -> None:
        """The mother, out of her own shorter dip and back to her tank: the cutter stands by, or comes back for a longer dip."""
        row = next((row for row in route if row.step == "mother back"), None)
        length = seconds(minutes.step(row, cut.pieces, 0)) if row is not None else 0
        worker = row.worker if row is not None else "cutter"
        least, slack = seconds(traits.dip_minutes_mother), seconds(traits.dip_slack_mother)
        if worker == "cutter" and traits.dip_minutes_mother <= self.farm.settings.stand_by_minutes:
            self.work[cutting] = replace(self.work[cutting], mother_dip=least, mother_back=length)
            self.tasks = [replace(t, seconds=t.seconds + least + length) if t.id == cutting else t for t in self.tasks]
            return
        name, both = f"{cut.lot}/mother", (cut.cutter, cut.mounter)
        who = {"cutter": both[:1], "mounter": both[1:], "either": both}[worker]
        self._add(name, Work(cut.lot, ("mother back",)), length, tuple(dict.fromkeys(str(p) for p in who)), phase)
        self.waits.append(Wait(cutting, name, least, least + slack, cost=MOTHER))

    def _labels(self, cut: Cut, traits: Traits, minutes: Standard, route: Sequence[RouteStep], mount: str) -> None:
        """Labels written in the session, then the plugs soak; conditioned plugs were labelled before they went into water."""
        s = self.farm.settings
        row = next((row for row in route if row.step == "label"), None)
        if row is None or s.labels_written == "before" or condition_days(self.farm, traits.plug_kind):
            return
        name, tags = f"{cut.lot}/label", labels_of(self.farm, cut.pieces, self.blocks.get(cut.lot, 1))
        worker = str(cut.cutter if row.worker == "cutter" else cut.mounter)
        self._add(name, Work(cut.lot, ("label",), tags), seconds(minutes.step(row, 0, tags)), (worker,), None)
        self.waits.append(Wait(name, mount, seconds(s.soak_minutes)))

    # ---- breaks ---------------------------------------------------------------------------------------------------

    def _breaks(self) -> None:
        """Nobody works longer than ``break_after_minutes`` without a break."""
        for person in dict.fromkeys(p for t in self.tasks for p in t.people):
            previous = ""
            for number, (earliest, latest) in enumerate(break_windows(self.farm, self.session), 1):
                name = f"break {number} {person}"
                length = seconds(self.farm.settings.break_minutes)
                self.tasks.append(Task(name, length, (person,), earliest=earliest, latest=latest, counts=False))
                self.work[name] = Work(None, ("break",))
                if previous:
                    self.waits.append(Wait(previous, name, most=seconds(self.farm.settings.break_after_minutes)))
                previous = name


def _runs(route: Sequence[RouteStep], *, keep_mother: bool) -> Iterator[tuple[RouteStep, ...]]:
    """Consecutive steps of one worker; an empty run stands for the dip. Labels, and a mother who dips, go their own way."""
    run: list[RouteStep] = []
    for row in route:
        if row.step == "label" or (row.step == "mother back" and not keep_mother):
            continue
        if run and (row.step == "dip" or row.worker != run[0].worker):
            yield tuple(run)
            run = []
        if row.step == "dip":
            yield ()
        else:
            run.append(row)
    if run:
        yield tuple(run)


def break_windows(farm: Farm, session: BenchSession) -> tuple[tuple[int, int], ...]:
    """Earliest and latest start of each break of a session, seconds from its start."""
    s = farm.settings
    if s.break_minutes == 0:
        return ()
    after, rest = s.break_after_minutes, s.break_minutes
    count = max(0, math.ceil((session.minutes - after) / (after + rest)))
    found = []
    for i in range(1, count + 1):
        latest = i * after + (i - 1) * rest
        earliest = session.minutes - (count - i + 1) * (after + rest)
        found.append((seconds(max(0.0, earliest)), seconds(latest)))
    return tuple(found)


def session_shop(
    farm: Farm, session: BenchSession, cuts: Sequence[Cut], blocks: Mapping[str, int]
) -> tuple[Shop, dict[str, Work]]:
    """The shop of a session and what each of its tasks is. ``blocks``: blocks each lot stands in (1 where not named)."""
    builder = _Builder(farm, session, cuts, blocks)
    return builder.build(), builder.work
