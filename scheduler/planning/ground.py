"""Ground of a rack as a grid of positions: where something may stand beside what stands there."""

from __future__ import annotations

from collections.abc import Iterable

from scheduler.farm.blocks import Position
from scheduler.farm.farm import Farm
from scheduler.farm.space import Rack
from scheduler.racks import Grid
from scheduler.racks.requests import shadow


def grid_of(rack: Rack, positions: Iterable[Position]) -> Grid:
    """The positions as a grid of the rack, shape (rows, cols)."""
    return shadow(rack.rows, rack.cols, positions, 0)


def beside(farm: Farm, rack: Rack, strain: str, ground: Grid, standing: Iterable[tuple[str, Iterable[Position]]]) -> Grid:
    """L1, L4: what is left of a ground for a strain beside lots and mothers, given by strain and the positions they hold."""
    free = ground.copy()
    for other, positions in standing:
        free &= ~shadow(rack.rows, rack.cols, positions, farm.clear_positions(strain, other, rack.pitch_mm))
    return free
