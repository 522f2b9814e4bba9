"""The life of a lot: how many of its pieces are alive week by week, and when it reaches each size class."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from scheduler.biology.light import growth_factor
from scheduler.farm.coral import SizeClass, Traits
from scheduler.farm.farm import Farm
from scheduler.farm.units import share

_FAR = 10_000

BEYOND = 2 * 52
"""Weeks past the horizon within which a lot must reach a class; later counts as never."""


def weekly_losses(traits: Traits, age: int, par_umol: float, stress_factor: float) -> tuple[float, float]:
    """(deaths, detachments) in the week that brings a frag from ``age`` to ``age + 1``, as shares of those alive.

    Outside the strain's light range deaths are ``stress_factor`` times as frequent (never above 0.5).
    """
    early = age < traits.early_weeks
    death = traits.death_early if early else traits.death_late
    detach = traits.detach_early if early else traits.detach_late
    if not traits.par_min <= par_umol <= traits.par_max:
        death = min(0.5, death * stress_factor)
    return death, detach


def weeks_to_class(traits: Traits, size_class: SizeClass, par_umol: float) -> float:
    """Weeks of growth from a fresh frag to a class's minimum size at a constant PAR; infinite if it never gets there."""
    gap = size_class.min_mm - traits.frag_mm
    if gap <= 0:
        return 0.0
    rate = traits.frag_mm_per_week * growth_factor(par_umol, traits.par_k)
    return gap / rate if rate > 0 else float("inf")


def ready_ages(
    farm: Farm, strain: str, par_at: Callable[[int], float], least: int, most: int, pace: float = 1.0
) -> dict[str, int]:  # fmt: skip
    """Age in weeks at which each size class is first reached, in light of ``par_at(age)``; classes not reached are left out.

    A lot reaches a class once its weekly shares of growth sum to 1, and not before it has healed and holds to its plug. Ages
    up to ``least`` are looked at, and on up to ``most`` while a class is not reached. It grows ``pace`` times as fast as its strain.
    """
    traits, classes = farm.traits(strain), farm.size_classes(strain)
    gate = max(traits.heal_weeks, traits.attach_weeks)
    progress = dict.fromkeys((c.size_class for c in classes), 0.0)
    ready: dict[str, int] = {}
    for age in range(most + 1):
        if age > least and len(ready) == len(classes):
            break
        par = par_at(age)
        for c in classes:
            need = weeks_to_class(traits, c, par)
            if age:
                progress[c.size_class] += float("inf") if need == 0 else pace / need
            if c.size_class not in ready and age >= gate and (need == 0 or progress[c.size_class] >= 1 - 1e-9):
                ready[c.size_class] = age
    return ready


@dataclass(frozen=True)
class Life:
    """Shares of a lot's planned pieces by week, exact decimals.

    ``first`` is the first week covered (the cut week of a new lot, else 1). For a new lot the pieces are those started
    in its cut week; for a lot on racks those counted alive. ``alive[w]`` + ``died[w]`` + ``detached[w]`` = 1 in every
    covered week w (losses since the pieces were counted). ``held[w]`` is the share alive at the lot's last count by the
    calendar (ages that are multiples of ``count_weeks``), which later weeks hold positions for. ``ready`` names the
    first week of each size class reached within reach of the horizon; ``age[w]`` is the age in weeks.
    """

    first: int
    alive: Mapping[int, Decimal]
    died: Mapping[int, Decimal]
    detached: Mapping[int, Decimal]
    held: Mapping[int, Decimal]
    age: Mapping[int, int]
    ready: Mapping[str, int]
    alive_when_ready: Mapping[str, Decimal]
    """Share alive when a class is first reached, also beyond the horizon (0 if never)."""

    def reached(self, size_class: str, week: int) -> bool:
        """O1: whether the lot has reached a class by a week."""
        return self.ready.get(size_class, _FAR) <= week


@lru_cache(maxsize=200_000)
def life(
    farm: Farm, strain: str, cut_week: int, counted_week: int, pars: tuple[float, ...], pace: float = 1.0
) -> Life:  # fmt: skip
    """Life of a lot of ``strain`` cut in ``cut_week`` (0 and below: before the plan).

    ``counted_week``: the week its pieces were counted (the cut week for a new lot). ``pars[i]`` is the mean PAR of its
    zone in week first + i, where first = max(1, cut_week); the last value goes on beyond the end, the first holds for
    the weeks before the plan (its past light is not in the book). ``pace``: growth of its frags as a share of the strain's.
    """
    traits, settings = farm.traits(strain), farm.settings
    first = max(1, cut_week)
    last = farm.weeks.count
    counted = max(counted_week, cut_week)

    def par_in(week: int) -> float:
        return pars[min(max(week - first, 0), len(pars) - 1)]

    classes = farm.size_classes(strain)
    ages = ready_ages(farm, strain, lambda age: par_in(cut_week + age), last - cut_week, last + BEYOND - cut_week, pace)
    ready = {name: cut_week + age for name, age in ages.items()}
    alive = {counted: 1.0}
    died = {counted: 0.0}
    detached = {counted: 0.0}
    for week in range(counted + 1, max(last, *ready.values()) + 1 if ready else last + 1):
        death, detach = weekly_losses(traits, week - 1 - cut_week, par_in(week), settings.stress_factor)
        before = alive[week - 1]
        died[week] = died[week - 1] + before * death
        detached[week] = detached[week - 1] + before * detach
        alive[week] = before * (1 - death - detach)

    def at(table: dict[int, float], week: int) -> Decimal:
        return share(table[max(week, counted)])

    span = range(first, last + 1)
    lost = {w: (at(died, w), at(detached, w)) for w in span}
    held = {}
    for w in span:
        counted_last = cut_week + (w - cut_week) // settings.count_weeks * settings.count_weeks
        held[w] = 1 - at(died, counted_last) - at(detached, counted_last)
    return Life(
        first=first,
        alive={w: 1 - d - x for w, (d, x) in lost.items()},
        died={w: d for w, (d, _) in lost.items()},
        detached={w: x for w, (_, x) in lost.items()},
        held=held,
        age={w: w - cut_week for w in span},
        ready=ready,
        alive_when_ready={
            c.size_class: (1 - at(died, ready[c.size_class]) - at(detached, ready[c.size_class]))
            if c.size_class in ready
            else Decimal(0)
            for c in classes
        },
    )
