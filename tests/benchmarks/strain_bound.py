"""``python -m tests.benchmarks.strain_bound``: a bound at least as strong as the season's own, found outside a plan's time.

The season's relaxation lets a colony follow a mixture of cut programmes. Here each strain keeps its own limits (its market by month and
class, orders nobody else can fill, its coming market) and its colonies follow one programme each, exactly; only what strains share is
relaxed, at the season's prices pi:

    bound = sum over strains of the best whole programmes at pi + sum over shared rows of pi_r b_r + constant

which no plan can beat at any pi >= 0. The sub-problem of a strain is a unit flow through (week, level) for every colony, solved as a
mixed-integer programme by SCIP. Its ways out are merged by what they use of the strain's own limits (best worth, least use), so it is
relaxed a little itself; where it comes out above the relaxation's own term, that one counts.
"""

from __future__ import annotations

import argparse
import sys
import threading
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scheduler.book import read_book
from scheduler.farm.farm import Farm
from scheduler.planning.books import Books
from scheduler.planning.season_plan import plan_season
from scheduler.season.columns import Season
from scheduler.season.relaxation import Relaxed
from scheduler.season.worth import Worth
from scheduler.solving.linear import pywraplp
from tests.farms_large import large_farm

Floats = NDArray[np.float64]
Ways = dict[int | None, tuple[float, float]]
"""By the strain's own limit a way out uses (``None``: nothing of its own): money a piece brings at most, and uses of it at least."""

DEMO = Path(__file__).parents[2] / "data" / "demo"

REACH = 150.0
"""Money below its best programme up to which a colony's programmes are looked at; the bound allows for all others."""

SECONDS = 20.0
"""Most seconds for one strain; what is proved by then counts."""


@dataclass(frozen=True)
class StrainBound:
    """A strain's term of the bound: in the relaxation, and with whole programmes (never more)."""

    strain: str
    relaxed: float
    whole: float


class StrainBounds:
    """The terms of all strains at the prices of a solved relaxation."""

    def __init__(self, season: Season, relaxed: Relaxed, *, reach: float = REACH, seconds: float = SECONDS) -> None:
        self.season, self.relaxed, self.reach, self.seconds = season, relaxed, reach, seconds
        self.prices = relaxed.prices
        self.last = season.farm.weeks.count
        self.own = {strain: self._own_rows(strain) for strain in season.outlets.strain_index}
        shared = self.prices.rows.copy()
        shared[[row for rows in self.own.values() for row in rows]] = 0.0
        self.net = season.outlets.worths - season.outlets.uses @ shared
        self.rent = season.tracks.rents(self.prices.rows)
        self.sellable, self.clearable = season.tracks.open_ways
        self.fresh = season.fresh_prices(self.prices.rows)
        self.hours = season.costs.hour_prices(self.prices.rows)

    def _own_rows(self, strain: str) -> set[int]:
        farm, found = self.season.farm, set()
        for n, row in enumerate(self.season.capacity.rows):
            mine = row.kind == "market" and row.subject[1] == strain  # type: ignore[index]
            mine |= row.kind == "end market" and row.subject == strain
            if row.kind == "order":
                order = farm.order[str(row.subject)]
                mine = {order.strain, *order.substitutes} == {strain}
            if mine:
                found.add(n)
        return found

    def __iter__(self) -> Iterator[StrainBound]:
        for strain in self.season.strains:
            relaxed = self.term(strain)
            whole = _StrainProblem(self, strain).bound()
            yield StrainBound(strain, relaxed, min(relaxed, max(whole, relaxed - self.reach)))

    def term(self, strain: str) -> float:
        """A strain's term in the relaxation's bound: its colonies, its lots and its own limits at their prices."""
        programmes, _ = self.season.strains[strain]
        table, _ = self.prices.tables[strain]
        colonies = float(programmes.worth_of_start(table).sum())
        lots = sum(self.season.lots[j].pieces * float(self.prices.ways.worth[n]) for j, n in self.lots(strain))
        return colonies + lots + float(sum(self.prices.rows[r] * self.season.capacity.limits[r] for r in self.own[strain]))

    def lots(self, strain: str) -> list[tuple[int, int]]:
        """Number and track of a strain's lots."""
        return [(j, self.season.tracks.lot_from + j) for j, lot in enumerate(self.season.lots) if lot.strain == strain]

    def ways(self, track: int, strain: str) -> Ways:
        """The ways out of a track, merged by what they use of the strain's own limits."""
        season, tracks, outlets = self.season, self.season.tracks, self.season.outlets
        found: Ways = {None: (0.0, 0.0)} if track < tracks.lot_from else {}
        index = outlets.strain_index[strain]

        def offer(outlet: int, frags: float, rent: float) -> None:
            row, use = next(((r, u) for r, u in outlets.uses_of(outlet) if r in self.own[strain]), (None, 0.0))
            _merge(found, row, frags * float(self.net[outlet]) - rent, frags * use)

        for week in range(int(tracks.first[track]), self.last + 1):
            frags, rent = float(tracks.alive[track, week]), float(self.rent[track, week])
            for k in np.flatnonzero(self.sellable[track, week]):
                for o in outlets.at(index, week, int(k)):
                    offer(o, frags, rent)
            if self.clearable[track, week]:
                largest = max(0, int((tracks.ready[track] <= week).sum()) - 1)
                for o in outlets.at(index, week, largest):
                    if outlets.rows[o].kind == "clear":
                        offer(o, frags, rent)
        kinds = ("left old",) if tracks.left_old[track] else ("left listed", "left beyond")
        for o in outlets.at(index, self.last + 1, int(tracks.left_class[track])):
            if outlets.rows[o].kind in kinds:
                offer(o, float(tracks.left_frags[track]), float(self.rent[track, season.farm.weeks.count + 1]))
        return found


def _merge(ways: Ways, row: int | None, worth: float, use: float) -> None:
    known = ways.get(row)
    ways[row] = (worth, use) if known is None else (max(known[0], worth), min(known[1], use))


class _StrainProblem:
    """Whole programmes of one strain's colonies against its own limits, everything shared at its price."""

    def __init__(self, given: StrainBounds, strain: str) -> None:
        self.given, self.strain, self.season = given, strain, given.season
        self.solver = pywraplp.Solver.CreateSolver("SCIP")
        self.free = self.solver.infinity()
        self.goal = self.solver.Objective()
        self.goal.SetMaximization()
        limits = self.season.capacity.limits
        self.rows = {r: self.solver.Constraint(-self.free, float(limits[r])) for r in sorted(given.own[strain])}
        for j, track in given.lots(strain):
            self._leave(given.ways(track, strain), self.solver.Constraint(-self.free, float(self.season.lots[j].pieces)))
        _, who = self.season.strains[strain]
        for local, i in enumerate(who):
            self._colony(local, int(i))

    def bound(self) -> float:
        """What the strain can bring at most, as far as proved in the time."""
        self.solver.SetTimeLimit(int(1000 * self.given.seconds))
        status = self.solver.Solve()
        found = status in (pywraplp.Solver.OPTIMAL, pywraplp.Solver.FEASIBLE)
        return float(self.goal.BestBound()) if found else float("inf")

    def _leave(self, ways: Ways, pieces: pywraplp.Constraint) -> None:
        for row, (worth, use) in ways.items():
            x = self.solver.NumVar(0.0, self.free, "")
            self.goal.SetCoefficient(x, worth)
            pieces.SetCoefficient(x, 1.0)
            if row is not None:
                self.rows[row].SetCoefficient(x, use)

    def _colony(self, local: int, i: int) -> None:
        season, solver, last = self.season, self.solver, self.given.last
        programmes, _ = season.strains[self.strain]
        start = programmes.starts[local]
        if start.week > last:
            return
        nodes: dict[tuple[int, int], pywraplp.Constraint] = defaultdict(lambda: solver.Constraint(0.0, 0.0))
        nodes[start.week, programmes.index(start.level)].SetBounds(1.0, 1.0)
        supply: dict[int, pywraplp.Constraint] = defaultdict(lambda: solver.Constraint(-self.free, 0.0))
        _, listed, beyond = season.spare_worth(i)
        spare = solver.Constraint(-self.free, 0.0)
        self._coming(i, spare)
        for node, to, pieces, once in self._arcs(local, i):
            x = solver.BoolVar("") if pieces else solver.NumVar(0.0, 1.0, "")
            nodes[node].SetCoefficient(x, 1.0)
            worth = -once
            if to[0] <= last:
                nodes[to].SetCoefficient(x, -1.0)
            else:
                worth += float(programmes.spare[to[1]]) * beyond
                spare.SetCoefficient(x, -float(programmes.spare[to[1]]) if listed > beyond else 0.0)
            if pieces:
                supply[node[0]].SetCoefficient(x, -float(pieces))
            self.goal.SetCoefficient(x, worth)
        for week, row in supply.items():
            self._leave(self._settling(i, week), row)

    def _coming(self, i: int, spare: pywraplp.Constraint) -> None:
        """The part of the end size that the coming market takes at list price."""
        row = self.season.capacity.find("end market", self.strain)
        alive, listed, beyond = self.season.spare_worth(i)
        if row is not None and listed > beyond:
            x = self.solver.NumVar(0.0, self.free, "")
            spare.SetCoefficient(x, 1.0)
            self.goal.SetCoefficient(x, listed - beyond)
            self.rows[row].SetCoefficient(x, alive)

    def _settling(self, i: int, week: int) -> Ways:
        """The ways out of a piece cut in a week, over all light classes that admit it, less its work."""
        season, tracks, given = self.season, self.season.tracks, self.given
        colony, k = season.colonies[i], week - season.first
        _, each = season.costs.priced(self.strain, colony.on_rock, given.hours)
        found: Ways = {None: (0.0, 0.0)}
        for number, pair in enumerate(tracks.pairs_of[self.strain]):
            if tracks.admits[colony.colony][k, number]:
                less = float(given.fresh[tracks.pairs[pair][1], k]) + float(each[k])
                for row, (worth, use) in given.ways(tracks.track(pair, week), self.strain).items():
                    _merge(found, row, worth - less, use)
        return found

    def _arcs(self, local: int, i: int) -> Iterator[tuple[tuple[int, int], tuple[int, int], int, float]]:
        """(from, to, pieces, cost of cutting at all) of every step of a programme that is at most ``reach`` below the best."""
        season, last = self.season, self.given.last
        programmes, _ = season.strains[self.strain]
        prices, colony = self.given.prices, season.colonies[i]
        worth = prices.tables[self.strain][0][:, local, :]
        able = programmes.may_cut[local] & np.isfinite(prices.piece[colony.colony])
        piece = np.where(able, np.maximum(prices.piece[colony.colony], 0.0), 0.0)
        once, _ = season.costs.priced(self.strain, colony.on_rock, self.given.hours)
        levels = len(programmes.sizes)
        start = programmes.starts[local]
        so_far = np.full((last + 2, levels), -np.inf)
        so_far[start.week, programmes.index(start.level)] = 0.0
        least = worth[start.week, programmes.index(start.level)] - self.given.reach

        def reaches(week: int, level: int, earned: float) -> bool:
            if earned + worth[week, level] < least:
                return False
            so_far[week, level] = max(so_far[week, level], earned)
            return True

        for week in range(start.week, last + 1):
            for level in np.flatnonzero(np.isfinite(so_far[week])).tolist():
                earned, up = float(so_far[week, level]), min(level + 1, levels - 1)
                if reaches(week + 1, up, earned):
                    yield (week, level), (week + 1, up), 0, 0.0
                if not able[week]:
                    continue
                for pieces, again, landed in programmes.cuts_from(local, week, level):
                    cost = float(once[week - season.first])
                    if reaches(again, landed, earned + pieces * float(piece[week]) - cost):
                        yield (week, level), (again, landed), pieces, cost


def season_of(farm: Farm) -> tuple[Season, Relaxed]:
    """A farm's season with its relaxation, as a plan begins with it."""
    pins = [p.pin for p in farm.pins]
    plan = plan_season(farm, Books(farm, Worth(farm), pins).old_lots(), pins=pins, seed=1, stop=threading.Event())
    return plan.season, plan.relaxed


def main() -> None:
    """Print the season's bound and the stronger one of the farms asked for."""
    ask = argparse.ArgumentParser(prog="python -m tests.benchmarks.strain_bound", description=__doc__)
    ask.add_argument("--colonies", type=int, nargs="*", default=[60], help="large farms beside the demo farm")
    ask.add_argument("--seconds", type=float, default=SECONDS, help="most seconds for one strain")
    given = ask.parse_args()
    sys.stdout.write("| farm | the season's bound | whole programmes by strain | seconds |\n|---|---|---|---|\n")
    for name, farm in [("demo", read_book(DEMO).farm), *((f"{n} colonies", large_farm(n, seed=1)) for n in given.colonies)]:
        season, relaxed = season_of(farm)
        begun = time.monotonic()
        less = sum(term.relaxed - term.whole for term in StrainBounds(season, relaxed, seconds=given.seconds))
        took = time.monotonic() - begun
        sys.stdout.write(f"| {name} | {relaxed.bound:,.0f} | {relaxed.bound - less:,.0f} | {took:.0f} |\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
