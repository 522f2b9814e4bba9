"""What near weeks are told of the season: pieces up to those wanted at a part of what markets cost, beyond them at all of it."""

from __future__ import annotations

import math
from collections import defaultdict
from itertools import product

import numpy as np
import pytest

from scheduler.planning.quick_season import PATIENCE, ImpatientValuation
from scheduler.season.columns import Season
from scheduler.season.near_worth import MARKET_SHARES, NearValuation
from scheduler.season.relaxation import Relaxed, relax
from tests.farms import random_farm
from tests.season.season_farm import season_of

KINDS = ("market", "market group", "end market")


@pytest.fixture(scope="module", params=(2, 6))
def solved(request: pytest.FixtureRequest) -> tuple[Season, Relaxed]:
    season = season_of(random_farm(request.param, 10))
    return season, relax(season)


def test_pieces_are_worth_their_best_way_at_so_much_of_the_markets_prices(solved: tuple[Season, Relaxed]) -> None:
    season, relaxed = solved
    valuation, impatient = NearValuation(season, relaxed), ImpatientValuation(season, relaxed)
    told = 0
    for week, (discount, share) in product((1, 2), zip((False, True), MARKET_SHARES, strict=True)):
        rows = [x * (share if r.kind in KINDS else 1.0) for x, r in zip(relaxed.prices.rows, season.capacity.rows, strict=True)]
        best = season.tracks.ways(np.array(rows)).worth
        for (strain, place), pair in season.tracks.pair_of.items():
            zone = season.tracks.classes[place].zones[0].id
            work = season.cut_use(int(season.strains[strain][1][0]), week)[1] if strain in season.strains else None
            worth = float(best[season.tracks.track(pair, week)])
            if work is not None and np.isfinite(worth):
                piece = valuation.piece(strain, week, zone, discount=discount)
                assert piece == pytest.approx(worth - work)
                assert valuation.piece(strain, week, zone) >= valuation.piece(strain, week, zone, discount=True) - 1e-9
                assert impatient.piece(strain, week, zone, discount=discount) == pytest.approx(piece * PATIENCE ** (week - 1))
                told += 1
    assert told


def test_wanted_is_what_the_relaxation_cuts_in_the_near_weeks_less_what_is_done(solved: tuple[Season, Relaxed]) -> None:
    season, relaxed = solved
    cut: dict[str, float] = defaultdict(float)
    for column, amount in zip(relaxed.columns, relaxed.amounts, strict=True):
        if column.source < len(season.colonies) and amount > 1e-6:
            strain = season.colonies[column.source].strain
            cut[strain] += sum(amount * c.pieces for c in column.cuts if c.week in season.farm.weeks.near_weeks)
    assert sum(cut.values()) > 1
    some = max(cut, key=lambda s: cut[s])
    less = NearValuation(season, relaxed, done={some: 1})
    for strain in season.strains:
        wanted = math.ceil(cut[strain] - 1e-6)
        assert NearValuation(season, relaxed).list_room(strain, 1) == wanted
        assert less.list_room(strain, 1) == (max(0, math.ceil(cut[strain] - 1 - 1e-6)) if strain == some else wanted)
