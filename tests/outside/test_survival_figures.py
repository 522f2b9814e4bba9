"""Survival, cover of orders and stock on racks against published figures and laws."""

from __future__ import annotations

import math
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom

from scheduler.biology.life import Life, life
from scheduler.biology.service import pieces_to_start
from scheduler.farm.farm import Farm
from tests.farms import one_strain_farm

NO_LOSS = {"early_weeks": 0, "death_early": 0, "death_late": 0, "detach_early": 0, "detach_late": 0}


def constant(death: float, detach: float = 0.0) -> Farm:
    return one_strain_farm(
        settings={"horizon_weeks": 60}, early_weeks=0, death_early=0, detach_early=0, death_late=death, detach_late=detach,
        par_min=0, par_max=1000,
    )  # fmt: skip


def alive_at(found: Life, days: float) -> float:
    """Share alive after so many days: geometric between whole weeks, as a constant hazard has it."""
    week, part = divmod(days / 7, 1)
    before, after = float(found.alive[1 + int(week)]), float(found.alive[2 + int(week)])
    return before * (after / before) ** part


# Survival over a period turned into a constant hazard a day, and the survival it means after 30, 60, 90, 180, 365 days:
# Shafir et al. 2006, Mar Biol 149:679-687 (13.1 % dead in 144 days); Combillet et al. 2022, PeerJ 10:e13248 (70.21 % at
# 365); Goergen et al. 2018, Restor Ecol 26:622-628 (43 % at 350); Guest et al. 2011, Restor Ecol 19:234-242 (80 % at 210);
# Sarcophyton 93.3 % and Cladiella 53.3 % at 70 days (Aquac Res 50:2047-2053, 2019); nursery benchmark 80 % at 365
# (Schopmeyer et al. 2017, Coral Reefs 36:1047-1057). All from abstracts.
HAZARDS = [
    (0.869, 144, (0.9712, 0.9432, 0.9160, 0.8390, 0.7005)),
    (0.7021, 365, (0.9713, 0.9435, 0.9165, 0.8399, 0.7021)),
    (0.43, 350, (0.9302, 0.8653, 0.8049, 0.6479, 0.4147)),
    (0.80, 210, (0.9686, 0.9382, 0.9088, 0.8259, 0.6785)),
    (0.933, 70, (0.9707, 0.9423, 0.9147, 0.8367, 0.6966)),
    (0.533, 70, (0.7636, 0.5831, 0.4453, 0.1983, 0.0376)),
    (0.80, 365, (0.9818, 0.9640, 0.9465, 0.8958, 0.8000)),
]


@pytest.mark.parametrize(("survival", "days", "table"), HAZARDS)
def test_weekly_losses_reproduce_published_survival(survival: float, days: int, table: tuple[float, ...]) -> None:
    weekly = 1 - survival ** (7 / days)
    found = life(constant(weekly), "A", 1, 1, (200.0,))
    for day, share in zip((30, 60, 90, 180, 365), table, strict=True):
        assert alive_at(found, day) == pytest.approx(share, abs=1.5e-4)


def test_dead_and_detached_are_kept_apart() -> None:
    # Shafir et al. 2006 (abstract): of 6,813 fragments 13.1 % died and another 21.2 % detached in 144 days.
    weekly = 1 - (1 - 0.131 - 0.212) ** (7 / 144)
    found = life(constant(weekly * 0.131 / 0.343, weekly * 0.212 / 0.343), "A", 1, 1, (200.0,))
    assert alive_at(found, 144) == pytest.approx(0.657, abs=1e-4)
    for week in range(2, 61):
        assert float(found.died[week] / found.detached[week]) == pytest.approx(0.131 / 0.212, rel=1e-5)
    lost = [float(found.died[w]) for w in (21, 22)]
    assert lost[0] < 0.131 < lost[1] + 1e-3


# Fewest pieces to start so that the need is met with 50, 80, 90, 95, 99 %: binomial tables, recomputed by brute force.
STARTS = {
    (1, 0.5): (1, 3, 4, 5, 7), (1, 0.7): (1, 2, 2, 3, 4), (1, 0.8): (1, 1, 2, 2, 3), (1, 0.9): (1, 1, 1, 2, 2),
    (10, 0.5): (19, 24, 26, 28, 33), (10, 0.7): (14, 16, 18, 19, 21), (10, 0.8): (12, 14, 15, 16, 18),
    (10, 0.95): (10, 11, 12, 12, 13), (25, 0.5): (49, 56, 59, 62, 69), (25, 0.8): (31, 34, 35, 36, 39),
    (50, 0.7): (71, 76, 79, 81, 86), (50, 0.9): (55, 58, 59, 60, 62), (100, 0.5): (200, 212, 218, 224, 235),
    (100, 0.7): (143, 149, 153, 156, 162), (100, 0.8): (125, 130, 132, 135, 139), (100, 0.95): (105, 107, 108, 109, 111),
}  # fmt: skip


@pytest.mark.parametrize(("case", "starts"), STARTS.items())
def test_pieces_to_start(case: tuple[int, float], starts: tuple[int, ...]) -> None:
    found = tuple(pieces_to_start(case[0], case[1], level) for level in (0.5, 0.8, 0.9, 0.95, 0.99))
    if case == (1, 0.5):  # a level met exactly
        assert binom.sf(0, 1, 0.5) == pytest.approx(0.5)
    assert found == starts


@given(st.integers(1, 60), st.floats(0.3, 1.0), st.floats(0.05, 0.995))
def test_pieces_to_start_is_the_fewest(need: int, survival: float, level: float) -> None:
    n = pieces_to_start(need, survival, level)
    chance = [math.fsum(binom.pmf(k, m, survival) for k in range(need, m + 1)) for m in (n, n - 1)]
    assert chance[0] >= level - 1e-9
    assert n == need or chance[1] < level + 1e-9


def test_125_pieces_at_80_percent_are_a_coin_toss_for_100() -> None:
    assert binom.sf(99, 125, 0.8) == pytest.approx(0.5533, abs=5e-5)
    assert pieces_to_start(100, 0.8, 0.55) == 125
    assert pieces_to_start(0, 0.8, 0.9) == 0
    for bad in ((-1, 0.8, 0.9), (5, 0.0, 0.9), (5, 1.1, 0.9), (5, 0.8, 1.0)):
        with pytest.raises(ValueError, match="out of range"):
            pieces_to_start(*bad)


def steady(farm: Farm, each_week: int, weeks: int) -> tuple[float, float, float]:
    """(mean stock, pieces in a week, mean weeks a piece stays) when every lot is sold in the week it is ready."""
    stock: Counter[int] = Counter()
    stays, gone, total = 0.0, 0.0, 0
    for cut in range(1, weeks + 1):
        found = life(farm, "A", cut, cut, (200.0,))
        ready = found.ready["small"]
        if ready > weeks:
            break
        total += each_week
        for week in range(cut, ready):
            stock[week] += each_week * float(found.alive[week])
        for week in range(cut + 1, ready + 1):
            lost = each_week * float(found.alive[week - 1] - found.alive[week])
            gone, stays = gone + lost, stays + lost * (week - cut)
        sold = each_week * float(found.alive[ready])
        gone, stays = gone + sold, stays + sold * (ready - cut)
    assert gone == pytest.approx(total)
    ready_after = life(farm, "A", 1, 1, (200.0,)).ready["small"] - 1
    full = [stock[w] for w in range(ready_after + 1, weeks - ready_after)]
    return sum(full) / len(full), each_week, stays / gone


@pytest.mark.parametrize(("rate", "weeks", "stock"), [(50, 12, 600), (40, 12, 480)])
def test_stock_is_throughput_times_cycle(rate: int, weeks: int, stock: int) -> None:
    # Little 1961, Oper Res 9:383-387 (from memory): L = lambda W. 50 a week x 12 weeks = 600.
    farm = one_strain_farm(settings={"horizon_weeks": 80}, classes=[("small", 20)], frag_mm=25, heal_weeks=weeks, **NO_LOSS)
    mean, throughput, stay = steady(farm, rate, 80)
    assert (mean, throughput, stay) == pytest.approx((stock, rate, weeks))


def test_stock_is_throughput_times_cycle_with_losses_too() -> None:
    farm = one_strain_farm(settings={"horizon_weeks": 80}, death_early=0.06, detach_early=0.05, death_late=0.01)
    mean, throughput, stay = steady(farm, 50, 80)
    assert mean == pytest.approx(throughput * stay, rel=1e-6)
    assert stay < life(farm, "A", 1, 1, (200.0,)).ready["small"] - 1


shares = st.floats(0, 0.4)


@settings(deadline=None, max_examples=80)
@given(shares, shares, shares, shares, st.integers(0, 8), st.integers(-20, 12), st.integers(0, 10), st.floats(50, 600))
def test_nothing_is_lost_between_alive_dead_and_detached(
    d1: float, d2: float, x1: float, x2: float, early: int, cut: int, later: int, par: float
) -> None:
    farm = one_strain_farm(
        early_weeks=early, death_early=d1, death_late=d2, detach_early=x1, detach_late=x2, classes=[("small", 40), ("large", 60)]
    )
    counted = min(cut + later, 0) if cut < 1 else cut
    found = life(farm, "A", cut, max(counted, cut), (par,))
    assert list(found.alive) == list(range(max(1, cut), 13))
    before = None
    for week, alive in found.alive.items():
        assert alive + found.died[week] + found.detached[week] == 1
        assert alive >= 0
        assert found.held[week] >= alive
        assert found.age[week] == week - cut
        assert before is None or alive <= before
        before = alive
    assert found.ready.get("small", 999) <= found.ready.get("large", 999)
    assert found.alive_when_ready["small"] >= found.alive_when_ready["large"]
