"""What the end of the horizon does to the weeks at hand: little."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from scheduler.book import read_book
from scheduler.farm.farm import Farm
from scheduler.planning.pipeline import plan_farm
from scheduler.planning.since import announced_cuts, announced_sales, calm
from scheduler.solving import Limits
from tests.farms import random_farm
from tests.season.season_farm import bound_of

DEMO = Path(__file__).parents[2] / "data" / "demo"
LIMITS = Limits(seconds=600, deterministic=4, seed=1)
"""Those of the command line, but for the clock."""


def with_settings(farm: Farm, **values: object) -> Farm:
    return replace(farm, settings=farm.settings.model_copy(update=values))


def wished_soon(farm: Farm) -> dict[str, float]:
    """Pieces by strain the relaxation cuts in the near weeks."""
    found: dict[str, float] = defaultdict(float)
    relaxed = bound_of(farm, enough=5e-4)
    for column, amount in zip(relaxed.columns, relaxed.amounts, strict=True):
        for cut in column.cuts:
            if cut.week in farm.weeks.near_weeks:
                found[farm.colonies[column.source].strain] += float(amount) * cut.pieces
    return found


@pytest.mark.slow
def test_the_near_weeks_of_a_shorter_horizon_serve_a_longer_one() -> None:
    """Planned anew, other near weeks come out, for many are worth the same; kept, they cost the longer plan little.

    Two plans of 39 weeks differ by 1 to 2 % in whole cuts of later weeks alone, so less than that cannot be told.
    """
    farm = read_book(DEMO).farm
    longer = with_settings(farm, horizon_weeks=39)
    shorter = plan_farm(with_settings(farm, horizon_weeks=26), limits=LIMITS).plan
    told, sales = announced_cuts(longer, shorter), announced_sales(longer, shorter)
    assert told
    dear = with_settings(longer, change_cost=Decimal(10_000))
    kept = plan_farm(dear, limits=LIMITS, announced=told, sales_told=sales).plan
    measure = calm(told, kept.cuts)
    assert measure.changed == 0
    assert measure.instability <= Decimal("0.1")
    assert kept.value >= Decimal("0.975") * plan_farm(longer, limits=LIMITS).plan.value


MISSED = pytest.mark.xfail(strict=True, reason="37 to 59 % of what is wished soon moves: a target missed, see DEVELOPERS.md")


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=MISSED) for seed in (1, 2, 3))])
def test_thirteen_weeks_more_change_little_of_what_is_wished_soon(seed: int) -> None:
    farm = random_farm(seed, 40, weeks=26)
    shorter, longer = wished_soon(farm), wished_soon(with_settings(farm, horizon_weeks=39))
    moved = sum(abs(shorter.get(s, 0.0) - longer.get(s, 0.0)) for s in {*shorter, *longer})
    assert moved <= 0.25 * sum(shorter.values())
