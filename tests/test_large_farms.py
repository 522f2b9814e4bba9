"""The generator of large farms: valid books, as full and as large as it says."""

from __future__ import annotations

import pytest

from scheduler.book import check_farm
from tests.farms_large import POSITIONS_PER_COLONY, free_positions, large_farm


@pytest.mark.parametrize("colonies", [40, 60, 300])
def test_a_large_farm_is_valid_and_full(colonies: int) -> None:
    farm = large_farm(colonies)
    faults, _ = check_farm(farm)
    assert faults == ()
    positions = sum(len(rack.open_positions) for rack in farm.racks)
    assert len(farm.colonies) == colonies
    assert positions >= 0.95 * POSITIONS_PER_COLONY * colonies
    held = 1 - sum(map(len, free_positions(farm).values())) / positions
    assert 0.65 <= held <= 0.85
    ages = [farm.weeks.week_of(lot.cut_date) for lot in farm.lots]
    assert min(ages) <= -18
    assert max(ages) >= 0


def test_the_same_arguments_make_the_same_farm_and_another_seed_another() -> None:
    assert large_farm(40).fingerprint == large_farm(40).fingerprint != large_farm(40, seed=2).fingerprint
