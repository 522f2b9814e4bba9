"""The season as a linear programme over colony programmes and routes: a proven bound, and prices of all that is shared.

Column generation: given prices, the best way out of every track and the best cut programme of every colony are exact
maxima; the colonies and lots that could do better at these prices offer new columns. At any prices

    sum of the best worth of every colony and lot + prices x limits

is a bound no plan can beat, since it relaxes every shared limit at its price.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.farm.work import overtime_minutes
from scheduler.season.columns import Column, Floats, Prices, Season
from scheduler.solving import Progress
from scheduler.solving.linear import ColumnProgramme

ENOUGH = 5e-4
"""Column generation ends when bound and value of the linear programme are this close, as a share of the bound."""

ROUNDS = 60
"""Most rounds of column generation; the bound found until then is a bound all the same."""

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
    """Solve the relaxation by column generation. ``stop`` ends it after the round.

    ``warm``: row prices to begin with; ``columns``: columns to begin with, of this season or one that differs in limits only.
    ``elastic``: positions may be overrun at a forbidding cost, for limits that lots cannot keep without selling.
    """
    begun = time.monotonic()
    limits, amounts = season.capacity.limits, season.amounts
    soft = [i for i, row in enumerate(season.capacity.rows) if elastic and row.kind in ("positions", "system")]
    pool = _Pool(season, limits, amounts, soft)
    for column in columns:
        pool.offer(column)
    asked = season.price(np.zeros(len(limits)) if warm is None else warm)
    best_bound, prices = np.inf, asked
    value, result, number = -np.inf, None, 0
    for number in range(1, rounds + 1):
        worth, makers = season.reduced(asked)
        bound = float(worth @ amounts + asked.rows @ limits)
        bound += pool.overtime_gain(asked.rows)
        if bound < best_bound:
            best_bound, prices = bound, asked
        added = sum(pool.offer(make()) for make in makers)
        result = pool.lp.solve()
        value = result.value
        if progress is not None:
            best, most = (100 * (x + season.constant) for x in (value, best_bound))
            progress("season", best, most, time.monotonic() - begun)
        if best_bound - value <= enough * abs(best_bound) + 1e-6 or (stop is not None and stop.is_set()):
            break
        newest = result.prices
        if np.isfinite(best_bound) and number > 1:
            newest = SMOOTHING * prices.rows + (1 - SMOOTHING) * newest
        if not added and np.allclose(newest, asked.rows, atol=1e-9):
            break
        asked = season.price(newest)
    assert result is not None
    columns, shares = pool.outcome(result.amounts)
    return Relaxed(best_bound + season.constant, value + season.constant, prices, columns, shares, number)


class _Pool:
    """The columns met so far, each once, and the linear programme over them."""

    def __init__(self, season: Season, limits: Floats, amounts: Floats, relaxed_rows: Sequence[int]) -> None:
        self.lp = ColumnProgramme(limits, amounts)
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
        for i in range(len(season.colonies)):
            self.offer(season.uncut_column(i))
        for j in range(len(season.lots)):
            self.offer(season.left_column(j))

    def offer(self, column: Column) -> bool:
        """Add a column; ``False`` if it is there already."""
        key = (column.source, column.cuts, column.end_level, column.leaves, column.outlet, round(column.worth, 6))
        if key in self._seen:
            return False
        self._seen.add(key)
        self.lp.add(column.worth, column.uses, column.source)
        self._columns.append(column)
        return True

    def overtime_gain(self, rows: Floats) -> float:
        """The most that overtime could earn at these prices: 0 where none of it pays."""
        return float(sum(most * max(0.0, w - sum(c * rows[r] for r, c in uses.items())) for (w, uses), most in self._overtime))

    def outcome(self, amounts: Floats) -> tuple[list[Column], Floats]:
        """Columns of colonies and lots, and how much of each the optimum takes."""
        kept = [(c, amounts[k]) for k, c in enumerate(self._columns) if c is not None]
        return [c for c, _ in kept], np.array([a for _, a in kept])
