"""The ways of working a replay compares, and how their forecasts are made and judged: where planning, forecast and replay meet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.zones import zones
from scheduler.farm.farm import Farm
from scheduler.forecast import scores
from scheduler.forecast.learn import learned_farm
from scheduler.forecast.outlook import forecast
from scheduler.plan.model import Plan
from scheduler.planning.hand import RuleName, plan_by_hand
from scheduler.planning.pipeline import plan_farm
from scheduler.planning.quick import QuickPlanner
from scheduler.planning.since import announced_cuts, announced_sales
from scheduler.replay import Expectation, WayOfWorking
from scheduler.replay.run import Way
from scheduler.solving import Limits

HAND_WEEKS = 10
"""A hand rule looks no further than this; planning its later weeks would only take time."""

FULL_WORK, FULL_SECONDS = 4.0, 600.0
"""Solver work of one full weekly plan, in the solver's own units; and seconds, for a search that counts none and does not end."""

FORECAST_DRAWS = 1000
ENOUGH = 10.0
"""Strains and months with fewer expected frags are not scored by themselves."""


def ways(names: list[str], *, quick: bool, calm: bool = True) -> list[WayOfWorking]:
    """The ways of working by name: ``ours``, ``simple``, ``experienced``. ``calm``: ours reads the last plan along."""
    settings = ("quick" if quick else f"work {FULL_WORK:g}") + ("" if calm else ", not calm")
    start = partial(_quick, calm) if quick else partial(_full, calm)
    known = {
        "ours": WayOfWorking("ours" + " quick" * quick + " anew" * (not calm), start, settings, expectation),
        "simple": WayOfWorking("simple", partial(_by_hand, "simple"), f"{HAND_WEEKS} weeks"),
        "experienced": WayOfWorking("experienced", partial(_by_hand, "experienced"), f"{HAND_WEEKS} weeks"),
    }
    return [known[name] for name in names]


NAMES = ("ours", "simple", "experienced")


def _quick(calm: bool) -> Way:
    """Planned anew every week, quickly, with what the counts have taught by then."""
    planner = QuickPlanner(calm=calm)
    return lambda farm: planner.plan(learned_farm(farm))


def _full(calm: bool) -> Way:
    """The same in full."""
    last: list[Plan] = []

    def plan(farm: Farm) -> Plan:
        taught = learned_farm(farm)
        announced = announced_cuts(taught, last[-1]) if calm and last else ()
        told = announced_sales(taught, last[-1]) if calm and last else ()
        last[:] = [
            plan_farm(
                taught, limits=Limits(deterministic=FULL_WORK, seconds=FULL_SECONDS), announced=announced, sales_told=told
            ).plan
        ]
        return last[0]

    return plan


def _by_hand(rule: RuleName) -> Way:
    """A hand rule, from the book as it is."""
    return lambda farm: plan_by_hand(_shortened(farm), rule).plan


def _shortened(farm: Farm) -> Farm:
    weeks = min(HAND_WEEKS, farm.settings.horizon_weeks)
    return replace(farm, settings=farm.settings.model_copy(update={"horizon_weeks": weeks}))


def expectation(farm: Farm, plan: Plan) -> Expectation:
    """The program's forecast of a plan, as the replay wants it."""
    outlook = forecast(farm, plan, draws=FORECAST_DRAWS)
    strains = tuple(sorted(outlook.sellable))
    tables = [np.asarray(outlook.sellable[s], dtype=np.float64) for s in strains]
    shape = (FORECAST_DRAWS, 0, len(outlook.months))
    draws = np.stack(tables, axis=1) if tables else np.zeros(shape)
    return Expectation(strains, outlook.months, draws, {z.id: (z.tank, z.par_in(1)) for z in zones(farm).values()})


def judge(
    expected: Expectation, actual: NDArray[np.float64], history: NDArray[np.float64], shares: NDArray[np.float64], seed: int
) -> Mapping[str, Any]:
    """Interval hits and pinball losses of one forecast, summed so that forecasts can be added up.

    ``strain_*``: strains and months with at least ten expected frags in a full month, 10th to 90th percentile; ``total_*``: all
    strains together; ``loss`` and ``plain_loss`` over every strain and month, the plain forecast being the last three months' mean.
    """
    rng = np.random.default_rng([seed, len(history)])
    cells = expected.draws.reshape(len(expected.draws), -1)
    enough = (expected.draws.mean(axis=0) >= ENOUGH * shares[None, :]).reshape(-1)
    hits = scores.interval_hits(cells, actual.reshape(-1), rng)
    total = scores.interval_hits(expected.draws.sum(axis=1), actual.sum(axis=0), rng)
    plain = scores.plain_forecast(history, len(shares)).T * shares[None, :]
    return {
        "strain_cells": int(enough.sum()),
        "strain_hits": int(hits[enough].sum()),
        "total_cells": len(total),
        "total_hits": int(total.sum()),
        "expected": [round(float(x), 1) for x in expected.draws.sum(axis=1).mean(axis=0)],
        "actual": [int(x) for x in actual.sum(axis=0)],
        "loss": round(float(scores.mean_pinball(cells, actual.reshape(-1)).sum()), 3),
        "plain_loss": round(float(scores.plain_pinball(plain.reshape(-1), actual.reshape(-1)).sum()), 3),
    }
