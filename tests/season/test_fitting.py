"""Programmes made to measure: against the programmes at no prices, against a MIP of ways out, and within what is left."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from scipy.optimize import LinearConstraint, milp

from scheduler.season.columns import Season
from scheduler.season.fitting import Exit, Fitted, Fitting
from scheduler.season.ways_out import WaysOut
from tests.farms import random_farm
from tests.farms_large import large_farm
from tests.season.season_farm import season_of

PLENTY = 1e9


@lru_cache(maxsize=16)
def season(seed: int) -> Season:
    """A season of whole light zones without orders that refuse parts, every third one of a farm as full as a working one."""
    farm = large_farm(8, seed=seed, weeks=16) if seed % 3 == 0 else random_farm(seed, 5, weeks=14)
    return season_of(replace(farm, orders=tuple(o for o in farm.orders if o.partial_ok)), single=True)


def room_by_chance(one: Season, seed: int) -> np.ndarray:
    """Between a fifth and all of every limit left."""
    return np.random.default_rng(seed).uniform(0.2, 1, len(one.capacity.rows)) * one.capacity.limits


def worth_of(one: Season, i: int, fitted: Fitted) -> float:
    """Money of a programme and its ways out, spare size at the end at what it brings in the coming market."""
    programmes, _ = one.strains[one.colonies[i].strain]
    _, listed, beyond = one.spare_worth(i)
    worth = float(programmes.spare[programmes.index(fitted.pattern[1])]) * max(listed, beyond)
    for week, pieces, _ in fitted.pattern[0]:
        once, each, _ = one.cut_use(i, week)
        worth -= once + each * pieces
    return worth + sum(n * one.tracks.worth(track, *way) for (track, way), n in fitted.leaving.items())


@pytest.mark.parametrize("seed", range(9))
def test_with_room_for_everything_it_is_the_best_programme_at_no_prices(seed: int) -> None:
    one = season(seed)
    free = one.price(np.zeros(len(one.capacity.rows)))
    cut = 0
    for strain, (programmes, who) in one.strains.items():
        best = programmes.worth_of_start(free.tables[strain][0])
        for local, i in enumerate(who.tolist()):
            fitted = Fitting(one).programme(i, np.full(len(one.capacity.rows), PLENTY))
            if fitted is not None:
                assert worth_of(one, i, fitted) == pytest.approx(best[local], abs=1e-6)
                cut += len(fitted.pattern[0])
    assert cut


@pytest.mark.parametrize("seed", range(9))
def test_every_cut_alone_fits_what_is_left(seed: int) -> None:
    one, fitting, cut = season(seed), Fitting(season(seed)), 0
    room = room_by_chance(one, seed)
    for i in range(len(one.colonies)):
        fitted = fitting.programme(i, room)
        for week, pieces, track in fitted.pattern[0] if fitted is not None else ():
            assert fitted is not None
            out = {way: n for (t, way), n in fitted.leaving.items() if t == track}
            assert sum(out.values()) == pieces
            used = np.zeros(len(room))
            for row, amount in one.cutting_rows(i, week, pieces, track):
                used[row] += amount
            for way, n in out.items():
                for row, amount in one.tracks.uses(track, *way).items():
                    used[row] += n * amount
            assert (used <= room + 1e-6).all()
            cut += 1
    assert cut


def test_where_nothing_is_left_nothing_is_cut() -> None:
    one = season(0)
    found = [Fitting(one).programme(i, np.zeros(len(one.capacity.rows))) for i in range(len(one.colonies))]
    assert any(x is not None for x in found)
    assert not any(x.pattern[0] or x.leaving for x in found if x is not None)


def best_by_mip(one: Season, track: int, room: np.ndarray, pieces: int) -> float | None:
    """The most so many pieces of a track bring within what is left, by HiGHS; ``None`` if they do not fit."""
    ways = WaysOut(one.tracks).all(track)
    worth = np.array([one.tracks.worth(track, *way) for way in ways])
    rows = np.zeros((len(room), len(ways)))
    for j, way in enumerate(ways):
        for row, amount in one.tracks.uses(track, *way).items():
            rows[row, j] = amount
    limits = [LinearConstraint(rows, -np.inf, room + 1e-9), LinearConstraint(np.ones(len(ways)), pieces, pieces)]
    found = milp(-worth, integrality=np.ones(len(ways)), constraints=limits)
    return -float(found.fun) if found.success else None


def fresh_tracks(one: Season, seed: int, count: int) -> list[int]:
    """Some tracks of frags still to be cut."""
    return np.random.default_rng(seed).choice(one.tracks.lot_from, count, replace=False).tolist()  # type: ignore[no-any-return]


@pytest.mark.parametrize("seed", range(6))
def test_ways_out_are_the_best_for_every_number_of_pieces_where_positions_are_short(seed: int) -> None:
    one, fitting = season(seed), Fitting(season(seed))
    room = np.full(len(one.capacity.rows), PLENTY)
    for n, row in enumerate(one.capacity.rows):
        if row.kind in ("positions", "system"):
            room[n] = min(one.capacity.limits[n], np.random.default_rng([seed, n]).integers(0, 8))
    short = compared = 0
    for track in fresh_tracks(one, seed, 12):
        out = fitting.leaving(track, fitting.left(room), 6)
        total = np.cumsum([x.worth for x in out])
        for pieces in range(1, 7):
            best = best_by_mip(one, track, room, pieces)
            assert (best is None) == (pieces > len(out))
            if best is not None:
                assert total[pieces - 1] == pytest.approx(best, abs=1e-6)
                compared += 1
        short += 0 < len(out) < 6
    assert compared


@pytest.mark.parametrize("seed", range(6))
def test_ways_out_lose_little_where_markets_are_short_too(seed: int) -> None:
    one, fitting = season(seed), Fitting(season(seed))
    room, found, best = room_by_chance(one, seed), 0.0, 0.0
    for track in fresh_tracks(one, seed, 12):
        out: list[Exit] = fitting.leaving(track, fitting.left(room), 6)
        if out:
            exact = best_by_mip(one, track, room, len(out))
            assert exact is not None
            mine = sum(x.worth for x in out)
            assert mine <= exact + 1e-6
            found, best = found + mine, best + exact
    assert found >= 0.95 * best > 0


def test_gains_by_size_and_by_piece_give_the_same_programme() -> None:
    one = season(1)
    random = np.random.default_rng(1)
    for programmes, who in one.strains.values():
        shape = (len(who), programmes.last + 2)
        piece, cost = random.uniform(-0.5, 2.0, shape), random.uniform(0, 3, shape)
        end = np.cumsum(random.uniform(0, 1, (len(who), len(programmes.sizes))), axis=1)
        most = int(programmes.pieces.max(initial=0))
        gain = np.arange(most + 1) * piece[:, :, None] - cost[:, :, None]
        assert programmes.solve_by_size(gain, end)[0] == pytest.approx(programmes.solve(piece, cost, end)[0])


def test_programmes_of_one_colony_are_those_it_has_among_all_of_its_strain() -> None:
    one = season(3)
    random = np.random.default_rng(3)
    tried = 0
    for programmes, who in one.strains.values():
        shape = (len(who), programmes.last + 2)
        piece, cost = random.uniform(-0.5, 2.0, shape), random.uniform(0, 3, shape)
        end = np.cumsum(random.uniform(0, 1, (len(who), len(programmes.sizes))), axis=1)
        worth, choice = programmes.solve(piece, cost, end)
        for i in range(len(who)):
            alone = programmes.of_one(i)
            mine, chosen = alone.solve(piece[i : i + 1], cost[i : i + 1], end[i : i + 1])
            assert mine[:, 0] == pytest.approx(worth[:, i])
            assert alone.follow(chosen, 0) == programmes.follow(choice, i)
            tried += i > 0
    assert tried
