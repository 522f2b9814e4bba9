"""What counts teach: the longer a farm has counted, the nearer its growth and survival come to the truth."""

from __future__ import annotations

from dataclasses import replace
from statistics import fmean

import numpy as np
import pytest

from scheduler.biology.life import weekly_losses
from scheduler.biology.light import growth_factor
from scheduler.farm.farm import Farm
from scheduler.forecast.learn import learned_farm
from scheduler.planning.hand import plan_by_hand
from scheduler.replay import World
from scheduler.replay.records import book
from scheduler.replay.run import carry_out
from tests.farms import random_farm

WEEKS_OF_COUNTS = (0, 13, 26, 52)
STAY = 16
"""Weeks on the racks over which survival is compared."""


def typical_par(farm: Farm, strain: str) -> float:
    return fmean(c.par_umol for c in farm.colonies if c.strain == strain)


def errors(world: World, strains: list[str]) -> tuple[float, float]:
    """(growth, survival): mean absolute error of the logarithm of mm a week, and of the share alive after a stay."""
    known, base, months = learned_farm(book(world)), world.base, [(2027, m) for m in range(1, 13)]
    growth, survival = [], []
    for strain in strains:
        par, traits = typical_par(base, strain), known.traits(strain)
        true = world.truth.frag_mm_per_week(strain, par)
        growth.append(abs(np.log(traits.frag_mm_per_week * growth_factor(par, traits.par_k) / true)))
        tanks = {c.tank for c in base.colonies if c.strain == strain}
        lost = [
            fmean(sum(world.truth.losses(strain, age, par, tank, m)) for tank in sorted(tanks) for m in months)
            for age in range(STAY)
        ]
        planned = [sum(weekly_losses(traits, age, par, known.settings.stress_factor)) for age in range(STAY)]
        survival.append(abs(float(np.prod(1 - np.array(planned)) - np.prod(1 - np.array(lost)))))
    return fmean(growth), fmean(survival)


@pytest.mark.slow
def test_errors_of_growth_and_survival_shrink_with_weeks_of_counts() -> None:
    found: dict[int, list[tuple[float, float]]] = {weeks: [] for weeks in WEEKS_OF_COUNTS}
    for seed in (1, 2, 3):
        farm = random_farm(seed, 18, weeks=10)
        world = World(farm, seed)
        strains = sorted({c.strain for c in farm.colonies if c.condition == "fit"})
        for week in range(max(WEEKS_OF_COUNTS) + 1):
            if week in WEEKS_OF_COUNTS:
                found[week].append(errors(world, strains))
            record = book(world)
            plain = replace(record, counts=(), past_lots=(), past_cuts=())  # the rule does not learn
            carry_out(world, record, plan_by_hand(plain, "experienced").plan)
            world.turn()
    growth = [fmean(g for g, _ in found[w]) for w in WEEKS_OF_COUNTS]
    survival = [fmean(s for _, s in found[w]) for w in WEEKS_OF_COUNTS]
    print("\nweeks of counts ", *WEEKS_OF_COUNTS, sep="\t")
    print("error of growth  ", *(f"{100 * x:.1f} %" for x in growth), sep="\t")
    print("error of survival", *(f"{100 * x:.1f} pp" for x in survival), sep="\t")
    assert growth == sorted(growth, reverse=True)
    assert growth[-1] < 0.7 * growth[0]
    assert survival[-1] < survival[0]
