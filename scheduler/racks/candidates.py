"""The blocks a lot could stand in."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from scheduler.farm.blocks import Block
from scheduler.racks.requests import Grid, Request

MOST = 1500
"""Blocks considered per lot."""

_QUOTAS = (700, 400, 250, 150)


def widest(free: Grid, request: Request) -> Iterator[Block]:
    """For every corner and width, the block with most plugs, not more than the lot wants; in reading order."""
    for top, left, across, plugs in largest(free, request):
        yield Block.model_construct(top=top, left=left, across=across, plugs=plugs)


def largest(free: Grid, request: Request) -> Iterator[tuple[int, int, int, int]]:
    """The same blocks as (top, left, across, plugs), for those who look at very many."""
    rows, cols = free.shape
    high, wide = request.plug_rows, request.plug_cols
    if high > rows or wide > cols:
        return
    windows = np.lib.stride_tricks.sliding_window_view(free, (high, wide))
    fits: list[list[bool]] = np.asarray(windows.all(axis=(2, 3))).tolist()
    last_row, last_col = rows - high, cols - wide
    run = [[0] * (cols + wide) for _ in range(rows)]
    for row in range(last_row + 1):
        for col in range(last_col, -1, -1):
            run[row][col] = 1 + run[row][col + wide] if fits[row][col] else 0
    for top in range(last_row + 1):
        for left in range(last_col + 1):
            for across in range(1, min(run[top][left], request.plugs) + 1):
                plugs, row = across, top + high
                while row <= last_row and plugs < request.plugs:
                    more = min(across, run[row][left])
                    plugs += more
                    row += high
                    if more < across:
                        break
                yield top, left, across, min(plugs, request.plugs)


def blocks_for(free: Grid, request: Request, most: int = MOST) -> list[Block]:
    """Blocks the lot could stand in, at most ``most``, always the same ones in the same order.

    Kept first are blocks with all plugs wanted, then those that cannot grow, full rectangles, and the rest, each kind by
    compactness, size and reading order; every kind has a share of ``most``, and what one leaves goes to the next.
    """
    kinds: list[list[Block]] = [[], [], [], []]
    for top, left, across, most_plugs in largest(free, request):
        for plugs in range(across, most_plugs + 1):
            block = Block.model_construct(top=top, left=left, across=across, plugs=plugs)
            if plugs == request.plugs:
                kind = 0
            elif plugs == most_plugs:
                kind = 1
            else:
                kind = 2 if plugs % across == 0 else 3
            kinds[kind].append(block)
    kept: list[Block] = []
    room = 0
    by_compactness = compactness(request)
    for blocks, quota in zip(kinds, _QUOTAS, strict=True):
        room += quota * most // MOST
        part = sorted(blocks, key=by_compactness)[:room]
        room -= len(part)
        kept += part
    return kept


def most_plugs(free: Grid, request: Request, max_blocks: int) -> int:
    """No placing has more plugs than this: the largest union of two of the largest blocks (of one, if only one may be)."""
    blocks = []
    for block in widest(free, request):
        if block.plugs == request.plugs:
            return block.plugs
        blocks.append(block)
    if not blocks:
        return 0
    area = request.plug_rows * request.plug_cols
    if max_blocks > 2:
        return min(request.plugs, int(free.sum()) // area)
    held = np.zeros((len(blocks), free.size), dtype=np.float32)
    for k, block in enumerate(blocks):
        for row, col in request.positions(block):
            held[k, row * free.shape[1] + col] = 1
    sizes = held.sum(axis=1)
    both = sizes if max_blocks == 1 else sizes[:, None] + sizes[None, :] - held @ held.T
    return min(request.plugs, int(both.max()) // area)


def part_of(blocks: Sequence[Block], request: Request, shape: tuple[int, int]) -> tuple[Block, ...]:
    """All the plugs wanted, or as many as possible, standing within some blocks, at most one part of each; ``()`` for none.

    ``shape`` is the rack's (rows, cols). Most positions of the parts lie at home, if the request has one.
    """
    by_size: list[dict[int, Block]] = []
    for block in blocks:
        grid = np.zeros(shape, dtype=np.bool_)
        for position in request.positions(block):
            grid[position] = True
        best: dict[int, Block] = {}
        for part in blocks_for(grid, request):
            if part.plugs not in best or request.lead(part) > request.lead(best[part.plugs]):
                best[part.plugs] = part
        by_size.append(best)
    ways: list[list[Block | None]] = [[None, *best.values()] for best in by_size]
    chosen: tuple[Block, ...] = ()
    rank: tuple[int, int, int] = (0, 0, 0)
    for way in itertools.product(*ways):
        parts = tuple(b for b in way if b is not None)
        plugs = sum(b.plugs for b in parts)
        if parts and plugs <= request.plugs and request.enough(plugs) and request.at_home(parts):
            found = (plugs, -len(parts), -sum(sum(request.span(b)) for b in parts))
            if not chosen or found > rank:
                chosen, rank = parts, found
    return chosen


def compactness(request: Request) -> Callable[[Block], tuple[int, int, int, int, int]]:
    """Sort key: least empty rim beyond the tightest rectangle, larger, then reading order."""

    def key(block: Block) -> tuple[int, int, int, int, int]:
        down, along = request.span(block)
        area = block.plugs * request.plug_rows * request.plug_cols
        tightest = int(np.ceil(2 * np.sqrt(area)))
        return (down + along - tightest, -block.plugs, block.top, block.left, block.across)

    return key
