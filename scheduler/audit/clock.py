"""S6: the clock times of bench sessions, and plugs that have to stand in water first."""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import date, datetime, timedelta
from itertools import pairwise

from scheduler.audit.context import Context
from scheduler.farm.bench import RouteStep
from scheduler.farm.people import BenchSession
from scheduler.farm.standard import labels_of, standard
from scheduler.farm.units import seconds
from scheduler.farm.work import condition_days, plugs_ready, session_end, sessions_in
from scheduler.plan.model import BenchTask, Cut


def check_clock(ctx: Context) -> None:
    """Every session of the near weeks that has clock times; a plan without any is not faulted for it."""
    tasks: dict[str, list[BenchTask]] = defaultdict(list)
    for task in ctx.plan.bench:
        tasks[task.session].append(task)
    sessions = {s.id: s for w in ctx.weeks.near_weeks for s in sessions_in(ctx.farm, w)}
    for name in tasks:
        if name not in sessions:
            ctx.add("S6", (name,), f"clock times for {name}, which is no session of the near weeks")
    for name, session in sessions.items():
        if tasks[name]:
            _Session(ctx, session, tasks[name]).check()
    _plugs(ctx)


def _plugs(ctx: Context) -> None:
    """Kinds of plugs that must stand in water first: by no day are more used than have stood long enough."""
    used: dict[str, dict[date, int]] = defaultdict(lambda: defaultdict(int))
    for week in ctx.weeks.near_weeks:
        for session in sessions_in(ctx.farm, week):
            for cut in ctx.cuts_by_week[week]:
                kind = ctx.farm.traits(cut.strain).plug_kind
                if cut.session == session.id and condition_days(ctx.farm, kind):
                    used[kind][session.day] += cut.pieces
    for kind, by_day in used.items():
        total = 0
        for day in sorted(by_day):
            total += by_day[day]
            ready = plugs_ready(ctx.farm, kind, day)
            if ready is not None and total > ready:
                ctx.add(
                    "S6", (kind, str(day)), f"{total} {kind} plugs are used by {day}; {ready} have stood in water long enough"
                )


class _Session:
    def __init__(self, ctx: Context, session: BenchSession, tasks: list[BenchTask]) -> None:
        self.ctx, self.farm, self.session = ctx, ctx.farm, session
        self.tasks = sorted(tasks, key=lambda t: (t.start, t.end))
        cuts = [c for c in ctx.cuts_by_week[session.week] if c.session == session.id]
        self.cuts = {c.lot: c for c in sorted(cuts, key=lambda c: (c.run_order or 0, c.lot))}

    def fault(self, things: tuple[str, ...], text: str) -> None:
        self.ctx.add("S6", (self.session.id, *things), f"{self.session.id}: {text}")

    def check(self) -> None:
        known = self._known()
        if not known:
            return
        self._inside()
        self._one_thing_at_a_time()
        for cut in self.cuts.values():
            self._lot(cut)
        self._run_order()
        self._baths()
        self._mixes()
        self._water()
        self._breaks()
        self._putty()
        self._clock()

    def _clock(self) -> None:
        """The clock says when the last work on a lot ends."""
        ends = max((t.end for t in self.tasks if t.lot is not None and t.person is not None), default=None)
        for clock in self.ctx.plan.clocks:
            if clock.session == self.session.id and ends is not None and clock.finish != ends:
                self.fault((), f"the clock says done at {clock.finish:%H:%M:%S}; the last work ends {ends:%H:%M:%S}")

    def of(self, lot: str, step: str) -> list[BenchTask]:
        """Tasks of a lot that hold a step, by time."""
        return [t for t in self.tasks if t.lot == lot and step in t.steps]

    def _known(self) -> bool:
        before = len(self.ctx.breaches)
        for task in self.tasks:
            if task.lot is not None and task.lot not in self.cuts:
                self.fault((task.lot,), f"clock times for lot {task.lot}, which is not cut in it")
            if task.person is not None and task.person not in self.session.people:
                self.fault((task.person,), f"clock times for {task.person}, who is not in it")
            if task.end < task.start:
                self.fault((task.lot or task.person or "",), f"{'/'.join(task.steps)} ends {task.end:%H:%M:%S}, before it begins")
        return len(self.ctx.breaches) == before

    # ---- people ---------------------------------------------------------------------------------------------------

    def _inside(self) -> None:
        """Work lies between set-up and clean-down."""
        s = self.farm.settings
        begin = datetime.combine(self.session.day, self.session.start)
        first = begin + timedelta(minutes=s.session_minutes * s.setup_share)
        last = session_end(self.session) - timedelta(minutes=s.session_minutes * (1 - s.setup_share))
        for task in self.tasks:
            if task.steps == ("break",):
                continue
            if task.start < first - _SECOND:
                self.fault(
                    (task.lot or "",), f"{'/'.join(task.steps)} begins {task.start:%H:%M:%S}; set-up ends {first:%H:%M:%S}"
                )
            if task.end > last + _SECOND:
                self.fault(
                    (task.lot or "",), f"{'/'.join(task.steps)} ends {task.end:%H:%M:%S}; clean-down begins {last:%H:%M:%S}"
                )

    def _one_thing_at_a_time(self) -> None:
        for person in self.session.people:
            mine = [t for t in self.tasks if t.person == person and t.end > t.start]
            for a, b in pairwise(mine):
                if b.start < a.end:
                    self.fault(
                        (person,),
                        f"{person} has {'/'.join(a.steps)} to {a.end:%H:%M:%S} and {'/'.join(b.steps)} from {b.start:%H:%M:%S}",
                    )

    def _breaks(self) -> None:
        """Nobody works longer than ``break_after_minutes`` from the start of the session or the last break on."""
        s = self.farm.settings
        if not s.break_minutes:
            return
        longest = timedelta(minutes=s.break_after_minutes)
        for person in self.session.people:
            since = datetime.combine(self.session.day, self.session.start)
            for task in (t for t in self.tasks if t.person == person):
                if task.steps == ("break",):
                    if task.end - task.start < timedelta(minutes=s.break_minutes) - _SECOND:
                        self.fault(
                            (person,), f"{person}'s break at {task.start:%H:%M} is shorter than {s.break_minutes:g} minutes"
                        )
                    self._worked(person, since, task.start, longest)
                    since = task.end
                else:
                    self._worked(person, since, task.end, longest)

    def _worked(self, person: str, since: datetime, until: datetime, longest: timedelta) -> None:
        if until - since > longest + _SECOND:
            minutes = (until - since).total_seconds() / 60
            limit = longest.total_seconds() / 60
            self.fault((person,), f"{person} works {minutes:.0f} minutes without a break by {until:%H:%M}; at most {limit:g}")

    # ---- one lot --------------------------------------------------------------------------------------------------

    def _lot(self, cut: Cut) -> None:
        """Steps complete, long enough, in order, by the right people; dips within their windows."""
        traits = self.farm.traits(cut.strain)
        route = self.farm.route(self.farm.strain[cut.strain].group)
        on_rock = self.farm.colony[cut.colony].on_rock
        dips = traits.dip != "none" and any(r.step == "dip" for r in route)
        mother = dips and not on_rock and traits.dip_minutes_mother > 0
        frags = dips and traits.dip_minutes_frags > 0
        steps = [r for r in route if r.step not in ("label", "dip")]
        for row in steps:
            self._step(cut, row)
        self._minutes(cut, on_rock)
        main = [
            r.step for r in route if r.step != "label" and (r.step != "dip" or frags) and (r.step != "mother back" or not mother)
        ]
        for a, b in pairwise(main):
            first, then = self.of(cut.lot, a), self.of(cut.lot, b)
            if first and then and first[-1] is not then[0] and then[0].start < first[-1].end and not self._shared(first, then):
                self.fault(
                    (cut.lot,), f"lot {cut.lot}: {b} begins {then[0].start:%H:%M:%S}, before {a} ends {first[-1].end:%H:%M:%S}"
                )
        if frags:
            rounds = math.ceil(cut.pieces / (self.farm.settings.baths * self.farm.settings.bath_pieces))
            least, slack = traits.dip_minutes_frags * rounds, traits.dip_slack_frags * rounds
            at = main.index("dip")
            self._window(cut, "dip", main[at - 1] if at else "", main[at + 1] if at + 1 < len(main) else "rinse", least, slack)
        if mother:
            self._window(cut, "mother dip", "cut", "mother back", traits.dip_minutes_mother, traits.dip_slack_mother)
        self._soak(cut, [r.step for r in route])

    @staticmethod
    def _shared(first: list[BenchTask], then: list[BenchTask]) -> bool:
        """Steps done in one go, batch by batch."""
        return [id(t) for t in first] == [id(t) for t in then]

    def _step(self, cut: Cut, row: RouteStep) -> None:
        tasks = self.of(cut.lot, row.step)
        if not tasks:
            self.fault((cut.lot,), f"lot {cut.lot} has no time for {row.step}")
            return
        done = sum(t.pieces or 0 for t in tasks)
        if row.step == "mount" and done != cut.pieces:
            self.fault((cut.lot,), f"lot {cut.lot}: {done} pieces are mounted; it has {cut.pieces}")
        able = {"cutter": {cut.cutter}, "mounter": {cut.mounter}, "either": {cut.cutter, cut.mounter}}[row.worker]
        for task in tasks:
            if task.person not in able:
                who = " or ".join(sorted(str(p) for p in able))
                self.fault((cut.lot,), f"lot {cut.lot}: {row.step} by {task.person}; it falls to {who}")

    def _minutes(self, cut: Cut, on_rock: bool) -> None:
        """Every task takes at least the standard minutes of its steps."""
        minutes = standard(self.farm, cut.strain, on_rock)
        rows: dict[str, RouteStep] = {r.step: r for r in self.farm.route(self.farm.strain[cut.strain].group)}
        for task in self.tasks:
            if task.lot != cut.lot or task.person is None:
                continue
            part = 1.0 if task.pieces is None or "label" in task.steps else task.pieces / cut.pieces
            need = 0.0
            for step in task.steps:
                row = rows.get(step)
                if row is not None:
                    tags = task.pieces or 0 if step == "label" else 0
                    need += float(minutes.step(row, 0 if step == "label" else cut.pieces, tags)) * part
            if (task.end - task.start).total_seconds() < need * 60 - 1:
                took = (task.end - task.start).total_seconds() / 60
                self.fault((cut.lot,), f"lot {cut.lot}: {'/'.join(task.steps)} in {took:.2f} minutes; standard is {need:.2f}")

    def _window(self, cut: Cut, what: str, before: str, after: str, least: float, slack: float) -> None:
        stays = self.of(cut.lot, what)
        if len(stays) != 1:
            self.fault((cut.lot,), f"lot {cut.lot}: {len(stays)} times for {what}; 1 is needed")
            return
        stay, put, out = stays[0], self.of(cut.lot, before), self.of(cut.lot, after)
        minutes = (stay.end - stay.start).total_seconds() / 60
        if not least - 1 / 60 <= minutes <= least + slack + 1 / 60:
            self.fault((cut.lot,), f"lot {cut.lot}: {what} of {minutes:.2f} minutes; {least:g} to {least + slack:g}")
        if put and put[-1].end != stay.start:
            self.fault(
                (cut.lot,), f"lot {cut.lot}: {what} begins {stay.start:%H:%M:%S}, not when {before} ends {put[-1].end:%H:%M:%S}"
            )
        if out and out[0].start != stay.end:
            self.fault(
                (cut.lot,), f"lot {cut.lot}: {what} ends {stay.end:%H:%M:%S}, not when {after} begins {out[0].start:%H:%M:%S}"
            )

    def _soak(self, cut: Cut, route: list[str]) -> None:
        """Labels written in the session: all of them, and the plugs soak before mounting."""
        s = self.farm.settings
        if (
            s.labels_written == "before"
            or "label" not in route
            or condition_days(self.farm, self.farm.traits(cut.strain).plug_kind)
        ):
            return
        labels, mount = self.of(cut.lot, "label"), self.of(cut.lot, "mount")
        blocks = len(next((x.blocks for x in self.ctx.plan.stands if x.lot == cut.lot and x.week == cut.week), ()))
        if sum(t.pieces or 0 for t in labels) < labels_of(self.farm, cut.pieces, blocks):
            self.fault((cut.lot,), f"lot {cut.lot}: not all labels are written")
        elif mount and mount[0].start < labels[-1].end + timedelta(minutes=s.soak_minutes) - _SECOND:
            self.fault((cut.lot,), f"lot {cut.lot}: plugs soak less than {s.soak_minutes:g} minutes before mounting")

    # ---- order, baths, water --------------------------------------------------------------------------------------

    def _run_order(self) -> None:
        """Colonies are cut in the run order; toxic and slimy ones wait until the others of their part are cut."""
        at = {lot: self.of(lot, "cut") for lot in self.cuts}
        order = sorted((lot for lot in at if at[lot]), key=lambda lot: (at[lot][0].start, self.cuts[lot].run_order or 0))
        if order != [lot for lot in self.cuts if at[lot]]:
            self.fault(tuple(order), f"colonies are cut in the order {', '.join(order)}; the run order is {', '.join(self.cuts)}")
        for a in order:
            for b in order:
                if self._turn(a) < self._turn(b) and at[b][0].start < at[a][-1].end:
                    self.fault(
                        (a, b), f"lot {b} is cut from {at[b][0].start:%H:%M:%S}, before lot {a} is done {at[a][-1].end:%H:%M:%S}"
                    )

    def _turn(self, lot: str) -> tuple[int, bool, bool]:
        """Systems in the order they are first worked; toxic after others, slimy after stony."""
        traits = self.farm.traits(self.cuts[lot].strain)
        return self._system_at[self._system(lot)], traits.toxic, traits.slimy

    @property
    def _system_at(self) -> dict[str, int]:
        return {name: i for i, name in enumerate(dict.fromkeys(self._system(lot) for lot in self.cuts))}

    def _system(self, lot: str) -> str:
        return self.ctx.home_of(self.cuts[lot].colony)

    def _baths(self) -> None:
        """Never more lots in a dip than there are baths, nor two waters at once."""
        s = self.farm.settings
        dips = [t for t in self.tasks if t.steps == ("dip",) and t.lot is not None]
        for task in dips:
            kind = self._dip(task)
            now = [t for t in dips if t.start <= task.start < t.end and self._dip(t) == kind]
            held = sum(min(s.baths, math.ceil(self.cuts[str(t.lot)].pieces / s.bath_pieces)) for t in now)
            if held > s.baths:
                self.fault((str(task.lot),), f"{held} baths of {kind} at {task.start:%H:%M:%S}; there are {s.baths}")
            waters = {self._system(str(t.lot)) for t in now}
            if len(waters) > 1:
                self.fault((str(task.lot),), f"frags of {' and '.join(sorted(waters))} in {kind} at {task.start:%H:%M:%S}")

    def _dip(self, task: BenchTask) -> str:
        return self.farm.traits(self.cuts[str(task.lot)].strain).dip

    def _mixes(self) -> None:
        """A mix serves so many pieces (or one larger lot); each further one takes its time first."""
        s = self.farm.settings
        mixes: dict[tuple[str, str], dict[int, list[BenchTask]]] = defaultdict(lambda: defaultdict(list))
        for task in self.tasks:
            if task.steps == ("dip",) and task.lot is not None:
                mixes[self._system(task.lot), self._dip(task)][task.mix or 1].append(task)
        fresh = [t for t in self.tasks if t.steps == ("new baths",)]
        for (system, dip), by_number in mixes.items():
            for number, dips in by_number.items():
                pieces = sum(self.cuts[str(t.lot)].pieces for t in dips)
                if pieces > s.mix_pieces and len(dips) > 1:
                    self.fault((dip,), f"{pieces} pieces in mix {number} of {dip} ({system}); it serves {s.mix_pieces}")
                made = [t for t in fresh if t.end <= min(d.start for d in dips) + _SECOND]
                if len(made) < number - 1:
                    self.fault((dip,), f"mix {number} of {dip} ({system}) is used before it is made")
        for task in fresh:
            if (task.end - task.start).total_seconds() < seconds(s.mix_minutes):
                self.fault((task.person or "",), f"new baths at {task.start:%H:%M} take less than {s.mix_minutes:g} minutes")

    def _water(self) -> None:
        """Nobody goes back to an earlier system; a change takes its minutes."""
        change = timedelta(minutes=self.farm.settings.changeover_minutes)
        for person in self.session.people:
            wet = [t for t in self.tasks if t.person == person and t.lot is not None and t.steps != ("label",)]
            for a, b in pairwise(wet):
                one, two = self._system(str(a.lot)), self._system(str(b.lot))
                if self._system_at[two] < self._system_at[one]:
                    self.fault((person, str(b.lot)), f"{person} goes back to {two} after {one} at {b.start:%H:%M:%S}")
                elif one != two and not any(
                    t.person == person and t.steps == ("change of water",) and t.start >= a.end and t.end <= b.start
                    and t.end - t.start >= change - _SECOND
                    for t in self.tasks
                ):  # fmt: skip
                    self.fault((person, str(b.lot)), f"{person} comes to {two} at {b.start:%H:%M:%S} without a change of water")

    def _putty(self) -> None:
        """Pieces set in putty: one kneading covers so many, for so long, in one pair of hands."""
        s = self.farm.settings
        batches: dict[int, list[BenchTask]] = defaultdict(list)
        for task in self.tasks:
            if "mount" in task.steps and task.lot is not None and self.farm.traits(self.cuts[task.lot].strain).uses_putty:
                if task.kneading is None:
                    self.fault((task.lot,), f"lot {task.lot} is mounted at {task.start:%H:%M} without a kneading of putty")
                else:
                    batches[task.kneading].append(task)
        for number, tasks in batches.items():
            pieces = sum(t.pieces or 0 for t in tasks)
            lasts = (max(t.end for t in tasks) - tasks[0].start).total_seconds() / 60
            if len({t.person for t in tasks}) > 1:
                self.fault((str(number),), f"kneading {number} is used by more than one person")
            if pieces > s.kneading_pieces:
                self.fault((str(number),), f"kneading {number} covers {pieces} pieces; at most {s.kneading_pieces}")
            if pieces > 1 and lasts > s.putty_set_minutes + 1 / 60:
                self.fault(
                    (str(number),), f"kneading {number} is worked for {lasts:.2f} minutes; it sets in {s.putty_set_minutes:g}"
                )


_SECOND = timedelta(seconds=1)
