"""How long a solve may take, and what came of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, Protocol

SECONDS_OF_WORK = 8
"""Seconds of a time limit for one unit of the solver's own work: the work limit ends the search first, so that plans repeat."""

Status = Literal["optimal", "feasible", "infeasible", "unknown"]


@dataclass(frozen=True)
class Limits:
    """Limits of one solve.

    ``seconds`` is wall-clock time, ``deterministic`` is the solver's own unit of work (about a second on an idle core);
    ``None`` is no limit. A solve repeats exactly when it runs on one worker and the work limit, not the clock, ends it.
    ``gap``: a solution proved to lie within this share of the best ends the search and counts as optimal. Raises
    ``ValueError`` for a limit that is not positive, fewer than one worker or a gap below 0.
    """

    seconds: float | None = None
    deterministic: float | None = None
    seed: int = 1
    workers: int = 1
    gap: float = 0.0

    @classmethod
    def for_time(cls, seconds: float, *, seed: int = 1, workers: int = 1) -> Limits:
        """Limits of a search that may take so long at most and, unless the machine is slow or busy, ends by its work."""
        return cls(seconds=seconds, deterministic=seconds / SECONDS_OF_WORK, seed=seed, workers=workers)

    def within(self, others: Limits) -> Limits:
        """These limits, but no more time or work than others allow."""

        def less(mine: float | None, theirs: float | None) -> float | None:
            return min((x for x in (mine, theirs) if x is not None), default=None)

        return replace(
            self, seconds=less(self.seconds, others.seconds), deterministic=less(self.deterministic, others.deterministic)
        )

    def __post_init__(self) -> None:
        for name, limit in (("seconds", self.seconds), ("deterministic", self.deterministic)):
            if limit is not None and not limit > 0:
                raise ValueError(f"{name} must be above 0, not {limit}")
        if self.workers < 1:
            raise ValueError(f"workers must be at least 1, not {self.workers}")
        if self.gap < 0:
            raise ValueError(f"gap must be at least 0, not {self.gap}")


class Progress(Protocol):
    """Told about a better value or bound. Runs in the thread that called the solve."""

    def __call__(self, stage: str, value: float | None, bound: float | None, elapsed: float) -> None:
        """``value`` is the best found so far, ``bound`` what no plan can beat (cents), ``elapsed`` seconds since the start."""


@dataclass(frozen=True)
class Outcome:
    """What a solve ended with.

    ``reason`` is ``proved``, ``time limit``, ``work limit``, ``interrupted`` or ``infeasible not confirmed``. ``value``
    is ``None`` whenever there is no solution, and ``bound`` whenever nothing is known; both are 0 for a solved model that
    has no objective. ``seconds`` is wall-clock time, ``work`` the solver's own unit of it.
    """

    outcome: Status
    reason: str
    value: float | None
    bound: float | None
    seconds: float
    work: float = 0.0

    @property
    def found(self) -> bool:
        """Whether there is a solution."""
        return self.outcome in ("optimal", "feasible")

    @property
    def gap(self) -> float | None:
        """|value - bound| as a share of |value|: 0 when proved, infinite when value is 0 and bound is not, else ``None``."""
        if self.value is None or self.bound is None:
            return None
        distance = abs(self.value - self.bound)
        if distance <= 1e-9:
            return 0.0
        return distance / abs(self.value) if self.value else math.inf
