"""A block of strains as a model of whole numbers: shared rows, sums of its own, and fines for overrunning."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from scheduler.farm.units import cents

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SCALE = 1000
"""Shared rows are counted in thousandths of a position, minute, box or frag."""

MOST_OVER = 10_000

_NONE = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True)
class Unit:
    """One of something, as a block counts it: what it brings in cents, and the shared rows it uses with so many thousandths of each."""

    cents: int
    rows: Ints
    amounts: Ints

    @classmethod
    def of(cls, worth: float, uses: Mapping[int, float]) -> Unit:
        """What brings ``worth`` money and ``uses`` rows."""
        amounts = np.fromiter(uses.values(), dtype=np.float64, count=len(uses))
        some = amounts != 0
        rows = np.fromiter(uses.keys(), dtype=np.int64, count=len(uses))
        return cls(cents(worth), rows[some], np.ceil(amounts[some] * SCALE - 1e-6).astype(np.int64))


class Block:
    """A block as a CP-SAT model: shared rows in thousandths (uses rounded up, limits down), money in cents.

    Only the rows in ``tight`` are built, of as many as there are (``rows``); the others are checked afterwards.
    """

    def __init__(self, tight: Collection[int], rows: int) -> None:
        self.model = cp_model.CpModel()
        self._tight = np.zeros(rows, dtype=np.bool_)
        self._tight[list(tight)] = True
        self._vars: list[cp_model.IntVar] = []
        self._worths: list[int] = []
        self._units: list[Unit] = []
        self._sums: dict[tuple[str, int], list[cp_model.LinearExpr]] = defaultdict(list)

    def add(self, unit: Unit, most: int) -> cp_model.IntVar:
        """A whole variable 0..most: so many units."""
        var = self.model.new_int_var(0, most, "")
        self._vars.append(var)
        self._worths.append(unit.cents)
        self._units.append(unit)
        return var

    def collect(self, key: tuple[str, int], term: cp_model.LinearExpr) -> None:
        """Add a term to a sum of the block's own."""
        self._sums[key].append(term)

    def total(self, key: tuple[str, int]) -> cp_model.LinearExpr:
        """The sum collected under a key."""
        return sum(self._sums[key], start=cp_model.LinearExpr.sum([]))

    def finish(self, limits: Floats, fines: Floats) -> cp_model.CpModel:
        """The model with its shared rows and objective; a row with a finite fine (money a unit) may be overrun at that cost."""
        for row, variables, weights in self._shared():
            limit = math.floor(max(0.0, float(limits[row])) * SCALE + 1e-6)
            if np.isfinite(fines[row]):
                over = self.model.new_int_var(0, MOST_OVER, "")
                self._vars.append(over)
                self._worths.append(-cents(float(fines[row])))
                variables, weights = [*variables, over.index], [*weights, -SCALE]
            # written at once: a large model takes long to build term by term
            linear = self.model.proto.constraints.add().linear
            linear.vars.extend(variables)
            linear.coeffs.extend(weights)
            linear.domain.extend((cp_model.INT_MIN, limit))
        self.model.maximize(cp_model.LinearExpr.weighted_sum(self._vars, self._worths))
        return self.model

    def _shared(self) -> list[tuple[int, list[int], list[int]]]:
        """The rows that are built, in the order they were met: row, variables by number, and use of a unit of each."""
        rows = np.concatenate([_NONE, *(u.rows for u in self._units)])
        amounts = np.concatenate([_NONE, *(u.amounts for u in self._units)])
        owners = np.repeat([v.index for v in self._vars], [len(u.rows) for u in self._units])
        built = self._tight[rows]
        rows, amounts, owners = rows[built], amounts[built], owners[built]
        names, first = np.unique(rows, return_index=True)
        order = np.argsort(rows, kind="stable")
        spans = np.split(order, np.searchsorted(rows[order], names))[1:]
        met = [(int(row), owners[span].tolist(), amounts[span].tolist()) for row, span in zip(names, spans, strict=True)]
        return [met[k] for k in np.argsort(first)]
