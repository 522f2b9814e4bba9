"""The course of a fresh lot by age, as floats: what the season plans with. ``life`` tells the same by week, exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.life import BEYOND, ready_ages, weekly_losses
from scheduler.farm.farm import Farm

Floats = NDArray[np.float64]

NEVER = 100_000
"""Age at which a class that is never reached is reached."""


@dataclass(frozen=True)
class Course:
    """``alive[age]``: share of the started pieces alive, ages 0..weeks + 104. ``ready[k]``: age at which class k (in the
    order of ``farm.size_classes``) is first reached, ``NEVER`` if it is not.
    """

    alive: Floats
    ready: tuple[int, ...]

    def alive_when_ready(self, k: int) -> float:
        """Share alive at the age class k is reached; 0 if never."""
        return float(self.alive[self.ready[k]]) if self.ready[k] < len(self.alive) else 0.0


def course(farm: Farm, strain: str, pars: tuple[float, ...]) -> Course:
    """Course of a lot whose light is ``pars[age]`` (µmol m-2 s-1) week by week; the last value goes on.

    The light of a week makes the growth and the losses that lead to that week's age.
    """
    traits = farm.traits(strain)
    ages = farm.weeks.count + BEYOND

    def par_at(age: int) -> float:
        return pars[min(age, len(pars) - 1)]

    steady = min(ages, max(traits.early_weeks, len(pars)))
    lost = np.array([sum(weekly_losses(traits, age, par_at(age + 1), farm.settings.stress_factor)) for age in range(steady + 1)])
    lost = np.append(lost, np.full(ages, lost[steady]))[:ages]  # the same every week from there on
    alive = np.append(1.0, np.cumprod(1 - lost))
    ready = ready_ages(farm, strain, par_at, 0, ages)
    return Course(alive, tuple(ready.get(c.size_class, NEVER) for c in farm.size_classes(strain)))


def held_share(course: Course, ages: NDArray[np.int64], count_weeks: int) -> Floats:
    """Share of pieces later weeks hold positions for at these ages: alive at the last multiple of ``count_weeks``."""
    return course.alive[ages // count_weeks * count_weeks]
