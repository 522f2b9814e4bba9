"""What the columns of a table hold, taken from the row classes: for reading, writing, the template and the guide."""

from __future__ import annotations

import types
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from functools import lru_cache
from typing import Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from scheduler.farm.farm import TABLES
from scheduler.farm.rows import Row

EXAMPLE_COLUMN = "example"
"""Extra last column of the template; a row with ``example`` in it shows how to fill the sheet and is not read."""

EMPTY_LIST = "-"
"""Written for a list with nothing in it where an empty cell would mean something else."""

REQUIRED_TABLES = ("systems", "tanks", "racks", "light", "groups", "strains", "classes")
"""Tables without which nothing can be planned."""

SETTING_COLUMNS = ("setting", "value", "meaning", "source")


@dataclass(frozen=True)
class Kind:
    """What a cell holds: ``base`` type, several of it (``many``), may be absent (``optional``), or one of ``choices``."""

    base: type
    many: bool
    optional: bool
    choices: tuple[str, ...]


def _unwrap(annotation: Any) -> tuple[Any, bool]:
    """An annotation without ``None``, and whether it had it."""
    if get_origin(annotation) in (Union, types.UnionType):
        rest = [a for a in get_args(annotation) if a is not type(None)]
        return rest[0], len(rest) < len(get_args(annotation))
    return annotation, False


def _kind(info: FieldInfo) -> Kind:
    inner, optional = _unwrap(info.annotation)
    many = get_origin(inner) is tuple
    if many:
        inner = get_args(inner)[0]
    if get_origin(inner) is Literal:
        return Kind(str, many, optional, tuple(str(v) for v in get_args(inner)))
    if inner not in (str, int, float, bool, date, time, Decimal):
        raise TypeError(f"a column cannot hold {inner!r}")
    return Kind(inner, many, optional, ())


@lru_cache(maxsize=256)
def kinds(cls: type[Row]) -> dict[str, Kind]:
    """The kind of every column of a table."""
    return {name: _kind(info) for name, info in cls.model_fields.items()}


def columns(cls: type[Row]) -> tuple[str, ...]:
    """Columns in the order they are written: the first key column leads."""
    names = list(cls.model_fields)
    if cls.KEY and names[0] != cls.KEY[0]:
        names.remove(cls.KEY[0])
        names.insert(0, cls.KEY[0])
    return tuple(names)


def is_required(info: FieldInfo) -> bool:
    """Whether a column must be filled."""
    return info.is_required()


def default_of(info: FieldInfo) -> Any:
    """The default of a column; ``PydanticUndefined`` if it must be filled."""
    return info.get_default(call_default_factory=False)


def has_blank_default(info: FieldInfo) -> bool:
    """Whether an empty cell means "nothing" (as against a default that says something, or a required value)."""
    default = default_of(info)
    return default is not PydanticUndefined and default in (None, "", ())


def limits(info: FieldInfo) -> dict[str, Any]:
    """Limits of a column: gt, ge, lt, le, pattern."""
    found = {}
    for meta in info.metadata:
        for name in ("gt", "ge", "lt", "le", "pattern"):
            value = getattr(meta, name, None)
            if value is not None:
                found[name] = value
    return found


_NOUNS: dict[type, tuple[str, str]] = {
    str: ("text", "texts"),
    int: ("a whole number", "whole numbers"),
    float: ("a number", "numbers"),
    Decimal: ("an amount of money", "amounts of money"),
    bool: ("yes or no", "yes or no"),
    date: ("a date such as 2026-11-30", "dates such as 2026-11-30"),
    time: ("a time such as 08:30", "times such as 08:30"),
}


def expected_words(info: FieldInfo) -> str:
    """What a column wants, in words: ``a whole number from 1 to 12``."""
    kind = _kind(info)
    text = _NOUNS[kind.base][kind.many]
    if kind.choices:
        text = ("any of " if kind.many else "one of ") + ", ".join(kind.choices)
    limit = limits(info)
    low = f"from {limit['ge']:g}" if "ge" in limit else f"above {limit['gt']:g}" if "gt" in limit else ""
    high = f"to {limit['le']:g}" if "le" in limit else f"below {limit['lt']:g}" if "lt" in limit else ""
    if high.startswith("to ") and not low.startswith("from"):
        high = f"up {high}"
    if low and high.startswith("below"):
        low = f"{low},"
    text = " ".join(part for part in (text, low, high) if part)
    if "pattern" in limit:
        text += _pattern_words(str(limit["pattern"]))
    return f"{text}, separated by ;" if kind.many else text


@lru_cache(maxsize=256)
def wants(cls: type[Row]) -> dict[str, str]:
    """``expected_words`` of every column of a table."""
    return {name: expected_words(info) for name, info in cls.model_fields.items()}


def _pattern_words(pattern: str) -> str:
    known = {"^([A-Z0-9]{2,4})?$": " of 2 to 4 capital letters or digits", "^(metric|us)$": ": metric or us"}
    return known.get(pattern, f" of the form {pattern}")


def linked_table(cls: type[Row], column: str) -> type[Row] | None:
    """The table whose key a column names."""
    sheet = cls.LINKS.get(column)
    return TABLES[sheet] if sheet else None
