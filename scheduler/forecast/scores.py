"""How good a forecast was: interval hits, probability integral transforms and pinball loss. Pure functions of arrays.

``draws`` are (draws, cells), ``actual`` (cells,): one cell is one count that was forecast, such as a strain in a month.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

LEVELS = (0.1, 0.5, 0.9)
PLAIN_MONTHS = 3


def _pair(draws: ArrayLike, actual: ArrayLike) -> tuple[Floats, Floats]:
    table, seen = np.asarray(draws, dtype=np.float64), np.asarray(actual, dtype=np.float64)
    if table.ndim != 2 or seen.shape != table.shape[1:]:
        raise ValueError(f"draws {table.shape} and actual {seen.shape}; expected (draws, cells) and (cells,)")
    return table, seen


def pit(draws: ArrayLike, actual: ArrayLike, rng: np.random.Generator) -> Floats:
    """Randomised probability integral transform (cells,): P(X < y) + V P(X = y), V uniform on [0, 1).

    Counts are discrete: an interval from the 10th to the 90th percentile holds more than 80 % of them. Spread over the step it
    falls on, a count from the forecast's own distribution is uniform on [0, 1]: Czado, Gneiting & Held 2009, Biometrics
    65:1254-1261 (from memory).
    """
    table, seen = _pair(draws, actual)
    below, at = (table < seen).mean(axis=0), (table == seen).mean(axis=0)
    return np.asarray(below + rng.random(seen.shape) * at)


def interval_hits(
    draws: ArrayLike, actual: ArrayLike, rng: np.random.Generator, low: float = 0.1, high: float = 0.9
) -> NDArray[np.bool_]:
    """Whether each count falls within its interval, at random where it falls on the edge (cells,).

    True with probability ``high`` - ``low`` for counts from the forecast's own distribution, however few they are.
    """
    place = pit(draws, actual, rng)
    return np.asarray((place >= low) & (place < high))


def pinball_loss(actual: ArrayLike, quantile: ArrayLike, level: float) -> Floats:
    """Pinball loss of a quantile forecast: level x (y - q) where y > q, else (1 - level) x (q - y).

    Koenker & Bassett 1978, Econometrica 46:33-50 (from memory). Arrays of one shape.
    """
    if not 0 < level < 1:
        raise ValueError(f"level {level}; expected between 0 and 1")
    gap = np.asarray(actual, dtype=np.float64) - np.asarray(quantile, dtype=np.float64)
    return np.asarray(np.maximum(level * gap, (level - 1) * gap))


def mean_pinball(draws: ArrayLike, actual: ArrayLike, levels: Sequence[float] = LEVELS) -> Floats:
    """Pinball loss of the draws' quantiles, averaged over levels (cells,)."""
    table, seen = _pair(draws, actual)
    quantiles = np.quantile(table, levels, axis=0)
    return np.asarray(np.mean([pinball_loss(seen, q, level) for q, level in zip(quantiles, levels, strict=True)], axis=0))


def plain_forecast(history: ArrayLike, months: int) -> Floats:
    """The mean of the last three months (or as many as there are), for every month to come (months, cells).

    ``history`` (past months, cells), newest last; without any month, nought.
    """
    past = np.atleast_2d(np.asarray(history, dtype=np.float64))
    mean = past[-PLAIN_MONTHS:].mean(axis=0) if len(past) else np.zeros(past.shape[1])
    return np.tile(mean, (months, 1))


def plain_pinball(plain: ArrayLike, actual: ArrayLike, levels: Sequence[float] = LEVELS) -> Floats:
    """Pinball loss of one number taken for every quantile, averaged over levels; arrays of one shape."""
    return np.asarray(np.mean([pinball_loss(actual, plain, level) for level in levels], axis=0))


def pinball_gain(loss: ArrayLike, plain: ArrayLike) -> float:
    """Share by which the summed pinball loss lies below that of the plain forecast; negative where it is worse."""
    base = float(np.sum(np.asarray(plain)))
    if base <= 0:
        raise ValueError("the plain forecast was never wrong; there is no loss to gain on")
    return 1 - float(np.sum(np.asarray(loss))) / base
