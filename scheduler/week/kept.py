"""When a cut still counts as the one announced, and how many of its pieces do."""

from __future__ import annotations

CHANGED_SHARE = 0.20
"""A cut counts as changed if its pieces differ from those announced by more than this share."""


def kept_range(pieces: int) -> tuple[int, int]:
    """Fewest and most pieces that still count as the cut announced."""
    return -int(-pieces * (100 - round(100 * CHANGED_SHARE)) // 100), pieces * (100 + round(100 * CHANGED_SHARE)) // 100


def as_told(told: int, pieces: int) -> int:
    """Pieces of a cut in its announced session that were announced: at most ``told``, none if the cut counts as changed."""
    low, high = kept_range(told)
    return min(told, pieces) if low <= pieces <= high else 0
