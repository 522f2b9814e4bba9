"""Linear programmes that grow by columns: pivots and interior points agree, and prices prove the optimum."""

from __future__ import annotations

from random import Random
from unittest.mock import patch

import numpy as np
import pytest

from scheduler.errors import NoPlanFound
from scheduler.solving import linear
from scheduler.solving.linear import ColumnProgramme, InteriorProgramme, Programme

LIMITS, SOURCES = np.array([7.0, 4.0, 9.0, 100.0]), np.array([1.0, 3.0, 2.0])

Given = list[tuple[float, dict[int, float], int | None]]


def given(seed: int, count: int) -> Given:
    """For every source a column that uses nothing, and random ones."""
    r = Random(seed)
    some = [
        (r.uniform(0, 9), {row: r.uniform(0.2, 4) for row in range(3) if r.random() < 0.7}, r.randrange(3)) for _ in range(count)
    ]
    return [*((0.0, {}, s) for s in range(3)), *some, (-0.5, {0: -1.0}, None)]


def grown(programme: Programme, columns: Given) -> Programme:
    for column in columns:
        programme.add(*column)
    return programme


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("kind", [InteriorProgramme, ColumnProgramme, lambda b, a: ColumnProgramme(b, a, sparse=True)])
def test_prices_prove_the_optimum(seed: int, kind: type[Programme]) -> None:
    """Strong duality of linear programming (Dantzig 1963, Linear Programming and Extensions, ch. 6; from memory)."""
    columns = given(seed, 12)
    found = grown(kind(LIMITS, SOURCES), columns).solve()  # type: ignore[call-arg]
    used = np.zeros(len(LIMITS))
    for (worth, uses, source), amount in zip(columns, found.amounts, strict=True):
        assert amount >= -1e-7
        for row, x in uses.items():
            used[row] += amount * x
        earned = found.source_prices[source] if source is not None else 0.0
        assert worth - sum(x * found.prices[row] for row, x in uses.items()) <= earned + 1e-6
    assert (used <= LIMITS + 1e-6).all()
    assert (found.prices >= 0).all()
    assert found.value == pytest.approx(found.prices @ LIMITS + found.source_prices @ SOURCES, rel=1e-6)
    assert found.value == pytest.approx(sum(w * a for (w, _, _), a in zip(columns, found.amounts, strict=True)), rel=1e-6)


def test_interior_points_and_pivots_agree_before_and_after_new_columns() -> None:
    begun, more = given(3, 6), given(4, 9)
    pivots, interior = grown(ColumnProgramme(LIMITS, SOURCES), begun), grown(InteriorProgramme(LIMITS, SOURCES), begun)
    before = pivots.solve().value
    assert interior.solve().value == pytest.approx(before, rel=1e-7)
    after = grown(pivots, more).solve().value
    assert after > before + 0.1
    assert grown(interior, more).solve().value == pytest.approx(after, rel=1e-7)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("kind", [InteriorProgramme, ColumnProgramme])
def test_other_right_hand_sides_give_what_a_new_programme_gives(seed: int, kind: type[Programme]) -> None:
    """And so do columns added after them; every change is one that moves the optimum."""
    columns, more = given(seed, 12), given(seed + 50, 4)
    programme = grown(kind(LIMITS, SOURCES), columns)  # type: ignore[call-arg]
    last = programme.solve().value
    for limits, sources in (
        (LIMITS * 0.6, SOURCES), (LIMITS * 0.6, np.array([0.0, 3.0, 2.0])), (np.array([0.0, 4.0, 9.0, 100.0]), np.array([0.0, 3.0, 0.0])),
    ):  # fmt: skip
        programme.change(limits, sources)
        found, anew = programme.solve(), grown(kind(limits, sources), columns).solve()  # type: ignore[call-arg]
        assert found.value == pytest.approx(anew.value, rel=1e-6, abs=1e-7)
        assert found.value < last - 1e-6
        assert found.value == pytest.approx(found.prices @ limits + found.source_prices @ sources, rel=1e-6, abs=1e-7)
        last = found.value
    grown(programme, more)
    columns += more
    assert programme.solve().value == pytest.approx(grown(kind(limits, sources), columns).solve().value, rel=1e-6, abs=1e-7)  # type: ignore[call-arg]


def test_rows_are_built_as_they_are_overrun_expected_or_had_a_price() -> None:
    """The row nobody can fill is never built; a hint or the solve before saves solves; a loose one ends before the last."""
    columns = given(2, 12)
    exact = grown(ColumnProgramme(LIMITS, SOURCES), columns).solve()

    def solves(programme: Programme, nearly: float = 0.0) -> tuple[list[int], float]:
        with patch.object(linear, "linprog", wraps=linear.linprog) as run:
            found = programme.solve(nearly)
        return [call.kwargs["A_ub"].shape[0] for call in run.call_args_list], found.value

    cold = grown(InteriorProgramme(LIMITS, SOURCES), columns)
    rows, value = solves(cold)
    assert rows[0] == 0 < rows[-1] < len(LIMITS)
    assert value == pytest.approx(exact.value, rel=1e-7)
    again, value = solves(cold)
    assert len(again) == 1
    assert value == pytest.approx(exact.value, rel=1e-7)
    hinted = grown(InteriorProgramme(LIMITS, SOURCES), columns)
    hinted.expect(exact.prices > 1e-9)
    assert len(solves(hinted)[0]) <= len(rows) - 1
    loose, value = solves(grown(InteriorProgramme(LIMITS, SOURCES), columns), nearly=10.0)
    assert len(loose) <= 2
    assert value >= exact.value * (1 - 1e-7)


def test_what_interior_points_leave_unsolved_is_solved_by_pivots() -> None:
    programme = grown(InteriorProgramme(LIMITS, SOURCES), given(1, 12))
    whole = programme.solve().value
    with patch.object(linear, "linprog") as failing:
        failing.return_value.status = 4
        assert programme.solve().value == pytest.approx(whole, rel=1e-7)


@pytest.mark.parametrize("kind", [ColumnProgramme, InteriorProgramme])
def test_a_source_that_cannot_keep_its_limits_is_no_optimum(kind: type[Programme]) -> None:
    programme = kind(np.array([1.0]), np.array([2.0]))  # type: ignore[call-arg]
    programme.add(1.0, {0: 1.0}, 0)
    with pytest.raises(NoPlanFound):
        programme.solve()


def test_a_solve_lost_in_its_numbers_is_tried_once_more() -> None:
    """The first answer says that numbers went wrong; the second is the optimum, and later solves start from it as ever."""
    columns = given(3, 12)
    want = grown(ColumnProgramme(LIMITS, SOURCES), columns).solve()
    programme = ColumnProgramme(LIMITS, SOURCES)
    grown(programme, columns)
    solver, said = programme._solver, []

    def lost_at_first() -> int:
        said.append(type(solver).Solve(solver))
        return linear.pywraplp.Solver.ABNORMAL if len(said) == 1 else said[-1]

    with patch.object(solver, "Solve", lost_at_first):
        found = programme.solve()
    assert len(said) == 2
    assert found.value == pytest.approx(want.value)
    programme.add(50.0, {0: 1.0}, 0)
    assert programme.solve().value > found.value
