"""Starts, growth times and breeding against published tables, worked examples and scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import beta, betabinom, binom, lognorm

from scheduler.biology.service import pieces_to_start
from scheduler.forecast.breeding import breeding_matrix, doubling_weeks, growth_rate, project, weeks_to_mother
from scheduler.forecast.draws import Shared, StrainSampler, log_normal
from scheduler.forecast.learn import learn, learned_farm
from scheduler.forecast.parcels import Parcels
from scheduler.forecast.shrink import beta_prior
from scheduler.forecast.starts import pieces_to_start_unsure, started_text
from scheduler.forecast.times import class_time
from tests.forecast.rack_farm import BRIGHT, CERTAIN, rack_farm, rack_plan

# ---- starts -------------------------------------------------------------------------------------------------------------


def test_135_started_for_100() -> None:
    # Binomial tables, recomputed by brute force: 100 wanted at 80 % survival, with 50, 80, 90, 95, 99 %.
    assert [pieces_to_start(100, 0.8, p) for p in (0.5, 0.8, 0.9, 0.95, 0.99)] == [125, 130, 132, 135, 139]
    assert started_text(pieces_to_start(100, 0.8, 0.95), 100) == "135 started for 100"
    assert started_text(125, 100, float(binom.sf(99, 125, 0.8))) == "125 started for 100, covered with 55%"


@pytest.mark.parametrize(
    ("need", "survival", "sample", "level"), [(1, 0.5, 4, 0.9), (10, 0.8, 30, 0.9), (40, 0.7, 200, 0.95), (100, 0.8, 50, 0.8)]
)
def test_starts_with_an_uncertain_survival_against_beta_binomial(need: int, survival: float, sample: float, level: float) -> None:
    n = pieces_to_start_unsure(need, survival, sample, level)
    a, b = survival * sample, (1 - survival) * sample

    def chance(pieces: int) -> float:  # the mixture itself, integrated over the beta density
        p = beta.ppf((np.arange(20_000) + 0.5) / 20_000, a, b)
        return float(binom.sf(need - 1, pieces, p).mean())

    assert chance(n) >= level - 1e-3
    assert chance(n - 1) < level + 1e-3
    assert betabinom.sf(need - 1, n, a, b) >= level > betabinom.sf(need - 1, n - 1, a, b)
    assert n >= pieces_to_start(need, survival, level)


def test_a_large_sample_brings_the_binomial_back() -> None:
    assert pieces_to_start_unsure(100, 0.8, 1e9, 0.95) == 135
    assert pieces_to_start_unsure(100, 0.8, 50, 0.95) > 140
    with pytest.raises(ValueError, match="out of range"):
        pieces_to_start_unsure(10, 1.0, 5, 0.9)
    with pytest.raises(ValueError, match="so uncertain"):
        pieces_to_start_unsure(10, 0.5, 0.05, 0.95)


@pytest.mark.parametrize(
    ("mean", "spread", "events", "trials"), [(0.015, 0.5, 3, 240), (0.004, 0.4, 12, 2000), (0.2, 0.3, 0, 10)]
)
def test_the_blended_rate_is_the_mean_of_the_beta_posterior(mean: float, spread: float, events: int, trials: int) -> None:
    a, b = (float(x) for x in beta_prior(mean, spread))
    prior = beta(a, b)
    assert (prior.mean(), prior.std()) == (pytest.approx(mean), pytest.approx(spread * mean))
    grid = np.linspace(1e-6, 1 - 1e-6, 400_001)
    density = prior.pdf(grid) * binom.pmf(events, trials, grid)
    assert float((grid * density).sum() / density.sum()) == pytest.approx((a + events) / (a + b + trials), rel=1e-3)
    chances = [betabinom.pmf(k, 20, a, b) for k in range(21)]
    assert math.fsum(chances) == pytest.approx(1)
    assert math.fsum(k * p for k, p in enumerate(chances)) == pytest.approx(20 * mean)


# ---- log-normal growth --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("spread", [0.1, 0.25, 0.6])
def test_times_to_a_class_are_log_normal(spread: float) -> None:
    """Ten millimetres at one a week in full light, all other spreads none: weeks to the class by scipy's log-normal law."""
    farm = rack_farm([(0, 20)], settings=CERTAIN | {"frag_growth_spread": spread})
    learned = learn(farm)
    rng = np.random.default_rng(1)
    parcels = Parcels(learned_farm(farm, learned), rack_plan(farm))
    shared = Shared.draw(rng, 3, 1, len(parcels.calendar.months), 0.0)
    sampler = StrainSampler(farm, parcels.strains["AMB"], parcels.calendar, learned, shared, rng)
    weeks = np.arange(3, 27)
    found = sampler.reached(0, np.zeros(len(weeks), dtype=np.int64), weeks)
    law = lognorm(spread, scale=10 * math.exp(spread**2 / 2))
    assert found.shape == (3, len(weeks))
    assert found[0] == pytest.approx(law.cdf(weeks), abs=2e-6)


def test_percentiles_of_the_weeks_to_a_class() -> None:
    farm = rack_farm(settings={"lot_growth_spread": 0.12, "frag_growth_spread": 0.2, "default_growth_spread": 0.3})
    found = class_time(farm.traits("AMB"), farm.size_classes("AMB")[0], BRIGHT, learn(farm), "AMB")
    spread = math.sqrt(0.12**2 + 0.2**2 + math.log(1 + 0.3**2))
    law = lognorm(spread, scale=10 * math.exp(spread**2 / 2))
    assert (found.p10, found.p50, found.p90) == pytest.approx(tuple(law.ppf([0.1, 0.5, 0.9])))
    assert found.default == pytest.approx(10)


def test_log_normal_quantiles() -> None:
    rng = np.random.default_rng(7)
    for spread in (0.2, 0.5, 1.0):
        drawn = log_normal(rng, spread, (400_000,))
        law = lognorm(spread, scale=math.exp(-(spread**2) / 2))
        assert np.quantile(drawn, [0.1, 0.5, 0.9]) == pytest.approx(law.ppf([0.1, 0.5, 0.9]), rel=0.01)
        assert law.mean() == pytest.approx(1)


# ---- breeding -----------------------------------------------------------------------------------------------------------


def test_a_fish_population_from_a_course() -> None:
    # Worked example of an environmental data science course (EDS 212): eggs, two juvenile stages, adults; from 1,000 eggs.
    matrix = [[0, 0, 0, 600], [0.25, 0, 0, 0], [0, 0.1, 0, 0], [0, 0, 0.4, 0.8]]
    found = project(matrix, [1000, 0, 0, 0], 5)
    assert found.tolist() == [
        pytest.approx(row)
        for row in (
            [1000, 0, 0, 0], [0, 250, 0, 0], [0, 0, 25, 0], [0, 0, 0, 10], [6000, 0, 0, 8], [4800, 1500, 0, 6.4],
        )
    ]  # fmt: skip
    assert growth_rate(matrix) == pytest.approx(1.810691, abs=1e-6)
    many = project(matrix, [1000, 0, 0, 0], 200)
    assert many[-1].sum() / many[-2].sum() == pytest.approx(1.810691, abs=1e-4)


def test_a_population_that_comes_back_every_third_year() -> None:
    # Bernadelli's beetle, the example in Leslie 1945, Biometrika 33:183-212 (from memory), with 8 young a female: a cycle.
    matrix = [[0, 0, 8], [1 / 4, 0, 0], [0, 1 / 2, 0]]
    assert project(matrix, [1000, 0, 0], 3)[:, :].tolist() == [[1000, 0, 0], [0, 250, 0], [0, 0, 125], [1000, 0, 0]]
    assert growth_rate(matrix) == pytest.approx(1)
    with pytest.raises(ValueError, match="3 age classes"):
        project([[1, 0], [0, 1]], [1, 2, 3], 1)


def test_a_farm_that_only_breeds_mothers_grows_as_euler_and_lotka_say() -> None:
    """1 = sum over ages x of rate^-x survival(x) young(x): the Euler-Lotka equation for the strain's own cuts."""
    farm = rack_farm(death_early=0.02, death_late=0.005, detach_early=0.01, detach_late=0.002)
    traits = farm.traits("AMB")
    growing = weeks_to_mother(traits)
    assert growing is not None
    rate = growth_rate(breeding_matrix(traits, BRIGHT))
    total, alive = 0.0, 1.0
    for age in range(5000):
        early = age < traits.early_weeks
        loss = traits.death_early if early else traits.death_late
        if age < growing:
            loss += traits.detach_early if early else traits.detach_late
        alive *= 1 - loss
        if age + 1 == growing or (age + 1 > growing and (age + 1 - growing) % traits.rest_weeks == 0):
            total += alive * traits.min_pieces * rate ** -(age + 1)
    assert total == pytest.approx(1, abs=1e-6)
    assert doubling_weeks(traits, BRIGHT) == pytest.approx(math.log(2) / math.log(rate))
    assert math.isinf(doubling_weeks(traits.model_copy(update={"death_late": 0.4}), BRIGHT))
    with pytest.raises(ValueError, match="large enough"):
        breeding_matrix(traits.model_copy(update={"cap_units": 5.0}), BRIGHT)
