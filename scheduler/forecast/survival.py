"""Survival from counts: product-limit curves, competing causes, and weekly losses from counts weeks apart.

A frag is lost by death or by coming off its plug: two causes that compete. What is sold is withdrawn, neither lost nor
kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

Floats = NDArray[np.float64]

LATE, EARLY = 0, 1
DEATH, DETACHMENT = 0, 1
CAUSES = ("death", "detachment")
STAGES = ("late", "early")

_MOST_STEPS, _CLOSE = 200, 1e-10
_MOST_LOSS = 0.5


@dataclass(frozen=True)
class SurvivalCurve:
    """Product-limit estimate at each time with an event, all of shape (times,).

    ``at_risk`` just before, ``events`` then, ``survival`` just after, ``error`` Greenwood's standard error, ``low`` and
    ``high`` the log(-log) confidence limits.
    """

    time: Floats
    at_risk: Floats
    events: Floats
    survival: Floats
    error: Floats
    low: Floats
    high: Floats

    def at(self, time: float) -> float:
        """Survival at a time; 1 before the first event."""
        index = int(np.searchsorted(self.time, time, side="right"))
        return float(self.survival[index - 1]) if index else 1.0


def _tabulated(time: ArrayLike, cause: ArrayLike, weight: ArrayLike | None) -> tuple[Floats, Floats, Floats]:
    """Distinct times (n,), numbers at risk (n,) and events by cause (causes, n); cause 0 is withdrawn, after events then."""
    times, causes = np.asarray(time, dtype=np.float64), np.asarray(cause, dtype=np.int64)
    weights = np.ones_like(times) if weight is None else np.asarray(weight, dtype=np.float64)
    if not times.shape == causes.shape == weights.shape or times.ndim != 1:
        raise ValueError(f"times {times.shape}, causes {causes.shape} and weights {weights.shape} must be of one length")
    if times.size and (times.min() < 0 or weights.min() < 0 or causes.min() < 0):
        raise ValueError("times, weights and causes must not be negative")
    distinct, index = np.unique(times, return_inverse=True)
    leaving = np.bincount(index, weights, minlength=len(distinct))
    at_risk = leaving[::-1].cumsum()[::-1]
    kinds = int(causes.max(initial=0))
    events = np.array([np.bincount(index, weights * (causes == k), minlength=len(distinct)) for k in range(1, kinds + 1)])
    return distinct, at_risk, events.reshape(kinds, len(distinct))


def kaplan_meier(
    time: ArrayLike, event: ArrayLike, weight: ArrayLike | None = None, *, confidence: float = 0.95
) -> SurvivalCurve:
    """Kaplan & Meier 1958, J Am Stat Assoc 53:457-481, with Greenwood's error (from memory).

    ``time`` (n,) >= 0 until the event or withdrawal; ``event`` (n,) 0 withdrawn, else an event of any cause; ``weight``
    (n,) frags each row stands for, fractions allowed.
    """
    times, at_risk, by_cause = _tabulated(time, np.asarray(event, dtype=np.int64), weight)
    events = by_cause.sum(axis=0)
    seen = events > 0
    times, at_risk, events = times[seen], at_risk[seen], events[seen]
    survival = np.cumprod(1 - events / at_risk)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = np.cumsum(events / (at_risk * (at_risk - events)))
        error = survival * np.sqrt(spread)
        log = np.log(survival)
        reach = norm.ppf(0.5 + confidence / 2) * np.sqrt(spread) / log
        low, high = np.exp(log * np.exp(-reach)), np.exp(log * np.exp(reach))
    gone = survival <= 0
    error, low, high = (np.where(gone, fill, part) for part, fill in ((error, np.nan), (low, 0.0), (high, 0.0)))
    return SurvivalCurve(times, at_risk, events, survival, error, np.minimum(low, high), np.maximum(low, high))


def aalen_johansen(time: ArrayLike, cause: ArrayLike, weight: ArrayLike | None = None) -> tuple[Floats, Floats]:
    """Cumulative incidence of competing causes: times (n,) and incidences (causes, n), both after the events of that time.

    ``cause`` (n,): 0 withdrawn, 1.. the causes. Aalen & Johansen 1978, Scand J Stat 5:141-150 (from memory).
    """
    times, at_risk, events = _tabulated(time, cause, weight)
    survival = np.cumprod(1 - events.sum(axis=0) / at_risk)
    before = np.concatenate([np.ones(min(1, len(times))), survival[:-1]])
    return times, np.cumsum(before * events / at_risk, axis=1)


@dataclass(frozen=True)
class Interval:
    """What became of a lot's frags between two counts. Ages in whole weeks since the cut, ``end`` > ``start``.

    ``frags`` at the start = died + detached + sold + alive at the end. ``stress``: how many times as often its frags die
    for standing outside their light range. ``tank`` and ``month`` place it for the losses a tank shares, if known.
    """

    start: int
    end: int
    frags: int
    died: int
    detached: int
    sold: int
    stress: float = 1.0
    lot: str = ""
    tank: str | None = None
    month: tuple[int, int] | None = None

    @property
    def lost(self) -> int:
        """Deaths and detachments."""
        return self.died + self.detached


@dataclass(frozen=True)
class Losses:
    """Losses put to the week of age they most likely fell in.

    ``events`` (causes, ages) and ``exposure`` (causes, ages) in frag-weeks; deaths under stress count with the exposure
    they would need in good light. ``expected`` (intervals,): losses expected at the rates the split was made with.
    """

    events: Floats
    exposure: Floats
    expected: Floats

    def by_stage(self, early_weeks: int) -> tuple[Floats, Floats]:
        """Events and exposure, each (causes, stages)."""
        ages = self.events.shape[1]
        early = np.arange(ages) < early_weeks
        return tuple(  # type: ignore[return-value]
            np.stack([table[:, ~early].sum(axis=1), table[:, early].sum(axis=1)], axis=1)
            for table in (self.events, self.exposure)
        )

    def curve(self) -> Floats:
        """Product-limit survival to the end of each week of age (ages,) in the light the frags stood in, from age 0."""
        with np.errstate(divide="ignore", invalid="ignore"):
            rate = np.where(self.exposure > 0, self.events / self.exposure, 0.0).sum(axis=0)
        return np.cumprod(1 - np.minimum(rate, 1.0))


def split_losses(intervals: Sequence[Interval], rates: Floats, early_weeks: int) -> Losses:
    """Share the losses of each interval among its weeks in proportion to what ``rates`` (causes, stages) expect of them.

    This is the expectation step for losses known only to lie between two counts (Dempster, Laird & Rubin 1977, J R Stat
    Soc B 39:1-38, from memory). Frags sold between two counts are at risk for half of the time, as in a life table
    (Cutler & Ederer 1958, J Chronic Dis 8:699-712, from memory).
    """
    ages = max((i.end for i in intervals), default=0)
    events, exposure = np.zeros((2, ages)), np.zeros((2, ages))
    if not intervals:
        return Losses(events, exposure, np.zeros(0))
    start, end, frags, died, detached, sold = (
        np.array([getattr(i, name) for i in intervals], dtype=np.float64)[:, None]
        for name in ("start", "end", "frags", "died", "detached", "sold")
    )
    stress = np.array([i.stress for i in intervals])[:, None]
    week = np.arange(int((end - start).max()))[None, :]
    age = (start + week).astype(np.int64)
    inside = age < end
    stage = np.where(age < early_weeks, EARLY, LATE)
    death = np.where(inside, np.minimum(_MOST_LOSS, rates[DEATH][stage] * stress), 0.0)
    detach = np.where(inside, rates[DETACHMENT][stage], 0.0)
    loss = np.minimum(death + detach, 0.99)
    alive = np.cumprod(np.concatenate([np.ones((len(intervals), 1)), 1 - loss[:, :-1]], axis=1), axis=1)
    expected = ((frags - sold / 2) * alive * loss).sum(axis=1)
    gone = np.zeros_like(alive)
    for cause, (rate, count) in enumerate(((death, died), (detach, detached))):
        likely = alive * rate
        total = likely.sum(axis=1, keepdims=True)
        even = inside / (end - start)
        part = np.where(total > 0, likely / np.where(total > 0, total, 1.0), even) * count
        np.add.at(events[cause], age[inside], part[inside])
        gone += part
    before = np.concatenate([np.zeros((len(intervals), 1)), gone.cumsum(axis=1)[:, :-1]], axis=1)
    withdrawn = sold * np.clip((week + 0.5) / (end - start), 0, 1)
    standing = np.where(inside, np.maximum(frags - before - withdrawn, 0.0), 0.0)
    for cause, factor in enumerate((stress, np.ones_like(stress))):
        np.add.at(exposure[cause], age[inside], (standing * factor)[inside])
    return Losses(events, exposure, expected)


def weekly_losses_of(
    intervals: Sequence[Interval], early_weeks: int, prior: tuple[Floats, Floats], dispersion: float = 1.0
) -> tuple[Floats, Losses]:
    """Weekly loss rates (causes, stages) from counts and a beta prior, and the losses split by them.

    ``prior``: the two parameters of the beta distribution of each rate, each (causes, stages). The rate is
    (a + events / dispersion) / (a + b + exposure / dispersion), with events and exposure split by the rate itself, repeated
    until it stands still; with a prior of weight nought this is the rate of greatest likelihood for the split.
    """
    a, b = prior
    rates = a / (a + b)
    losses = split_losses(intervals, rates, early_weeks)
    for _ in range(_MOST_STEPS):
        events, exposure = losses.by_stage(early_weeks)
        new = np.minimum((a + events / dispersion) / (a + b + exposure / dispersion), _MOST_LOSS - 1e-9)
        losses = split_losses(intervals, new, early_weeks)
        still = float(np.abs(new - rates).max()) < _CLOSE
        rates = new
        if still:
            break
    return rates, losses
