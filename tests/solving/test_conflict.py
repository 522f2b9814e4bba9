from __future__ import annotations

import itertools

import pytest

from scheduler.solving import minimal_conflict


@pytest.mark.parametrize("conflict", [{"b"}, {"a", "d"}, {"b", "c", "e"}, {"a", "b", "c", "d", "e"}])
def test_the_planted_conflict_is_found(conflict: set[str]) -> None:
    assert minimal_conflict("abcde", lambda kept: not conflict <= kept) == tuple(sorted(conflict))


def test_nothing_conflicts() -> None:
    assert minimal_conflict("abc", lambda _kept: True) == ()


def test_keys_that_are_not_needed_for_infeasibility_leave_none() -> None:
    assert minimal_conflict("abc", lambda _kept: False) == ()


def test_of_overlapping_conflicts_one_minimal_one_is_found_with_few_questions() -> None:
    conflicts = [{"a", "b"}, {"b", "c"}, {"c", "d", "e"}]
    asked: list[frozenset[str]] = []

    def feasible(kept: frozenset[str]) -> bool:
        asked.append(kept)
        return not any(c <= kept for c in conflicts)

    found = minimal_conflict("abcde", feasible)
    assert len(asked) == 6
    assert not feasible(frozenset(found))
    assert all(feasible(frozenset(rest)) for rest in itertools.combinations(found, len(found) - 1))
