"""The relaxation of a large season part by part, where only good prices and wishes are wanted, not a bound of the whole.

One linear programme over a farm of thousands of colonies takes minutes each time it is solved; what a first relaxation found
the strains to use tells how much of every limit each part of them needs, and within that they no longer meet.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from scheduler.season.columns import Floats, Season
from scheduler.season.parts import Parts, told_by_part
from scheduler.season.relaxation import ENOUGH, Mix, Relaxation, Relaxed, use_by_strain
from scheduler.solving import Progress


class Mixing(Protocol):
    """A solved relaxation whose columns can be mixed anew within other limits."""

    def mix(self, limits: Floats, sources: Floats) -> Mix:
        """The columns met so far at their best with other limits of rows and amounts of sources."""


class PartedRelaxation:
    """A relaxation of every part of a season within its share of every limit.

    ``wanted``: what each strain is thought to use of every row. ``warm``: row prices to begin with. ``elastic``: positions may
    be overrun at a forbidding cost.
    """

    def __init__(
        self, season: Season, *, wanted: Mapping[str, Floats] | None = None, warm: Floats | None = None, elastic: bool = False
    ) -> None:  # fmt: skip
        self.season = season
        self._parts = Parts(season, wanted)
        numbers, parts = np.arange(len(season.amounts)), self._parts.seasons()
        self._mine = [np.isin(numbers, few.sources) for few in parts]
        self._relaxations = [Relaxation(few, warm=warm, elastic=elastic) for few in parts]
        self._mixed: list[Mix] = []

    def solve(
        self, *, enough: float = ENOUGH, progress: Progress | None = None, stop: threading.Event | None = None
    ) -> Relaxed:  # fmt: skip
        """Solve all parts. Bound and value are theirs together; prices are means over the parts."""
        told = told_by_part(progress, len(self._relaxations))
        found = self._parts.each(lambda k: self._relaxations[k].solve(enough=enough, progress=told(k), stop=stop))
        self._mixed = [Mix(r.columns, r.amounts, r.prices.rows) for r in found]
        constant = self.season.constant
        bound, value = (
            sum(x - constant for x in some) + constant for some in ([r.bound for r in found], [r.value for r in found])
        )
        whole = self._together()
        return Relaxed(
            bound, value, self.season.price(whole.rows), whole.columns, whole.amounts, max(r.rounds for r in found)
        )  # fmt: skip

    def mix(self, limits: Floats, sources: Floats) -> Mix:
        """The columns met so far at their best with other limits of rows and amounts of sources, part by part."""
        shares = self._parts.limits(limits, [self._used(m, sources > 0) for m in self._mixed])
        self._mixed = self._parts.each(lambda k: self._relaxations[k].mix(shares[k], np.where(self._mine[k], sources, 0.0)))
        return self._together()

    def _together(self) -> Mix:
        """What all parts do; a row's price is the mean of theirs by what they use of it."""
        everybody = np.ones(len(self.season.amounts), dtype=np.bool_)
        used = np.array([self._used(m, everybody) for m in self._mixed]) + 1e-9
        rows = (used * np.array([m.rows for m in self._mixed])).sum(axis=0) / used.sum(axis=0)
        return Mix([c for m in self._mixed for c in m.columns], np.concatenate([m.amounts for m in self._mixed]), rows)

    def _used(self, mix: Mix, sources: NDArray[np.bool_]) -> Floats:
        """What some sources use of every row in a mix."""
        mine = np.array([a if sources[c.source] else 0.0 for c, a in zip(mix.columns, mix.amounts, strict=True)])
        return sum(use_by_strain(self.season, mix.columns, mine).values(), np.zeros(len(self.season.capacity.rows)))
