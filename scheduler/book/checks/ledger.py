"""Faults and doubts as they are found, each with the place of its cell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from scheduler.book.raw import Places
from scheduler.errors import Finding
from scheduler.farm.rows import Row

Tables = dict[str, list[Row]]
"""Rows by sheet name (without the settings)."""


@dataclass
class Ledger:
    """Collects findings. ``kept`` maps a row's index to its index in the book where faulty rows were put aside."""

    places: Places
    faults: list[Finding] = field(default_factory=list)
    doubts: list[Finding] = field(default_factory=list)
    kept: dict[str, Sequence[int]] = field(default_factory=dict)

    def where(self, sheet: str, index: int, column: str = "") -> str:
        """Place of a row or cell; of a table without rows, that of its first row to be."""
        kept = self.kept.get(sheet)
        return self.places.where(sheet, kept[index] if kept else index, column)

    def fault(self, sheet: str, index: int, column: str, found: str, expected: str, hint: str = "") -> None:
        """Note something that keeps the book from being planned from."""
        finding = Finding(self.where(sheet, index, column), found, expected, hint)
        self.faults.append(finding)

    def fault_in(self, sheet: str, number: int, column: str, found: str, expected: str, hint: str = "") -> None:
        """The same for a cell of a row that was not read, by its number in the book."""
        place = self.places.tables[sheet]
        self.faults.append(Finding(place.raw.where(number, place.columns[column], column), found, expected, hint))

    def doubt(self, sheet: str, index: int, column: str, found: str, expected: str, hint: str = "") -> None:
        """Note something to look at."""
        finding = Finding(self.where(sheet, index, column), found, expected, hint)
        self.doubts.append(finding)
