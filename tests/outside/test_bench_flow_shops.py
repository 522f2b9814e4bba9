"""Schedules of the bench against published rules and instances of flow shops."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations
from random import Random

import pytest

from scheduler.bench.schedule import schedule
from scheduler.bench.shop import Shop, Task, Wait
from scheduler.solving import Limits

LIMITS = Limits(deterministic=20, seed=1)

# Johnson SM (1954) Optimal two- and three-stage production schedules, Naval Res Logist Q 1:61-68. Examples of the rule as
# printed in textbooks; the least times were worked out again by trying every order.
JOHNSON = [
    ([(10, 2), (5, 4), (7, 5), (3, 6), (1, 7)], 28),
    ([(3, 8), (12, 10), (5, 9), (2, 6), (9, 3), (11, 1)], 43),
    ([(4, 8), (10, 5), (3, 11), (14, 14), (6, 1), (7, 12)], 54),
    ([(5, 8), (3, 9), (8, 7), (7, 2), (4, 6)], 35),
    ([(10, 11), (8, 17), (14, 10), (13, 7), (10, 8), (25, 9), (6, 15)], 93),
    ([(4, 5), (4, 22), (5, 3), (15, 16), (10, 8)], 58),
]


def two_stations(jobs: Sequence[tuple[int, int]], lags: Sequence[int] = (), *, one_order: bool = False) -> Shop:
    """Jobs cut by one person and mounted by another, at least a lag after the cut ends."""
    tasks, waits, order = [], [], []
    for i, (cut, mount) in enumerate(jobs):
        tasks += [Task(f"cut {i}", cut, ("cutter",)), Task(f"mount {i}", mount, ("mounter",))]
        waits.append(Wait(f"cut {i}", f"mount {i}", lags[i] if lags else 0))
        order.append((f"cut {i}", f"mount {i}"))
    return Shop(tuple(tasks), tuple(waits), one_order=tuple(order) if one_order else ())


def least(shop: Shop) -> int:
    found = schedule(shop, LIMITS)
    assert found is not None
    assert found.outcome.outcome == "optimal"
    return found.finish


@pytest.mark.parametrize(("jobs", "makespan"), JOHNSON)
def test_two_people_reach_johnsons_least_time(jobs: list[tuple[int, int]], makespan: int) -> None:
    assert least(two_stations(jobs)) == makespan


def in_order(jobs: Sequence[tuple[int, int]], lags: Sequence[int], order: Sequence[int]) -> int:
    """Finish of two stations that both serve the jobs in one order."""
    cut = mount = 0
    for i in order:
        cut += jobs[i][0]
        mount = max(mount, cut + lags[i]) + jobs[i][1]
    return mount


def mitten(jobs: Sequence[tuple[int, int]], lags: Sequence[int]) -> list[int]:
    """Mitten LG (1959) Sequencing n jobs on two machines with arbitrary time lags, Manag Sci 5:293-298: Johnson's rule on a + l, l + b."""
    first = sorted((i for i, (a, b) in enumerate(jobs) if a <= b), key=lambda i: jobs[i][0] + lags[i])
    last = sorted((i for i, (a, b) in enumerate(jobs) if a > b), key=lambda i: -(lags[i] + jobs[i][1]))
    return first + last


@pytest.mark.parametrize("seed", range(12))
def test_lots_with_lags_against_mittens_rule_and_every_order(seed: int) -> None:
    chance = Random(seed)
    count = chance.randint(3, 7)
    jobs = [(chance.randint(1, 20), chance.randint(1, 20)) for _ in range(count)]
    lags = [chance.randint(0, 30) for _ in range(count)]
    rule = in_order(jobs, lags, mitten(jobs, lags))
    best = min(in_order(jobs, lags, order) for order in permutations(range(count)))
    assert rule == best  # Mitten's rule is best among orders kept at both stations
    assert least(two_stations(jobs, lags, one_order=True)) == best
    assert least(two_stations(jobs, lags)) <= rule


def taillard(seed: int, jobs: int, machines: int) -> list[list[int]]:
    """Times by machine of an instance of Taillard É (1993) Benchmarks for basic scheduling problems, Eur J Oper Res 64:278-285."""
    found = []
    for _ in range(machines):
        row = []
        for _ in range(jobs):
            seed = 16807 * seed % (2**31 - 1)
            row.append(1 + 99 * seed // (2**31 - 1))
        found.append(row)
    return found


@pytest.mark.slow
def test_a_published_flow_shop_of_twenty_jobs_and_five_machines() -> None:
    times = taillard(873654221, 20, 5)
    assert times[0][:6] == [54, 83, 15, 71, 77, 36]  # first row of the published instance
    tasks = [Task(f"{j}/{m}", times[m][j], (f"station {m}",)) for j in range(20) for m in range(5)]
    waits = [Wait(f"{j}/{m}", f"{j}/{m + 1}") for j in range(20) for m in range(4)]
    order = [tuple(f"{j}/{m}" for m in range(5)) for j in range(20)]
    found = schedule(Shop(tuple(tasks), tuple(waits), one_order=tuple(order)), LIMITS)
    assert found is not None
    assert found.finish == 1278  # published optimum of the permutation flow shop
    assert found.outcome.outcome == "optimal"
