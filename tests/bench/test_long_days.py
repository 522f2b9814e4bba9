"""Days of 25 colonies: the finish is proved, or nearly so, in about ten seconds of an idle machine (0.3 units of work)."""

from __future__ import annotations

import pytest
from day_farm import busy_day, the_session
from test_clock_audited import faults, plan_of

from scheduler.bench.session import schedule_session
from scheduler.solving import Limits


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 1, 2, 3, 4, 5, 6, 7, 18])
def test_a_day_of_25_colonies_is_proved_or_within_two_percent(seed: int) -> None:
    farm, cuts = busy_day(seed, 25)
    found = schedule_session(farm, the_session(farm), cuts, {}, Limits(deterministic=0.3, seed=1))
    assert found.fits
    assert found.clock.gap_percent < 2
    assert faults(farm, plan_of(farm, cuts, found)) == []
