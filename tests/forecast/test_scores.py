from __future__ import annotations

import numpy as np
import pytest

from scheduler.forecast.scores import (
    interval_hits,
    mean_pinball,
    pinball_gain,
    pinball_loss,
    pit,
    plain_forecast,
    plain_pinball,
)


@pytest.mark.parametrize("mean", [0.3, 2.0, 40.0])
def test_counts_from_the_forecast_hit_eight_times_in_ten_however_few(mean: float) -> None:
    rng = np.random.default_rng(1)
    draws, actual = rng.poisson(mean, (500, 5000)), rng.poisson(mean, 5000)
    hits = interval_hits(draws, actual, rng)
    assert hits.mean() == pytest.approx(0.8, abs=0.02)
    low, high = np.quantile(draws, [0.1, 0.9], axis=0)
    if mean < 1:
        assert ((actual >= low) & (actual <= high)).mean() > 0.95
    assert pit(draws, actual, rng).mean() == pytest.approx(0.5, abs=0.02)


def test_a_forecast_too_sure_of_itself_hits_too_seldom() -> None:
    rng = np.random.default_rng(2)
    actual = rng.negative_binomial(4, 0.1, 4000)
    assert interval_hits(rng.poisson(36, (1000, 4000)), actual, rng).mean() < 0.5


def test_pinball_loss_by_hand() -> None:
    assert pinball_loss([10, 10], [8, 12], 0.9).tolist() == pytest.approx([1.8, 0.2])
    assert pinball_loss(10, 10, 0.1) == 0
    draws = np.array([[0.0], [10.0], [20.0]])
    assert mean_pinball(draws, [10.0], (0.5,)).tolist() == [0.0]
    assert plain_pinball([[8.0]], [[10.0]]).tolist() == [[pytest.approx(1.0)]]
    with pytest.raises(ValueError, match="level"):
        pinball_loss(1, 1, 1.0)
    with pytest.raises(ValueError, match="expected"):
        pit(np.zeros((3, 2)), np.zeros(3), np.random.default_rng(1))


def test_pinball_is_least_at_the_true_quantile() -> None:
    rng = np.random.default_rng(3)
    sample = rng.gamma(4, 5, 100_000)
    true = np.quantile(sample, 0.9)
    losses = [pinball_loss(sample, q, 0.9).mean() for q in (true - 3, true, true + 3)]
    assert losses[1] == min(losses)


def test_the_plain_forecast_repeats_the_last_three_months() -> None:
    history = np.array([[100.0, 0], [10, 1], [20, 2], [30, 3]])
    assert plain_forecast(history, 2).tolist() == [[20.0, 2.0], [20.0, 2.0]]
    assert plain_forecast(np.array([[4.0, 6.0]]), 1).tolist() == [[4.0, 6.0]]
    assert plain_forecast(np.zeros((0, 2)), 1).tolist() == [[0.0, 0.0]]


def test_gain_on_a_farm_that_grows() -> None:
    rng = np.random.default_rng(4)
    truth = np.array([30.0, 40, 50, 60])
    draws, actual = rng.poisson(truth, (2000, 4)), rng.poisson(truth)
    plain = plain_pinball(plain_forecast([[10.0], [15], [20]], 4)[:, 0], actual)
    assert pinball_gain(mean_pinball(draws, actual), plain) > 0.5
    assert pinball_gain([2.0], [1.0]) == -1
    with pytest.raises(ValueError, match="never wrong"):
        pinball_gain([1.0], [0.0])
