"""Squares that fill a rectangle exactly (the order-9 squared rectangle)."""

from __future__ import annotations

import itertools

import pytest

from scheduler.farm.blocks import Block
from scheduler.racks import Request
from scheduler.racks.candidates import MOST, blocks_for
from scheduler.racks.model import choose
from scheduler.racks.requests import free_grids
from scheduler.solving import Limits

SIDES = (18, 15, 14, 10, 9, 8, 7, 4, 1)


@pytest.mark.parametrize(
    "corners",
    [
        pytest.param({18: (0, 0), 15: (0, 18), 14: (18, 0)}, id="three squares given"),
        pytest.param({18: (0, 0)}, id="one square given"),
    ],
)
def test_nine_squares_fill_33_by_32(corners: dict[int, tuple[int, int]]) -> None:
    rows, cols = 32, 33
    assert sum(side * side for side in SIDES) == rows * cols
    allowed = frozenset(itertools.product(range(rows), range(cols)))
    requests = [Request(f"{side}", "one", 1, 0, side, side, allowed, side * side) for side in SIDES]
    blocks = {}
    for side in SIDES:
        anywhere = [
            (row, col)
            for row, col in itertools.product(range(rows - side + 1), range(cols - side + 1))
            if not any(r - side < row < r + s and c - side < col < c + s for s, (r, c) in corners.items())
        ]
        places = [corners[side]] if side in corners else anywhere
        blocks[f"{side}"] = [Block(top=top, left=left, across=1, plugs=1) for top, left in places]
    found, outcome = choose(rows, cols, requests, blocks, lambda _a, _b: 0, Limits(seconds=120), max_blocks=1)
    assert outcome.outcome == "optimal"
    held = [p for r in requests for block in found[r.lot] for p in r.positions(block)]
    assert sorted(held) == sorted(allowed)


def test_offered_blocks_are_bounded_and_of_all_sizes() -> None:
    allowed = frozenset(itertools.product(range(20), range(20)))
    request = Request("a", "a", 30, 0, 1, 1, allowed, 1)
    grid = free_grids(20, 20, [request], [], lambda _a, _b: 0)["a"]
    blocks = blocks_for(grid, request)
    assert len(blocks) == len(set(blocks)) == MOST
    assert all(set(b.positions()) <= allowed for b in blocks)
    assert sum(b.plugs == 30 for b in blocks) >= 500
    few = Request("a", "a", 9, 0, 1, 1, frozenset([(0, 0), (0, 1), (5, 5), (9, 2)]), 1)
    sizes = sorted(b.plugs for b in blocks_for(free_grids(20, 20, [few], [], lambda _a, _b: 0)["a"], few))
    assert sizes == [1, 1, 1, 1, 2]
