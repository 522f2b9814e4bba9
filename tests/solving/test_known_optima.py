"""Problems whose optimum is published, or found by another solver."""

from __future__ import annotations

import os
import random
from pathlib import Path

import numpy as np
import pytest
from ortools.sat.python import cp_model
from scipy.optimize import Bounds, LinearConstraint, linear_sum_assignment, milp

from scheduler.solving import Limits, solve

BENCHMARKS = Path(os.environ.get("BENCHMARKS", Path(__file__).parents[3] / "shared" / "facts" / "benchmarks"))


def read(name: str) -> tuple[list[list[int]], list[list[int]], list[int]]:
    path = BENCHMARKS / name
    if not path.is_file():
        pytest.skip(f"{path} is not there")
    numbers = iter(int(word) for word in path.read_text().split())
    agents, jobs = next(numbers), next(numbers)
    cost = [[next(numbers) for _ in range(jobs)] for _ in range(agents)]
    need = [[next(numbers) for _ in range(jobs)] for _ in range(agents)]
    return cost, need, [next(numbers) for _ in range(agents)]


@pytest.mark.parametrize(("name", "optimum"), [("gap1-0", 261), ("a05100", 1698), ("b05100", 1843)])
def test_generalized_assignment(name: str, optimum: int) -> None:
    cost, need, capacity = read(name)
    agents, jobs = range(len(cost)), range(len(cost[0]))
    model = cp_model.CpModel()
    x = [[model.new_bool_var("") for _ in jobs] for _ in agents]
    for j in jobs:
        model.add_exactly_one(x[a][j] for a in agents)
    for a in agents:
        model.add(sum(need[a][j] * x[a][j] for j in jobs) <= capacity[a])
    model.minimize(sum(cost[a][j] * x[a][j] for a in agents for j in jobs))
    solved = solve(model, Limits(seconds=120), stage=name)
    assert (solved.outcome.outcome, solved.outcome.value) == ("optimal", optimum)
    for a in agents:
        assert sum(need[a][j] for j in jobs if solved.value(x[a][j])) <= capacity[a]


@pytest.mark.parametrize("seed", range(5))
def test_assignment_agrees_with_two_other_solvers(seed: int) -> None:
    rng, size = random.Random(seed), 7
    cost = [[rng.randint(0, 99) for _ in range(size)] for _ in range(size)]
    model = cp_model.CpModel()
    x = [[model.new_bool_var("") for _ in range(size)] for _ in range(size)]
    for i in range(size):
        model.add_exactly_one(x[i])
        model.add_exactly_one(row[i] for row in x)
    model.minimize(sum(cost[i][j] * x[i][j] for i in range(size) for j in range(size)))
    value = solve(model, Limits(seconds=20), stage="assignment").outcome.value

    matrix = np.array(cost)
    rows, cols = linear_sum_assignment(matrix)
    once = np.concatenate([np.kron(np.eye(size), np.ones(size)), np.kron(np.ones(size), np.eye(size))])
    whole = milp(matrix.ravel(), constraints=LinearConstraint(once, 1, 1), integrality=np.ones(size * size), bounds=Bounds(0, 1))
    assert value == matrix[rows, cols].sum() == round(whole.fun)
