"""What a crew writes into a cell, taken as a whole number, a number or text; anything else is named with its cell."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, datetime, time

from scheduler.errors import Finding


@dataclass(frozen=True)
class Written:
    """A filled cell: what it holds and where."""

    value: object
    where: str


@dataclass
class Entry:
    """The crew's cells of one row that are filled, by column; ``where`` is the row's place."""

    key: str
    row: int
    cells: dict[str, Written] = field(default_factory=dict)

    def place(self, column: str = "") -> str:
        """Where a cell of the row stands, or the row itself."""
        if column in self.cells:
            return self.cells[column].where
        return f"record!{self.row}:{self.row}"


def is_empty(value: object) -> bool:
    """Whether a cell counts as not filled."""
    return value is None or (isinstance(value, str) and not value.strip())


def as_text(value: object) -> str:
    """Text of a cell; whole numbers without a decimal point, so that rack 7 stays 7."""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def take_text(entry: Entry, column: str, faults: list[Finding]) -> str | None:
    """Text of a cell, or ``None`` if it is empty. Dates are faults: a program made them of something else."""
    cell = entry.cells.get(column)
    if cell is None:
        return None
    if isinstance(cell.value, datetime | date | time | bool):
        faults.append(
            Finding(cell.where, f"{cell.value}", "text", "a spreadsheet program made something else of it: type it as text")
        )
        return None
    return as_text(cell.value)


def take_number(entry: Entry, column: str, faults: list[Finding], *, most: float = 1e6) -> float | None:
    """A number from 0 to ``most``, or ``None`` if the cell is empty."""
    cell = entry.cells.get(column)
    if cell is None:
        return None
    value, hint = cell.value, ""
    if isinstance(value, str):
        try:
            value = float(value.strip())
        except ValueError:
            hint = "write it with a decimal point" if "," in str(value) else "put words into the note"
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or not 0 <= value <= most:
        faults.append(Finding(cell.where, repr(as_text(cell.value)), "a number from 0 up", hint))
        return None
    return float(value)


def take_whole(entry: Entry, column: str, faults: list[Finding]) -> int | None:
    """A whole number from 0 up, or ``None`` if the cell is empty."""
    number = take_number(entry, column, faults)
    if number is None:
        return None
    if not number.is_integer():
        faults.append(Finding(entry.cells[column].where, as_text(entry.cells[column].value), "a whole number"))
        return None
    return int(number)
