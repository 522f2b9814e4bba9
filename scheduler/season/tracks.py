"""Tracks: how a piece that settles in a light class in a week lives, holds positions and becomes sellable, week by week.

One track for every strain, light class and cut week that some colony may use, and one for every lot on racks. Given
prices, the best way out of every track is a maximum over weeks and outlets, worked out for all tracks at once.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.course import Course, course, held_share
from scheduler.biology.life import Life
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.pins import pin_covers
from scheduler.season.admission import Admission
from scheduler.season.capacity import Capacity
from scheduler.season.classes import LightClass
from scheduler.season.outlets import Outlets

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

SOLD = frozenset({"list", "discount", "clear", "order"})
WITHIN_MARKET = frozenset({"list", "order"})
CLEARED = frozenset({"clear"})
LEFT = frozenset({"left listed", "left beyond"})
LEFT_OLD = frozenset({"left old"})

_BY_TRACK = (
    "strain", "light_class", "alive", "hold", "may_leave", "ready", "cut_week", "first", "left_frags", "left_class", "left_old",
)  # fmt: skip


@dataclass(frozen=True)
class StandingLot:
    """A lot already on racks (or fixed by an earlier stage) with pieces not routed yet."""

    id: str
    strain: str
    pieces: int
    life: Life
    zone: str
    system: str
    leaves_from: int


@dataclass(frozen=True)
class Ways:
    """The best way out of every track at some prices: worth per piece, week (horizon + 1: left), outlet."""

    worth: Floats
    week: Ints
    outlet: Ints


class Tracks:
    """All tracks of a season."""

    def __init__(
        self, farm: Farm, capacity: Capacity, outlets: Outlets, lots: Sequence[StandingLot], pins: Collection[str],
        rent: float = 0.0, within_market: bool = False, cutting: bool = True,
    ) -> None:  # fmt: skip
        self.farm, self.capacity, self.outlets, self.lots, self.rent = farm, capacity, outlets, tuple(lots), rent
        self.sold = WITHIN_MARKET if within_market else SOLD
        self.pins = frozenset(pins)
        self.last = farm.weeks.count
        self.classes = capacity.classes
        self.class_of = {z.id: c.index for c in self.classes for z in c.zones}
        self.pairs: list[tuple[str, int]] = []
        self.pairs_of: dict[str, list[int]] = {s.strain: [] for s in farm.strains}
        self.pair_of: dict[tuple[str, int], int] = {}
        self.admits: dict[str, Flags] = {}
        if cutting:
            self._admissions()
        weeks = len(capacity.weeks)
        fresh, total = len(self.pairs) * weeks, len(self.pairs) * weeks + len(self.lots)
        shape, most = (total, self.last + 2), outlets.most_classes
        self.strain = np.zeros(total, dtype=np.int64)
        self.light_class = np.zeros(total, dtype=np.int64)
        self.alive = np.zeros(shape)
        self.hold = np.zeros(shape)
        self.may_leave = np.zeros(shape, dtype=np.bool_)
        self.ready = np.full((total, most), 10**6, dtype=np.int64)
        self.cut_week = np.zeros(total, dtype=np.int64)
        self.first = np.zeros(total, dtype=np.int64)
        self.left_frags = np.zeros(total)
        self.left_class = np.zeros(total, dtype=np.int64)
        self.lot_from = fresh
        self._fresh_tracks()
        self._lot_tracks()
        self._ends()
        self._part: tuple[Ints, Tracks] | None = None

    def part(self, strains: Collection[str]) -> Tracks:
        """The same tracks, numbered alike, of which only those of some strains are priced (the others have worth -inf)."""
        only = np.flatnonzero(np.isin(self.strain, [self.outlets.strain_index[s] for s in strains]))
        few, other = copy(self), copy(self)
        few.__dict__ = {name: x for name, x in few.__dict__.items() if name not in ("open_ways", "_kept_on")}
        for name in _BY_TRACK:
            setattr(few, name, getattr(self, name)[only])
        other._part = only, few
        return other

    def track(self, pair: int, week: int) -> int:
        """Track of a pair (strain and light class) cut in a week."""
        return pair * len(self.capacity.weeks) + week - self.capacity.first

    # ---- who may settle where -------------------------------------------------------------------------------------

    def _admissions(self) -> None:
        """Pairs of strain and light class in use, and for every colony which of its strain's pairs it may use when.

        ``admits[colony]`` has shape (weeks, pairs of the strain).
        """
        admission = Admission(self.farm, self.pins)
        belongs = np.zeros((len(admission.zones), len(self.classes)), dtype=np.bool_)
        for k, zone in enumerate(admission.zones):
            belongs[k, self.class_of[zone.id]] = True
        first = self.capacity.first - 1
        by_strain: dict[str, list[Colony]] = {}
        for colony in self.farm.colonies:
            by_strain.setdefault(colony.strain, []).append(colony)
        for strain, colonies in by_strain.items():
            flags = {}
            for colony in colonies:
                allowed = admission.could_settle(colony)[first:] @ belongs
                flags[colony.colony] = allowed & (colony.condition == "fit")
            used = np.flatnonzero(np.any([f.any(axis=0) for f in flags.values()], axis=0))
            self.pairs_of[strain] = list(range(len(self.pairs), len(self.pairs) + len(used)))
            self.pairs += [(strain, int(z)) for z in used]
            self.pair_of.update({self.pairs[p]: p for p in self.pairs_of[strain]})
            for name, flag in flags.items():
                self.admits[name] = flag[:, used]

    # ---- lives ----------------------------------------------------------------------------------------------------

    def _fresh_tracks(self) -> None:
        farm, last = self.farm, self.last
        first_week = self.capacity.first
        weeks = np.arange(last + 2)
        for pair, (strain, z) in enumerate(self.pairs):
            traits = farm.traits(strain)
            area = traits.plug_area
            where = self.classes[z]
            shut = self._shut(where)
            known: dict[tuple[tuple[float, ...], ...], tuple[Floats, Floats, Course]] = {}
            for week in self.capacity.weeks:
                light = tuple(_from_week(zone.par, week) for zone in where.zones)
                if light not in known:
                    known[light] = _best_of([course(farm, strain, pars) for pars in light], farm.settings.count_weeks)
                alive, held, best = known[light]
                n = self.track(pair, week)
                span = np.arange(0, last + 2 - week)
                self.strain[n] = self.outlets.strain_index[strain]
                self.light_class[n] = z
                self.alive[n, week:] = alive[span]
                self.hold[n, week:] = np.where(weeks[week:] < farm.weeks.near_weeks.stop, 1.0, held[span]) * area
                self.cut_week[n], self.first[n] = week, week
                self.may_leave[n, week + 1 :] = ~shut[week + 1 :]
                self._mature(n, week, best)
        assert first_week >= 1

    def _mature(self, n: int, week: int, best: Course) -> None:
        """Ready weeks and what a piece left at the horizon counts as."""
        for k, age in enumerate(best.ready):
            self.ready[n, k] = week + age
        reached = [k for k, age in enumerate(best.ready) if week + age <= self.last]
        soonest = min(range(len(best.ready)), key=lambda k: best.ready[k], default=0)
        self.left_class[n] = reached[-1] if reached else soonest
        self.left_frags[n] = self.alive[n, self.last] if reached or not best.ready else best.alive_when_ready(soonest)

    def _lot_tracks(self) -> None:
        farm, last = self.farm, self.last
        kept = [p for p in farm.pins if p.pin in self.pins and p.kind in ("no sale", "hold lot")]
        for i, lot in enumerate(self.lots):
            n = self.lot_from + i
            traits = farm.traits(lot.strain)
            area = traits.plug_area
            self.strain[n] = self.outlets.strain_index[lot.strain]
            self.light_class[n] = self.class_of[lot.zone]
            begin = max(self.capacity.first, lot.life.first)
            self.first[n] = begin
            for week in range(begin, last + 1):
                self.alive[n, week] = float(lot.life.alive[week])
                self.hold[n, week] = area * (1.0 if week in farm.weeks.near_weeks else float(lot.life.held[week]))
            self.cut_week[n] = lot.life.first - lot.life.age[lot.life.first]
            shut = self._shut(self.classes[self.class_of[lot.zone]])
            self.may_leave[n, max(begin, lot.leaves_from) :] = ~shut[max(begin, lot.leaves_from) :]
            for pin in (p for p in kept if p.lot == lot.id):
                for week in range(begin, last + 1):
                    if pin_covers(farm, pin, week):
                        self.may_leave[n, week] = False
            names = [c.size_class for c in farm.size_classes(lot.strain)]
            for k, name in enumerate(names):
                self.ready[n, k] = lot.life.ready.get(name, 10**6)
            reached = [k for k, name in enumerate(names) if lot.life.reached(name, last)]
            soonest = min(range(len(names)), key=lambda k: self.ready[n, k], default=0)
            self.left_class[n] = reached[-1] if reached else soonest
            alive = self.alive[n, last]
            self.left_frags[n] = alive if reached or not names else float(lot.life.alive_when_ready[names[soonest]])

    def _shut(self, where: LightClass) -> Flags:
        """S3: weeks in which nothing is sold from a class's system."""
        weeks = range(self.last + 2)
        return np.array(
            [w and (self.farm.in_quarantine(where.system, w) or self.farm.on_hold(where.system, w)) for w in weeks],
            dtype=np.bool_,
        )

    def _ends(self) -> None:
        """Past ``max_rack_weeks`` at the horizon, or never ready: the frags alive count at the discount price."""
        self.left_old = (self.last - self.cut_week > self.farm.settings.max_rack_weeks) | (self.ready.min(axis=1) >= 10**5)
        reached = (self.ready <= self.last).sum(axis=1)
        self.left_class = np.where(self.left_old, np.maximum(reached - 1, 0), self.left_class)
        self.left_frags = np.where(self.left_old, self.alive[:, self.last], self.left_frags)

    # ---- the best way out -----------------------------------------------------------------------------------------

    @cached_property
    def open_ways(self) -> tuple[Flags, Flags]:
        """(may be sold as class k in a week; may only be cleared in a week)."""
        weeks = np.arange(self.last + 2)
        age = weeks[None, :] - self.cut_week[:, None]
        young = self.may_leave & (age <= self.farm.settings.max_rack_weeks)
        young[:, self.last + 1] = False
        old = self.may_leave & (age > self.farm.settings.max_rack_weeks)
        old[:, self.last + 1] = False
        return young[:, :, None] & (self.ready[:, None, :] <= weeks[None, :, None]), old

    def position_prices(self, prices: Floats) -> Floats:
        """Price of one position by light class and week, shape (classes, horizon + 2): the class's and its system's."""
        table = np.zeros((len(self.classes), self.last + 2))
        for c in self.classes:
            for week in self.capacity.weeks:
                for kind, subject in (("positions", c.id), ("system", c.system)):
                    row = self.capacity.find(kind, subject, week)  # type: ignore[arg-type]
                    if row is not None:
                        table[c.index, week] += prices[row]
        return table

    def rents(self, prices: Floats) -> Floats:
        """What standing costs a piece up to (not including) a week, shape (tracks, horizon + 2)."""
        paid = np.cumsum(self.hold * self.position_prices(prices)[self.light_class] + self.rent * self._kept_on, axis=1)
        return np.concatenate([np.zeros((len(paid), 1)), paid[:, :-1]], axis=1)

    def ways(self, prices: Floats) -> Ways:
        """The best way out of every track."""
        if self._part is not None:
            only, few = self._part
            some = few.ways(prices)
            total = len(self.strain)
            return Ways(
                _spread(some.worth, only, total, -np.inf),
                _spread(some.week, only, total, 0),
                _spread(some.outlet, only, total, -1),
            )
        total = len(self.strain)
        rows = np.arange(total)
        rent = self.rents(prices)
        sellable, clearable = self.open_ways
        worth, which = self.outlets.best(prices, self.sold)
        best = np.full(total, -np.inf)
        week = np.full(total, self.last + 1, dtype=np.int64)
        outlet = np.full(total, -1, dtype=np.int64)
        for k in range(self.outlets.most_classes):
            value = times(self.alive, worth[self.strain, :, k], sellable[:, :, k]) - rent
            self._better(best, week, outlet, value, which[self.strain, :, k], rows)
        if clearable.any():
            worth, which = self.outlets.best(prices, CLEARED)
            reached = np.maximum((self.ready[:, None, :] <= np.arange(self.last + 2)[None, :, None]).sum(axis=2) - 1, 0)
            weeks = np.arange(self.last + 2)[None, :]
            value = times(self.alive, worth[self.strain[:, None], weeks, reached], clearable) - rent
            self._better(best, week, outlet, value, which[self.strain[:, None], weeks, reached], rows)
        for kinds, chosen in ((LEFT, ~self.left_old), (LEFT_OLD, self.left_old)):
            worth, which = self.outlets.best(prices, kinds)
            value = self.left_frags * worth[self.strain, self.last + 1, self.left_class] - rent[:, self.last + 1]
            value = np.where(chosen & np.isfinite(value), value, -np.inf)
            wins = value > best + 1e-12
            best = np.where(wins, value, best)
            week = np.where(wins, self.last + 1, week)
            outlet = np.where(wins, which[self.strain, self.last + 1, self.left_class], outlet)
        return Ways(best, week, outlet)

    @staticmethod
    def _better(best: Floats, week: Ints, outlet: Ints, value: Floats, which: Ints, rows: Ints) -> None:
        at = np.argmax(value, axis=1)
        top = value[rows, at]
        wins = top > best + 1e-12
        best[wins] = top[wins]
        week[wins] = at[wins]
        outlet[wins] = which[rows, at][wins]

    def left_beyond(self, track: int) -> int:
        """The outlet of a piece left at the horizon that takes nothing of the coming market."""
        return int(self._beyond[bool(self.left_old[track])][self.strain[track], self.last + 1, self.left_class[track]])

    @cached_property
    def _beyond(self) -> dict[bool, Ints]:
        """The same by (strain, week, class), for pieces past ``max_rack_weeks`` and for others."""
        free = np.zeros(len(self.capacity.rows))
        return {True: self.outlets.best(free, LEFT_OLD)[1], False: self.outlets.best(free, frozenset({"left beyond"}))[1]}

    # ---- what a way uses ------------------------------------------------------------------------------------------

    def frags(self, track: int, week: int) -> float:
        """Expected frags of one piece leaving a track in a week (horizon + 1: what a piece left counts as)."""
        return float(self.left_frags[track] if week > self.last else self.alive[track, week])

    @cached_property
    def space_rows(self) -> Mapping[tuple[int, int], tuple[int, ...]]:
        """Rows of positions a frag in a light class holds in a week: the class's, if limited, and its system's."""
        found = {}
        for c in self.classes:
            for week in self.capacity.weeks:
                rows = (self.capacity.find("positions", c.id, week), self.capacity.find("system", c.system, week))
                found[c.index, week] = tuple(r for r in rows if r is not None)
        return found

    def uses(self, track: int, week: int, outlet: int) -> dict[int, float]:
        """Rows one piece uses when it leaves a track in a week by an outlet."""
        found: dict[int, float] = {}
        z = int(self.light_class[track])
        for w in range(int(self.first[track]), min(week, self.last + 1)):
            held = float(self.hold[track, w])
            for row in self.space_rows[z, w]:
                found[row] = found.get(row, 0.0) + held
        frags = self.frags(track, week)
        for row, amount in self.outlets.uses_of(outlet):
            found[row] = found.get(row, 0.0) + frags * amount
        return found

    def worth(self, track: int, week: int, outlet: int) -> float:
        """Money one piece brings on a way out, less the rent of what it holds once it could be sold."""
        held = float(self._kept_on[track, : min(week, self.last + 1)].sum()) if self.rent else 0.0
        return self.frags(track, week) * self.outlets.rows[outlet].worth - self.rent * held

    @cached_property
    def _kept_on(self) -> Floats:
        """Positions held in weeks in which a piece could have been sold: those it pays ``rent`` for."""
        weeks = np.arange(self.last + 2)[None, :]
        kept: Floats = self.hold * (weeks >= self.ready.min(axis=1)[:, None])
        return kept


def _spread(few: NDArray[Any], only: Ints, total: int, nothing: float) -> NDArray[Any]:
    """A table of some tracks as one of all."""
    found = np.full(total, nothing, dtype=few.dtype)
    found[only] = few
    return found


def times(alive: Floats, worth: Floats, allowed: Flags) -> Floats:
    """alive x worth where allowed and there is an outlet, else -inf."""
    known = allowed & np.isfinite(worth)
    return np.where(known, alive * np.where(known, worth, 0.0), -np.inf)


def _from_week(pars: tuple[float, ...], week: int) -> tuple[float, ...]:
    """Light from a week on, a constant tail written once, so that equal light is recognised."""
    rest = pars[week - 1 :]
    while len(rest) > 1 and rest[-1] == rest[-2]:
        rest = rest[:-1]
    return rest


def _best_of(courses: Sequence[Course], count_weeks: int) -> tuple[Floats, Floats, Course]:
    """(alive, held, course) by age with the best survival and growth and the least space of several zones."""
    alive = np.max([c.alive for c in courses], axis=0)
    ages = np.arange(len(alive))
    held = np.min([held_share(c, ages, count_weeks) for c in courses], axis=0)
    ready = tuple(min(c.ready[k] for c in courses) for k in range(len(courses[0].ready)))
    return alive, held, Course(alive, ready)
