"""The season's course of a fresh lot against the exact life of the same lot, week by week."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.biology.course import NEVER, course, held_share
from scheduler.biology.life import life
from scheduler.farm.farm import Farm
from tests.farms import one_strain_farm

TRAITS = st.fixed_dictionaries({
    "early_weeks": st.integers(0, 6),
    "death_early": st.sampled_from((0.0, 0.01, 0.2)),
    "death_late": st.sampled_from((0.0, 0.003, 0.05)),
    "detach_early": st.sampled_from((0.0, 0.02, 0.1)),
    "detach_late": st.sampled_from((0.0, 0.01)),
    "par_min": st.sampled_from((50.0, 120.0)),
    "par_max": st.sampled_from((180.0, 400.0)),
    "par_k": st.sampled_from((10.0, 120.0, 400.0)),
    "heal_weeks": st.integers(0, 4),
    "attach_weeks": st.integers(0, 4),
    "frag_mm": st.sampled_from((15.0, 25.0, 40.0)),
    "frag_mm_per_week": st.sampled_from((0.0, 0.05, 0.7, 2.0, 30.0)),
})  # fmt: skip


@lru_cache(maxsize=512)
def farm_with(traits: tuple[tuple[str, Any], ...], count_weeks: int) -> Farm:
    classes = (("small", 25.0), ("medium", 32.0), ("large", 50.0))
    return one_strain_farm(classes=classes, settings={"horizon_weeks": 20, "count_weeks": count_weeks}, **dict(traits))


@given(
    traits=TRAITS,
    count_weeks=st.sampled_from((1, 2, 4, 7)),
    cut=st.integers(1, 20),
    pars=st.lists(st.sampled_from((40.0, 119.9, 120.0, 200.0, 401.0)), min_size=1, max_size=25),
)
@settings(max_examples=150)
def test_the_course_is_the_life_week_by_week(traits: dict[str, Any], count_weeks: int, cut: int, pars: list[float]) -> None:
    farm = farm_with(tuple(sorted(traits.items())), count_weeks)
    exact = life(farm, "A", cut, cut, tuple(pars))
    found = course(farm, "A", tuple(pars))
    ages = np.arange(0, farm.weeks.count - cut + 1)
    held = held_share(found, ages, count_weeks)
    for age in ages:
        assert found.alive[age] == pytest.approx(float(exact.alive[cut + age]), abs=2e-9)
        assert held[age] == pytest.approx(float(exact.held[cut + age]), abs=2e-9)
    for k, row in enumerate(farm.size_classes("A")):
        week = exact.ready.get(row.size_class)
        if week is not None:
            assert cut + found.ready[k] == week
            assert found.alive_when_ready(k) == pytest.approx(float(exact.alive_when_ready[row.size_class]), abs=2e-9)
        else:  # later than two years past the horizon is never
            assert cut + found.ready[k] > farm.weeks.count + 104
            assert found.ready[k] == NEVER or found.alive_when_ready(k) >= 0


def test_light_in_the_week_before_makes_an_age() -> None:
    """6 mm at 3 mm a week take two weeks of full light; a week in the dark comes on top."""
    farm = one_strain_farm(
        classes=(("small", 31.0),), frag_mm=25.0, frag_mm_per_week=3.0, par_k=0.1, heal_weeks=0, attach_weeks=0,
        death_early=0.0, detach_early=0.0,
    )  # fmt: skip
    assert course(farm, "A", (200.0,)).ready == (2,)
    assert course(farm, "A", (200.0, 200.0, 0.0, 200.0)).ready == (3,)
