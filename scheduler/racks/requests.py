"""What is to stand on a rack, and what stands there already."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.blocks import Block, Position

Gap = Callable[[str, str], int]
"""L4: clear positions wanted between two strains; never asked for a strain and itself."""

Grid = NDArray[np.bool_]
"""Shape (rows, cols): where something may stand."""


@dataclass(frozen=True)
class RackShape:
    """Size of a rack in positions; ``pitch`` is the distance between neighbouring positions in mm."""

    rows: int
    cols: int
    pitch: float


@dataclass(frozen=True)
class Request:
    """A lot that wants places: ``plugs`` at most, and at least ``min_plugs`` if any.

    A plug holds ``plug_rows`` x ``plug_cols`` positions, all of which have to be ``allowed`` (unblocked, fitting light).
    ``value`` is cents per plug placed. Where ``home`` is given, more than half of the lot's positions have to lie in it.
    Raises ``ValueError`` for numbers that make no sense.
    """

    lot: str
    strain: str
    plugs: int
    min_plugs: int
    plug_rows: int
    plug_cols: int
    allowed: frozenset[Position]
    value: int
    home: frozenset[Position] | None = None

    def __post_init__(self) -> None:
        if self.plugs < 1 or not 0 <= self.min_plugs <= self.plugs:
            raise ValueError(f"{self.lot}: {self.min_plugs} to {self.plugs} plugs cannot be asked for")
        if self.plug_rows < 1 or self.plug_cols < 1 or self.value < 0:
            raise ValueError(f"{self.lot}: plug area below one position, or value below 0")

    def positions(self, block: Block) -> tuple[Position, ...]:
        """Positions held by a block of this lot."""
        return block.positions(self.plug_rows, self.plug_cols)

    def span(self, block: Block) -> tuple[int, int]:
        """Rows and columns of the rectangle around a block, in positions."""
        down = -(-block.plugs // block.across)
        return down * self.plug_rows, min(block.across, block.plugs) * self.plug_cols

    def lead(self, block: Block) -> int:
        """How many more positions of a block lie at home than elsewhere."""
        held = self.positions(block)
        return len(held) if self.home is None else 2 * sum(p in self.home for p in held) - len(held)

    def at_home(self, blocks: Iterable[Block]) -> bool:
        """Whether most positions of the blocks lie at home."""
        return self.home is None or sum(self.lead(b) for b in blocks) > 0

    def enough(self, plugs: int) -> bool:
        """Whether so many plugs are worth standing."""
        return plugs >= max(1, self.min_plugs)


@dataclass(frozen=True)
class Standing:
    """A lot or mother that stays where it is."""

    name: str
    strain: str
    positions: frozenset[Position]


def check_gap(positions_a: Iterable[Position], positions_b: Iterable[Position], gap: int) -> bool:
    """L4 to the hole: whether ``gap`` clear positions lie between every two positions, by row or by column.

    With gap 0 the positions only have to differ.
    """
    taken = frozenset(positions_b)
    reach = range(-gap, gap + 1)
    return not any((row + i, col + j) in taken for row, col in positions_a for i in reach for j in reach)


def shadow(rows: int, cols: int, positions: Iterable[Position], gap: int) -> Grid:
    """Where nothing may stand that keeps ``gap`` clear positions from ``positions``."""
    grid = np.zeros((rows, cols), dtype=np.bool_)
    for row, col in positions:
        grid[max(0, row - gap) : row + gap + 1, max(0, col - gap) : col + gap + 1] = True
    return grid


def closing(ground: Grid, gap: int) -> Callable[[tuple[int, int], int, int], int]:
    """How many positions of a ground a block takes or keeps clear: asked by its (rows, columns), top and left."""
    rows, cols = ground.shape
    sums = np.pad(ground.astype(np.int64).cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))

    def closed(span: tuple[int, int], top: int, left: int) -> int:
        low, high = max(0, top - gap), min(rows, top + span[0] + gap)
        first, last = max(0, left - gap), min(cols, left + span[1] + gap)
        return int(sums[high, last] - sums[low, last] - sums[high, first] + sums[low, first])

    return closed


def wanted_gap(gap: Gap, strain_a: str, strain_b: str) -> int:
    """Clear positions between two strains: 0 within a strain."""
    return 0 if strain_a == strain_b else gap(strain_a, strain_b)


def free_grids(rows: int, cols: int, requests: Sequence[Request], standing: Sequence[Standing], gap: Gap) -> Mapping[str, Grid]:
    """By lot, where it may stand beside what stands already."""
    grids = {}
    for request in requests:
        grid = np.zeros((rows, cols), dtype=np.bool_)
        for row, col in request.allowed:
            if 0 <= row < rows and 0 <= col < cols:
                grid[row, col] = True
        for other in standing:
            grid &= ~shadow(rows, cols, other.positions, wanted_gap(gap, request.strain, other.strain))
        grids[request.lot] = grid
    return grids
