"""Which of several wishes cannot hold together."""

from __future__ import annotations

from collections.abc import Callable, Sequence


def minimal_conflict(keys: Sequence[str], feasible: Callable[[frozenset[str]], bool]) -> tuple[str, ...]:
    """A minimal set of keys that cannot hold together, in the order given; ``()`` if all of them can.

    Deletion filter: each key in turn is left out for good if the rest still cannot hold, so dropping any one key of the
    result makes it feasible. ``feasible`` is asked ``len(keys) + 1`` times at most; it must not become false by asking
    for less.
    """
    kept = list(dict.fromkeys(keys))
    if feasible(frozenset(kept)):
        return ()
    for key in tuple(kept):
        rest = [k for k in kept if k != key]
        if not feasible(frozenset(rest)):
            kept = rest
    return tuple(kept)
