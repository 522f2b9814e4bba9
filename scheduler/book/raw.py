"""Tables as they stand in a file, and the place of every cell for the grower to find."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from openpyxl.utils import get_column_letter

from scheduler.errors import Finding
from scheduler.farm.farm import TABLES

MAX_ROWS = 20_000
MAX_COLUMNS = 200


@dataclass
class RawTable:
    """The cells of one sheet or CSV file: ``rows`` are (row or line number, values); the first is the heading."""

    sheet: str
    title: str
    csv: bool
    rows: list[tuple[int, list[object]]]

    def where(self, number: int, column: int | None = None, name: str = "") -> str:
        """Place of a cell (``column`` from 0) or of a row."""
        if self.csv:
            return f"{self.title} line {number}" + (f", column {name or (column or 0) + 1}" if column is not None else "")
        if column is None:
            return f"{self.title}!{number}:{number}"
        return f"{self.title}!{get_column_letter(column + 1)}{number}"


@dataclass
class RawBook:
    """Every table found, with the faults and doubts met on the way."""

    title: str
    tables: dict[str, RawTable] = field(default_factory=dict)
    faults: list[Finding] = field(default_factory=list)
    doubts: list[Finding] = field(default_factory=list)


@dataclass
class TablePlace:
    """Where the rows of one table stand."""

    raw: RawTable
    columns: Mapping[str, int]
    numbers: list[int]


@dataclass
class Places:
    """Where every value of a farm stands in its book; for a farm made in code, row and column by name."""

    tables: dict[str, TablePlace] = field(default_factory=dict)
    settings: dict[str, str] = field(default_factory=dict)

    def where(self, sheet: str, index: int, column: str = "") -> str:
        """Place of a row (``index`` from 0, in the order of the farm's table; the first to be where there is none) or of a cell."""
        if sheet == "settings":
            return self.settings.get(column, f"settings, {column}" if column else "settings")
        place = self.tables.get(sheet)
        if place is not None and not place.numbers:
            number = place.raw.rows[0][0] + 1
        elif place is None or index >= len(place.numbers):
            return f"{sheet} row {index + 1}" + (f", column {column}" if column else "")
        else:
            number = place.numbers[index]
        if column and column in place.columns:
            return place.raw.where(number, place.columns[column], column)
        return place.raw.where(number) + (f", column {column}" if column else "")


def normal(name: object) -> str:
    """A sheet or column name without regard to case, spaces and edges."""
    return "_".join(str(name).strip().casefold().split()) if name is not None else ""


IGNORED_SHEETS = ("about", "guide", "lists")


def table_name(title: str) -> str | None:
    """The table a sheet title means; ``None`` for one to be ignored; the normal form itself if it is no table."""
    name = normal(title)
    if name in TABLES:
        return name
    return None if name.startswith(IGNORED_SHEETS) else name
