"""Solvers of a single model: CP-SAT, SCIP, and HiGHS in a process of its own (beside OR-Tools it has crashed).

Each is told that cutting nothing is a plan, so that it has something to improve.
"""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from ortools.linear_solver import pywraplp
from ortools.sat.python import cp_model
from scipy import sparse

from tests.benchmarks.single_model import FREE, Programme

Floats = NDArray[np.float64]

FINE = 10_000
"""Shared rows are counted in ten-thousandths for CP-SAT, to the nearest."""

MOST_PIECES = 10_000
"""CP-SAT wants bounds: no light class holds more frags of one kind."""

SPARE_SECONDS = 60
"""Beyond its limit HiGHS is given this long to write its answer."""


def by_cp_sat(p: Programme, seconds: float) -> Floats | None:
    """Everything whole, shared rows in ten-thousandths, money in cents; two workers."""
    model = cp_model.CpModel()
    x = [model.new_int_var(0, int(min(m, MOST_PIECES)), "") for m in p.most]
    rows = p.rows.tocsr()
    for i in range(rows.shape[0]):
        span = slice(rows.indptr[i], rows.indptr[i + 1])
        if np.isneginf(p.low[i]):
            weights = [round(a * FINE) for a in rows.data[span]]
            model.add(_total(x, rows.indices[span], weights) <= math.ceil(p.high[i] * FINE))
        else:
            weights = [round(a) for a in rows.data[span]]
            model.add(_total(x, rows.indices[span], weights) == round(p.high[i]))
    for v in (v for v, whole in zip(x, p.whole, strict=True) if whole):
        model.add_hint(v, 0)
    model.maximize(_total(x, range(len(x)), [round(100 * w) for w in p.worth]))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds, solver.parameters.num_workers = seconds, 2
    if solver.solve(model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None
    return np.array([float(solver.value(v)) for v in x])


def _total(x: list[cp_model.IntVar], columns: object, weights: list[int]) -> cp_model.LinearExpr:
    return cp_model.LinearExpr.weighted_sum([x[j] for j in columns], weights)  # type: ignore[attr-defined]


def by_scip(p: Programme, seconds: float) -> Floats | None:
    """Whole cuts, parts of pieces (made whole when the plan is written)."""
    solver = pywraplp.Solver.CreateSolver("SCIP")
    solver.SetTimeLimit(int(1000 * seconds))
    top = solver.infinity()
    x = [
        solver.IntVar(0, m, "") if whole else solver.NumVar(0, top if m >= FREE else m, "")
        for m, whole in zip(p.most.tolist(), p.whole, strict=True)
    ]
    for v, worth in zip(x, p.worth.tolist(), strict=True):
        solver.Objective().SetCoefficient(v, worth)
    solver.Objective().SetMaximization()
    for i in range(p.rows.shape[0]):
        row = solver.Constraint(-top if np.isneginf(p.low[i]) else float(p.low[i]), float(p.high[i]))
        for k in range(p.rows.indptr[i], p.rows.indptr[i + 1]):
            row.SetCoefficient(x[p.rows.indices[k]], float(p.rows.data[k]))
    hinted = [v for v, whole in zip(x, p.whole, strict=True) if whole]
    solver.SetHint(hinted, [0.0] * len(hinted))
    if solver.Solve() not in (pywraplp.Solver.OPTIMAL, pywraplp.Solver.FEASIBLE):
        return None
    return np.array([v.solution_value() for v in x])


def by_highs(p: Programme, seconds: float) -> Floats | None:
    """The same programme as for SCIP. ``None`` too where HiGHS is not installed or ends badly."""
    with tempfile.TemporaryDirectory() as folder:
        question, answer = Path(folder, "question.npz"), Path(folder, "answer.npy")
        matrix = sparse.csc_matrix(p.rows)
        np.savez(question, worth=p.worth, most=p.most, whole=p.whole, low=p.low, high=p.high,
                 start=matrix.indptr, index=matrix.indices, value=matrix.data, seconds=seconds)  # fmt: skip
        command = [sys.executable, "-m", "tests.benchmarks.highs", str(question), str(answer)]
        done = subprocess.run(command, check=False, timeout=seconds + SPARE_SECONDS)
        return np.load(answer) if done.returncode == 0 and answer.exists() else None
