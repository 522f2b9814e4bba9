"""The replayed farm: what grows, dies and is counted from week to week. Work is done to it in ``work`` and ``trade``."""

from __future__ import annotations

import copy
from collections import defaultdict
from collections.abc import Callable
from datetime import date, timedelta
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.blocks import parse_block
from scheduler.farm.coral import Colony, Lot
from scheduler.farm.counts import Count, PastCut, PastLot
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Order
from scheduler.farm.weeks import month_of_week
from scheduler.replay.chance import Chance, stream
from scheduler.replay.state import Frags, Mother, Tally
from scheduler.replay.truth import Month, Truth

Marks: TypeAlias = NDArray[np.bool_]
"""One mark for each living frag of a lot."""


MakesTruth: TypeAlias = Callable[[Farm, int, Chance], Truth]
"""Farm, seed and chance -> what is true of the farm."""


class World:
    """One farm under one seed. ``week`` counts from 1, the week of the book's plan_monday."""

    def __init__(self, farm: Farm, seed: int, chance: Chance | None = None, truth: MakesTruth = Truth) -> None:
        self.base, self.seed, self.chance = farm, seed, chance or Chance()
        self.truth = truth(farm, seed, self.chance)
        self.start, self.week = farm.weeks.plan_monday, 1
        self.tally = Tally()
        self.mothers = {c.colony: self._mother(c) for c in farm.colonies}
        self.lots = {x.lot: self._frags(x) for x in farm.lots if x.alive}
        self.orders: dict[str, Order] = {o.order: o for o in farm.orders}
        """Orders still open, with the quantity still to deliver."""
        self.on_time: dict[str, bool | None] = dict.fromkeys(self.orders)
        """Whether each order was filled in time; ``None`` while that is open."""
        self.hold: dict[str, date] = {}
        self.list_sold: dict[tuple[Month, str, str], int] = defaultdict(int)
        self.dry: set[tuple[Month, str, str]] = set()
        """Classes of which a month's customers wanted no more."""
        self.counts: dict[tuple[str, date], Count] = {}
        """Counts of lots cut in the replay. What the book tells of before is not of this truth, and would teach wrong things."""
        self.past_lots: list[PastLot] = []
        self.past_cuts: list[PastCut] = []
        self.reached: dict[tuple[str, Month], int] = defaultdict(int)
        """Frags that newly reached their strain's first class, by month."""
        self.good: dict[str, float] = defaultdict(lambda: 0.5)
        """Parts of a good frag a strain still owes, where grades fall evenly."""
        self.below_keep = 0
        """Cuts that left less than keep_pieces: the crew stops there, so none is expected."""

    def branch(self) -> World:
        """A copy that goes its own way under the same truth."""
        return copy.deepcopy(self, {id(self.base): self.base, id(self.truth): self.truth})

    # ---- the start ------------------------------------------------------------------------------------------------

    def _mother(self, row: Colony) -> Mother:
        last = self._week_of(row.last_cut) if row.last_cut is not None else None
        units = self.truth.units_at_start(row.colony)
        for week in range(self._week_of(row.count_date), 1):
            if last is None or not last < week <= last + self.base.traits(row.strain).pause_weeks:
                units = self.truth.grown(row.strain, units)
        return Mother(row, units, last)

    def _frags(self, row: Lot) -> Frags:
        traits = self.base.traits(row.strain)
        sizes, pace = self.truth.fresh_sizes(row.strain, row.lot, row.alive)
        blocks = tuple(parse_block(text, traits.plug_rows, traits.plug_cols) for text in row.blocks)
        lot = Frags(
            id=row.lot, strain=row.strain, colony=row.colony, cut_date=row.cut_date, cut_week=self._week_of(row.cut_date),
            started=row.started, sizes=sizes, pace=pace, tank=self.base.rack[row.rack].tank, rack=row.rack, blocks=blocks,
            par=None, recorded=row.alive, count_date=row.count_date, moved_date=row.moved_date,
        )  # fmt: skip
        lot.sizes = lot.sizes + max(0, -lot.cut_week) * lot.pace * self.truth.frag_mm_per_week(row.strain, self.par(lot, 1))
        for week in range(max(lot.cut_week, self._week_of(row.count_date)), 0):
            self._lose(lot, week)
        return lot

    # ---- the calendar ---------------------------------------------------------------------------------------------

    def monday(self, week: int | None = None) -> date:
        """Monday of a week; of the present one without an argument."""
        return self.start + timedelta(weeks=(self.week if week is None else week) - 1)

    def _week_of(self, day: date) -> int:
        return (day - self.start).days // 7 + 1

    def month(self, week: int | None = None) -> Month:
        """(year, month) a week belongs to."""
        return month_of_week(self.monday(week))

    def on_hold(self, system: str) -> bool:
        """Whether a system is on hold this week, in the book or since."""
        until = self.hold.get(system, self.base.system[system].hold_until)
        return until is not None and self.monday() < until

    def closed(self, channel: str) -> bool:
        """Whether a channel cannot send this week after all."""
        return bool(stream(self.seed, "closed", channel, self.monday()).random() < self.chance.closed_per_week)

    # ---- life -----------------------------------------------------------------------------------------------------

    def live(self) -> None:
        """What happens by itself in a week, before any work: growth, losses, holds, new orders, old ones that lapse."""
        for lot in self.lots.values():
            self._grow(lot)
        for mother in list(self.mothers.values()):
            self._live(mother)
        for system in self.base.systems:
            rng = stream(self.seed, "hold", system.system, self.monday())
            if rng.random() < self.chance.hold_per_week and not self.on_hold(system.system):
                weeks = int(rng.integers(self.chance.hold_weeks_least, self.chance.hold_weeks_most + 1))
                self.hold[system.system] = self.monday() + timedelta(weeks=weeks)
                self.tally.add("holds")

    def _grow(self, lot: Frags) -> None:
        if lot.cut_week >= self.week:
            return
        first = next(iter(self.base.size_classes(lot.strain)), None)
        before = self.of_size(lot, first.min_mm, self.week - 1) if first is not None else np.zeros(lot.alive, dtype=np.bool_)
        lot.sizes = lot.sizes + lot.pace * self.truth.frag_mm_per_week(lot.strain, self.par(lot))
        kept = self._lose(lot, self.week - 1)
        if first is not None:
            new = int((self.of_size(lot, first.min_mm) & ~before[kept]).sum())
            self.reached[lot.strain, self.month()] += new

    def _lose(self, lot: Frags, week: int) -> Marks:
        """Deaths and detachments in the week after ``week``; returns which frags are left."""
        rng = stream(self.seed, "losses", lot.id, week)
        death, detach = self.truth.losses(
            lot.strain, week - lot.cut_week, self.par(lot, max(1, week)), lot.tank, self.month(week)
        )
        fate = self._even_fates(lot, death, detach) if self.chance.even else rng.random(lot.alive)
        lot.detached += int(((fate >= death) & (fate < death + detach)).sum())
        kept: Marks = fate >= death + detach
        lot.keep(kept)
        return kept

    def _even_fates(self, lot: Frags, death: float, detach: float) -> NDArray[np.float64]:
        """Fates that let as many frags die and come off as the shares ask for, in whole frags by the running total."""
        whole, rest = zip(
            *(divmod(owed + lot.alive * p, 1) for owed, p in zip(lot.owed, (death, detach), strict=True)), strict=True
        )
        lot.owed = rest
        fates = np.ones(lot.alive)
        fates[: int(whole[0])] = 0.0
        fates[int(whole[0]) : int(sum(whole))] = death
        return fates

    def _live(self, mother: Mother) -> None:
        chance, rng = self.chance, stream(self.seed, "mother", mother.name, self.week)
        pause = self.base.traits(mother.row.strain).pause_weeks
        if mother.last_cut_week is None or not mother.last_cut_week < self.week <= mother.last_cut_week + pause:
            mother.units = self.truth.grown(mother.row.strain, mother.units)
        died, recedes, share, seen = (float(x) for x in rng.random(4))
        if died < chance.die_per_week:
            del self.mothers[mother.name]
            self.tally.add("mothers died")
        elif recedes < chance.recede_per_week:
            mother.units *= 1 - (chance.recede_least + share * (chance.recede_most - chance.recede_least))
            self.tally.add("mothers receded")
            if seen < chance.recede_seen:
                mother.recovers = self.week + chance.recover_weeks
                mother.row = mother.row.model_copy(update={"condition": "no cut", "condition_date": self.monday()})
                self.count_mother(mother, self.monday())

    def par(self, lot: Frags, week: int | None = None) -> float:
        """True mean PAR where a lot stands, µmol m-2 s-1."""
        if lot.rack is None:
            assert lot.par is not None
            return lot.par
        positions = lot.positions(self.base) or lot.blocks[0].positions()
        return self.truth.par(lot.rack, positions, self.monday(week))

    def of_size(self, lot: Frags, min_mm: float, week: int | None = None) -> Marks:
        """Which frags of a lot are of size, healed and hold to their plugs."""
        age = (self.week if week is None else week) - lot.cut_week
        firm = age >= self.truth.firm_from(self.base.traits(lot.strain))
        found: Marks = (lot.sizes >= min_mm - 1e-9) & firm
        return found

    # ---- counting -------------------------------------------------------------------------------------------------

    def count_all(self) -> None:
        """Counts due at the end of a week: lots by their age, mothers in turn; mothers judged fit again."""
        sunday = self.monday() + timedelta(days=6)
        for lot in list(self.lots.values()):
            age = self.week - lot.cut_week
            if age > 0 and age % self.base.settings.count_weeks == 0:
                self.count_lot(lot, sunday)
        for index, mother in enumerate(self.mothers.values()):
            if (self.week + index) % self.chance.count_mothers_weeks == 0:
                self.count_mother(mother, sunday)
            if mother.recovers is not None and mother.recovers <= self.week + 1:
                mother.recovers = None
                mother.row = mother.row.model_copy(update={"condition": "fit", "condition_date": sunday})

    def count_lot(self, lot: Frags, day: date) -> None:
        """Count a lot and measure it; dead and empty plugs are taken away. A lot with nothing left leaves the racks."""
        if lot.id not in self.base.lot:
            self._write_count(lot, day)
        lot.recorded, lot.count_date, lot.detached, lot.sold = lot.alive, day, 0, 0
        if not lot.alive:
            self.leave(lot)

    def _write_count(self, lot: Frags, day: date) -> None:
        off = stream(self.seed, "measure", lot.id, day).normal(0, self.chance.measure)
        mean = round(min(float(lot.sizes.mean() * np.exp(off)), 1000.0), 1) if lot.alive else None
        before = self.counts.get((lot.id, day))
        detached, sold = (before.detached, before.sold) if before is not None else (0, 0)
        self.counts[lot.id, day] = Count(
            lot=lot.id, date=day, alive=lot.alive, size_mm=mean, detached=lot.detached + detached, sold=lot.sold + sold
        )

    def leave(self, lot: Frags) -> None:
        """A lot leaves the racks for good."""
        del self.lots[lot.id]
        if lot.id not in self.base.lot:
            self.past_lots.append(
                PastLot(
                    lot=lot.id, strain=lot.strain, cut_date=lot.cut_date, started=lot.started, tank=lot.tank,
                    par_umol=round(min(self.par(lot), 2500.0), 1),
                )
            )  # fmt: skip

    def count_mother(self, mother: Mother, day: date, error: float | None = None) -> None:
        """Count a mother, a little wrong."""
        spread = self.chance.miscount if error is None else error
        off = stream(self.seed, "miscount", mother.name, day).normal(0, spread) if spread else 0.0
        mother.row = mother.row.model_copy(update={"count": round(float(mother.units * np.exp(off)), 1), "count_date": day})

    # ---- the turn of the week -------------------------------------------------------------------------------------

    def turn(self) -> None:
        """Go on to the next week: orders that came in, and those that lapse."""
        for order in self.truth.new_orders(self.monday()):
            self.orders[order.order] = order
            self.on_time[order.order] = None
        self.week += 1
        for order in list(self.orders.values()):
            if order.due < self.monday():
                if self.on_time[order.order] is None:
                    self.on_time[order.order] = False
                if not order.late_ok:
                    self.tally.earn("short", -float(self.base.settings.short_cost) * order.quantity)
                    del self.orders[order.order]
                else:
                    self.tally.earn("late", -float(self.base.settings.late_cost) * order.quantity)

    def positions_held(self) -> float:
        """Share of all open positions under plugs and mothers."""
        held = sum(len(x.positions(self.base)) for x in self.lots.values() if x.rack is not None)
        held += sum(len(m.row.block.positions()) for m in self.mothers.values() if m.row.block is not None)
        return held / max(1, sum(len(r.open_positions) for r in self.base.racks))
