"""The blocks a lot could stand in."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from scheduler.farm.blocks import Block
from scheduler.racks.requests import Grid, Request

MOST = 1500
"""Blocks considered per lot."""

_QUOTAS = (700, 400, 250, 150)


def widest(free: Grid, request: Request) -> Iterator[Block]:
    """For every corner and width, the block with most plugs, not more than the lot wants; in reading order."""
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
                yield Block.model_construct(top=top, left=left, across=across, plugs=min(plugs, request.plugs))


def blocks_for(free: Grid, request: Request, most: int = MOST) -> list[Block]:
    """Blocks the lot could stand in, at most ``most``, always the same ones in the same order.

    Kept first are blocks with all plugs wanted, then those that cannot grow, full rectangles, and the rest, each kind by
    compactness, size and reading order; every kind has a share of ``most``, and what one leaves goes to the next.
    """
    kinds: list[list[Block]] = [[], [], [], []]
    for largest in widest(free, request):
        for plugs in range(largest.across, largest.plugs + 1):
            block = Block.model_construct(top=largest.top, left=largest.left, across=largest.across, plugs=plugs)
            if plugs == request.plugs:
                kind = 0
            elif plugs == largest.plugs:
                kind = 1
            else:
                kind = 2 if plugs % largest.across == 0 else 3
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


def compactness(request: Request) -> Callable[[Block], tuple[int, int, int, int, int]]:
    """Sort key: least empty rim beyond the tightest rectangle, larger, then reading order."""

    def key(block: Block) -> tuple[int, int, int, int, int]:
        down, along = request.span(block)
        area = block.plugs * request.plug_rows * request.plug_cols
        tightest = int(np.ceil(2 * np.sqrt(area)))
        return (down + along - tightest, -block.plugs, block.top, block.left, block.across)

    return key
