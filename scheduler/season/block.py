"""A block of strains as a model of whole numbers: shared rows, sums of its own, and fines for overrunning."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from scheduler.farm.units import cents

Floats = NDArray[np.float64]

SCALE = 1000
"""Shared rows are counted in thousandths of a position, minute, box or frag."""

MOST_OVER = 10_000


class Block:
    """A block as a CP-SAT model: shared rows in thousandths (uses rounded up, limits down), money in cents.

    Only the rows in ``tight`` are built; the others are checked afterwards.
    """

    def __init__(self, tight: set[int]) -> None:
        self.model = cp_model.CpModel()
        self._tight = tight
        self._goal: list[cp_model.LinearExpr] = []
        self._shared: dict[int, list[tuple[int, cp_model.IntVar]]] = defaultdict(list)
        self._sums: dict[tuple[str, int], list[cp_model.LinearExpr]] = defaultdict(list)

    def add(self, worth: float, uses: Mapping[int, float], most: int) -> cp_model.IntVar:
        """A whole variable 0..most with its worth and use of shared rows per unit."""
        var = self.model.new_int_var(0, most, "")
        self._goal.append(cents(worth) * var)
        for row, amount in uses.items():
            if row in self._tight and amount:
                self._shared[row].append((math.ceil(amount * SCALE - 1e-6), var))
        return var

    def collect(self, key: tuple[str, int], term: cp_model.LinearExpr) -> None:
        """Add a term to a sum of the block's own."""
        self._sums[key].append(term)

    def total(self, key: tuple[str, int]) -> cp_model.LinearExpr:
        """The sum collected under a key."""
        return sum(self._sums[key], start=cp_model.LinearExpr.sum([]))

    def finish(self, limits: Floats, fines: Floats) -> cp_model.CpModel:
        """The model with its shared rows and objective; a row with a finite fine (money a unit) may be overrun at that cost."""
        for row, terms in self._shared.items():
            limit = math.floor(max(0.0, float(limits[row])) * SCALE + 1e-6)
            weights, variables = zip(*terms, strict=True)
            used = cp_model.LinearExpr.weighted_sum(variables, weights)
            if np.isfinite(fines[row]):
                over = self.model.new_int_var(0, MOST_OVER, "")
                self._goal.append(-cents(float(fines[row])) * over)
                self.model.add(used <= limit + SCALE * over)
            else:
                self.model.add(used <= limit)
        self.model.maximize(sum(self._goal))
        return self.model
