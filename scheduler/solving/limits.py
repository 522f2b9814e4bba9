"""How long a solve may take, and what came of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Protocol

Status = Literal["optimal", "feasible", "infeasible", "unknown"]


@dataclass(frozen=True)
class Limits:
    """Limits of one solve.

    ``seconds`` is wall-clock time, ``deterministic`` is the solver's own unit of work (about a second on an idle core);
    ``None`` is no limit. A solve repeats exactly when it runs on one worker and the work limit, not the clock, ends it.
    Raises ``ValueError`` for a limit that is not positive or fewer than one worker.
    """

    seconds: float | None = None
    deterministic: float | None = None
    seed: int = 1
    workers: int = 1

    def __post_init__(self) -> None:
        for name, limit in (("seconds", self.seconds), ("deterministic", self.deterministic)):
            if limit is not None and not limit > 0:
                raise ValueError(f"{name} must be above 0, not {limit}")
        if self.workers < 1:
            raise ValueError(f"workers must be at least 1, not {self.workers}")


class Progress(Protocol):
    """Told about a better value or bound. Runs in the thread that called the solve."""

    def __call__(self, stage: str, value: float | None, bound: float | None, elapsed: float) -> None:
        """``value`` is the best found so far, ``bound`` what no plan can beat, ``elapsed`` seconds since the start."""


@dataclass(frozen=True)
class Outcome:
    """What a solve ended with.

    ``reason`` is ``proved``, ``time limit``, ``work limit``, ``interrupted`` or ``infeasible not confirmed``. ``value``
    is ``None`` whenever there is no solution, and ``bound`` whenever nothing is known; both are 0 for a solved model that
    has no objective. ``seconds`` is wall-clock time.
    """

    outcome: Status
    reason: str
    value: float | None
    bound: float | None
    seconds: float

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
