from __future__ import annotations

import itertools
import random
import threading
import time

import pytest

from scheduler.farm.blocks import Block, Position, parse_position
from scheduler.racks import Request, Standing, check_gap, place
from scheduler.racks.greedy import Places, plugs_of
from scheduler.racks.requests import Gap
from scheduler.solving import Limits

LIMITS = Limits(seconds=600, deterministic=0.5)


def everywhere(rows: int, cols: int) -> frozenset[Position]:
    return frozenset(itertools.product(range(rows), range(cols)))


def at(*names: str) -> frozenset[Position]:
    return frozenset(parse_position(name) for name in names)


def apart(clear: int) -> Gap:
    def gap(strain_a: str, strain_b: str) -> int:
        assert strain_a != strain_b
        return clear

    return gap


def wish(
    lot: str,
    plugs: int,
    allowed: frozenset[Position],
    strain: str = "",
    least: int = 0,
    area: tuple[int, int] = (1, 1),
    value: int = 500,
) -> Request:
    return Request(lot, strain or f"strain {lot}", plugs, least, *area, allowed, value)


def check(places: Places, requests: list[Request], standing: list[Standing], gap: Gap, max_blocks: int = 2) -> None:
    """All rules of a rack, written down once more without any solver."""
    here = [(s.strain, s.positions) for s in standing]
    for request in requests:
        blocks = places.get(request.lot, ())
        assert len(blocks) <= max_blocks
        if request.lot in places:
            assert max(1, request.min_plugs) <= plugs_of(places, request.lot) <= request.plugs
        positions = [p for b in blocks for p in b.positions(request.plug_rows, request.plug_cols)]
        assert len(positions) == len(set(positions))
        assert set(positions) <= request.allowed
        here.append((request.strain, frozenset(positions)))
    for (strain_a, one), (strain_b, two) in itertools.combinations(here, 2):
        clear = 0 if strain_a == strain_b else gap(strain_a, strain_b)
        for (r, c), (i, j) in itertools.product(one, two):
            assert (r, c) != (i, j)
            assert max(abs(r - i) - 1, abs(c - j) - 1) >= clear or clear == 0


def test_one_lot_on_an_empty_rack_stands_whole_and_compact() -> None:
    places = place(8, 10, [wish("a", 12, everywhere(8, 10))], [], apart(0), LIMITS)
    (block,) = places["a"]
    assert (block.top, block.left, block.plugs) == (0, 0, 12)
    assert block.across in (3, 4)


def test_a_lot_that_exactly_fills_the_rack_fits() -> None:
    assert place(3, 4, [wish("a", 12, everywhere(3, 4))], [], apart(0), LIMITS)["a"] == (
        Block(top=0, left=0, across=4, plugs=12),
    )


def test_nothing_asked_nothing_placed() -> None:
    assert place(3, 4, [], [], apart(1), LIMITS) == {}


def test_a_lot_shrinks_to_what_fits() -> None:
    places = place(3, 4, [wish("a", 15, everywhere(3, 4))], [], apart(0), LIMITS)
    assert plugs_of(places, "a") == 12


def test_a_lot_that_cannot_have_its_least_is_left_out() -> None:
    assert place(3, 4, [wish("a", 15, everywhere(3, 4), least=13)], [], apart(0), LIMITS) == {}
    assert plugs_of(place(3, 4, [wish("a", 15, everywhere(3, 4), least=12)], [], apart(0), LIMITS), "a") == 12


def test_no_allowed_position_no_place() -> None:
    assert place(3, 4, [wish("a", 2, frozenset())], [], apart(0), LIMITS) == {}
    assert place(3, 4, [wish("a", 2, at("K1", "Z20"))], [], apart(0), LIMITS) == {}


def test_the_clear_positions_are_kept_to_the_hole() -> None:
    mother = Standing("m", "other", at("A1"))
    for clear, first in ((0, "A2"), (1, "A3"), (3, "A5")):
        places = place(1, 8, [wish("a", 8, everywhere(1, 8))], [mother], apart(clear), LIMITS)
        assert places["a"][0].text().split(":")[0] == first
        assert plugs_of(places, "a") == 7 - clear
    kin = Standing("m", "strain a", at("A1"))
    assert plugs_of(place(1, 8, [wish("a", 8, everywhere(1, 8))], [kin], apart(3), LIMITS), "a") == 7


def test_two_strains_fit_only_with_their_clear_positions() -> None:
    requests = [wish("a", 3, everywhere(1, 8)), wish("b", 3, everywhere(1, 8))]
    for clear, total in ((0, 6), (2, 6), (3, 5), (6, 3)):
        places = place(1, 8, requests, [], apart(clear), LIMITS)
        check(places, requests, [], apart(clear))
        assert sum(plugs_of(places, lot) for lot in "ab") == total


def test_a_corner_counts_by_the_wider_gap() -> None:
    """Diagonal neighbours of a position are within reach, the second diagonal is not."""
    mother = Standing("m", "other", at("B2"))
    allowed = at("A1", "C3", "D4")
    assert place(4, 4, [wish("a", 1, allowed)], [mother], apart(1), LIMITS)["a"][0].text() == "D4"


def test_a_lot_splits_into_two_blocks_and_no_more() -> None:
    holes = at("A1", "A2", "A3", "C1", "C2", "C4")
    requests = [wish("a", 6, holes)]
    places = place(3, 4, requests, [], apart(1), LIMITS)
    check(places, requests, [], apart(1))
    assert [b.text() for b in places["a"]] == ["A1:A3", "C1:C2"]
    assert plugs_of(place(3, 4, requests, [], apart(1), LIMITS, max_blocks=1), "a") == 3
    assert plugs_of(place(3, 4, requests, [], apart(1), LIMITS, max_blocks=3), "a") == 6


def test_scattered_holes_are_used_too() -> None:
    holes = at("A1", "B3", "C5", "D2")
    requests = [wish("a", 3, holes), wish("b", 3, holes)]
    places = place(4, 5, requests, [], apart(0), LIMITS)
    check(places, requests, [], apart(0))
    assert sum(plugs_of(places, lot) for lot in "ab") == 4


def test_plugs_of_two_by_two_positions() -> None:
    requests = [wish("a", 4, everywhere(5, 5), area=(2, 2)), wish("b", 9, everywhere(5, 5), value=1)]
    places = place(5, 5, requests, [], apart(0), LIMITS)
    check(places, requests, [], apart(0))
    assert plugs_of(places, "a") == 4
    assert plugs_of(places, "b") == 9
    assert plugs_of(place(4, 5, [wish("a", 5, everywhere(4, 5), area=(2, 2))], [], apart(0), LIMITS), "a") == 4
    assert place(1, 5, [wish("a", 1, everywhere(1, 5), area=(2, 2))], [], apart(0), LIMITS) == {}
    tall = place(4, 3, [wish("a", 6, everywhere(4, 3), area=(2, 1))], [], apart(0), LIMITS)
    assert plugs_of(tall, "a") == 6


def test_the_dearer_lot_goes_first_where_room_is_short() -> None:
    requests = [wish("a", 6, everywhere(2, 4), value=100), wish("b", 6, everywhere(2, 4), value=900)]
    places = place(2, 4, requests, [], apart(0), LIMITS)
    assert (plugs_of(places, "a"), plugs_of(places, "b")) == (2, 6)


def test_a_lot_prefers_the_side_of_its_own_strain() -> None:
    kin = Standing("k", "strain a", at("C4", "D4"))
    (block,) = place(4, 6, [wish("a", 2, everywhere(4, 6))], [kin], apart(1), LIMITS)["a"]
    assert not check_gap(block.positions(), kin.positions, 1)


def test_the_search_beats_placing_one_after_the_other() -> None:
    """The single position between two strains has to be left to the right lot."""
    requests = [
        wish("a", 4, at("A1", "A2", "A3", "A4", "A5")),
        wish("b", 2, at("A5", "A6")),
        wish("c", 2, at("A1", "B1")),
    ]
    places = place(2, 6, requests, [], apart(0), LIMITS)
    check(places, requests, [], apart(0))
    assert sum(plugs_of(places, lot) for lot in "abc") == 7


def candidates(rows: int, cols: int, request: Request) -> list[frozenset[Position]]:
    """Every block the lot could stand in, by trying them all."""
    found = {frozenset[Position]()}
    for top, left, across, plugs in itertools.product(range(rows), range(cols), range(1, cols + 1), range(1, request.plugs + 1)):
        positions = frozenset(Block(top=top, left=left, across=across, plugs=plugs).positions())
        if plugs >= across and positions <= request.allowed:
            found.add(positions)
    return sorted(found, key=sorted)


@pytest.mark.parametrize("seed", range(12))
def test_two_lots_on_a_tiny_rack_against_all_pairs_of_blocks(seed: int) -> None:
    rng = random.Random(seed)
    clear = rng.randint(0, 2)
    requests = [
        wish(
            lot,
            rng.randint(3, 7),
            frozenset(p for p in sorted(everywhere(3, 4)) if rng.random() < 0.9),
            value=rng.choice([300, 700]),
        )
        for lot in "ab"
    ]
    places = place(3, 4, requests, [], apart(clear), LIMITS, max_blocks=1)
    check(places, requests, [], apart(clear), max_blocks=1)
    best = max(
        requests[0].value * len(one) + requests[1].value * len(two)
        for one, two in itertools.product(*(candidates(3, 4, r) for r in requests))
        if check_gap(one, two, clear)
    )
    assert sum(r.value * plugs_of(places, r.lot) for r in requests) == best


@pytest.mark.parametrize("seed", range(4))
def test_two_blocks_a_lot_against_all_pairs_of_pairs(seed: int) -> None:
    rng = random.Random(100 + seed)
    requests = [
        wish(lot, rng.randint(3, 5), frozenset(p for p in sorted(everywhere(2, 4)) if rng.random() < 0.85)) for lot in "ab"
    ]
    places = place(2, 4, requests, [], apart(1), LIMITS)
    check(places, requests, [], apart(1))
    unions = []
    for r in requests:
        pairs = itertools.combinations_with_replacement(candidates(2, 4, r), 2)
        unions.append(sorted({one | two for one, two in pairs if len(one | two) <= r.plugs}, key=sorted))
    best = max(len(one) + len(two) for one, two in itertools.product(*unions) if check_gap(one, two, 1))
    assert sum(plugs_of(places, lot) for lot in "ab") == best


def busy_rack(seed: int) -> tuple[list[Request], list[Standing]]:
    """8 x 10 positions, about 20 of them free, up to five lots that want them."""
    rng = random.Random(seed)
    cells = sorted(everywhere(8, 10))
    top, left = rng.randint(0, 3), rng.randint(0, 5)
    free = {(r, c) for r, c in cells if top <= r < top + 4 and left <= c < left + 4} | set(rng.sample(cells, 6))
    strains = ["s1", "s2", "s3"]
    standing = [Standing(f"l{i}", "s4", frozenset(p for p in cells if p not in free and p[0] == i)) for i in range(8)]
    requests = [
        wish(
            f"n{i}",
            rng.randint(6, 20),
            frozenset(cells),
            strain=rng.choice(strains),
            value=rng.randint(200, 3000),
            least=rng.choice([0, 3]),
        )
        for i in range(rng.randint(1, 5))
    ]
    return requests, standing


def neighbours(strain_a: str, strain_b: str) -> int:
    return 0 if "s4" in (strain_a, strain_b) else 1


@pytest.mark.parametrize("seed", range(6))
def test_a_busy_rack_is_filled_lawfully_and_repeatably(seed: int) -> None:
    requests, standing = busy_rack(seed)
    first = place(8, 10, requests, standing, neighbours, LIMITS)
    check(first, requests, standing, neighbours)
    assert first
    assert place(8, 10, requests, standing, neighbours, LIMITS) == first


def test_an_empty_rack_of_many_lots_is_quick() -> None:
    requests = [wish(f"n{i}", 6 + i, everywhere(8, 10), strain=f"s{i % 3}") for i in range(6)]
    start = time.monotonic()
    places = place(8, 10, requests, [], apart(1), LIMITS)
    assert time.monotonic() - start < 5
    check(places, requests, [], apart(1))
    assert all(plugs_of(places, r.lot) == r.plugs for r in requests)


def test_stopped_before_the_search_the_simple_places_are_kept() -> None:
    requests, standing = busy_rack(3)
    stop = threading.Event()
    stop.set()
    places = place(8, 10, requests, standing, neighbours, LIMITS, stop=stop)
    check(places, requests, standing, neighbours)
    assert places


def test_check_gap() -> None:
    assert check_gap(at("A1"), at("A2"), 0)
    assert not check_gap(at("A1"), at("A1"), 0)
    assert not check_gap(at("A1"), at("A2"), 1)
    assert not check_gap(at("A1"), at("B2"), 1)
    assert check_gap(at("A1"), at("A3"), 1)
    assert check_gap(at("A1", "B1"), at("D1"), 1)
    assert not check_gap(at("A1", "B1"), at("D1"), 2)
    assert check_gap([], at("D1"), 5)


def test_senseless_requests_are_refused() -> None:
    with pytest.raises(ValueError, match="plugs"):
        wish("a", 0, frozenset())
    with pytest.raises(ValueError, match="plugs"):
        wish("a", 3, frozenset(), least=4)
    with pytest.raises(ValueError, match="area"):
        wish("a", 3, frozenset(), area=(0, 1))
    with pytest.raises(ValueError, match="two requests"):
        place(2, 2, [wish("a", 1, frozenset())] * 2, [], apart(0), LIMITS)
