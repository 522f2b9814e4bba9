"""Weeks a frag takes to a size class, with their spread."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy.special import ndtri

from scheduler.biology.life import weeks_to_class
from scheduler.farm.coral import SizeClass, Traits
from scheduler.forecast.learn import GROWTH, Learned
from scheduler.forecast.spreads import log_spread


@dataclass(frozen=True)
class ClassTime:
    """Weeks to a class at one PAR: by the default growth, and the 10th, 50th and 90th percentile by the blended one.

    Never less than the weeks to heal and to hold.
    """

    default: float
    p10: float
    p50: float
    p90: float


def class_time(traits: Traits, size_class: SizeClass, par_umol: float, learned: Learned, strain: str) -> ClassTime:
    """Weeks from the cut to a class, log-normal as in the forecast; infinite where frags do not grow. ``traits``: the book's."""
    gate = float(max(traits.heal_weeks, traits.attach_weeks))
    default = weeks_to_class(traits, size_class, par_umol)
    growth, spreads = learned.blends[strain, GROWTH], learned.spreads
    if default == 0 or math.isinf(default) or growth.blended <= 0:
        return ClassTime(*[max(gate, default)] * 4)
    spread = math.sqrt(spreads.lots**2 + spreads.frags**2 + log_spread(growth.spread) ** 2)
    usual = default * growth.default / growth.blended * math.exp(spread**2 / 2)
    quantiles = (usual * math.exp(float(ndtri(p)) * spread) for p in (0.1, 0.5, 0.9))
    return ClassTime(max(gate, default), *(max(gate, q) for q in quantiles))
