"""What must hold within one row."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from itertools import pairwise
from typing import Any

from scheduler.book.checks.ledger import Ledger, Tables
from scheduler.book.checks.links import Bad
from scheduler.book.coerce import nearest
from scheduler.farm.blocks import parse_block, parse_position
from scheduler.farm.coral import Traits
from scheduler.farm.rows import Row
from scheduler.farm.settings import Settings

Problem = tuple[str, str, str, str]
"""column, found, expected, hint"""


def check_rows(tables: Tables, settings: Settings, ledger: Ledger) -> Bad:
    """Check every row by itself; rows with faults are put aside."""
    bad: Bad = set()
    for sheet, rows in tables.items():
        rule = _RULES.get(sheet)
        if rule is None:
            continue
        for index, row in enumerate(rows):
            for column, found, expected, hint in rule(row, settings.book_date):
                ledger.fault(sheet, index, column, found, expected, hint)
                bad.add((sheet, index))
    return bad


FIRST_YEAR, LAST_YEAR = 2000, 2199
"""Years a book may be of; outside them a date is a slip of the keys."""


def check_settings(settings: Settings, ledger: Ledger) -> Settings:
    """Settings that fit together; returns them with harmless values where they do not, for the checks that follow."""
    harmless: dict[str, Any] = {}
    bands = settings.par_bands
    if any(b <= a for a, b in pairwise(bands)) or any(b <= 0 for b in bands):
        ledger.fault("settings", 0, "par_bands", ";".join(f"{b:g}" for b in bands), "edges above 0, each higher than the last")
        harmless["par_bands"] = ()
    for column in ("book_date", "plan_monday"):
        day = getattr(settings, column)
        if day is not None and not FIRST_YEAR <= day.year <= LAST_YEAR:
            ledger.fault("settings", 0, column, str(day), f"a day of the years {FIRST_YEAR} to {LAST_YEAR}")
            harmless |= {"plan_monday": None, column: date(LAST_YEAR, 1, 1) if column == "book_date" else None}
    monday = settings.plan_monday
    if monday is not None and monday.weekday() != 0:
        ledger.fault("settings", 0, "plan_monday", f"{monday:%A} {monday}", "a Monday")
        harmless["plan_monday"] = None
    elif monday is not None and monday < settings.book_date:
        ledger.doubt("settings", 0, "plan_monday", f"{monday}, before the book's date", f"a Monday from {settings.book_date} on")
    return settings.model_copy(update=harmless)


COUNTED: dict[str, tuple[str, ...]] = {
    "colonies": ("count_date", "condition_date", "last_cut"),
    "lots": ("cut_date", "count_date", "moved_date"),
    "counts": ("date",),
    "past_lots": ("cut_date",),
    "past_cuts": ("date",),
}
"""Columns with days that must have been, by table."""


def count_days(row: Row) -> list[date]:
    """The days of a row that must have been."""
    return [day for column in COUNTED[type(row).SHEET] if (day := getattr(row, column)) is not None]


def _future(row: Any, today: date, *columns: str) -> Iterator[Problem]:
    for column in columns:
        day = getattr(row, column)
        if day is not None and day > today:
            hint = "set book_date in the settings if the book is newer"
            yield column, f"{day}, after the book's date {today}", "a day that has been", hint


def _order(row: Any, first: str, last: str) -> Iterator[Problem]:
    a, b = getattr(row, first), getattr(row, last)
    if a is not None and b is not None and b < a:
        yield last, f"{b}, before {first} {a}", f"{first} or later", ""


def _tank(row: Any, _: date) -> Iterator[Problem]:
    yield from _order(row, "closed_from", "closed_to")


def _rack(row: Any, _: date) -> Iterator[Problem]:
    for text in row.blocked:
        try:
            r, c = parse_position(text)
        except ValueError:
            yield "blocked", repr(text), "positions such as A1;H10", ""
            continue
        if r >= row.rows or c >= row.cols:
            yield "blocked", f"{text!r}, outside the rack", f"positions of a rack of {row.rows} rows and {row.cols} columns", ""
    if not row.plug_kinds:
        yield "plug_kinds", "nothing", "at least one kind of plug", ""


def _light(row: Any, _: date) -> Iterator[Problem]:
    if row.corners is None:
        corners = [n for n in type(row).model_fields if n.startswith("par_") and n != "par_umol"]
        given = [n for n in corners if getattr(row, n) is not None]
        found = f"{len(given)} of 4 corners" if given else "no PAR"
        missing = next(n for n in corners if getattr(row, n) is None)
        yield (missing if given else "par_umol"), found, "par_umol, or all four corners", ""


def _traits(row: Any, _: date) -> Iterator[Problem]:
    if row.closed_months and any(not 1 <= m <= 12 for m in row.closed_months):
        yield "closed_months", ";".join(map(str, row.closed_months)), "months from 1 to 12", ""
    if None not in (row.par_min, row.par_max) and row.par_min > row.par_max:
        yield "par_min", f"{row.par_min:g}, above par_max {row.par_max:g}", "at most par_max", ""
    if None not in (row.start_units, row.cap_units) and row.cap_units < row.start_units:
        yield "cap_units", f"{row.cap_units:g}, below start_units {row.start_units:g}", "at least start_units", ""
    for column in ("flow_settling", "flow_growing"):
        if getattr(row, column) == ():
            yield column, "no flow", "at least one of low, medium, high", ""


def _source(row: Any, _: date) -> Iterator[Problem]:
    if row.trait not in Traits.model_fields:
        yield "trait", repr(row.trait), "a trait: a column of groups", nearest(row.trait, Traits.model_fields)


def _colony(row: Any, today: date) -> Iterator[Problem]:
    yield from _future(row, today, *COUNTED["colonies"])
    if row.rack is not None and row.positions is None:
        yield "positions", "nothing", f"the positions it covers on rack {row.rack}", ""
    if row.rack is None and row.positions is not None:
        yield "rack", "nothing", f"the rack of positions {row.positions}", ""
    if row.positions is not None:
        try:
            parse_block(row.positions)
        except ValueError as error:
            yield "positions", str(error), "a block such as A1:B2", ""


def _lot(row: Any, today: date) -> Iterator[Problem]:
    yield from _future(row, today, *COUNTED["lots"])
    yield from _order(row, "cut_date", "count_date")
    yield from _order(row, "cut_date", "moved_date")
    if row.alive > row.started:
        yield "alive", str(row.alive), f"at most the {row.started} started", ""


def _history(row: Any, today: date) -> Iterator[Problem]:
    yield from _future(row, today, *COUNTED[row.SHEET])


def _absence(row: Any, _: date) -> Iterator[Problem]:
    yield from _order(row, "from_date", "to_date")


def _session(row: Any, _: date) -> Iterator[Problem]:
    if (row.weekday is None) == (row.date is None):
        found = "neither weekday nor date" if row.date is None else "weekday and date"
        yield "weekday", found, "a weekday (every week) or a date (once)", ""
    if row.date is not None and (row.from_date is not None or row.to_date is not None):
        yield "from_date", "a single session with a period", "a period only with a weekday", ""
    yield from _order(row, "from_date", "to_date")
    if row.minutes > 0 and not row.people:
        yield "people", "nobody", "at least one person, or minutes 0 for a cancelled session", ""
    if row.minutes > 0 and not row.methods:
        yield "methods", "nothing", "at least one cutting method", ""


def _channel(row: Any, _: date) -> Iterator[Problem]:
    if not row.packing_days:
        yield "packing_days", "nothing", "at least one weekday such as Mon;Tue", ""


def _customer_order(row: Any, _: date) -> Iterator[Problem]:
    yield from _order(row, "earliest", "due")


def _market(row: Any, _: date) -> Iterator[Problem]:
    whole_group = row.group is not None and row.strain is None and row.size_class is None
    one_class = row.group is None and row.strain is not None and row.size_class is not None
    if not (whole_group or one_class):
        given = [n for n in ("group", "strain", "size_class") if getattr(row, n) is not None]
        yield (
            "size_class" if row.strain is not None and row.group is None else "group",
            " and ".join(given) or "neither group nor strain",
            "either a group alone, or a strain with a size_class",
            "",
        )


PIN_COLUMNS = ("colony", "lot", "rack", "tank", "session", "pieces")
PIN_NEEDS: dict[str, tuple[str, ...]] = {
    "cut": ("colony",), "no cut": ("colony",), "at least": ("colony", "pieces"), "at most": ("colony", "pieces"),
    "session": ("colony", "session"), "rack": ("colony", "rack"), "keep free": ("rack",), "no sale": ("lot",),
    "hold lot": ("lot",),
}  # fmt: skip
"""What each kind of pin names besides its dates (keep free: a rack or a tank)."""


def _pin(row: Any, _: date) -> Iterator[Problem]:
    yield from _order(row, "from_date", "to_date")
    needs = PIN_NEEDS[row.kind]
    if row.kind == "keep free" and row.rack is None:
        needs = ("tank",)
    for column in PIN_COLUMNS:
        given = getattr(row, column) is not None
        if column in needs and not given:
            wanted = "a rack or a tank" if row.kind == "keep free" else f"a {column}"
            yield column, "nothing", f"{wanted} for a pin {row.kind!r}", ""
        elif given and column not in needs:
            yield column, repr(str(getattr(row, column))), f"nothing here for a pin {row.kind!r}", ""


_RULES: dict[str, Callable[[Any, date], Iterator[Problem]]] = {
    "tanks": _tank, "racks": _rack, "light": _light, "groups": _traits, "strains": _traits, "sources": _source,
    "colonies": _colony, "lots": _lot, "absences": _absence, "sessions": _session, "channels": _channel,
    "ship_calendar": _absence, "orders": _customer_order, "market": _market, "pins": _pin,
    "counts": _history, "past_lots": _history, "past_cuts": _history,
}  # fmt: skip
