"""Pricing of shared capacity against a published instance of capacitated lot sizing with set-up times.

What is comparable is the core: columns of one source each, limits they share, prices from the linear programme, and a bound
that is the best of every source at these prices plus prices x limits. There an item is a source, a production plan a column
and a period's capacity a limit. The rest is not: in a season pieces come from colonies that must grow, positions have no
price of their own, and orders may stay open, so that the season model itself cannot state lot sizing with holding costs.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from scheduler.solving.linear import ColumnProgramme, pywraplp

FILE = Path(__file__).parents[3] / "shared" / "facts" / "benchmarks" / "clsp_X11117A"

OPTIMUM = 8375.8
"""Of instance X11117A (collection LotSizingProblems.jl, MIT; first made for Trigeiro, Thomas & McClain 1989, Management Science
35:353-366, from memory); proved by two solvers."""

Floats = NDArray[np.float64]

pytestmark = pytest.mark.skipif(not FILE.exists(), reason=f"the published instance {FILE.name} is not here")


@dataclass(frozen=True)
class Instance:
    """Capacity of a period; by item minutes a unit, holding cost, set-up minutes and cost; ``demand[period, item]``."""

    capacity: float
    unit: Floats
    holding: Floats
    setup_minutes: Floats
    setup_cost: Floats
    demand: Floats


def instance() -> Instance:
    words = FILE.read_text(encoding="utf-8").split()
    items, periods = int(words[0]), int(words[1])
    numbers = [float(x) for x in words[2 : 4 + 4 * items + periods * items]]
    table = np.array(numbers[2 : 2 + 4 * items]).reshape(items, 4)
    demand = np.array(numbers[2 + 4 * items :]).reshape(periods, items)
    return Instance(numbers[1], table[:, 0], table[:, 1], table[:, 2], table[:, 3], demand)


def cost_of(data: Instance, item: int, made: int, used: int) -> float:
    """Holding cost of the demand of period ``used`` made in period ``made``."""
    return float(data.holding[item] * (used - made) * data.demand[used, item])


def best_plan(data: Instance, item: int, prices: Floats) -> tuple[float, list[tuple[int, int]]]:
    """Cheapest plan at the prices of capacity: runs (first, last period covered). Wagner & Whitin (1958), from memory."""
    periods = len(data.demand)
    cost, before = [0.0] + [np.inf] * periods, [0] * (periods + 1)
    for first in range(periods):
        if data.demand[first, item] == 0 and cost[first] < cost[first + 1]:
            cost[first + 1], before[first + 1] = cost[first], first + 1  # nothing wanted, nothing made
        run = float(data.setup_cost[item] + prices[first] * data.setup_minutes[item])
        for last in range(first, periods):
            run += cost_of(data, item, first, last) + float(prices[first] * data.unit[item] * data.demand[last, item])
            if cost[first] + run < cost[last + 1] - 1e-12:
                cost[last + 1], before[last + 1] = cost[first] + run, first
    runs, end = [], periods
    while end:
        if before[end] == end:
            end -= 1
        else:
            runs.append((before[end], end - 1))
            end = before[end]
    return cost[periods], runs


def by_columns(data: Instance) -> tuple[float, float]:
    """(best bound, value) of the linear programme over production plans, as costs."""
    periods, items = data.demand.shape
    programme = ColumnProgramme(np.full(periods, data.capacity), np.ones(items))
    for item in range(items):
        programme.add(-1e6, {}, item)
    prices, bound, value = np.zeros(periods), -np.inf, np.inf
    for _ in range(400):
        total = -float(prices.sum() * data.capacity)
        for item in range(items):
            cost, runs = best_plan(data, item, prices)
            total += cost
            uses: dict[int, float] = {}
            money = 0.0
            for first, last in runs:
                made = float(data.demand[first : last + 1, item].sum())
                uses[first] = data.setup_minutes[item] + data.unit[item] * made
                money += data.setup_cost[item] + sum(cost_of(data, item, first, u) for u in range(first, last + 1))
            programme.add(-money, uses, item)
        bound = max(bound, total)
        solved = programme.solve()
        value, prices = -solved.value, solved.prices
        if value - bound <= 1e-7 * value:
            break
    return bound, value


def by_locations(data: Instance, *, whole: bool = False) -> float:
    """The same as one programme in the plant location form (Krarup & Bilde 1977, from memory): each item's part of it is exact."""
    periods, items = data.demand.shape
    solver = pywraplp.Solver.CreateSolver("SCIP" if whole else "GLOP")
    minutes: list[list[object]] = [[] for _ in range(periods)]
    cost: list[object] = []
    for item in range(items):
        setups = [solver.IntVar(0, 1, "") if whole else solver.NumVar(0, 1, "") for _ in range(periods)]
        for made in range(periods):
            cost.append(float(data.setup_cost[item]) * setups[made])
            minutes[made].append(float(data.setup_minutes[item]) * setups[made])
        for used in np.flatnonzero(data.demand[:, item]).tolist():
            parts = [solver.NumVar(0, 1, "") for _ in range(used + 1)]
            solver.Add(sum(parts) == 1)
            for made, part in enumerate(parts):
                solver.Add(part <= setups[made])
                cost.append(cost_of(data, item, made, used) * part)
                minutes[made].append(float(data.unit[item] * data.demand[used, item]) * part)
    for terms in minutes:
        solver.Add(sum(terms) <= data.capacity)
    solver.Minimize(sum(cost))
    assert solver.Solve() == pywraplp.Solver.OPTIMAL
    return float(solver.Objective().Value())


@pytest.mark.parametrize("share", [1.0, 0.9, 0.85])
def test_the_bound_by_prices_is_the_exact_linear_bound(share: float) -> None:
    """Also with less capacity than published, so that it has a price."""
    data = replace(instance(), capacity=share * instance().capacity)
    bound, value = by_columns(data)
    exact = by_locations(data)
    assert bound == pytest.approx(exact, rel=1e-6)
    assert value == pytest.approx(exact, rel=1e-6)


def test_the_bound_of_the_published_instance_is_its_optimum() -> None:
    """Wide capacity: the linear programme over whole production plans ends in whole plans."""
    bound, value = by_columns(instance())
    assert bound == pytest.approx(OPTIMUM, rel=1e-7)
    assert value == pytest.approx(OPTIMUM, rel=1e-7)
    assert by_locations(instance(), whole=True) == pytest.approx(OPTIMUM, rel=1e-6)
