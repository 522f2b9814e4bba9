"""Limits that several solves share."""

from __future__ import annotations

import math
import time
from dataclasses import replace

from scheduler.solving.limits import Limits

LEAST_WORK, LEAST_SECONDS = 1e-3, 0.05
"""What a solve may take even when all is used up, so that each of a row of solves still ends in its own way."""


class Budget:
    """What is left of some limits for solves one after the other.

    Work is counted as the solver counts it, so that what each solve gets repeats exactly; time runs by the clock from the
    moment the budget is made.
    """

    def __init__(self, limits: Limits) -> None:
        self._limits, self._since, self.work = limits, time.monotonic(), 0.0

    def part(self, share: float = 1.0) -> Limits:
        """Limits of the next solve: a share (above 0, at most 1) of the work and of the time still left."""
        clock, work = self._limits.seconds, self._limits.deterministic
        return replace(
            self._limits,
            seconds=None if clock is None else max(LEAST_SECONDS, (clock - time.monotonic() + self._since) * share),
            deterministic=None if work is None else max(LEAST_WORK, (work - self.work) * share),
        )

    @property
    def left(self) -> float:
        """Work not done yet, in the solver's own units; infinite without a limit."""
        return math.inf if self._limits.deterministic is None else self._limits.deterministic - self.work

    @property
    def over(self) -> bool:
        """Whether time or work is used up."""
        clock = self._limits.seconds
        return self.left <= LEAST_WORK or (clock is not None and time.monotonic() - self._since > clock - LEAST_SECONDS)

    def spend(self, work: float) -> None:
        """Note work done, in the solver's own units."""
        self.work += work
