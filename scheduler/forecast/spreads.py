"""How much lots, cuts and tanks differ: the farm's setting, moved by what its own records show."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scheduler.forecast.survival import Interval, Losses

SETTING_WEIGHT = 10.0
"""A setting of spread weighs as much as so many lots, cuts or tank months (farm choice, no published source)."""

_MOST = 2.0


@dataclass(frozen=True)
class Spreads:
    """Standard deviations: of the logarithm of growth between lots and between frags of a lot, of pieces as a share of those
    planned, of the logarithm of a tank's losses in a month; and the variance of losses over that of chance alone (at least 1).
    """

    lots: float
    frags: float
    pieces: float
    shock: float
    dispersion: float


def log_spread(share: float) -> float:
    """Standard deviation of the logarithm of a log-normal factor of mean 1 whose own standard deviation is ``share``."""
    return math.sqrt(math.log1p(share**2))


def dispersion(rows: Sequence[tuple[Interval, float]]) -> float:
    """Pearson's chi-square per interval of losses against those expected, pulled towards 1, never below it."""
    square = sum((i.lost - e) ** 2 / (e * (1 - e / i.frags)) for i, e in rows if 0 < e < i.frags)
    return max(1.0, (SETTING_WEIGHT + square) / (SETTING_WEIGHT + len(rows)))


def lot_spread(lots: Sequence[tuple[float, float]], setting: float) -> float:
    """Spread of log growth between lots of a strain. Each lot: its ratio to the strain's mean, and the variance of measuring it.

    By moments: what a ratio is off its mean, squared, less the variance of measuring it. A lot counts as far as it is well measured.
    """
    prior = setting**2
    heard = [(prior / (prior + v)) ** 2 if prior > 0 else 0.0 for _, v in lots]
    square = SETTING_WEIGHT * prior + sum(a * ((r - 1) ** 2 - v) for a, (r, v) in zip(heard, lots, strict=True))
    return min(_MOST, math.sqrt(max(square / (SETTING_WEIGHT + sum(heard)), prior / SETTING_WEIGHT)))


def ratio_spread(ratios: Sequence[float], setting: float) -> float:
    """Standard deviation of ratios about 1."""
    square = SETTING_WEIGHT * setting**2 + sum((r - 1) ** 2 for r in ratios)
    return math.sqrt(square / (SETTING_WEIGHT + len(ratios)))


def shock_spread(by_strain: Mapping[str, Sequence[Interval]], losses: Mapping[str, Losses], setting: float) -> float:
    """Spread of a tank's monthly losses beyond chance, as the standard deviation of their logarithm.

    By moments: the squared deviation of the losses of a tank month from those expected, less what chance explains, over the square
    of those expected, is the variance of the common factor; that of a log-normal factor of mean 1 is exp(s^2) - 1.
    """
    lost: dict[tuple[str, tuple[int, int]], list[float]] = {}
    for strain, found in by_strain.items():
        for interval, expected in zip(found, losses[strain].expected, strict=True):
            if interval.tank is not None and interval.month is not None:
                cell = lost.setdefault((interval.tank, interval.month), [0.0, 0.0])
                cell[0] += interval.lost
                cell[1] += expected
    cells = [(o, e) for o, e in lost.values() if e >= 1]
    prior = math.exp(setting**2) - 1
    squares = sum(e**2 for _, e in cells)
    found_variance = max(0.0, sum((o - e) ** 2 - e for o, e in cells) / squares) if squares else prior
    variance = (SETTING_WEIGHT * prior + len(cells) * found_variance) / (SETTING_WEIGHT + len(cells))
    return min(_MOST, math.sqrt(math.log(1 + variance)))
