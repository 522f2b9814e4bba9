"""A largest flow of work to people, in whole seconds."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from decimal import Decimal


def largest_flow(demand: Mapping[str, int], capacity: Mapping[str, int], able: Mapping[str, frozenset[str]]) -> int:
    """Most seconds of work that can be done: ``demand`` by kind, ``capacity`` by person, who is ``able`` for each kind."""
    left = dict(capacity)
    given: dict[tuple[str, str], int] = {}
    done = 0
    for kind in demand:
        missing = demand[kind]
        while missing > 0:
            path = _path(kind, left, given, able)
            if path is None:
                break
            back = [given[path[i + 1], path[i]] for i in range(1, len(path) - 1, 2)]
            amount = min([missing, left[path[-1]], *back])
            for i in range(0, len(path) - 1, 2):
                given[path[i], path[i + 1]] = given.get((path[i], path[i + 1]), 0) + amount
                if i + 2 < len(path):
                    given[path[i + 2], path[i + 1]] -= amount
            left[path[-1]] -= amount
            missing -= amount
            done += amount
    return done


def _path(
    kind: str, left: Mapping[str, int], given: Mapping[tuple[str, str], int], able: Mapping[str, frozenset[str]]
) -> list[str] | None:
    """Shortest kind, person, kind, person, ... that ends at a person with time left."""
    queue = deque([[kind]])
    seen_kinds, seen_people = {kind}, set[str]()
    while queue:
        path = queue.popleft()
        for person in sorted(able[path[-1]]):
            if person in seen_people or person not in left:
                continue
            seen_people.add(person)
            if left[person] > 0:
                return [*path, person]
            for (other, who), amount in given.items():
                if who == person and amount > 0 and other not in seen_kinds:
                    seen_kinds.add(other)
                    queue.append([*path, person, other])
    return None


def whole_seconds(minutes: float | Decimal) -> int:
    """Whole seconds a person offers, rounded down."""
    return math.floor(round(float(minutes) * 60, 6))
