"""One way of working on one farm under one seed, week by week, and what came of it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from scheduler.errors import NoPlanFound, PinConflict
from scheduler.farm.farm import Farm
from scheduler.farm.weeks import month_of_week
from scheduler.plan.model import Plan
from scheduler.replay.chance import Chance
from scheduler.replay.measures import Measures
from scheduler.replay.records import book
from scheduler.replay.trade import Packing
from scheduler.replay.truth import Month, Truth
from scheduler.replay.work import Bench, ZoneLight
from scheduler.replay.world import MakesTruth, World

Way = Callable[[Farm], Plan]
"""The farm record of a week -> the plan whose first week is carried out. It may keep something in mind between weeks."""


@dataclass(frozen=True)
class Expectation:
    """What a plan's own forecast says: frags newly reaching their strain's first class, by strain and month of the plan."""

    strains: tuple[str, ...]
    months: tuple[Month, ...]
    draws: NDArray[np.float64]
    """Shape (draws, strains, months)."""
    light: ZoneLight
    """Tank and mean PAR of each light zone, for lots that later weeks put in a zone without naming a rack."""


class Forecasting(Protocol):
    """Makes the forecast of a plan from the record it was made from."""

    def __call__(self, farm: Farm, plan: Plan) -> Expectation:
        """The forecast."""


class Judge(Protocol):
    """Scores a forecast."""

    def __call__(
        self,
        expected: Expectation,
        actual: NDArray[np.float64],
        history: NDArray[np.float64],
        shares: NDArray[np.float64],
        seed: int,
    ) -> Mapping[str, Any]:
        """Scores that JSON can hold. ``actual`` (strains, months); ``history`` (past whole months, strains), newest last;
        ``shares`` (months,): the part of each month's weeks within the plan."""


@dataclass(frozen=True)
class WayOfWorking:
    """A named way of working. ``start`` makes a fresh one for each replay; ``settings`` tell two of one name apart."""

    name: str
    start: Callable[[], Way]
    settings: str = ""
    forecasting: Forecasting | None = None


def replay(
    farm: Farm, way: WayOfWorking, seed: int, weeks: int, *, chance: Chance | None = None, forecast_weeks: Collection[int] = (),
    judge: Judge | None = None, truth: MakesTruth = Truth, told: Callable[[int], None] = lambda _: None,
) -> dict[str, Any]:  # fmt: skip
    """Replay so many weeks; the result holds only what JSON can hold.

    In each of ``forecast_weeks`` the plan is also carried out as issued, to its last week, in a branch of its own, and its
    forecast is judged by it. ``truth`` makes what is true of the farm, if not the replay's own. ``told`` hears of each week
    done. The same arguments give the same result. A week for which no plan is found passes without cuts and sales and is
    counted.
    """
    world, decide = World(farm, seed, chance, truth), way.start()
    measures = Measures(world)
    forecasts = []
    while world.week <= weeks:
        record = book(world)
        try:
            plan = decide(record)
        except (NoPlanFound, PinConflict) as reason:
            world.tally.add("weeks without a plan")
            measures.without_plan(world.week, str(reason))
            plan = None
        if plan is not None:
            measures.announced(plan)
            if judge is not None and way.forecasting is not None and world.week in forecast_weeks:
                forecasts.append(judged(world, record, plan, way.forecasting, judge))
        carry_out(world, record, plan)
        measures.week_done(world)
        told(world.week)
        world.turn()
    return {
        "way": way.name, "settings": way.settings, "seed": seed, "weeks": weeks, "book": farm.fingerprint,
        **measures.summary(world), "forecasts": forecasts,
    }  # fmt: skip


def carry_out(world: World, record: Farm, plan: Plan | None, plan_week: int = 1, light: ZoneLight | None = None) -> None:
    """A week of the world: what happens by itself, packing and sales, moves, cuts, counts."""
    world.live()
    if plan is not None:
        Packing(world, record).pack(s for s in plan.sales if s.week == plan_week)
        Bench(world, record, plan, plan_week, light or {}).work()
    world.count_all()


def judged(world: World, record: Farm, plan: Plan, forecasting: Forecasting, judge: Judge) -> dict[str, Any]:
    """Carry a plan out as issued in a branch, count the frags newly of size, and score its forecast by them."""
    expected = forecasting(record, plan)
    branch = world.branch()
    branch.reached.clear()
    for plan_week in range(1, plan.about.weeks + 1):
        carry_out(branch, record, plan, plan_week, expected.light)
        branch.turn()
    actual = np.array([[branch.reached[s, m] for m in expected.months] for s in expected.strains], dtype=np.float64)
    mondays = [record.weeks.monday(w) for w in record.weeks.all]
    shares = np.array([sum(month_of_week(d) == m for d in mondays) / record.weeks.weeks_in_month(m) for m in expected.months])
    scores = judge(expected, actual, history(world, expected.strains), shares, world.seed)
    return {"week": world.week, "months": [list(m) for m in expected.months], **scores}


def history(world: World, strains: Collection[str]) -> NDArray[np.float64]:
    """Frags newly of size by whole month replayed so far, (months, strains), newest last."""
    every = [world.month(w) for w in range(1, world.week)]
    whole = [m for m in dict.fromkeys(every) if every.count(m) == world.base.weeks.weeks_in_month(m)]
    return np.array([[world.reached[s, m] for s in strains] for m in whole], dtype=np.float64).reshape(len(whole), len(strains))
