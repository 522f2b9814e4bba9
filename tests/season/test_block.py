"""Blocks as models of whole numbers: what is built, and the best against every choice tried one by one."""

from __future__ import annotations

from itertools import product
from random import Random

import numpy as np
import pytest

from scheduler.season.block import SCALE, Block, Unit
from scheduler.solving import Limits, solve

LIMITS = Limits(seconds=60, deterministic=1.0, seed=1)
ROWS = 5


def test_a_unit_rounds_uses_up_and_leaves_out_what_is_not_used() -> None:
    unit = Unit.of(1.234, {4: 0.1 / SCALE, 2: 0.0, 1: -1.0, 0: 0.25})
    assert unit.cents == 123
    assert dict(zip(unit.rows.tolist(), unit.amounts.tolist(), strict=True)) == {4: 1, 1: -SCALE, 0: SCALE // 4}


def units_by_chance(r: Random) -> list[tuple[float, dict[int, float], int]]:
    """Worth, uses and most of four variables; the last relieves a row, as overtime does."""
    some = [
        (round(r.uniform(1, 9), 2), {row: round(r.uniform(0.1, 2.0), 3) for row in r.sample(range(ROWS), 2)}, r.randint(1, 3))
        for _ in range(3)
    ]
    return [*some, (-round(r.uniform(0.1, 2), 2), {r.randrange(ROWS): -1.0}, 2)]


@pytest.mark.parametrize("seed", range(12))
def test_the_best_is_that_of_all_choices(seed: int) -> None:
    r = Random(seed)
    units = units_by_chance(r)
    limits = np.array([round(r.uniform(0.5, 4), 3) for _ in range(ROWS)])
    fines = np.array([r.choice((np.inf, round(r.uniform(0.5, 6), 2))) for _ in range(ROWS)])
    tight = set(r.sample(range(ROWS), 4))
    block = Block(tight, ROWS)
    variables = [block.add(Unit.of(worth, uses), most) for worth, uses, most in units]
    found = solve(block.finish(limits, fines), LIMITS, stage="test")
    assert found.outcome.outcome == "optimal"

    def worth(counts: tuple[int, ...]) -> int:
        """Cents of a choice, its fines taken off; what may not be is worth nothing that counts."""
        total = sum(n * round(100 * w) for n, (w, _, _) in zip(counts, units, strict=True))
        for row in tight:
            used = sum(n * round(SCALE * uses.get(row, 0.0)) for n, (_, uses, _) in zip(counts, units, strict=True))
            over = max(0, -((round(SCALE * limits[row]) - used) // SCALE))
            if over and np.isinf(fines[row]):
                return -(10**9)
            total -= over * round(100 * fines[row]) if over else 0
        return total

    best = max(worth(counts) for counts in product(*(range(most + 1) for _, _, most in units)))
    assert worth(tuple(found.value(v) for v in variables)) == best == found.outcome.value


def test_what_is_known_to_fit_fits_for_all_its_rounding() -> None:
    third = 1 / 3
    block = Block({0}, ROWS)
    known = block.add(Unit.of(1.0, {0: third}), 9, known=9)
    other = block.add(Unit.of(2.0, {0: third}), 9, known=0)
    found = solve(block.finish(np.full(ROWS, 3.0), np.full(ROWS, np.inf)), LIMITS, stage="test")
    assert found.outcome.outcome == "optimal"
    assert found.value(known) + found.value(other) == found.value(other) == 9


@pytest.mark.parametrize("known", [None, 10])
def test_what_does_not_fit_is_not_let_in_for_being_known(known: int | None) -> None:
    block = Block({0}, ROWS)
    var = block.add(Unit.of(1.0, {0: 1 / 3}), 20, known)
    found = solve(block.finish(np.full(ROWS, 3.0), np.full(ROWS, np.inf)), LIMITS, stage="test")
    assert found.value(var) == (8 if known is None else 9)  # each third is rounded up, and nine of them are 3.0003


def test_rows_not_named_are_not_built() -> None:
    unit = Unit.of(1.0, {0: 1.0, 3: 1.0})
    limits, never = np.ones(ROWS), np.full(ROWS, np.inf)
    for tight, built in ((set[int](), 0), ({2}, 0), ({3}, 1), ({0, 3}, 2)):
        block = Block(tight, ROWS)
        block.add(unit, 9)
        assert len(block.finish(limits, never).proto.constraints) == built
