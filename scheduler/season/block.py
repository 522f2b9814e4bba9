"""A block of strains as a model of whole numbers: shared rows, sums of its own, and fines for overrunning."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from scheduler.farm.units import cents

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SCALE = 10_000
"""Shared rows are counted in such parts of a position, minute, box or frag."""

MOST_OVER = 10_000

_NONE = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True)
class Unit:
    """One of something, as a block counts it: what it brings in cents, and the shared rows it uses with so many parts (``SCALE``) of each."""

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


class _Shared(NamedTuple):
    """A shared row as a block uses it: variables by number, parts that a unit of each takes, and what the search begins with: the
    parts used, by how many units (each may be rounded up by less than a part).
    """

    row: int
    variables: list[int]
    amounts: list[int]
    used: int
    units: int


class Block:
    """A block as a CP-SAT model: shared rows in parts (uses rounded up, limits down), money in cents.

    Only the rows in ``tight`` are built, of as many as there are (``rows``); the others are checked afterwards. What the search
    begins from is lawful in the model if it is in truth: a row it fills is not overrun for the rounding of its parts.
    """

    def __init__(self, tight: Collection[int], rows: int) -> None:
        self.model = cp_model.CpModel()
        self._tight = np.zeros(rows, dtype=np.bool_)
        self._tight[list(tight)] = True
        self._vars: list[cp_model.IntVar] = []
        self._worths: list[int] = []
        self._units: list[Unit] = []
        self._known: list[int] = []
        self._sums: dict[tuple[str, int], list[cp_model.LinearExpr]] = defaultdict(list)

    def add(self, unit: Unit, most: int, known: int | None = None) -> cp_model.IntVar:
        """A whole variable 0..most: so many units; ``known``: as many as the search begins with, if that is known."""
        var = self.model.new_int_var(0, most, "")
        if known is not None:
            self.model.add_hint(var, known)
        self._known.append(known or 0)
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
        for shared in self._shared():
            limit = math.floor(max(0.0, float(limits[shared.row])) * SCALE + 1e-6)
            limit = max(limit, min(shared.used, limit + shared.units + 1))
            # written at once: a large model takes long to build term by term
            linear = self.model.proto.constraints.add().linear
            linear.vars.extend(shared.variables)
            linear.coeffs.extend(shared.amounts)
            fine = float(fines[shared.row])
            if math.isfinite(fine):
                over = self.model.new_int_var(0, MOST_OVER, "")
                self._vars.append(over)
                self._worths.append(-cents(fine))
                linear.vars.append(over.index)
                linear.coeffs.append(-SCALE)
            linear.domain.extend((cp_model.INT_MIN, limit))
        self.model.maximize(cp_model.LinearExpr.weighted_sum(self._vars, self._worths))
        return self.model

    def _shared(self) -> list[_Shared]:
        """The rows that are built, in the order they were met."""
        rows = np.concatenate([_NONE, *(u.rows for u in self._units)])
        amounts = np.concatenate([_NONE, *(u.amounts for u in self._units)])
        each = [len(u.rows) for u in self._units]
        owners, known = np.repeat([v.index for v in self._vars], each), np.repeat(self._known, each)
        built = self._tight[rows]
        rows, amounts, owners, known = rows[built], amounts[built], owners[built], known[built]
        names, first = np.unique(rows, return_index=True)
        order = np.argsort(rows, kind="stable")
        spans = np.split(order, np.searchsorted(rows[order], names))[1:]
        met = [
            _Shared(int(row), owners[s].tolist(), amounts[s].tolist(), int(known[s] @ amounts[s]), int(known[s].sum()))
            for row, s in zip(names, spans, strict=True)
        ]
        return [met[k] for k in np.argsort(first)]
