"""Ways out of tracks: all of them against the best of as many weeks as there are, and those of orders among them."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.season.ways_out import WaysOut
from tests.farms import random_farm
from tests.season.season_farm import season_of


@pytest.mark.parametrize("seed", range(4))
def test_all_ways_are_the_best_of_all_weeks(seed: int) -> None:
    season = season_of(random_farm(seed, 5, weeks=12))
    ways = WaysOut(season.tracks)
    best = ways.best(np.zeros(len(season.capacity.rows)), 10**6)
    tracks = range(len(season.tracks.strain))
    assert sum(len(ways.all(n)) for n in tracks) > 10 * len(tracks)
    for n in tracks:
        assert ways.all(n) == sorted(set(best(n)))
        assert all(np.isfinite(season.tracks.worth(n, *way)) for way in ways.all(n))


def test_ways_to_orders_are_those_whose_outlet_is_the_orders() -> None:
    season = season_of(random_farm(2, 6, weeks=12))
    ways, rows, met = WaysOut(season.tracks), season.outlets.rows, 0
    for order in season.farm.orders:
        for n in range(len(season.tracks.strain)):
            mine = ways.for_orders(n, [order.order])
            assert sorted(mine) == [(w, o) for w, o in ways.all(n) if rows[o].order == order.order]
            met += len(mine)
    assert met
