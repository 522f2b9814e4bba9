"""What a table is, and how one becomes CSV."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal

from scheduler.sheets import FORMULA_STARTS

Value = str | int | float | Decimal | date | time | bool | None
"""What a cell of a table may hold."""


@dataclass(frozen=True)
class Table:
    """A plain table: a name, column names and rows of the same length."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"table {self.name}: a row has {len(row)} values for {len(self.columns)} columns")

    def column(self, name: str) -> tuple[Value, ...]:
        """All values of a column."""
        index = self.columns.index(name)
        return tuple(row[index] for row in self.rows)

    def pick(self, *names: str) -> tuple[tuple[Value, ...], ...]:
        """The rows with only the named columns, in that order."""
        index = [self.columns.index(name) for name in names]
        return tuple(tuple(row[i] for i in index) for row in self.rows)


def csv_text(value: Value) -> str:
    """A cell as CSV text. Text that a spreadsheet could take for a formula gets a leading apostrophe; numbers stay numbers."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA_STARTS) else value
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, time):
        return value.strftime("%H:%M")
    return str(value)


def csv_bytes(table: Table) -> bytes:
    """The table as CSV in UTF-8 with a header row."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(table.columns)
    writer.writerows([csv_text(value) for value in row] for row in table.rows)
    return out.getvalue().encode("utf-8")
