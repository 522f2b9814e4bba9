"""Moves and cuts of a week, as they really go: the crew sees a mother's true size, pieces break, time runs out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from scheduler.farm.blocks import Block
from scheduler.farm.counts import PastCut
from scheduler.farm.farm import Farm
from scheduler.farm.people import BenchSession
from scheduler.farm.standard import standard
from scheduler.farm.work import sessions_in
from scheduler.plan.model import Cut, Plan, Stand
from scheduler.replay.chance import stream
from scheduler.replay.places import fitting, held_on, settle
from scheduler.replay.state import Frags, Mother
from scheduler.replay.world import World

ZoneLight = Mapping[str, tuple[str, float]]
"""Light zone -> (tank, mean PAR): where a lot stands that a plan gives no rack."""


@dataclass
class Clock:
    """Minutes worked by each person of a session, and how many there are."""

    most: float
    used: dict[str, float]

    def left(self, person: str) -> float:
        """Minutes somebody still has."""
        return self.most - self.used.get(person, 0.0)

    def work(self, person: str, minutes: float) -> None:
        """Use minutes."""
        self.used[person] = self.used.get(person, 0.0) + minutes


class Bench:
    """The moves and cuts of one week of a plan. ``plan_week`` is that week in the plan's own numbering."""

    def __init__(self, world: World, farm: Farm, plan: Plan, plan_week: int, light: ZoneLight) -> None:
        self.world, self.farm, self.truth, self.light = world, farm, world.truth, light
        self.plan_week = plan_week
        self.cuts = [c for c in plan.cuts if c.week == plan_week]
        self.stands = {s.lot: s for s in plan.stands if s.week == plan_week}

    def work(self) -> None:
        """Moves first, then the sessions in order of time; cuts of weeks without sessions in the plan's order."""
        self._moves()
        sessions = {s.id: s for s in sessions_in(self.farm, self.plan_week)}
        by_session: dict[str | None, list[Cut]] = defaultdict(list)
        for cut in self.cuts:
            by_session[cut.session].append(cut)
        for name, session in sessions.items():
            if by_session[name]:
                self._session(session, sorted(by_session[name], key=lambda c: (c.run_order or 0, c.lot)))
        for cut in by_session[None]:
            self._cut(cut, self.world.monday() + timedelta(days=1), None)

    # ---- moves ----------------------------------------------------------------------------------------------------

    def _moves(self) -> None:
        s = self.farm.settings
        fresh = {c.lot for c in self.cuts}
        for name, stand in self.stands.items():
            lot = self.world.lots.get(name)
            if lot is None or name in fresh or self.world.on_hold(self.farm.tank[lot.tank].system):
                continue
            if stand.rack is not None:
                held = held_on(self.world, self.farm, stand.rack, but=lot)
                blocks = fitting(stand.blocks, self.farm.traits(lot.strain), held)
                if sum(b.plugs for b in blocks) < lot.recorded:
                    self.world.tally.add("moves put off")
                    continue
            self._put(lot, stand)
            lot.moved_date = self.world.monday()
            self.world.tally.work("moves", s.move_lot_minutes + s.move_frag_minutes * lot.recorded)
            self.world.tally.add("moves")

    def _put(self, lot: Frags, stand: Stand) -> None:
        if stand.rack is not None:
            lot.rack, lot.blocks, lot.tank, lot.par = stand.rack, stand.blocks, self.farm.rack[stand.rack].tank, None
        else:
            lot.tank, lot.par = self.light[stand.zone]
            lot.rack, lot.blocks = None, ()

    # ---- cuts -----------------------------------------------------------------------------------------------------

    def _session(self, session: BenchSession, cuts: Sequence[Cut]) -> None:
        s, tally = self.farm.settings, self.world.tally
        systems = {self.farm.system_of_tank(self.farm.colony[c.colony].tank) for c in cuts}
        changes = (len(systems) - 1) * s.changeover_minutes
        clock = Clock(session.minutes - s.session_minutes - changes, {})
        done = [self._cut(cut, session.day, clock) for cut in cuts]
        if any(done):
            tally.work("sessions", s.session_minutes + changes)
            self._supplies("session", None, 1)

    def _cut(self, cut: Cut, day: date, clock: Clock | None) -> bool:
        """One colony at the bench; True if it was cut."""
        world, mother = self.world, self.world.mothers.get(cut.colony)
        world.tally.add("cuts planned")
        if mother is None or world.on_hold(self.farm.tank[mother.row.tank].system):
            world.tally.add("cuts not possible")
            return False
        traits, stand = self.farm.traits(cut.strain), self.stands[cut.lot]
        size = mother.units / traits.unit_per_piece
        may = min(cut.pieces, int(traits.max_share * size), int(size - traits.keep_pieces))
        if may < cut.pieces:
            world.tally.add("cuts stopped at keep")
        rack, blocks = (None, ()) if stand.rack is None else self._settle(cut, stand, mother, day)
        pieces = min(may, sum(b.plugs for b in blocks)) if rack is not None else may
        if clock is not None and pieces >= traits.min_pieces:
            pieces = self._in_time(cut, mother, pieces, clock, traits.min_pieces)
        if pieces < traits.min_pieces:
            if may < traits.min_pieces:
                world.count_mother(mother, day, error=0.01)
                self._write(cut, day, mother, 0, None)
            world.tally.add("cuts left out")
            return False
        got = self._carry_out(cut, mother, pieces, day, clock)
        if got:
            self._mount(cut, stand, got, day, rack, blocks)
        return True

    def _settle(self, cut: Cut, stand: Stand, mother: Mother, day: date) -> tuple[str, tuple[Block, ...]]:
        """Rack and blocks as the crew finds them."""
        rack, blocks = settle(self.world, self.farm, stand, cut.strain, mother.row.par_umol, day)
        if (rack, blocks) != (stand.rack, stand.blocks):
            self.world.tally.add("cuts put elsewhere" if sum(b.plugs for b in blocks) >= cut.pieces else "cuts short of places")
        return rack, blocks

    def _minutes(self, cut: Cut, mother: Mother, pieces: int) -> tuple[float, float]:
        """(cutting, mounting) minutes as this job really goes."""
        standards = standard(self.farm, cut.strain, mother.row.on_rock)
        cutting, mounting = float(standards.cutter(pieces)), float(standards.mounter(pieces, 1))
        job = (cut.colony, self.world.week)
        return cutting * self.truth.pace(cut.cutter or "", *job), mounting * self.truth.pace(cut.mounter or "", *job)

    def _in_time(self, cut: Cut, mother: Mother, pieces: int, clock: Clock, least: int) -> int:
        """Most pieces the session's clock still allows."""
        for n in range(pieces, least - 1, -1):
            cutting, mounting = self._minutes(cut, mother, n)
            need: dict[str, float] = defaultdict(float)
            need[cut.cutter or ""] += cutting
            need[cut.mounter or ""] += mounting
            if all(minutes <= clock.left(person) for person, minutes in need.items()):
                if n < pieces:
                    self.world.tally.add("cuts out of time")
                return n
        self.world.tally.add("cuts out of time")
        return 0

    def _carry_out(self, cut: Cut, mother: Mother, pieces: int, day: date, clock: Clock | None) -> int:
        """Cut, and write it down; returns the frags mounted."""
        world, traits = self.world, self.farm.traits(cut.strain)
        mother.units -= pieces * traits.unit_per_piece
        mother.last_cut_week = world.week
        mother.row = mother.row.model_copy(update={"last_cut": day})
        world.count_mother(mother, day)
        if mother.units / traits.unit_per_piece < traits.keep_pieces - 1e-9:
            world.below_keep += 1
        minutes = self._minutes(cut, mother, pieces)
        for person, used, what in ((cut.cutter, minutes[0], "cutting"), (cut.mounter, minutes[1], "mounting")):
            world.tally.work(what, used)
            if clock is not None:
                clock.work(person or "", used)
        broken = int(stream(world.seed, "broken", cut.colony, world.week).binomial(pieces, self.truth.broken_share(cut.strain)))
        got = pieces - broken
        world.tally.add("cuts")
        world.tally.add("pieces cut", pieces)
        world.tally.add("frags mounted", got)
        self._supplies("piece", cut.strain, got)
        self._supplies("colony", cut.strain, 1)
        self._write(cut, day, mother, got, minutes)
        return got

    def _mount(self, cut: Cut, stand: Stand, got: int, day: date, rack: str | None, blocks: tuple[Block, ...]) -> None:
        """The new lot on its rack, or in its zone where the plan names no rack."""
        sizes, pace = self.truth.fresh_sizes(cut.strain, cut.lot, got)
        tank, par = (self.farm.rack[rack].tank, None) if rack is not None else self.light[stand.zone]
        self.world.lots[cut.lot] = Frags(
            id=cut.lot, strain=cut.strain, colony=cut.colony, cut_date=day, cut_week=self.world.week, started=got, sizes=sizes,
            pace=pace, tank=tank, rack=rack, blocks=blocks, par=par, recorded=got, count_date=day,
        )  # fmt: skip

    def _write(self, cut: Cut, day: date, mother: Mother, got: int, minutes: tuple[float, float] | None) -> None:
        self.world.past_cuts.append(
            PastCut(
                colony=cut.colony, date=day, strain=cut.strain, pieces_planned=cut.pieces, pieces_got=got,
                minutes_cutting=round(minutes[0], 1) if minutes else None,
                minutes_mounting=round(minutes[1], 1) if minutes else None, on_rock=mother.row.on_rock,
            )
        )  # fmt: skip

    def _supplies(self, per: str, strain: str | None, count: int) -> None:
        uses = (self.farm.traits(strain).plug_kind, self.farm.strain[strain].group, None) if strain is not None else (None,)
        for item in self.farm.supplies:
            if item.per == per and (per == "session" or item.only_for in uses):
                self.world.tally.earn("supplies", -count * item.quantity_per * float(item.unit_cost))
