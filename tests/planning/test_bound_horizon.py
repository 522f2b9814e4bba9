"""What the end of the horizon does to the weeks at hand: little."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import pytest

from scheduler.book import read_book
from scheduler.farm.farm import Farm
from scheduler.planning.pipeline import plan_farm
from scheduler.solving import Limits
from tests.farms import random_farm
from tests.season.season_farm import bound_of

DEMO = Path(__file__).parents[2] / "data" / "demo"
LIMITS = Limits(seconds=120, deterministic=10, seed=1)


def with_weeks(farm: Farm, weeks: int) -> Farm:
    return replace(farm, settings=farm.settings.model_copy(update={"horizon_weeks": weeks}))


def near_pieces(farm: Farm) -> dict[str, int]:
    """Pieces by colony cut in the near weeks of the plan."""
    return {c.colony: c.pieces for c in plan_farm(farm, limits=LIMITS).plan.cuts if c.session is not None}


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
def test_thirteen_weeks_more_change_at_most_a_tenth_of_the_near_pieces() -> None:
    farm = read_book(DEMO).farm
    shorter, longer = (near_pieces(with_weeks(farm, n)) for n in (26, 39))
    moved = sum(abs(shorter.get(c, 0) - longer.get(c, 0)) for c in {*shorter, *longer})
    assert moved <= 0.1 * sum(shorter.values())


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_thirteen_weeks_more_change_little_of_what_is_wished_soon(seed: int) -> None:
    farm = random_farm(seed, 40, weeks=26)
    shorter, longer = wished_soon(farm), wished_soon(with_weeks(farm, 39))
    moved = sum(abs(shorter.get(s, 0.0) - longer.get(s, 0.0)) for s in {*shorter, *longer})
    assert moved <= 0.25 * sum(shorter.values())
