"""Lots mostly at home, parts of blocks, and how many plugs a rack could hold at all."""

from __future__ import annotations

import itertools
from random import Random

import numpy as np
import pytest

from scheduler.farm.blocks import Block, parse_block
from scheduler.racks import Request, most_plugs, part_of, place
from scheduler.racks.candidates import blocks_for
from scheduler.solving import Limits
from tests.racks.test_place import apart, everywhere, wish

LIMITS = Limits(seconds=600, deterministic=0.5)


def at_home(plugs: int, home: frozenset[tuple[int, int]], least: int = 1) -> Request:
    return Request("one", "one", plugs, least, 1, 1, everywhere(4, 6), 500, home)


@pytest.mark.parametrize(("plugs", "placed"), [(7, 7), (8, 7), (24, 7)])
def test_more_than_half_of_a_lot_lies_at_home(plugs: int, placed: int) -> None:
    # four positions at home: seven plugs have four of seven there, eight would have four of eight
    home = frozenset((r, 0) for r in range(4))
    found = place(4, 6, [at_home(plugs, home)], (), apart(0), LIMITS)
    blocks = found["one"]
    assert sum(b.plugs for b in blocks) == placed
    held = [p for b in blocks for p in b.positions()]
    assert 2 * sum(p in home for p in held) > len(held)


def test_a_lot_that_cannot_be_mostly_at_home_is_left_out() -> None:
    home = frozenset({(0, 0)})
    assert place(4, 6, [at_home(2, home, least=2)], (), apart(0), LIMITS) == {}
    assert place(4, 6, [at_home(1, home)], (), apart(0), LIMITS)


def test_known_places_are_kept_where_nothing_better_is_found() -> None:
    requests = [wish(name, 6, everywhere(3, 6), least=6) for name in "ab"]
    known = {"a": (parse_block("A1:C2"),), "b": (parse_block("A4:C5"),)}
    found = place(3, 6, requests, (), apart(1), LIMITS, known=known)
    assert {lot: sum(b.plugs for b in blocks) for lot, blocks in found.items()} == {"a": 6, "b": 6}


def test_parts_hold_the_plugs_wanted_within_the_blocks() -> None:
    blocks = (parse_block("A1:C3"), parse_block("E1:E4"))
    inside = {p for b in blocks for p in b.positions()}
    for plugs in range(1, 14):
        parts = part_of(blocks, wish("a", plugs, everywhere(6, 6)), (6, 6))
        held = [p for b in parts for p in b.positions()]
        assert len(held) == plugs
        assert set(held) <= inside
    assert sum(b.plugs for b in part_of(blocks, wish("a", 20, everywhere(6, 6)), (6, 6))) == 13


def test_parts_lie_mostly_at_home() -> None:
    home = frozenset((3, c) for c in range(6))
    block = parse_block("A1:D3")  # twelve plugs, three of them in row D
    # of five plugs in one part at most two lie in row D: fewer plugs stand, all of them at home
    assert [b.text() for b in part_of((block,), at_home(5, home), (4, 6))] == ["D1:D3"]
    assert part_of((block,), at_home(6, home, least=6), (4, 6)) == ()


def every_way(free: np.ndarray, request: Request, most: int) -> int:
    """Most plugs in one or two blocks, by trying all."""
    blocks = blocks_for(free, request, most=10_000)
    held = {b: set(request.positions(b)) for b in blocks}
    best = max((b.plugs for b in blocks), default=0)
    if most == 2:
        pairs = itertools.combinations(blocks, 2)
        best = max([best, *(a.plugs + b.plugs for a, b in pairs if not held[a] & held[b])])
    return min(best, request.plugs)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("most", [1, 2])
def test_no_two_blocks_hold_more_than_said(seed: int, most: int) -> None:
    r = Random(seed)
    free = np.array([[r.random() < 0.6 for _ in range(4)] for _ in range(4)])
    request = wish("a", r.choice((5, 16)), everywhere(4, 4), area=r.choice(((1, 1), (2, 1))))
    said = most_plugs(free, request, most)
    found = every_way(free, request, most)
    assert found <= said
    if most == 1:
        assert found == said


def test_more_than_two_blocks_hold_what_is_free() -> None:
    free = np.eye(4, dtype=bool)
    assert most_plugs(free, wish("a", 9, everywhere(4, 4)), 3) == 4
    assert most_plugs(free, wish("a", 9, everywhere(4, 4)), 2) == 2
    assert most_plugs(np.zeros((4, 4), dtype=bool), wish("a", 9, everywhere(4, 4)), 2) == 0


def test_a_block_is_at_home_by_its_lead() -> None:
    request = at_home(4, frozenset({(0, 0), (0, 1), (1, 0)}))
    block: Block = parse_block("A1:B2")
    assert request.lead(block) == 2
    assert request.at_home([block])
    assert not request.at_home([parse_block("C1:D2")])
    assert not request.at_home([])
