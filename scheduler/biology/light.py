"""Light on a rack: bilinear between four corners."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.farm import Farm


def rack_par(corners: tuple[float, float, float, float], rows: int, cols: int) -> NDArray[np.float64]:
    """PAR at every position, shape (rows, cols), µmol m-2 s-1: bilinear between the corner positions.

    ``corners`` are PAR at A1, the end of row A, the start of the last row and its end. A rack of one row or column
    takes the mean of the readings that fall together.
    """
    first, first_end, last, last_end = corners
    down = np.linspace(0.0, 1.0, rows)[:, None] if rows > 1 else np.full((1, 1), 0.5)
    along = np.linspace(0.0, 1.0, cols)[None, :] if cols > 1 else np.full((1, 1), 0.5)
    top = first * (1 - along) + first_end * along
    bottom = last * (1 - along) + last_end * along
    return np.asarray(top * (1 - down) + bottom * down, dtype=np.float64)


@lru_cache(maxsize=65536)
def par_of_rack(farm: Farm, rack: str, week: int) -> NDArray[np.float64]:
    """PAR at every position of a rack in a week, from the newest reading on or before its Monday (read-only array)."""
    row = farm.rack[rack]
    reading = farm.reading(rack, farm.weeks.monday(week))
    corners = reading.corners if reading is not None else None
    if corners is None:
        raise ValueError(f"rack {rack} has no complete light reading")
    par = rack_par(corners, row.rows, row.cols)
    par.setflags(write=False)
    return par


def growth_factor(par_umol: float, par_k: float) -> float:
    """Share of light-saturated growth at a PAR: tanh(PAR / par_k).

    The hyperbolic tangent of Jassby & Platt (1976), Limnol. Oceanogr. 21:540-547 (from memory), applied to growth.
    """
    return math.tanh(par_umol / par_k)
