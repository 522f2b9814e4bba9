"""Linear programmes that grow by columns: the one place that runs GLOP and, for very large ones, HiGHS's interior points."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import linprog

from scheduler.errors import NoPlanFound

with warnings.catch_warnings():  # the wrapper's own import warns, and warnings made errors would end the program there
    warnings.simplefilter("ignore", DeprecationWarning)
    from ortools.linear_solver import pywraplp

Floats = NDArray[np.float64]

CLOSE = 0.98
"""Rows used beyond this share of their limit are built with those overrun."""


@dataclass(frozen=True)
class LinearResult:
    """Optimum of a linear programme: value, price of each limit (not negative), price of each source, amounts of columns."""

    value: float
    prices: Floats
    source_prices: Floats
    amounts: Floats


class Programme(Protocol):
    """A linear programme that grows by columns."""

    def add(self, worth: float, uses: Mapping[int, float], source: int | None = None) -> int:
        """Add a column: worth and use of rows per unit, and the source it belongs to. Returns its number."""

    def change(self, limits: Floats, sources: Floats) -> None:
        """Other right-hand sides: limits of the rows, amounts of the sources."""

    def expect(self, rows: NDArray[np.bool_]) -> None:
        """Rows that are likely to bind: a hint."""

    def solve(self, nearly: float = 0.0) -> LinearResult:
        """Solve what is there by now; limits may be overrun by what is worth up to the share ``nearly`` of the value."""


class ColumnProgramme:
    """Maximise worth over columns; rows are upper limits, every source's columns add up to its amount.

    ``limits``: right-hand sides of the rows. ``sources``: amount of each source. Between solves only columns are added
    or right-hand sides changed, so a solve starts from the last basis.
    """

    def __init__(self, limits: Floats, sources: Floats, *, sparse: bool = False) -> None:
        """``sparse``: most rows and sources will have no column; only those that have one are built."""
        self._solver = pywraplp.Solver.CreateSolver("GLOP")
        if self._solver is None:
            raise NoPlanFound("The linear solver could not be started.")
        self._pivot(dual=False)
        self._goal = self._solver.Objective()
        self._goal.SetMaximization()
        self._free = self._solver.infinity()
        self._limits, self._amounts = limits, sources
        self._rows: dict[int, pywraplp.Constraint] = {}
        self._sources: dict[int, pywraplp.Constraint] = {}
        self._columns: list[pywraplp.Variable] = []
        if not sparse:
            for row in range(len(limits)):
                self._row(row)
            for source in range(len(sources)):
                self._source(source)

    def _pivot(self, *, dual: bool) -> None:
        # Both rescale what is there when columns come, and a rescaled basis is not started from again.
        kept = "use_preprocessing: false use_scaling: false"
        self._solver.SetSolverSpecificParametersAsString(f"{kept} use_dual_simplex: {str(dual).lower()}")

    def _row(self, row: int) -> pywraplp.Constraint:
        if row not in self._rows:
            self._rows[row] = self._solver.Constraint(-self._free, float(self._limits[row]))
        return self._rows[row]

    def _source(self, source: int) -> pywraplp.Constraint:
        if source not in self._sources:
            self._sources[source] = self._solver.Constraint(float(self._amounts[source]), float(self._amounts[source]))
        return self._sources[source]

    def add(self, worth: float, uses: Mapping[int, float], source: int | None = None) -> int:
        """Add a column: worth and use of rows per unit, and the source it belongs to. Returns its number."""
        column = self._solver.NumVar(0.0, self._solver.infinity(), "")
        self._goal.SetCoefficient(column, worth)
        for row, amount in uses.items():
            if amount:
                self._row(row).SetCoefficient(column, amount)
        if source is not None:
            self._source(source).SetCoefficient(column, 1.0)
        self._columns.append(column)
        return len(self._columns) - 1

    def expect(self, rows: NDArray[np.bool_]) -> None:
        """Rows that are likely to bind: of no use to pivots, which have all rows."""

    def change(self, limits: Floats, sources: Floats) -> None:
        """Other right-hand sides. What was the best stays priced right, so the next solve needs few (dual) pivots."""
        for row, constraint in self._rows.items():
            constraint.SetUb(float(limits[row]))
        for source, constraint in self._sources.items():
            constraint.SetBounds(float(sources[source]), float(sources[source]))
        self._limits, self._amounts = limits, sources
        self._pivot(dual=True)

    def solve(self, nearly: float = 0.0) -> LinearResult:  # noqa: ARG002 # pivots always come to the end
        """Solve. Raises ``NoPlanFound`` if there is no optimum (every source needs a column that uses no row)."""
        status = self._solver.Solve()
        if status == pywraplp.Solver.ABNORMAL:  # lost in its numbers: once more, prepared and scaled as GLOP likes it
            self._solver.SetSolverSpecificParametersAsString("")
            status = self._solver.Solve()
        self._pivot(dual=False)
        if status != pywraplp.Solver.OPTIMAL:
            raise NoPlanFound(f"The linear programme of the season ended without an optimum (status {status}).")
        prices, sources = np.zeros(len(self._limits)), np.zeros(len(self._amounts))
        for row, constraint in self._rows.items():
            prices[row] = max(0.0, constraint.dual_value())
        for source, constraint in self._sources.items():
            sources[source] = constraint.dual_value()
        amounts = np.array([c.solution_value() for c in self._columns])
        return LinearResult(self._goal.Value(), prices, sources, amounts)


class InteriorProgramme:
    """The same programme solved each time from the beginning by interior points (HiGHS, through scipy) and a crossover.

    Its time hardly depends on how many columns are new, and grows far less than that of pivots: for farms of many hundred
    colonies. Rows that do not bind cost it most, so only those are built that are expected to bind, had a price before, or were
    overrun since. Repeats exactly, since no clock ends it.
    """

    def __init__(self, limits: Floats, sources: Floats) -> None:
        self._limits, self._sources = np.array(limits, dtype=float), np.array(sources, dtype=float)
        self._worths: list[float] = []
        self._rows: list[int] = []
        self._amounts: list[float] = []
        self._ends = [0]
        self._built = np.zeros(len(self._limits), dtype=np.bool_)

    def add(self, worth: float, uses: Mapping[int, float], source: int | None = None) -> int:
        """Add a column: worth and use of rows per unit, and the source it belongs to. Returns its number."""
        self._worths.append(float(worth))
        self._rows += uses.keys()
        self._amounts += uses.values()
        if source is not None:
            self._rows.append(len(self._limits) + source)
            self._amounts.append(1.0)
        self._ends.append(len(self._rows))
        return len(self._worths) - 1

    def change(self, limits: Floats, sources: Floats) -> None:
        """Other right-hand sides."""
        self._limits, self._sources = np.array(limits, dtype=float), np.array(sources, dtype=float)

    def expect(self, rows: NDArray[np.bool_]) -> None:
        """Rows that are likely to bind: building them at once saves solves."""
        self._built |= rows

    def solve(self, nearly: float = 0.0) -> LinearResult:
        """Solve, again with the rows that were overrun until that changes the value by no more than the share ``nearly`` of it.

        Raises ``NoPlanFound`` if there is no optimum (every source needs a column that uses no row).
        """
        rows = len(self._limits)
        shape = (rows + len(self._sources), len(self._worths))
        matrix = sparse.csc_matrix((self._amounts, self._rows, self._ends), shape=shape).tocsr()
        shared, own = matrix[:rows], matrix[rows:]
        before = np.inf
        while True:
            built = np.flatnonzero(self._built)
            found = linprog(  # type: ignore[call-overload] # its stubs know no sparse matrices
                -np.array(self._worths), A_ub=shared[built], b_ub=self._limits[built], A_eq=own, b_eq=self._sources,
                method="highs-ipm",
            )  # fmt: skip
            if found.status != 0:
                return self._by_pivots()
            used, value = shared @ found.x, -float(found.fun)
            over = used > self._limits * (1 + 1e-7) + 1e-6
            over[built] = False
            if not over.any() or (nearly and before - value <= nearly * abs(value)):
                break
            self._built |= over | (used > CLOSE * self._limits) & (self._limits > 0)
            before = value
        prices = np.zeros(rows)
        prices[built] = np.maximum(0.0, -found.ineqlin.marginals)
        self._built = over | (prices > 1e-9) | (used > CLOSE * self._limits)
        return LinearResult(value, prices, -found.eqlin.marginals, np.asarray(found.x))

    def _by_pivots(self) -> LinearResult:
        """The same by GLOP, which also tells if there is no optimum."""
        other, rows = ColumnProgramme(self._limits, self._sources), len(self._limits)
        for worth, begin, end in zip(self._worths, self._ends[:-1], self._ends[1:], strict=True):
            cells = dict(zip(self._rows[begin:end], self._amounts[begin:end], strict=True))
            source = next((r - rows for r in cells if r >= rows), None)
            other.add(worth, {r: x for r, x in cells.items() if r < rows}, source)
        return other.solve()
