"""A large season in parts: strains dealt out, each part with limits of its own, that are solved one by one.

Every row of a season is divided among the parts, so that what fits each of them fits the farm.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numpy as np

from scheduler.farm.farm import Farm
from scheduler.season.capacity import Row
from scheduler.season.columns import Floats, Season
from scheduler.solving import Progress

Found = TypeVar("Found")

PART = 250
"""About as many colonies and lots are in a part."""

TOGETHER = 2
"""Parts solved at the same time, in threads: none knows of the others, so that the number changes nothing."""

EVENLY = 0.01
"""Part of every limit that is divided evenly, whatever the parts want of it."""


class Parts:
    """The strains of a season dealt into parts, and what each part may use of every row.

    ``wanted``: what each strain would use of every row (an array a strain, one number a row); without it all want the same.
    """

    def __init__(self, season: Season, wanted: Mapping[str, Floats] | None = None) -> None:
        self.season = season
        self.strains = dealt(season, -(-len(season.sources) // PART))
        self._wanted = [self._sum(wanted or {}, part) for part in self.strains]
        users = [_users(season.farm, row) for row in season.capacity.rows]
        self._own = [np.array([bool(mine) and mine <= part for mine in users]) for part in map(set, self.strains)]
        self._alone = np.any(self._own, axis=0)

    def __len__(self) -> int:
        return len(self.strains)

    def seasons(self) -> list[Season]:
        """The season of every part.

        What lots hold if they stay is theirs first, as far as the limit allows; its rest is divided as the parts want it.
        """
        limits, stay = self.season.capacity.limits, self._staying()
        held = [self._sum(stay, part) for part in self.strains]
        all_ = sum(held, self._nothing)
        fits = np.minimum(1.0, limits / np.where(all_ > 0, all_, 1.0))
        free = np.maximum(0.0, limits - all_)
        return [
            self.season.part(part, np.where(self._alone, limits * own, fits * mine + more))
            for part, own, mine, more in zip(self.strains, self._own, held, self._divided(free, self._wanted), strict=True)
        ]

    def limits(self, limits: Floats, used: Sequence[Floats]) -> list[Floats]:
        """Other limits of the season divided among the parts as these ``used`` every row of late; all have some of what is over."""
        shares = self._divided(limits, used)
        return [np.where(self._alone, limits * own, mine) for own, mine in zip(self._own, shares, strict=True)]

    def each(self, solve: Callable[[int], Found]) -> list[Found]:
        """What comes of every part, by number, a few at the same time."""
        with ThreadPoolExecutor(max_workers=TOGETHER) as threads:
            return list(threads.map(solve, range(len(self))))

    def _divided(self, limits: Floats, wants: Sequence[Floats]) -> list[Floats]:
        total = sum(wants, self._nothing)
        even, asked = 1.0 / len(self), np.where(total > 0, total, 1.0)
        return [limits * np.where(total > 0, EVENLY * even + (1 - EVENLY) * want / asked, even) for want in wants]

    def _staying(self) -> Mapping[str, Floats]:
        """What each strain uses of every row if no colony is cut and no lot leaves."""
        season = self.season
        stay = {strain: np.zeros(len(season.capacity.rows)) for strain in season.strain_of}
        for source in season.sources:
            for row, use in season.standing_column(source).uses.items():
                stay[season.strain_of[source]][row] += season.amounts[source] * use
        return stay

    def _sum(self, by_strain: Mapping[str, Floats], strains: Collection[str]) -> Floats:
        return sum((by_strain[s] for s in strains if s in by_strain), self._nothing)

    @property
    def _nothing(self) -> Floats:
        return np.zeros(len(self.season.capacity.rows))


def _users(farm: Farm, row: Row) -> frozenset[str]:
    """Strains that can use a row, if those are few: of its market, or of an order."""
    if row.kind == "order":
        order = farm.order[str(row.subject)]
        return frozenset({order.strain, *order.substitutes})
    if row.kind == "market":
        return frozenset({row.subject[1]})  # type: ignore[index]
    return frozenset({str(row.subject)}) if row.kind == "end market" else frozenset()


def dealt(season: Season, count: int) -> list[list[str]]:
    """Strains in so many parts, those of a group in turn, so that all have about as much of everything."""
    order = sorted(set(season.strain_of), key=lambda s: (season.farm.strain[s].group, s))
    return [order[k::count] for k in range(count)]


def told_by_part(progress: Progress | None, count: int) -> Callable[[int], Progress | None]:
    """Progress of one of so many parts, by its number; seconds are those since now, whichever part they are told of."""
    begun = time.monotonic()

    def told(k: int) -> Progress | None:
        if progress is None:
            return None
        return lambda stage, value, bound, _: progress(
            f"{stage}, part {k + 1} of {count}", value, bound, time.monotonic() - begun
        )

    return told
