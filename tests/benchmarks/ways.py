"""The ways of planning that are compared, each run alone in its process so that memory and time are its own."""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from typing import Any
from unittest.mock import patch

from scheduler.planning.hand import plan_by_hand
from scheduler.planning.pipeline import plan_farm
from scheduler.planning.result import Result
from scheduler.season.chosen import Chosen
from scheduler.season.columns import Season
from scheduler.solving import Limits
from tests.benchmarks.single_model import Programme, SingleModel
from tests.benchmarks.solvers import Floats, by_cp_sat, by_highs, by_scip
from tests.farms_large import large_farm

OURS, HAND, SINGLE = "ours", ("hand simple", "hand experienced"), ("single CP-SAT", "single SCIP", "single HiGHS")
WAYS = (OURS, *SINGLE, *HAND)

_SOLVERS = {"single CP-SAT": by_cp_sat, "single SCIP": by_scip, "single HiGHS": by_highs}

WORK_PER_SECOND = 0.125
"""Solver work allowed for each second of a plan's time limit, as by ``--time-limit``."""


class OneSolve:
    """Stands in for the search for whole cuts: one solve of the single model of the weeks after the near ones.

    Near weeks, bound, sales and audit stay those of the planner, so that only the choice of the season's cuts differs.
    """

    seconds: float = 60.0
    solver: Callable[[Programme, float], Floats | None] = staticmethod(by_cp_sat)
    size: tuple[int, int] = (0, 0)
    found: bool = True

    def __init__(self, season: Season, *_: Any, **__: Any) -> None:
        self.season = season

    def run(self, *_: Any, **__: Any) -> Chosen:
        """Cuts of the season."""
        model = SingleModel(self.season)
        x = type(self).solver(model.programme, self.seconds)
        OneSolve.size, OneSolve.found = model.programme.rows.shape, x is not None
        return model.chosen(x)

    def mend(self, entered: Chosen, *_: Any, **__: Any) -> Chosen:
        """The single model stands as it is."""
        return entered


def one_run(way: str, colonies: int, seconds: float, *, seed: int, weeks: int) -> dict[str, Any]:
    """Plan a farm in one way; ``seconds``: the plan's time limit, or a single model's. A row of the results."""
    farm = large_farm(colonies, seed=seed, weeks=weeks)
    begun = time.monotonic()
    result = _plan(way, farm, seconds)
    season = result.plan.about.season
    row: dict[str, Any] = {
        "way": way, "colonies": colonies, "seed": seed, "weeks": weeks, "limit": seconds,
        "seconds": round(time.monotonic() - begun, 1), "value": float(result.report.value),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024), "cuts": len(result.plan.cuts),
    }  # fmt: skip
    if season is not None:
        row |= {"gap_percent": float(season.gap_percent), "bound": float(season.bound), "v0": float(season.value_without_cuts)}
    if way in SINGLE:
        row |= {"rows": OneSolve.size[0], "columns": OneSolve.size[1], "found": OneSolve.found}
    return row


def _plan(way: str, farm: Any, seconds: float) -> Result:
    if way == "hand simple":
        return plan_by_hand(farm, "simple")
    if way == "hand experienced":
        return plan_by_hand(farm, "experienced")
    instead: AbstractContextManager[Any] = nullcontext()
    if way in SINGLE:
        OneSolve.seconds, OneSolve.solver = seconds, staticmethod(_SOLVERS[way])
        instead = patch("scheduler.planning.season_plan.WholeCuts", OneSolve)
    work = Limits(seconds=3 * 30, deterministic=WORK_PER_SECOND * 30, seed=1)
    with instead:
        return plan_farm(farm, limits=work)
