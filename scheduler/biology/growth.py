"""A colony's size as pieces over whole weeks grown. A cut moves the colony back along its curve."""

from __future__ import annotations

import bisect
import math
from functools import lru_cache

from scheduler.farm.coral import Colony, Traits
from scheduler.farm.farm import Farm

MAX_LEVELS = 520
"""Ten years: longer curves are cut off here and the colony counts as full grown."""

_NEARLY_FULL = 0.99
"""A logistic colony never reaches its cap; it counts as full grown at this share of it."""


def size_after(traits: Traits, weeks: int) -> float:
    """Size in pieces after whole weeks of growth from ``start_units``, capped."""
    start, cap, rate = traits.start_units, traits.cap_units, traits.growth_per_week
    if traits.growth_law == "exponential":
        units = start * math.exp(min(rate * weeks, 700.0))
    elif traits.growth_law == "linear":
        units = start + rate * weeks
    else:
        units = cap / (1 + max(cap / start - 1, 0.0) * math.exp(-rate * weeks))
    return min(units, cap) / traits.unit_per_piece


@lru_cache(maxsize=4096)
def _curve(law: str, rate: float, start: float, cap: float, per_piece: float) -> tuple[float, ...]:
    traits = Traits.model_construct(
        growth_law=law,  # type: ignore[arg-type]
        growth_per_week=rate,
        start_units=start,
        cap_units=cap,
        unit_per_piece=per_piece,
    )
    top = cap / per_piece
    sizes = [round(size_after(traits, 0), 9)]
    while len(sizes) < MAX_LEVELS and sizes[-1] < top * (_NEARLY_FULL if law == "logistic" else 1):
        sizes.append(round(size_after(traits, len(sizes)), 9))
    return tuple(sizes)


def curve(traits: Traits) -> tuple[float, ...]:
    """``size[level]`` in pieces, non-decreasing; a week of growth is one level, up to the last."""
    return _curve(traits.growth_law, traits.growth_per_week, traits.start_units, traits.cap_units, traits.unit_per_piece)


def level_of(sizes: tuple[float, ...], pieces: float) -> int:
    """Largest level with size <= pieces; 0 for a colony smaller than the curve's start."""
    return max(0, bisect.bisect_right(sizes, round(pieces, 9)) - 1)


def grow(sizes: tuple[float, ...], level: int, weeks: int) -> int:
    """Level after more weeks of growth."""
    return min(len(sizes) - 1, level + max(0, weeks))


def most_pieces(traits: Traits, size: float) -> int:
    """C2, C3, C4: most whole pieces a cut may take from a colony of that size (pieces); 0 if fewer than a cut's worth."""
    by_share = math.floor(round(traits.max_share * size, 9))
    by_keep = math.floor(round(size - traits.keep_pieces, 9))
    most = max(0, min(by_share, by_keep))
    return most if most >= traits.min_pieces else 0


def after_cut(sizes: tuple[float, ...], level: int, pieces: int) -> int:
    """Level after a cut of whole pieces: the largest with size <= size[level] - pieces (the remainder is lost)."""
    return level_of(sizes, sizes[level] - pieces)


def weeks_grown(from_week: int, to_week: int, last_cut_week: int | None, pause_weeks: int) -> int:
    """Weeks of growth between a count in ``from_week`` and ``to_week``, less what the pause after the last cut takes.

    The pause covers weeks last_cut_week + 1 .. last_cut_week + pause_weeks.
    """
    weeks = max(0, to_week - from_week)
    if last_cut_week is None:
        return weeks
    paused = min(to_week, last_cut_week + pause_weeks) - max(from_week, last_cut_week)
    return weeks - max(0, min(paused, weeks))


def uncut_level(farm: Farm, colony: Colony, week: int) -> int:
    """Level of a colony in a week if the plan does not cut it before: its newest count and the growth since."""
    traits = farm.traits(colony.strain)
    sizes = curve(traits)
    counted = farm.weeks.week_of(colony.count_date)
    last = farm.weeks.week_of(colony.last_cut) if colony.last_cut is not None else None
    grown = weeks_grown(counted, week, last, traits.pause_weeks)
    return grow(sizes, level_of(sizes, colony.count / traits.unit_per_piece), grown)


def levels(farm: Farm, colony: Colony, cuts: dict[int, int], until: int | None = None) -> dict[int, int]:
    """Level before any cut of each week 1..``until`` (the horizon if not given), given the pieces cut by week.

    Between cuts in t and u the colony grows max(0, u - t - pause_weeks) weeks.
    """
    traits = farm.traits(colony.strain)
    sizes = curve(traits)
    found: dict[int, int] = {}
    base: tuple[int, int] | None = None
    for week in range(1, (until or farm.weeks.count) + 1):
        level = uncut_level(farm, colony, week)
        if base is not None:
            level = grow(sizes, base[1], week - base[0] - traits.pause_weeks)
        found[week] = level
        if cuts.get(week):
            base = (week, after_cut(sizes, level, cuts[week]))
    return found


def rested_from(farm: Farm, colony: Colony) -> int:
    """C1: first week in which a colony has rested since its last known cut; 1 or earlier if it has."""
    if colony.last_cut is None:
        return 1
    return farm.weeks.week_of(colony.last_cut) + farm.traits(colony.strain).rest_weeks


def season_open(farm: Farm, colony: Colony, week: int) -> bool:
    """C4: whether the colony's strain may be cut in a week's month."""
    return farm.weeks.month(week)[1] not in farm.traits(colony.strain).closed_months
