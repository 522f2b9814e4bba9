"""Each rule of the small shop: far inside, at the limit, one second beyond; and the first schedule keeps them all."""

from __future__ import annotations

from itertools import pairwise, permutations, product
from random import Random

import pytest
from day_farm import busy_day, the_session

from scheduler.bench.guess import first_schedule
from scheduler.bench.lots import session_shop
from scheduler.bench.schedule import schedule
from scheduler.bench.shop import DIP, Shop, Stay, Task, Wait, mix_id
from scheduler.solving import Limits

LIMITS = Limits(deterministic=2, seed=1)


def dips(
    cuts: list[int],
    dip: int,
    *,
    slack: int = 0,
    baths: int = 1,
    people: tuple[str, ...] = ("b",),
    pieces: int = 1,
    **more: object,
) -> Shop:
    """Lots cut by ``a``, dipped, and taken out by ``people`` in one second."""
    tasks, waits, stays = [], [], []
    for i, length in enumerate(cuts):
        tasks += [Task(f"cut {i}", length, ("a",), 0), Task(f"out {i}", 1, people, 0)]
        waits.append(Wait(f"cut {i}", f"out {i}", dip, dip + slack, cost=DIP))
        stays.append(Stay("iodine", f"cut {i}", f"out {i}", 1, pieces, 0))
    return Shop(tuple(tasks), tuple(waits), tuple(stays), baths=baths, mixers={0: ("a",)}, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(("baths", "finish"), [(3, 5 * 3 + 20 + 1), (2, 5 + 20 + 20 + 1), (1, 5 + 60 + 1)])
def test_baths_side_by_side_bound_the_day(baths: int, finish: int) -> None:
    # Three lots, 5 s to cut, 20 s to dip. Two baths: the third lot goes in when the first comes out. One: one after the other.
    assert schedule(dips([5, 5, 5], 20, baths=baths), LIMITS).finish == finish


def test_a_search_cut_short_goes_on_for_a_better_finish_and_keeps_the_bound() -> None:
    farm, cuts = busy_day(2, 25)
    shop, _ = session_shop(farm, the_session(farm), cuts, {})
    guess = max(d.end for d in first_schedule(shop)[0].values() if d.task.counts)
    short = schedule(shop, Limits(deterministic=0.01, seed=1))
    longer = schedule(shop, Limits(deterministic=0.03, seed=1))
    for found in (short, longer):
        assert found.outcome.value == found.finish
        assert (found.outcome.bound or 0) <= found.finish <= guess
    assert (longer.outcome.bound or 0) >= (short.outcome.bound or 0)
    assert longer.finish <= short.finish


def test_a_window_nobody_can_keep_pushes_the_cut_back() -> None:
    # One person cuts and takes out: while the dip of 10 s lasts, a cut of 12 s cannot be finished in time with 1 s of slack.
    alone = schedule(dips([12, 12], 10, slack=1, baths=2, people=("a",)), LIMITS)
    assert alone.finish == 2 * (12 + 10 + 1)
    roomy = schedule(dips([12, 12], 10, slack=2, baths=2, people=("a",)), LIMITS)
    assert roomy.finish == 12 + 12 + 1 + 9 + 1


def test_of_two_equal_finishes_the_one_with_less_time_in_dips_is_taken() -> None:
    found = schedule(dips([5, 5, 5], 20, slack=30, baths=3), LIMITS)
    assert found.overstay == 0


@pytest.mark.parametrize(("mix_pieces", "mixes"), [(12, 0), (11, 1), (4, 2)])
def test_dips_are_mixed_anew_after_so_many_pieces(mix_pieces: int, mixes: int) -> None:
    shop = dips([5, 5, 5], 2, baths=3, pieces=4, mix_pieces=mix_pieces, mix_seconds=100)
    found = schedule(shop, LIMITS)
    fresh = [d for d in found.done if d.task.id.startswith("mix ")]
    assert [d.task.id for d in fresh] == [mix_id(0, "iodine", n) for n in range(1, mixes + 1)]
    assert found.finish == 15 + 100 * mixes + 2 + 1


@pytest.mark.parametrize(("changeover", "finish"), [(0, 20), (7, 27)])
def test_a_change_of_water_takes_its_time_and_nobody_goes_back(changeover: int, finish: int) -> None:
    tasks = (Task("south", 10, ("a",), 1), Task("north", 10, ("a",), 0))
    found = schedule(Shop(tasks[::-1], changeover=changeover), LIMITS)
    start = {d.task.id: d.start for d in found.done}
    assert (start["north"], found.finish) == (0, finish)


def test_turns_hold_for_everybody() -> None:
    # Plain corals by a (10 s) and b (4 s), then a toxic one by b: not before both are done.
    tasks = (Task("plain a", 10, ("a",), 0, turn=0), Task("plain b", 4, ("b",), 0, turn=0), Task("toxic", 5, ("b",), 0, turn=1))
    assert schedule(Shop(tasks), LIMITS).finish == 15


def test_breaks_are_kept_and_do_not_count() -> None:
    work = tuple(Task(f"w{i}", 10, ("a",), 0) for i in range(4))
    rest = Task("break", 5, ("a",), earliest=10, latest=20, counts=False)
    assert schedule(Shop((*work, rest)), LIMITS).finish == 45
    assert schedule(Shop((work[0], rest)), LIMITS).finish == 10


def test_work_falls_to_whoever_is_free() -> None:
    tasks = (Task("long", 20, ("a",)), Task("short", 5, ("a", "b")))
    found = schedule(Shop(tasks), LIMITS)
    assert found.finish == 20
    assert next(d.person for d in found.done if d.task.id == "short") == "b"


@pytest.mark.parametrize("seed", range(8))
def test_two_people_with_lags_in_free_orders_against_every_pair_of_orders(seed: int) -> None:
    chance = Random(seed)
    count = chance.randint(2, 4)
    jobs = [(chance.randint(1, 9), chance.randint(0, 25), chance.randint(1, 9)) for _ in range(count)]
    tasks = [t for i, (a, _, b) in enumerate(jobs) for t in (Task(f"a{i}", a, ("cutter",)), Task(f"b{i}", b, ("mounter",)))]
    waits = [Wait(f"a{i}", f"b{i}", lag) for i, (_, lag, _) in enumerate(jobs)]

    def finish(first: tuple[int, ...], then: tuple[int, ...]) -> int:
        ends, now = {}, 0
        for i in first:
            now += jobs[i][0]
            ends[i] = now
        now = 0
        for i in then:
            now = max(now, ends[i] + jobs[i][1]) + jobs[i][2]
        return now

    orders = list(permutations(range(count)))
    assert schedule(Shop(tuple(tasks), tuple(waits)), LIMITS).finish == min(finish(a, b) for a, b in product(orders, orders))


@pytest.mark.parametrize("seed", range(6))
def test_the_first_schedule_is_one_the_model_accepts(seed: int) -> None:
    farm, cuts = busy_day(seed, 14)
    shop, _ = session_shop(farm, the_session(farm), cuts, {})
    times, _ = first_schedule(shop)
    assert {t.id for t in shop.tasks} <= set(times)
    for wait in shop.waits:
        gap = times[wait.after].start - times[wait.before].end + wait.tail
        assert gap >= wait.least
        assert wait.most is None or gap <= wait.most
    for person in shop.people:
        mine = sorted((d for d in times.values() if d.person == person), key=lambda d: d.start)
        assert all(a.end <= b.start for a, b in pairwise(mine))
    first = max(d.end for d in times.values() if d.task.counts)
    assert schedule(shop, Limits(deterministic=0.2, seed=1)).finish <= first


def test_an_empty_day() -> None:
    assert schedule(Shop((), start=7), LIMITS).finish == 7
