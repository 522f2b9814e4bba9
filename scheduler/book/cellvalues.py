"""What is written into a cell for a value, so that reading gives the same value back."""

from __future__ import annotations

from datetime import date, time
from decimal import Decimal
from typing import Any

from pydantic.fields import FieldInfo

from scheduler.book.fields import EMPTY_LIST, Kind, default_of, has_blank_default
from scheduler.farm.units import CENT

CellValue = str | int | float | date | time | None

_SAFE_DIGITS = 15
_FIRST_SHEET_DAY = date(1901, 1, 1)


def csv_text(value: Any, info: FieldInfo) -> str:
    """A value as text; empty where that means the same."""
    if value is None or (value in ("", ()) and has_blank_default(info) and default_of(info) == value):
        return ""
    if isinstance(value, tuple):
        return _list_text(value)
    return _text(value)


def sheet_value(value: Any, info: FieldInfo) -> CellValue:
    """A value as a spreadsheet holds it: numbers, dates and times as such, where that loses nothing."""
    text = csv_text(value, info)
    if text == "" or isinstance(value, str | bool | tuple):
        return text or None
    if isinstance(value, int):
        return value if abs(value) < 10**_SAFE_DIGITS else text
    if isinstance(value, Decimal | float):
        return _number(value, text)
    if isinstance(value, date):
        return value if value >= _FIRST_SHEET_DAY else text
    if isinstance(value, time):
        return value if value.second == 0 and value.microsecond == 0 else text
    raise TypeError(f"{value!r} cannot stand in a cell")


def number_format(value: CellValue, kind: Kind) -> str:
    """The number format of a cell."""
    if kind.many or isinstance(value, str):
        return "@" if kind.base is str and not kind.choices else "General"
    formats = {date: "yyyy-mm-dd", time: "hh:mm", Decimal: "0.00##"}
    if kind.base is str and not kind.choices:
        return "@"
    return formats.get(kind.base, "General")


def _number(value: Decimal | float, text: str) -> str | float | int:
    """A number of at most 15 digits; text beyond, which a sheet would round."""
    digits = Decimal(text).normalize().as_tuple().digits
    if len(digits) > _SAFE_DIGITS:
        return text
    return int(value) if value == int(value) and abs(value) < 10**_SAFE_DIGITS else float(value)


def _list_text(values: tuple[Any, ...]) -> str:
    if not values:
        return EMPTY_LIST
    text = ";".join(_text(v) for v in values)
    return f"{text};" if text == EMPTY_LIST else text


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return f"{value:f}" if value.as_tuple().exponent in (0, -1, -2) or value == value.quantize(CENT) else str(value)
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 10**_SAFE_DIGITS else repr(value)
    if isinstance(value, time):
        return value.isoformat("minutes") if value.second == 0 and value.microsecond == 0 else value.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return str(value)
