"""The course of a fresh lot by age, as floats: what the season plans with. ``life`` tells the same by week, exactly."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.life import weekly_losses, weeks_to_class
from scheduler.farm.farm import Farm

Floats = NDArray[np.float64]

NEVER = 100_000
"""Age at which a class that is never reached is reached."""

_BEYOND = 2 * 52
"""Weeks past the horizon within which a lot must reach a class, as in ``life``."""


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

    The rules are those of ``life``: the light of a week makes the growth and the losses that lead to that week's age.
    """
    traits = farm.traits(strain)
    classes = farm.size_classes(strain)
    ages = farm.weeks.count + _BEYOND
    gate = max(traits.heal_weeks, traits.attach_weeks)
    alive = np.ones(ages + 1)
    ready = [NEVER] * len(classes)
    progress = [0.0] * len(classes)
    for age in range(ages + 1):
        par = pars[min(age, len(pars) - 1)]
        if age:
            death, detach = weekly_losses(traits, age - 1, par, farm.settings.stress_factor)
            alive[age] = alive[age - 1] * (1 - death - detach)
        for k, row in enumerate(classes):
            if ready[k] < NEVER:
                continue
            need = weeks_to_class(traits, row, par)
            if age:
                progress[k] += math.inf if need == 0 else 1 / need
            if (need == 0 or progress[k] >= 1 - 1e-9) and age >= gate:
                ready[k] = age
    return Course(alive, tuple(ready))


def held_share(course: Course, ages: NDArray[np.int64], count_weeks: int) -> Floats:
    """Share of pieces later weeks hold positions for at these ages: alive at the last multiple of ``count_weeks``."""
    return course.alive[ages // count_weeks * count_weeks]
