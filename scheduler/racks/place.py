"""Exact positions of lots on one rack."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence

import numpy as np

from scheduler.racks.candidates import blocks_for
from scheduler.racks.greedy import Places, complete, greedy, orders, value_of
from scheduler.racks.model import choose
from scheduler.racks.requests import Gap, Grid, Request, Standing, free_grids
from scheduler.solving import Limits


def place(
    rows: int,
    cols: int,
    requests: Sequence[Request],
    standing: Sequence[Standing],
    gap: Gap,
    limits: Limits,
    max_blocks: int = 2,
    stop: threading.Event | None = None,
    known: Places | None = None,
) -> Places:
    """Blocks for each lot on a rack of ``rows`` x ``cols`` positions: L1, and L4 to the hole.

    Most value of plugs first, then fewer and tighter blocks. A lot that does not fit whole gets fewer plugs, in at most
    ``max_blocks`` blocks (the largest first); one that cannot have ``min_plugs`` is missing from the result. Lots that all
    fit whole by simple placing are placed so, without search. The same input gives the same places as long as the work
    limit, not the clock, ends the search. ``known`` are lawful places to do better than. Raises ``ValueError`` if two requests carry one lot's name.
    """
    if len({r.lot for r in requests}) != len(requests):
        raise ValueError("two requests for one lot")
    if not requests or max_blocks < 1:
        return {}
    free = free_grids(rows, cols, requests, standing, gap)
    kin = _kin(rows, cols, requests, standing)
    best: Places = dict(known or {})
    for order in orders(requests, limits.seed):
        found = greedy(order, free, kin, gap, max_blocks)
        if complete(found, requests):
            return found
        if _rank(found, requests) > _rank(best, requests):
            best = found
    if stop is not None and stop.is_set():
        return best
    blocks = {r.lot: [*best.get(r.lot, ()), *blocks_for(free[r.lot], r)] for r in requests}
    found, _ = choose(rows, cols, requests, blocks, gap, limits, max_blocks=max_blocks, kin=kin, hint=best, stop=stop)
    return found if _rank(found, requests) > _rank(best, requests) else best


def _kin(rows: int, cols: int, requests: Sequence[Request], standing: Sequence[Standing]) -> Mapping[str, Grid]:
    grids = {}
    for request in requests:
        grid = np.zeros((rows, cols), dtype=np.bool_)
        for other in standing:
            if other.strain == request.strain:
                for position in other.positions:
                    grid[position] = True
        grids[request.lot] = grid
    return grids


def _rank(places: Places, requests: Sequence[Request]) -> tuple[int, int, int, int]:
    """Higher is better: value, plugs, fewer blocks, less half-perimeter."""
    request = {r.lot: r for r in requests}
    pairs = [(request[lot], block) for lot, blocks in places.items() for block in blocks]
    return (
        value_of(places, requests),
        sum(block.plugs for _, block in pairs),
        -len(pairs),
        -sum(sum(r.span(block)) for r, block in pairs),
    )
