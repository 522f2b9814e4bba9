"""What changed from one farm book to the next, line by line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from scheduler.book.cellvalues import csv_text
from scheduler.book.checks.links import identity
from scheduler.farm.farm import TABLES, Farm
from scheduler.farm.rows import Row
from scheduler.farm.settings import Settings


@dataclass(frozen=True)
class Change:
    """A row that came, went or changed. ``row`` names it; ``old`` and ``new`` are texts as they stand in the book."""

    sheet: str
    row: str
    column: str
    old: str | None
    new: str | None

    def __str__(self) -> str:
        if self.column:
            return f"{self.sheet} {self.row}, {self.column}: {_shown(self.old)} -> {_shown(self.new)}"
        return f"{self.sheet} {self.row}: new ({self.new})" if self.old is None else f"{self.sheet} {self.row}: gone ({self.old})"


def diff(old: Farm, new: Farm) -> tuple[Change, ...]:
    """Every difference between two farms, sheet by sheet; within a sheet by rows gone, changed and new."""
    return tuple(change for sheet in TABLES for change in _sheet(sheet, old, new))


def _shown(text: str | None) -> str:
    return text or "nothing"


def _sheet(sheet: str, old: Farm, new: Farm) -> Iterator[Change]:
    if sheet == Settings.SHEET:
        yield from _columns(sheet, "of the farm", old.settings, new.settings)
        return
    before = {identity(row): row for row in getattr(old, sheet)}
    after = {identity(row): row for row in getattr(new, sheet)}
    for key, row in before.items():
        if key not in after:
            yield Change(sheet, _name(key), "", _words(row), None)
    for key, row in before.items():
        if key in after:
            yield from _columns(sheet, _name(key), row, after[key])
    for key, row in after.items():
        if key not in before:
            yield Change(sheet, _name(key), "", None, _words(row))


def _columns(sheet: str, name: str, old: Row, new: Row) -> Iterator[Change]:
    for column, info in type(old).model_fields.items():
        was, now = csv_text(getattr(old, column), info), csv_text(getattr(new, column), info)
        if was != now:
            yield Change(sheet, name, column, was, now)


def _name(key: tuple[object, ...]) -> str:
    return " ".join(str(part) for part in key if part is not None)


def _words(row: Row) -> str:
    """The columns of a row that say something beside its key."""
    cls = type(row)
    parts = {c: csv_text(getattr(row, c), i) for c, i in cls.model_fields.items() if c not in cls.KEY}
    return ", ".join(f"{c} {t}" for c, t in parts.items() if t)
