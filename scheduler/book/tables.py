"""From raw cells to the rows of each table. Everything that does not fit becomes a fault; the rest is kept."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from scheduler.book.coerce import CellError, coerce, is_blank, nearest, shown
from scheduler.book.fields import EXAMPLE_COLUMN, SETTING_COLUMNS, columns, default_of, is_required, kinds, wants
from scheduler.book.raw import RawTable, TablePlace, normal
from scheduler.errors import Finding
from scheduler.farm.rows import Row
from scheduler.farm.settings import Settings


@dataclass
class Read:
    """One table as read: good ``rows``, their places; of rows that had faults the first-key texts, and (row number, values) as
    far as they could be read.
    """

    rows: list[Row] = field(default_factory=list)
    place: TablePlace | None = None
    faulty_keys: set[str] = field(default_factory=set)
    parts: list[tuple[int, dict[str, Any]]] = field(default_factory=list)
    lost: bool = False


def read_table(raw: RawTable, cls: type[Row], faults: list[Finding]) -> Read:
    """The rows of a table. Faults are added to ``faults``."""
    if not raw.rows:
        return Read(lost=True)
    head_number, head = raw.rows[0]
    heading = _heading(raw, cls, head_number, head, faults)
    missing = [n for n in columns(cls) if is_required(cls.model_fields[n]) and n not in heading]
    for name in missing:
        faults.append(Finding(raw.where(head_number), f"no column {name}", cls.model_fields[name].description or "this column"))
    read = Read(place=TablePlace(raw, heading, []))
    for number, values in raw.rows[1:]:
        row, key, filled = _row(raw, cls, heading, number, values, faults)
        if row is not None:
            read.rows.append(row)
            assert read.place is not None
            read.place.numbers.append(number)
        elif key is not None:
            read.lost = True
            read.faulty_keys.add(key)
            read.parts.append((number, filled))
    return read


def _heading(raw: RawTable, cls: type[Row], number: int, head: list[object], faults: list[Finding]) -> dict[str, int]:
    """Column of each field (from 0)."""
    known = {normal(n): n for n in (*cls.model_fields, EXAMPLE_COLUMN)}
    heading: dict[str, int] = {}
    for index, value in enumerate(head):
        if is_blank(value):
            continue
        name = known.get(normal(value))
        if name is None:
            hint = nearest(normal(value), known)
            faults.append(Finding(raw.where(number, index), f"the column {shown(value)}", f"a column of {cls.SHEET}", hint))
        elif name in heading:
            first = raw.where(number, heading[name])
            faults.append(Finding(raw.where(number, index), f"the column {name} again", "each column once", f"first at {first}"))
        else:
            heading[name] = index
    return heading


def _row(
    raw: RawTable, cls: type[Row], heading: dict[str, int], number: int, values: list[object], faults: list[Finding]
) -> tuple[Row | None, str | None, dict[str, Any]]:
    """A row or ``None``, the text of its first key, and the values that could be read. An example row gives two ``None``."""

    def cell(name: str) -> object:
        index = heading.get(name)
        return values[index] if index is not None and index < len(values) else None

    mark = cell(EXAMPLE_COLUMN)
    if not is_blank(mark):
        if normal(mark) == EXAMPLE_COLUMN:
            return None, None, {}
        where = raw.where(number, heading[EXAMPLE_COLUMN], EXAMPLE_COLUMN)
        faults.append(Finding(where, shown(mark), f"nothing, or {EXAMPLE_COLUMN} in a row that is only an example"))
    before = len(faults)
    placed = set(heading.values())
    head = raw.rows[0][1]
    for index, value in enumerate(values):
        if index not in placed and not is_blank(value) and (index >= len(head) or is_blank(head[index])):
            faults.append(Finding(raw.where(number, index), f"{shown(value)} under no heading", "values under headings only"))
    filled: dict[str, Any] = {}
    for name, kind in kinds(cls).items():
        value, info = cell(name), cls.model_fields[name]
        if is_blank(value):
            if is_required(info) and name in heading:
                faults.append(Finding(raw.where(number, heading[name], name), "nothing", wants(cls)[name]))
            continue
        try:
            filled[name] = coerce(value, kind, wants(cls)[name])
        except CellError as fault:
            faults.append(Finding(raw.where(number, heading[name], name), fault.found, fault.expected, fault.hint))
    key = cell(cls.KEY[0])
    row = None
    if len(faults) == before or filled:
        row, broken = build(cls, filled)
        for name in broken:
            if name in filled:
                where = raw.where(number, heading[name], name)
                faults.append(Finding(where, shown(cell(name)), wants(cls)[name]))
    return (row if len(faults) == before else None), "" if is_blank(key) else str(key).strip(), filled


def build(cls: type[Row], filled: dict[str, Any]) -> tuple[Row | None, list[str]]:
    """A row from its values, defaults in the same form as if they had been typed; or the names of columns that do not fit."""
    complete = {n: default_of(i) for n, i in cls.model_fields.items() if not is_required(i)} | filled
    for name, kind in kinds(cls).items():
        value = complete.get(name)
        if name not in filled and value is not None and not kind.many:
            complete[name] = coerce(value, kind, "") if value != "" else value
    try:
        return cls.model_validate(complete), []
    except ValidationError as error:
        return None, list(dict.fromkeys(str(e["loc"][0]) for e in error.errors() if e["loc"]))


def read_settings(raw: RawTable | None, faults: list[Finding]) -> tuple[Settings, dict[str, str], frozenset[str]]:
    """The settings, the place of each, and which were given; a setting with a fault keeps its default."""
    places: dict[str, str] = {}
    filled: dict[str, Any] = {}
    if raw is not None and raw.rows:
        number, head = raw.rows[0]
        heading = {normal(v): i for i, v in enumerate(head) if not is_blank(v)}
        for name, index in heading.items():
            if name not in (*SETTING_COLUMNS, EXAMPLE_COLUMN):
                hint = nearest(name, SETTING_COLUMNS)
                faults.append(Finding(raw.where(number, index), f"the column {name}", "setting, value, meaning, source", hint))
        if not {"setting", "value"} <= set(heading):
            faults.append(Finding(raw.where(number), "no column setting and value", "setting, value, meaning, source"))
        else:
            for line, values in raw.rows[1:]:
                _setting(raw, heading, line, values, filled, places, faults)
    row, broken = build(Settings, filled)
    while row is None:
        for name in broken:
            faults.append(Finding(places[name], shown(filled.pop(name)), wants(Settings)[name]))
        row, broken = build(Settings, filled)
    assert isinstance(row, Settings)
    return row, places, frozenset(filled)


def _setting(
    raw: RawTable, heading: dict[str, int], line: int, values: list[object],
    filled: dict[str, Any], places: dict[str, str], faults: list[Finding],
) -> None:  # fmt: skip
    """One row of the settings sheet."""

    def cell(name: str) -> object:
        index = heading[name]
        return values[index] if index < len(values) else None

    title, value = cell("setting"), cell("value")
    where = raw.where(line, heading["value"], "value")
    if is_blank(title):
        if not is_blank(value):
            faults.append(Finding(raw.where(line, heading["setting"], "setting"), "nothing", "the name of a setting"))
        return
    name = normal(title)
    if name not in Settings.model_fields:
        hint = nearest(name, Settings.model_fields)
        faults.append(Finding(raw.where(line, heading["setting"], "setting"), shown(title), "the name of a setting", hint))
        return
    if name in places:
        faults.append(Finding(where, f"the setting {name} again", "each setting once", f"first at {places[name]}"))
        return
    places[name] = where
    if is_blank(value):
        return
    try:
        filled[name] = coerce(value, kinds(Settings)[name], wants(Settings)[name])
    except CellError as fault:
        faults.append(Finding(where, fault.found, fault.expected, fault.hint))
