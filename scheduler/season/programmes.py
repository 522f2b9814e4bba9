"""The best cut programme of every colony against the worth of a piece: an exact dynamic programme over (week, level).

A colony's state is the whole weeks it has grown along its curve. A week adds a level; a cut moves it back and yields
whole pieces; rest and pause are a jump in time (C1-C4). Colonies of one strain share the curve and are worked together.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from copy import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.growth import after_cut, curve, level_of, levels, most_pieces, rested_from, season_open, uncut_level
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Pin
from scheduler.farm.work import sessions_in

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

STAY = -1

NO_LIMIT = 10**6
"""Pieces that no pin limits."""


@dataclass(frozen=True)
class Start:
    """When a colony may be cut first, and its level then."""

    week: int
    level: int


@dataclass(frozen=True)
class Programme:
    """Cuts of one colony: (week, pieces) in order, and the level it ends the horizon with."""

    cuts: tuple[tuple[int, int], ...]
    end_level: int


def start_of(farm: Farm, colony: Colony, first: int, cuts: Mapping[int, int]) -> Start:
    """Start for planning from week ``first`` on, given the cuts already decided before it (week -> pieces)."""
    last = farm.weeks.count
    if not cuts:
        week = max(first, min(last + 1, rested_from(farm, colony)))
        return Start(week, uncut_level(farm, colony, week))
    week = max(first, min(last + 1, max(cuts) + farm.traits(colony.strain).rest_weeks))
    return Start(week, levels(farm, colony, dict(cuts), until=week)[week])


class StrainProgrammes:
    """All colonies of one strain. ``first``: first week with cuts; ``starts`` by colony."""

    def __init__(
        self, farm: Farm, strain: str, colonies: list[Colony], starts: Mapping[str, Start], first: int, pins: frozenset[str]
    ) -> None:
        self.farm, self.strain, self.colonies, self.first = farm, strain, colonies, first
        self.last = farm.weeks.count
        traits = farm.traits(strain)
        self.rest, self.pause = traits.rest_weeks, traits.pause_weeks
        sizes = curve(traits)
        self.starts = [starts[c.colony] for c in colonies]
        top = min(len(sizes) - 1, max((s.level for s in self.starts), default=0) + self.last + 1)
        low = min([level_of(sizes, traits.keep_pieces), *(s.level for s in self.starts)])
        self.low, self.sizes = low, np.array(sizes[low : top + 1])
        self.spare = np.maximum(0.0, self.sizes - traits.keep_pieces)
        self.pieces, self.fewest = self._pieces(sizes, low, top, traits.min_pieces)
        self._landings, self._takes, self._least = self._actions()
        self.may_cut = self._may_cut(pins)
        self.at_most = self._at_most(pins)

    def of_one(self, i: int) -> StrainProgrammes:
        """Those of colony ``i`` alone."""
        one = copy(self)
        one.colonies, one.starts, one.may_cut = [self.colonies[i]], [self.starts[i]], self.may_cut[i : i + 1]
        one.at_most = {(0, week): most for (k, week), most in self.at_most.items() if k == i}
        return one

    def _pieces(self, sizes: tuple[float, ...], low: int, top: int, least: int) -> tuple[Ints, Ints]:
        """Most and fewest pieces a cut from level l (rows) takes that lands at level j (columns); 0 where there is none."""
        traits = self.farm.traits(self.strain)
        count = top - low + 1
        found, fewest = np.zeros((count, count), dtype=np.int64), np.zeros((count, count), dtype=np.int64)
        for row in range(count):
            size = sizes[low + row]
            most = most_pieces(traits, size)
            for n in range(most, least - 1, -1):
                landed = max(0, after_cut(sizes, low + row, n) - low)
                if found[row, landed] == 0:
                    found[row, landed] = n
                fewest[row, landed] = n
        return found, fewest

    def _actions(self) -> tuple[Ints, Ints, Ints]:
        """The cuts from each level (rows) side by side: level after, most and fewest pieces; 0 pieces where there is no more."""
        most = int((self.pieces > 0).sum(axis=1).max(initial=0))
        order = np.argsort(self.pieces == 0, axis=1, kind="stable")[:, :most]
        return order, np.take_along_axis(self.pieces, order, axis=1), np.take_along_axis(self.fewest, order, axis=1)

    def _may_cut(self, pins: frozenset[str]) -> NDArray[np.bool_]:
        """C4, S3, pins: shape (colonies, horizon + 2)."""
        farm = self.farm
        barred = [p for p in farm.pins if p.pin in pins and p.kind == "no cut"]
        found = np.zeros((len(self.colonies), self.last + 2), dtype=np.bool_)
        for i, colony in enumerate(self.colonies):
            if colony.condition != "fit":
                continue
            system = farm.system_of_tank(colony.tank)
            for week in range(max(self.first, self.starts[i].week), self.last + 1):
                held = any(p.colony == colony.colony and _binds(farm, p, week) for p in barred)
                found[i, week] = season_open(farm, colony, week) and not farm.on_hold(system, week) and not held
        return found

    def _at_most(self, pins: frozenset[str]) -> dict[tuple[int, int], int]:
        """Most pieces of a colony (by number) in a week, where a pin says so."""
        found: dict[tuple[int, int], int] = {}
        for pin in (p for p in self.farm.pins if p.pin in pins and p.kind == "at most"):
            most = pin.pieces if pin.pieces is not None else NO_LIMIT
            for i in (i for i, c in enumerate(self.colonies) if c.colony == pin.colony):
                for week in (w for w in self.farm.weeks.near_weeks if _binds(self.farm, pin, w)):
                    found[i, week] = min(found.get((i, week), NO_LIMIT), most)
        return found

    def solve(self, piece: Floats, cost: Floats, end: Floats) -> tuple[Floats, Ints]:
        """(worth, choice), both of shape (horizon + 2, colonies, levels).

        ``piece[colony, week]``: worth of a piece cut then, ``-inf`` if it has no place; ``cost[colony, week]``: cost of
        cutting at all; ``end[colony, level]``: worth of its size at the horizon. ``choice``: level after the cut, or STAY.
        """

        def gain(week: int, who: Ints, taken: Ints) -> Floats:
            return np.asarray(taken * piece[who, week][:, None, None] - cost[who, week][:, None, None])

        return self._solved(gain, np.isfinite(piece), end)

    def solve_by_size(self, gain: Floats, end: Floats) -> tuple[Floats, Ints]:
        """The same where a cut of n pieces brings ``gain[colony, week, n]`` in all, its cost taken off; ``-inf`` if it cannot be."""
        most = gain.shape[2] - 1

        def gained(week: int, who: Ints, taken: Ints) -> Floats:
            found = gain[who[:, None, None], week, np.minimum(taken, most)]
            return np.where(taken <= most, found, -np.inf)

        able = np.asarray(np.isfinite(gain).any(axis=2))
        return self._solved(gained, able, end)

    def _solved(
        self, gain: Callable[[int, Ints, Ints], Floats], able: NDArray[np.bool_], end: Floats
    ) -> tuple[Floats, Ints]:  # fmt: skip
        """The programme for what cuts bring: ``gain(week, colonies, pieces)``; ``able[colony, week]``: whether one brings anything."""
        count, levels = len(self.colonies), len(self.sizes)
        worth = np.zeros((self.last + 2, count, levels))
        choice = np.full((self.last + 2, count, levels), STAY, dtype=np.int64)
        worth[self.last + 1] = end
        rows = np.arange(levels)
        up = np.minimum(rows + 1, levels - 1)
        possible = self._takes > 0
        for week in range(self.last, self.first - 1, -1):
            best = worth[week + 1][:, up]
            who = np.flatnonzero(self.may_cut[:, week] & able[:, week])
            if len(who) and possible.any():
                again = min(week + self.rest, self.last + 1)
                landed = np.minimum(self._landings + max(0, again - week - self.pause), levels - 1)
                taken, allowed = np.broadcast_to(self._takes, (len(who), *self._takes.shape)), possible[None]
                if self.at_most:
                    limits = np.array([self.at_most.get((int(i), week), NO_LIMIT) for i in who])[:, None, None]
                    taken, allowed = np.minimum(taken, limits), allowed & (self._least[None] <= limits)
                after = worth[again][who][:, landed]
                value = np.where(allowed, gain(week, who, taken) + after, -np.inf)
                at = np.argmax(value, axis=2)
                top = value.max(axis=2)
                to = self._landings[rows, at]
                wins = top > best[who] + 1e-9
                best[who] = np.where(wins, top, best[who])
                choice[week][who] = np.where(wins, to, STAY)
            worth[week] = best
        return worth, choice

    def most_uncut(self, i: int) -> Ints:
        """Most pieces colony ``i`` could give in each week (shape horizon + 2) if it had not been cut before, 0 where it may not be."""
        start, weeks = self.starts[i], np.arange(self.last + 2)
        level = np.clip(self.index(start.level) + weeks - start.week, 0, len(self.sizes) - 1)
        most: Ints = np.where(self.may_cut[i], self._takes.max(axis=1, initial=0)[level], 0)
        return most

    def cuts_from(self, i: int, week: int, level: int) -> Iterator[tuple[int, int, int]]:
        """Cuts of colony ``i`` from a row of these tables: (pieces at most, week it may be cut again, row it has grown to then)."""
        again = min(week + self.rest, self.last + 1)
        limit = self.at_most.get((i, week), NO_LIMIT)
        for landed, most, least in zip(self._landings[level], self._takes[level], self._least[level], strict=True):
            if most > 0 and least <= limit:
                grown = min(int(landed) + max(0, again - week - self.pause), len(self.sizes) - 1)
                yield min(int(most), limit), again, grown

    def worth_of_start(self, worth: Floats) -> Floats:
        """Worth of the best programme of each colony."""
        return np.array([worth[s.week, i, self.index(s.level)] for i, s in enumerate(self.starts)])

    def index(self, level: int) -> int:
        """Row of a level in these tables."""
        return min(max(0, level - self.low), len(self.sizes) - 1)

    def follow(self, choice: Ints, i: int) -> Programme:
        """The programme of colony ``i`` that ``choice`` describes."""
        week, level = self.starts[i].week, self.index(self.starts[i].level)
        cuts = []
        while week <= self.last:
            to = int(choice[week, i, level])
            if to == STAY:
                week, level = week + 1, min(level + 1, len(self.sizes) - 1)
                continue
            cuts.append((week, min(int(self.pieces[level, to]), self.at_most.get((i, week), NO_LIMIT))))
            again = min(week + self.rest, self.last + 1)
            week, level = again, min(to + max(0, again - week - self.pause), len(self.sizes) - 1)
        return Programme(tuple(cuts), level + self.low)


def _binds(farm: Farm, pin: Pin, week: int) -> bool:
    """Whether a pin on cuts holds in a near week whichever of its sessions a colony is cut in."""
    if week not in farm.weeks.near_weeks:
        return False
    days = [session.day for session in sessions_in(farm, week)]
    return all((pin.from_date is None or pin.from_date <= d) and (pin.to_date is None or d <= pin.to_date) for d in days)
