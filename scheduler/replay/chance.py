"""How much chance a replayed farm has, and the streams it is drawn from.

Every figure is made up for the replay and has no published source; it is meant to be of the size a grower would own to.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, fields
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Chance:
    """Spreads are standard deviations of logarithms where nothing else is said; ``per_week`` figures are chances a week."""

    growth_strain: float = 0.20
    """How far the growth of a strain's frags, and of its mothers, lies from what the book says."""
    growth_lot: float = 0.12
    growth_frag: float = 0.20
    fresh_size: float = 0.08
    loss_strain: float = 0.40
    """How far a strain's deaths, and its detachments, lie from what the book says."""
    tank_month: float = 0.50
    """Good and bad months of a tank, in deaths and detachments alike."""
    light_rack: float = 0.05
    """How far the light on a rack lies from its reading."""

    first_count: float = 0.10
    """How far the counts of mothers in the book are from the truth at the start."""
    miscount: float = 0.05
    """Error of later counts of mothers."""
    count_mothers_weeks: int = 8
    """Each mother is counted anew after so many weeks."""
    measure: float = 0.02
    """Error of the mean size measured at the count of a lot."""

    recede_per_week: float = 0.004
    recede_least: float = 0.10
    recede_most: float = 0.40
    """A mother that recedes loses a share of itself between these two."""
    recede_seen: float = 0.5
    """Chance that somebody sees it at once; else the next count tells."""
    recover_weeks: int = 8
    """Weeks such a mother is marked no cut."""
    die_per_week: float = 0.0008

    broken: float = 0.05
    """Mean share of pieces that break or crumble at the bench; strains differ."""
    grade: float = 0.02
    """Standard deviation of a strain's share of good frags around the book's."""
    pace_person: float = 0.08
    pace_job: float = 0.15
    """How far the minutes of a person, and of one job, lie from the standard ones."""

    hold_per_week: float = 0.004
    hold_weeks_least: int = 3
    hold_weeks_most: int = 6
    """A system goes on hold for a number of weeks between these two."""
    closed_per_week: float = 0.03
    """A channel cannot send in a week."""

    demand_strain: float = 0.20
    """How far what a month of walk-in customers buys of a strain lies from the book's market, beside the chance of each month."""
    order_size: float = 0.40
    """Spread of the quantity of new orders around those of the book."""

    even: bool = False
    """No chance in what is drawn frag by frag or month by month: losses and grades fall as evenly as whole frags can, each
    month brings the customers of the market, and no new orders come in."""

    @classmethod
    def off(cls) -> Chance:
        """No chance at all."""
        nothing: dict[str, Any] = {f.name: 0.0 for f in fields(cls) if isinstance(f.default, float)}
        return cls(even=True, **nothing)


def stream(seed: int, *key: object) -> np.random.Generator:
    """A stream of chance of its own for each key, so that two ways of working meet the same weather and customers."""
    return np.random.default_rng([seed, zlib.crc32("/".join(map(str, key)).encode())])


def factor(rng: np.random.Generator, spread: float) -> float:
    """A log-normal factor with mean 1."""
    return float(np.exp(rng.normal(-spread * spread / 2, spread)))
