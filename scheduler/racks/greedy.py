"""Placing lots one after the other: quick, and the plan to beat."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from scheduler.farm.blocks import Block
from scheduler.racks.candidates import largest
from scheduler.racks.requests import Gap, Grid, Request, shadow, wanted_gap

Places = dict[str, tuple[Block, ...]]
"""Blocks by lot; a lot with no place is missing."""


def value_of(places: Places, requests: Sequence[Request]) -> int:
    """Cents of all plugs placed."""
    return sum(request.value * plugs_of(places, request.lot) for request in requests)


def plugs_of(places: Places, lot: str) -> int:
    """Plugs of a lot that have a place."""
    return sum(block.plugs for block in places.get(lot, ()))


def complete(places: Places, requests: Sequence[Request]) -> bool:
    """Whether every lot stands whole in one block."""
    return all(plugs_of(places, r.lot) == r.plugs and len(places[r.lot]) == 1 for r in requests)


def orders(requests: Sequence[Request], seed: int, most: int = 24) -> Iterator[list[Request]]:
    """Orders worth trying, at most ``most``: as given, by strain, by area, by value per position, then by chance."""

    def area(r: Request) -> int:
        return r.plugs * r.plug_rows * r.plug_cols

    rng = random.Random(seed)
    first = [
        list(requests),
        sorted(requests, key=lambda r: (r.strain, -area(r), r.lot)),
        sorted(requests, key=lambda r: (-area(r), r.strain, r.lot)),
        sorted(requests, key=lambda r: (-r.value / (r.plug_rows * r.plug_cols), -area(r), r.lot)),
    ]
    seen = set()
    for order in itertools.chain(first, (rng.sample(requests, len(requests)) for _ in range(most - len(first)))):
        lots = tuple(r.lot for r in order)
        if lots not in seen:
            seen.add(lots)
            yield order


def greedy(order: Sequence[Request], free: Mapping[str, Grid], kin: Mapping[str, Grid], gap: Gap, max_blocks: int) -> Places:
    """Each lot in turn takes the block with most plugs, then the tightest, beside its own strain, in reading order.

    ``kin`` marks positions of the lot's own strain that are taken already. What does not fit goes to further blocks.
    """
    rows, cols = next(iter(free.values())).shape if free else (0, 0)
    free = {lot: grid.copy() for lot, grid in free.items()}
    kin = {lot: grid.copy() for lot, grid in kin.items()}
    places: Places = {}
    for request in order:
        own, left = free[request.lot].copy(), request.plugs
        if own.sum() < max(1, request.min_plugs) * request.plug_rows * request.plug_cols:
            continue
        blocks: list[Block] = []
        while left and len(blocks) < max_blocks:
            block = _best(own, kin[request.lot], request, left)
            if block is None:
                break
            blocks.append(block)
            left -= block.plugs
            own &= ~shadow(rows, cols, request.positions(block), 0)
        if not request.enough(request.plugs - left) or not request.at_home(blocks):
            continue
        places[request.lot] = tuple(blocks)
        taken = [p for block in blocks for p in request.positions(block)]
        shadows: dict[int, Grid] = {0: shadow(rows, cols, taken, 0)}
        for other in order:
            if other.lot in places:
                continue
            wide = wanted_gap(gap, request.strain, other.strain)
            if wide not in shadows:
                shadows[wide] = shadow(rows, cols, taken, wide)
            free[other.lot] &= ~shadows[wide]
            if other.strain == request.strain:
                kin[other.lot] |= shadows[0]
    return places


def touches(block: Block, request: Request, kin: Grid) -> bool:
    """Whether a block lies side by side with marked positions."""
    down, along = request.span(block)
    top, left = block.top, block.left
    beside = kin[max(0, top - 1) : top + down + 1, left : left + along].any()
    return bool(beside or kin[top : top + down, max(0, left - 1) : left + along + 1].any())


def _best(free: Grid, kin: Grid, request: Request, plugs: int) -> Block | None:
    best: Block | None = None
    best_key: tuple[float, ...] = (np.inf,)
    near = bool(kin.any())
    for top, left, across, plugs_here in largest(free, request):
        size = min(plugs_here, plugs)
        if size < across:
            continue
        key: tuple[float, ...] = (-size, -(-size // across) * request.plug_rows + across * request.plug_cols)
        if key > best_key[:2]:
            continue
        cut = Block.model_construct(top=top, left=left, across=across, plugs=size)
        key += (not touches(cut, request, kin) if near else 0, top, left, -across)
        if key < best_key:
            best, best_key = cut, key
    return best
