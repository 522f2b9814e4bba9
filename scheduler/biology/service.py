"""How many pieces to start so that an order is covered with a wanted chance."""

from __future__ import annotations

from functools import lru_cache

from scipy.stats import binom


@lru_cache(maxsize=65536)
def pieces_to_start(quantity: int, survival: float, level: float) -> int:
    """Fewest pieces n with P(Bin(n, survival) >= quantity) >= level.

    ``quantity`` >= 0; 0 < ``survival`` <= 1; 0 < ``level`` < 1. Raises ``ValueError`` outside these ranges.
    """
    if quantity < 0 or not 0 < survival <= 1 or not 0 < level < 1:
        raise ValueError(f"quantity {quantity}, survival {survival}, level {level} out of range")
    low, high = quantity, max(1, quantity)
    while binom.sf(quantity - 1, high, survival) < level:
        low, high = high, 2 * high
    while low < high:
        middle = (low + high) // 2
        if binom.sf(quantity - 1, middle, survival) >= level:
            high = middle
        else:
            low = middle + 1
    return low
