"""Ground beside what stands on a rack, against the rule said hole by hole."""

from __future__ import annotations

from itertools import product

import numpy as np

from scheduler.planning.ground import beside, grid_of
from tests.farms import random_farm


def test_ground_is_what_no_other_strain_keeps_clear() -> None:
    farm = random_farm(3, 14)
    seen = set[int]()
    for rack in farm.racks:
        mine, *others = (s.strain for s in farm.strains[:4])
        here = rack.open_positions
        standing = [(other, [here[(7 * i + 3) % len(here)]]) for i, other in enumerate([mine, *others])]
        free = beside(farm, rack, mine, grid_of(rack, here), standing)
        for row, col in product(range(rack.rows), range(rack.cols)):
            clear = [max(abs(row - r), abs(col - c)) - 1 for _, ((r, c),) in standing]
            wanted = [farm.clear_positions(mine, other, rack.pitch_mm) for other, _ in standing]
            seen.update(wanted)
            assert free[row, col] == ((row, col) in here and all(a >= b for a, b in zip(clear, wanted, strict=True)))
    assert min(seen) == 0 < max(seen)


def test_ground_itself_is_left_as_it_was() -> None:
    farm = random_farm(3, 14)
    rack, strain = farm.racks[0], farm.strains[0].strain
    ground = grid_of(rack, rack.open_positions)
    before = ground.copy()
    assert beside(farm, rack, strain, ground, [(strain, rack.open_positions)]).sum() == 0
    assert np.array_equal(ground, before)
