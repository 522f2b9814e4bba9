"""A few strains decided together: a programme for each colony and whole pieces on their ways out, as one CP-SAT model."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from scheduler.season.block import Block, Unit
from scheduler.season.columns import Season
from scheduler.season.pool import Pattern, ProgrammePool
from scheduler.season.ways_out import Way
from scheduler.solving import Limits, solve

Floats = NDArray[np.float64]

GRADED = 1000
"""Graded frags of an order are counted in thousandths."""

TENTHS = 10
MOST_OVERTIME = 100_000
SAFETY_SECONDS = 60.0


@dataclass(frozen=True)
class Decided:
    """Programme of every colony of some strains, and pieces by (track, way out)."""

    patterns: Mapping[int, Pattern]
    leaving: Mapping[tuple[int, Way], float]


@dataclass(frozen=True)
class _Route:
    var: cp_model.IntVar
    track: int
    way: Way


class StrainBlock:
    """The model of some strains. ``colonies`` and ``lots`` are theirs, by number in the season.

    ``tight``: rows that are built; ``known``: what to begin the search from; ``whole_orders``: whether orders that refuse
    parts are decided too (in one week, with all they ask for).
    """

    def __init__(
        self, season: Season, pool: ProgrammePool, colonies: Sequence[int], lots: Sequence[int], tight: set[int], known: Decided,
        *, whole_orders: bool = False,
    ) -> None:  # fmt: skip
        self.season, self.pool, self.colonies, self.known = season, pool, colonies, known
        self.build = Block(tight, len(season.capacity.rows))
        self._choices: list[tuple[cp_model.IntVar, int, Pattern]] = []
        self._routes: list[_Route] = []
        most = self._programmes()
        for j in lots:
            track = season.tracks.lot_from + j
            most[track] = season.lots[j].pieces
            self.build.collect(("track", track), most[track] * self.build.model.new_constant(1))
        self._ways_out(most)
        self._spare_market()
        for worth, uses in season.overtime_columns():
            self.build.add(Unit.of(worth, uses), MOST_OVERTIME)
        if whole_orders:
            self._whole_orders(most)

    def solve(self, limits: Floats, fines: Floats, *, gap: float, work: float, seed: int) -> Decided | None:
        """The best found within limits (of all rows); what overruns a row is fined, and an infinite fine forbids it. A choice
        within ``gap`` (a share) of the best is good enough.
        """
        limit = Limits(deterministic=work, seconds=SAFETY_SECONDS, seed=seed, gap=gap)
        found = solve(self.build.finish(limits, fines), limit, stage="whole cuts")
        if not found.outcome.found:
            return None
        chosen = {i: pattern for var, i, pattern in self._choices if found.value(var)}
        return Decided(chosen, {(r.track, r.way): float(found.value(r.var)) for r in self._routes if found.value(r.var)})

    def _programmes(self) -> dict[int, int]:
        """One programme for every colony; returns the most pieces that can come onto each track."""
        build, pool = self.build, self.pool
        most: dict[int, int] = defaultdict(int)
        for i in self.colonies:
            reach: dict[int, int] = {}
            for pattern in pool.patterns[i]:
                known = int(self.known.patterns[i] == pattern) if i in self.known.patterns else None
                var = build.add(pool.pattern_unit(i, pattern), 1, known)
                build.collect(("colony", i), var)
                build.collect(("spare", i), math.floor(TENTHS * pool.spare(i, pattern)) * var)
                self._choices.append((var, i, pattern))
                for _, pieces, track in pattern[0]:
                    build.collect(("track", track), pieces * var)
                    reach[track] = max(reach.get(track, 0), pieces)
            build.model.add(build.total(("colony", i)) == 1)
            for track, pieces in reach.items():
                most[track] += pieces
        return most

    def _ways_out(self, most: Mapping[int, int]) -> None:
        """O2: every piece of a track leaves one way."""
        build, pool = self.build, self.pool
        for track, pieces in most.items():
            mine = [build.add(pool.way_unit(track, way), pieces, self._leaving(track, way)) for way in pool.ways[track]]
            build.model.add(sum(mine) == build.total(("track", track)))
            self._routes += [_Route(var, track, way) for var, way in zip(mine, pool.ways[track], strict=True)]

    def _leaving(self, track: int, way: Way) -> int | None:
        """Pieces that leave so in what the search begins from."""
        return round(self.known.leaving.get((track, way), 0.0)) if self.known.leaving else None

    def _spare_market(self) -> None:
        """The part of a colony's end size that the coming market takes at list price, in tenths of a piece."""
        for i in self.colonies:
            alive, listed, beyond = self.season.spare_worth(i)
            row = self.season.capacity.find("end market", self.season.colonies[i].strain)
            if listed > beyond and row is not None:
                most = math.floor(TENTHS * max(self.pool.spare(i, p) for p in self.pool.patterns[i]))
                var = self.build.add(Unit.of((listed - beyond) / TENTHS, {row: alive / TENTHS}), most)
                self.build.model.add(var <= self.build.total(("spare", i)))

    def _whole_orders(self, most: Mapping[int, int]) -> None:
        """O1: an order that refuses parts is filled in one week with at least what it asks for, or not at all."""
        model, outlets, farm = self.build.model, self.season.outlets, self.season.farm
        weeks: dict[str, dict[int, list[_Route]]] = defaultdict(lambda: defaultdict(list))
        for route in self._routes:
            order = outlets.rows[route.way[1]].order
            if order is not None and not farm.order[order].partial_ok:
                weeks[order][route.way[0]].append(route)
        for order, by_week in weeks.items():
            filled = []
            for routes in by_week.values():
                here = model.new_bool_var("")
                filled.append(here)
                asked = sum(r.var * self._graded(r) for r in routes)
                model.add(asked >= GRADED * farm.order[order].quantity * here)
                for r in routes:
                    model.add(r.var <= most[r.track] * here)
            model.add(sum(filled) <= 1)

    def _graded(self, route: _Route) -> int:
        """Thousandths of a graded frag one piece brings, rounded down."""
        good = self.season.farm.traits(self.season.outlets.rows[route.way[1]].strain).good_share
        return math.floor(GRADED * self.season.tracks.frags(route.track, route.way[0]) * good)
