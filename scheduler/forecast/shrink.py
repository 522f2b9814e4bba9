"""How far own counts move a default.

Every rule has the same form: blended = (k x prior + n x data) / (k + n), n the effective sample and k what the prior is
worth in such samples. The prior of a strain is its default moved by what the other strains of its group show, each of
them heard as far as its own sample goes: with r_j the ratio of data to default of strain j and w_j = n_j / (n_j + k),

    prior = default x (K + sum over j of w_j r_j) / (K + sum over j of w_j),

so that a group of strains all off in one way moves a strain nobody has counted yet, and one strain alone hardly does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

GROUP_WEIGHT = 3.0
"""K: a default weighs as much as so many other well counted strains of the group (farm choice, no published source)."""

SAME_LOT = 0.5
"""Correlation of the sizes counted of one lot at different times (farm choice, no published source)."""

NEVER = 1e-4
"""A weekly loss given as none is blended as one in ten thousand, so that counts can still raise it."""


def beta_prior(mean: ArrayLike, spread: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Parameters of the beta distributions with those means (0 < mean < 1) and a standard deviation of ``spread`` x mean.

    From mean a / (a + b) and variance m (1 - m) / (a + b + 1). Spreads too wide for a beta distribution that is lower away from its mean are
    narrowed to a total weight of 1.
    """
    m = np.asarray(mean, dtype=np.float64)
    weight = np.maximum((1 - m) / (m * spread**2) - 1, 1.0)
    return m * weight, (1 - m) * weight


def blend(prior: float, data: float, sample: float, weight: float) -> float:
    """(weight x prior + sample x data) / (weight + sample): the normal mean with known variances."""
    return (weight * prior + sample * data) / (weight + sample)


def blend_error(wide: float, within: float, sample: float, weight: float) -> float:
    """Standard error of a blend: what pulling it to the prior gets wrong, and the chance in its data.

    ``wide``: standard deviation of true values about their prior; ``within`` of one count about its true value. Smaller than the error of
    either alone wherever the data are worth their weight.
    """
    own = sample / (weight + sample)
    chance = own * within / math.sqrt(sample) if sample > 0 else 0.0
    return math.hypot((1 - own) * wide, chance)


def effective_sample(counts: float) -> float:
    """Independent counts that so many counts of one lot are worth: m / (1 + (m - 1) ``SAME_LOT``), Kish's design effect."""
    return counts / (1 + max(counts - 1, 0.0) * SAME_LOT) if counts > 0 else 0.0


def group_factor(ratios: Sequence[float], samples: Sequence[float], weight: float) -> float:
    """What the other strains of a group say about a default: the factor above, 1 if none was counted."""
    heard = [n / (n + weight) for n in samples]
    return (GROUP_WEIGHT + sum(w * r for w, r in zip(heard, ratios, strict=True))) / (GROUP_WEIGHT + sum(heard))
