"""The season as a linear programme over colony programmes and routes: a proven bound, and prices of all that is shared.

Column generation: given prices, the best way out of every track and the best cut programme of every colony are exact
maxima; the colonies and lots that could do better at these prices offer new columns. At any prices

    sum of the best worth of every colony and lot + prices x limits

is a bound no plan can beat, since it relaxes every shared limit at its price.
"""

from __future__ import annotations

import threading
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.farm.work import overtime_minutes
from scheduler.season.columns import Column, Floats, Prices, Season
from scheduler.season.parts import Parts, told_by_part
from scheduler.solving import Progress
from scheduler.solving.linear import ColumnProgramme, InteriorProgramme, Programme

ENOUGH = 5e-4
"""Column generation ends when bound and value of the linear programme are this close, as a share of the bound."""

ROUNDS = 60
"""Most rounds of column generation; the bound found until then is a bound all the same."""

LARGE = 800
"""From so many colonies and lots on a relaxation begins with parts of the farm and is solved by interior points."""

KEPT = 6
"""Columns a source that a part hands on, besides those it mixes."""

ENOUGH_PART, LOOSER = 2e-2, 10.0
"""How close bound and value of a part are, and how many times as far apart they may stay on a large farm: its bound holds all the
same, and lies so much higher at most.
"""

NEARLY = 0.1
"""How far a linear programme may be off its optimum, as a share of what is between bound and value: rows it left out count for that."""

ENOUGH_STOPPED, SECONDS_STOPPED = 5e-2, 10.0
"""Once the user wants to stop: how close bound and value are enough, and after how long it ends in any case. Prices of the first rounds
are worth little, and a plan made with them is worth less than none.
"""

OVERRUN = 500.0
"""Money a position beyond its limit costs where limits are elastic."""

SMOOTHING = 0.5
"""Weight of the best prices so far in the prices asked (the rest is the newest): halves the rounds needed."""


@dataclass(frozen=True)
class Relaxed:
    """A solved relaxation. ``bound`` and ``value`` are money of the whole season, constants included."""

    bound: float
    value: float
    prices: Prices
    columns: list[Column]
    amounts: Floats
    rounds: int


def relax(
    season: Season, *, rounds: int = ROUNDS, enough: float = ENOUGH, warm: Floats | None = None, columns: Sequence[Column] = (),
    progress: Progress | None = None, stop: threading.Event | None = None, elastic: bool = False,
) -> Relaxed:  # fmt: skip
    """Solve the relaxation by column generation. ``stop`` ends it soon (``ENOUGH_STOPPED``).

    ``warm``: row prices to begin with; ``columns``: columns to begin with, of this season or one that differs in limits only.
    A season of ``LARGE`` without them is begun in parts and ends ``LOOSER`` times as soon.
    ``elastic``: positions may be overrun at a forbidding cost, for limits that lots cannot keep without selling.
    """
    found = Relaxation(season, warm=warm, columns=columns, elastic=elastic)
    return found.solve(rounds=rounds, enough=enough, progress=progress, stop=stop)


@dataclass(frozen=True)
class Mix:
    """The best mix of the columns a relaxation has met: how much of each, and the prices of rows."""

    columns: list[Column]
    amounts: Floats
    rows: Floats


def use_by_strain(season: Season, columns: Sequence[Column], amounts: Floats) -> defaultdict[str, Floats]:
    """What every strain uses of every row in a mix of columns; nothing where the mix has none of it."""
    found: defaultdict[str, Floats] = defaultdict(lambda: np.zeros(len(season.capacity.rows)))
    for column, amount in zip(columns, amounts, strict=True):
        if amount > 1e-9:
            mine = found[season.strain_of[column.source]]
            for row, use in column.uses.items():
                mine[row] += amount * use
    return found


class Relaxation:
    """The relaxation of a season, kept so that what it has met can be mixed anew within other limits."""

    def __init__(
        self, season: Season, *, warm: Floats | None = None, columns: Sequence[Column] = (), elastic: bool = False
    ) -> None:
        self.season = season
        limits = season.capacity.limits
        soft = [i for i, row in enumerate(season.capacity.rows) if elastic and row.kind in ("positions", "system")]
        self._large = LARGE <= len(season.sources) == len(season.amounts) and not columns
        self._pool = _Pool(season, limits, season.amounts, soft, large=self._large)
        for column in columns:
            self._pool.offer(column)
        self._warm = np.zeros(len(limits)) if warm is None else warm

    def mix(self, limits: Floats, sources: Floats) -> Mix:
        """The columns met so far at their best with other limits of rows and amounts of sources: a few pivots, no new columns."""
        self._pool.lp.change(limits, sources)
        result = self._pool.lp.solve()
        return Mix(*self._pool.outcome(result.amounts), result.prices)

    def solve(
        self,
        *,
        rounds: int = ROUNDS,
        enough: float = ENOUGH,
        progress: Progress | None = None,
        stop: threading.Event | None = None,
    ) -> Relaxed:
        """Solve by column generation, at most so many rounds. ``stop`` ends it soon (``ENOUGH_STOPPED``)."""
        season, pool, begun = self.season, self._pool, time.monotonic()
        limits, amounts = season.capacity.limits, season.amounts
        warm = self._warm
        if self._large:
            enough *= LOOSER
        if self._large and season.cutting:
            warm = pool.begun(_first_columns(season, warm, progress, stop))
        asked = [season.price(warm)]
        best_bound, prices = np.inf, asked[0]
        value, result, number, stopped = -np.inf, None, 0, np.inf
        for number in range(1, rounds + 1):
            added = 0
            for at in asked:
                worth, makers = season.reduced(at)
                bound = float(worth @ amounts + at.rows @ limits) + pool.overtime_gain(at.rows)
                if bound < best_bound:
                    best_bound, prices = bound, at
                added += sum(pool.offer(make()) for make in makers)
            result = pool.lp.solve(NEARLY * min(1.0, best_bound / value - 1) if value > 0 else NEARLY)
            value = result.value
            if progress is not None:
                best, most = (100 * (x + season.constant) for x in (value, best_bound))
                progress("season", best, most, time.monotonic() - begun)
            if stop is not None and stop.is_set():
                stopped = min(stopped, time.monotonic())
                enough = max(enough, ENOUGH_STOPPED if time.monotonic() - stopped < SECONDS_STOPPED else np.inf)
            if best_bound - value <= enough * abs(best_bound) + 1e-6:
                break
            mixed = result.prices
            if np.isfinite(best_bound) and number > 1:
                mixed = SMOOTHING * prices.rows + (1 - SMOOTHING) * mixed
            if not added and np.allclose(mixed, asked[0].rows, atol=1e-9):
                break
            asked = [season.price(mixed)]
            if self._large and number > 1:  # a solve takes longer than prices: more columns for each
                asked.append(season.price(result.prices))
        assert result is not None
        columns, shares = pool.outcome(result.amounts)
        return Relaxed(best_bound + season.constant, value + season.constant, prices, columns, shares, number)


def _first_columns(
    season: Season, warm: Floats, progress: Progress | None, stop: threading.Event | None
) -> list[tuple[list[Column], Floats]]:
    """What the strains of a large farm would do in parts, each with its share of what all share: columns and prices of each part."""
    parts = Parts(season)
    seasons, told = parts.seasons(), told_by_part(progress, len(parts))

    def solved(k: int) -> tuple[list[Column], Floats]:
        found = relax(seasons[k], enough=ENOUGH_PART, warm=warm, progress=told(k), stop=stop)
        return _best_columns(found), found.prices.rows

    return parts.each(solved)


def _best_columns(part: Relaxed) -> list[Column]:
    """The columns a relaxation mixes, and of every source those that are best at its prices."""
    rows = part.prices.rows
    net = [c.worth - sum(x * float(rows[r]) for r, x in c.uses.items()) for c in part.columns]
    by_source: dict[int, list[int]] = defaultdict(list)
    for k in np.argsort(-np.array(net), kind="stable"):
        by_source[part.columns[k].source].append(int(k))
    kept = {k for ranked in by_source.values() for k in ranked[:KEPT]} | set(np.flatnonzero(part.amounts > 1e-9).tolist())
    return [part.columns[k] for k in sorted(kept)]


class _Pool:
    """The columns met so far, each once, and the linear programme over them."""

    def __init__(
        self, season: Season, limits: Floats, amounts: Floats, relaxed_rows: Sequence[int], *, large: bool = False
    ) -> None:
        part = len(season.sources) < len(amounts)
        self.lp: Programme = InteriorProgramme(limits, amounts) if large else ColumnProgramme(limits, amounts, sparse=part)
        self._columns: list[Column | None] = []
        self._seen: set[tuple[object, ...]] = set()
        weeks = season.capacity.weeks
        most = [sum(overtime_minutes(season.farm, p.person, w) for p in season.farm.people) for w in weeks]
        self._overtime = list(zip(season.overtime_columns(), most, strict=True))
        for (worth, uses), _ in self._overtime:
            self.lp.add(worth, uses)
            self._columns.append(None)
        for row in relaxed_rows:
            self.lp.add(-OVERRUN, {row: -1.0})
            self._columns.append(None)
        for source in season.sources:
            self.offer(season.standing_column(source))

    def offer(self, column: Column) -> bool:
        """Add a column; ``False`` if it is there already."""
        key = (column.source, column.cuts, column.end_level, column.leaves, column.outlet, round(column.worth, 6))
        if key in self._seen:
            return False
        self._seen.add(key)
        self.lp.add(column.worth, column.uses, column.source)
        self._columns.append(column)
        return True

    def begun(self, parts: Sequence[tuple[list[Column], Floats]]) -> Floats:
        """Take the columns of parts of the season, with the prices of each; returns prices of the whole."""
        for columns, rows in parts:
            for column in columns:
                self.offer(column)
            self.lp.expect(rows > 1e-9)
        return self.lp.solve(NEARLY).prices

    def overtime_gain(self, rows: Floats) -> float:
        """The most that overtime could earn at these prices: 0 where none of it pays."""
        return float(sum(most * max(0.0, w - sum(c * rows[r] for r, c in uses.items())) for (w, uses), most in self._overtime))

    def outcome(self, amounts: Floats) -> tuple[list[Column], Floats]:
        """Columns of colonies and lots, and how much of each the optimum takes."""
        kept = [(c, amounts[k]) for k, c in enumerate(self._columns) if c is not None]
        return [c for c, _ in kept], np.array([a for _, a in kept])
