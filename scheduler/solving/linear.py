"""Linear programmes that grow by columns: the one place that runs GLOP."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.errors import NoPlanFound

with warnings.catch_warnings():  # the wrapper's own import warns, and warnings made errors would end the program there
    warnings.simplefilter("ignore", DeprecationWarning)
    from ortools.linear_solver import pywraplp

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LinearResult:
    """Optimum of a linear programme: value, price of each limit (not negative), price of each source, amounts of columns."""

    value: float
    prices: Floats
    source_prices: Floats
    amounts: Floats


class ColumnProgramme:
    """Maximise worth over columns; rows are upper limits, every source's columns add up to its amount.

    ``limits``: right-hand sides of the rows. ``sources``: amount of each source. Between solves only columns are added
    or limits changed, so a solve starts from the last basis.
    """

    def __init__(self, limits: Floats, sources: Floats) -> None:
        self._solver = pywraplp.Solver.CreateSolver("GLOP")
        if self._solver is None:
            raise NoPlanFound("The linear solver could not be started.")
        # Both rescale what is there when columns come, and a rescaled basis is not started from again.
        self._solver.SetSolverSpecificParametersAsString("use_preprocessing: false use_scaling: false")
        self._goal = self._solver.Objective()
        self._goal.SetMaximization()
        free = self._solver.infinity()
        self._rows = [self._solver.Constraint(-free, float(b)) for b in limits]
        self._sources = [self._solver.Constraint(float(a), float(a)) for a in sources]
        self._columns: list[pywraplp.Variable] = []

    def add(self, worth: float, uses: Mapping[int, float], source: int | None = None) -> int:
        """Add a column: worth and use of rows per unit, and the source it belongs to. Returns its number."""
        column = self._solver.NumVar(0.0, self._solver.infinity(), "")
        self._goal.SetCoefficient(column, worth)
        for row, amount in uses.items():
            if amount:
                self._rows[row].SetCoefficient(column, amount)
        if source is not None:
            self._sources[source].SetCoefficient(column, 1.0)
        self._columns.append(column)
        return len(self._columns) - 1

    def set_limits(self, limits: Floats) -> None:
        """Change the right-hand sides."""
        for row, limit in zip(self._rows, limits, strict=True):
            row.SetUb(float(limit))

    def solve(self) -> LinearResult:
        """Solve. Raises ``NoPlanFound`` if there is no optimum (every source needs a column that uses no row)."""
        status = self._solver.Solve()
        if status != pywraplp.Solver.OPTIMAL:
            raise NoPlanFound(f"The linear programme of the season ended without an optimum (status {status}).")
        prices = np.maximum(0.0, np.array([r.dual_value() for r in self._rows]))
        sources = np.array([r.dual_value() for r in self._sources])
        amounts = np.array([c.solution_value() for c in self._columns])
        return LinearResult(self._goal.Value(), prices, sources, amounts)
