"""Keys that repeat and names that lead nowhere."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from scheduler.book.checks.ledger import Ledger, Tables
from scheduler.book.coerce import nearest
from scheduler.farm.coral import GroupPair
from scheduler.farm.farm import TABLES
from scheduler.farm.people import Session
from scheduler.farm.rows import Row

Bad = set[tuple[str, int]]
"""Rows to be put aside: sheet and index."""

Parts = Mapping[str, Sequence[tuple[int, Mapping[str, object]]]]
"""What could be read of rows with faults: by sheet, row number and values."""

NAMED = 6
"""Names told of those that lead to a table without rows."""


def identity(row: Row) -> tuple[object, ...]:
    """What may occur only once in a table."""
    if isinstance(row, Session) and row.date is None:
        return (row.session, row.weekday, row.from_date)
    if isinstance(row, GroupPair):
        return tuple(sorted((row.group_a, row.group_b)))
    return row.key


def check_keys(tables: Tables, ledger: Ledger) -> Bad:
    """Every key once; the second of two rows is put aside."""
    bad: Bad = set()
    for sheet, rows in tables.items():
        seen: dict[tuple[object, ...], int] = {}
        for index, row in enumerate(rows):
            key = identity(row)
            if key in seen:
                bad.add((sheet, index))
                name = ", ".join(str(part) for part in key if part is not None)
                column = type(row).KEY[0]
                first = ledger.where(sheet, seen[key], column)
                ledger.fault(sheet, index, column, f"{name!r} again", "each row once", f"first at {first}")
            else:
                seen[key] = index
    return bad


def links_of(row: Row) -> list[tuple[str, str, str]]:
    """(column, table, name) for every name of another row."""
    return _links(type(row), {column: getattr(row, column) for column in type(row).LINKS})


def _links(kind: type[Row], values: Mapping[str, object]) -> list[tuple[str, str, str]]:
    found = []
    for column, sheet in kind.LINKS.items():
        value = values.get(column)
        names = value if isinstance(value, tuple) else () if value is None else (value,)
        found += [(column, sheet, str(name)) for name in names]
    return found


def names_in(tables: Tables, sheet: str) -> set[str]:
    """Names other tables may use for the rows of a sheet."""
    key = TABLES[sheet].KEY[0]
    return {str(getattr(row, key)) for row in tables.get(sheet, ())}


def check_links(
    tables: Tables, faulty: Mapping[str, set[str]], lost: Collection[str], ledger: Ledger, parts: Parts | None = None
) -> None:  # fmt: skip
    """Every name leads to a row. ``faulty`` names rows that are in the book but have faults of their own, ``parts`` is what
    could be read of them.

    A table without rows is one fault, however many names lead there; none where it is ``lost``, which has been told.
    """
    known = {sheet: names_in(tables, sheet) | faulty.get(sheet, set()) for sheet in TABLES if TABLES[sheet].KEY}
    nowhere: dict[str, dict[str, set[str]]] = {}
    for sheet, rows in tables.items():
        for index, row in enumerate(rows):
            for column, target, name in links_of(row):
                if not known[target]:
                    nowhere.setdefault(target, {}).setdefault(name, set()).add(sheet)
                elif name not in known[target]:
                    ledger.fault(sheet, index, column, repr(name), f"a name from {target}", nearest(name, known[target]))
    for sheet, found in (parts or {}).items():
        for number, values in found:
            for column, target, name in _links(TABLES[sheet], values):
                if known[target] and name not in known[target]:
                    ledger.fault_in(sheet, number, column, repr(name), f"a name from {target}", nearest(name, known[target]))
    for target, names in nowhere.items():
        if target not in lost:
            sheets = [sheet for sheet in tables if any(sheet in where for where in names.values())]
            told = [*sorted(names)[:NAMED], *([f"{len(names) - NAMED} more"] if len(names) > NAMED else [])]
            expected = f"a row for each of {', '.join(told)}, named in {', '.join(sheets)}"
            ledger.fault(target, 0, TABLES[target].KEY[0], "no rows", expected)


def sound_rows(tables: Tables, bad: Bad) -> dict[str, list[int]]:
    """Indexes of the rows whose names all lead to rows that are themselves sound."""
    kept = {sheet: [i for i in range(len(rows)) if (sheet, i) not in bad] for sheet, rows in tables.items()}
    while True:
        known = {
            sheet: names_in({sheet: [tables[sheet][i] for i in kept[sheet]]}, sheet) for sheet in tables if TABLES[sheet].KEY
        }
        smaller = {
            sheet: [i for i in indexes if all(name in known[target] for _, target, name in links_of(tables[sheet][i]))]
            for sheet, indexes in kept.items()
        }
        if smaller == kept:
            return kept
        kept = smaller
