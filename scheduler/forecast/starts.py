"""How many pieces to start for an order, and how to say so."""

from __future__ import annotations

from scipy.stats import betabinom

from scheduler.biology.service import pieces_to_start

_MOST = 1_000_000


def pieces_to_start_unsure(quantity: int, survival: float, sample: float, level: float) -> int:
    """Fewest pieces with P(BetaBin(n, a, b) >= quantity) >= level, where the survival itself is known only from ``sample`` frags.

    a = survival x sample, b = (1 - survival) x sample; 0 < ``survival`` < 1, ``sample`` > 0. Never fewer than
    ``pieces_to_start``, which it nears as the sample grows. Raises ``ValueError`` outside these ranges, or where not even a
    million pieces would do.
    """
    if not 0 < survival < 1 or sample <= 0:
        raise ValueError(f"survival {survival}, sample {sample} out of range")
    a, b = survival * sample, (1 - survival) * sample
    low = high = max(1, pieces_to_start(quantity, survival, level))
    while betabinom.sf(quantity - 1, high, a, b) < level:
        low, high = high, 2 * high
        if high > _MOST:
            raise ValueError(f"no number of pieces covers {quantity} at {level:.0%} while survival is so uncertain")
    while low < high:
        middle = (low + high) // 2
        if betabinom.sf(quantity - 1, middle, a, b) >= level:
            high = middle
        else:
            low = middle + 1
    return low


def started_text(started: int, quantity: int, chance: float | None = None) -> str:
    """``135 started for 100``, and with what chance that covers them."""
    text = f"{started} started for {quantity}"
    return text if chance is None else f"{text}, covered with {chance:.0%}"
