"""Survival curves, competing causes and losses between counts against published data and a reference library."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from lifelines import AalenJohansenFitter, ExponentialFitter, KaplanMeierFitter

from scheduler.forecast.history import intervals
from scheduler.forecast.learn import learn
from scheduler.forecast.survival import Interval, aalen_johansen, kaplan_meier, weekly_losses_of
from tests.forecast.rack_farm import count, past, rack_farm

WEIGHTLESS = (np.full((2, 2), 1e-9), np.full((2, 2), 1e-7))

# Weeks of remission of 21 pairs of patients, 6-MP (event 0: censored) and placebo: Freireich et al. 1963, Blood 21:699-716 (the
# single times from memory; they give the published table of numbers at risk).
SIX_MP = (
    (6, 1), (6, 1), (6, 1), (6, 0), (7, 1), (9, 0), (10, 1), (10, 0), (11, 0), (13, 1), (16, 1), (17, 0), (19, 0), (20, 0),
    (22, 1), (23, 1), (25, 0), (32, 0), (32, 0), (34, 0), (35, 0),
)  # fmt: skip
PLACEBO = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)
# Kaplan-Meier: time, at risk, events, survival, Greenwood's standard error.
SIX_MP_TABLE = (
    (6, 21, 3, 0.8571, 0.0764), (7, 17, 1, 0.8067, 0.0869), (10, 15, 1, 0.7529, 0.0963), (13, 12, 1, 0.6902, 0.1068),
    (16, 11, 1, 0.6275, 0.1141), (22, 7, 1, 0.5378, 0.1282), (23, 6, 1, 0.4482, 0.1346),
)  # fmt: skip
PLACEBO_TABLE = (
    (1, 21, 2, 0.9048, 0.0641), (2, 19, 2, 0.8095, 0.0857), (3, 17, 1, 0.7619, 0.0929), (4, 16, 2, 0.6667, 0.1029),
    (5, 14, 2, 0.5714, 0.1080), (8, 12, 4, 0.3810, 0.1060), (11, 8, 2, 0.2857, 0.0986), (12, 6, 2, 0.1905, 0.0857),
    (15, 4, 1, 0.1429, 0.0764), (17, 3, 1, 0.0952, 0.0641), (22, 2, 1, 0.0476, 0.0465), (23, 1, 1, 0.0, math.nan),
)  # fmt: skip


@pytest.mark.parametrize(
    ("rows", "table"), [(SIX_MP, SIX_MP_TABLE), (tuple((t, 1) for t in PLACEBO), PLACEBO_TABLE)], ids=["6-MP", "placebo"]
)
def test_freireich(rows: tuple[tuple[int, int], ...], table: tuple[tuple[float, ...], ...]) -> None:
    found = kaplan_meier(*zip(*rows, strict=True))
    columns = (found.time, found.at_risk, found.events, found.survival, found.error)
    for shown, column in zip(zip(*table, strict=True), columns, strict=True):
        assert column == pytest.approx(shown, abs=5.1e-5, nan_ok=True)
    assert found.at(table[1][0] - 0.5) == pytest.approx(table[0][3], abs=5e-5)
    assert found.at(0.5) == 1


@pytest.mark.parametrize("seed", range(4))
def test_product_limit_against_lifelines(seed: int) -> None:
    rng = np.random.default_rng(seed)
    time, event, weight = rng.integers(1, 15, 80), rng.integers(0, 2, 80), rng.integers(1, 4, 80)
    theirs = KaplanMeierFitter().fit(time, event, weights=weight)
    ours = kaplan_meier(time, event, weight)
    table = theirs.event_table.loc[theirs.event_table["observed"] > 0]
    assert ours.time.tolist() == table.index.tolist()
    assert ours.at_risk == pytest.approx(table["at_risk"].to_numpy())
    assert ours.survival == pytest.approx(theirs.survival_function_at_times(ours.time).to_numpy())
    limits = theirs.confidence_interval_survival_function_.loc[ours.time].to_numpy()
    inside = ours.survival > 0
    assert ours.low[inside] == pytest.approx(limits[inside, 0])
    assert ours.high[inside] == pytest.approx(limits[inside, 1])


@pytest.mark.parametrize("seed", range(4))
def test_competing_causes_against_aalen_johansen(seed: int) -> None:
    rng = np.random.default_rng(seed)
    time, cause = rng.permutation(np.arange(1.0, 121.0)), rng.integers(0, 3, 120)  # no ties: the library shifts them at random
    times, ours = aalen_johansen(time, cause)
    for kind in (1, 2):
        theirs = AalenJohansenFitter(calculate_variance=False).fit(time, cause, event_of_interest=kind).cumulative_density_
        assert ours[kind - 1] == pytest.approx(theirs.iloc[:, 0].reindex(times, method="ffill").to_numpy())
    survival = kaplan_meier(time, cause)
    assert 1 - ours.sum(axis=0)[-1] == pytest.approx(survival.survival[-1])


@pytest.mark.parametrize("seed", range(3))
def test_losses_between_counts_are_those_of_greatest_likelihood(seed: int) -> None:
    """One cause, one stage: a constant weekly loss is an exponential law, and counts weeks apart censor it to intervals."""
    rng = np.random.default_rng(seed)
    rows, low, high, weight = [], [], [], []
    for _ in range(25):
        start, length, frags = int(rng.integers(0, 10)), int(rng.integers(1, 9)), int(rng.integers(5, 40))
        lost = int(rng.binomial(frags, 1 - 0.97**length))
        rows.append(Interval(start, start + length, frags, lost, 0, 0))
        low += [0.0, float(length)]
        high += [float(length), np.inf]
        weight += [lost, frags - lost]
    ours, _ = weekly_losses_of(rows, 0, WEIGHTLESS)
    used = np.array(weight) > 0
    theirs = ExponentialFitter().fit_interval_censoring(
        pd.Series(low)[used], pd.Series(high)[used], weights=pd.Series(weight, dtype=float)[used]
    )
    assert ours[0, 0] == pytest.approx(1 - math.exp(-1 / theirs.lambda_), rel=2e-4)


# Nubbins on lagoon racks, Maldives, counted after 467-475 days: deployed and alive, deep and shallow. Computed from the raw table
# published with Brambilla et al. 2022, Mar Ecol Prog Ser ("Shaping coral traits: plasticity more than filtering").
RACK_TRIAL = {
    "Acropora digitifera": ((45, 30), (45, 12)), "Acropora muricata": ((50, 41), (50, 14)),
    "Porites cylindrica": ((45, 37), (45, 27)), "Porites rus": ((45, 34), (45, 26)),
}  # fmt: skip
TRIAL_WEEKS = 67


def test_a_published_rack_trial_fed_in_as_counts_gives_its_survival() -> None:
    names = [f"{species} {place}" for species in RACK_TRIAL for place in ("deep", "shallow")]
    numbers = [pair for pairs in RACK_TRIAL.values() for pair in pairs]
    farm = rack_farm(
        strains=names,
        tables={
            "past_lots": tuple(past(n, TRIAL_WEEKS, started, n) for n, (started, _) in zip(names, numbers, strict=True)),
            "counts": tuple(count(n, 0, alive) for n, (_, alive) in zip(names, numbers, strict=True)),
        },
    )  # fmt: skip
    assert {s: (i[0].frags, i[0].end) for s, i in intervals(farm).items()} == {
        n: (started, TRIAL_WEEKS) for n, (started, _) in zip(names, numbers, strict=True)
    }
    learned = learn(farm)
    counted = {n: float(learned.losses[n].curve()[-1]) for n in names}
    for name, (started, alive) in zip(names, numbers, strict=True):
        assert counted[name] == pytest.approx(alive / started, abs=0.002)
    published = {"Acropora digitifera": (66.7, 26.7), "Acropora muricata": (82.0, 28.0), "Porites cylindrica": (82.2, 60.0),
                 "Porites rus": (75.6, 57.8)}  # fmt: skip
    for species, (deep, shallow) in published.items():
        assert counted[f"{species} deep"] * 100 == pytest.approx(deep, abs=0.2)
        assert counted[f"{species} shallow"] * 100 == pytest.approx(shallow, abs=0.2)
        late = [learned.value(f"{species} {place}", "death_late") for place in ("deep", "shallow")]
        assert late[0] < late[1]


# Survival over a period as a constant hazard a day, and the survival it means after 30, 60, 90, 180 and 365 days: published
# survival (Shafir et al. 2006; Combillet et al. 2022; Goergen et al. 2018; Guest et al. 2011; Schopmeyer et al. 2017, all from
# abstracts), conversions by hand.
HAZARDS = (
    (0.869, 144, 0.000975, (0.9712, 0.9432, 0.9160, 0.8390, 0.7005)),
    (0.7021, 365, 0.000969, (0.9713, 0.9435, 0.9165, 0.8399, 0.7021)),
    (0.43, 350, 0.002411, (0.9302, 0.8653, 0.8049, 0.6479, 0.4147)),
    (0.80, 210, 0.001063, (0.9686, 0.9382, 0.9088, 0.8259, 0.6785)),
    (0.80, 365, 0.000611, (0.9818, 0.9640, 0.9465, 0.8958, 0.8000)),
)


@pytest.mark.parametrize(("survival", "days", "hazard", "table"), HAZARDS)
def test_one_published_survival_as_a_count_gives_its_constant_hazard(
    survival: float, days: int, hazard: float, table: tuple[float, ...]
) -> None:
    """Weeks between mounting and count are whole; a period that is not a whole number of weeks is taken at the nearest."""
    weeks, frags = round(days / 7), 1_000_000
    alive = round(frags * survival ** (7 * weeks / days))
    rates, _ = weekly_losses_of([Interval(0, weeks, frags, frags - alive, 0, 0)], 0, WEIGHTLESS)
    a_day = -math.log1p(-float(rates[0, 0])) / 7
    assert a_day == pytest.approx(hazard, abs=1e-6)
    for day, share in zip((30, 60, 90, 180, 365), table, strict=True):
        assert math.exp(-a_day * day) == pytest.approx(share, abs=1.5e-4)


def test_dead_and_detached_are_told_apart() -> None:
    # Shafir et al. 2006, Mar Biol 149:679-687 (abstract): of 6,813 fragments 13.1 % died and another 21.2 % came off in 144 days.
    dead, detached = round(0.131 * 6813), round(0.212 * 6813)
    _, losses = weekly_losses_of([Interval(0, 21, 6813, dead, detached, 0)], 0, WEIGHTLESS)
    weeks = np.arange(1.0, 22.0)
    incidence = np.zeros(2)
    left = 1.0
    for week in range(len(weeks)):
        rates = losses.events[:, week] / losses.exposure[:, week]
        incidence += left * rates
        left *= 1 - rates.sum()
    assert incidence == pytest.approx([0.131, 0.212], abs=2e-4)
    assert left == pytest.approx(0.657, abs=2e-4)
