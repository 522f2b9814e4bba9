"""From what a cell holds to what its column wants, without guessing."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from itertools import takewhile
from typing import Any

from scheduler.book.fields import EMPTY_LIST, Kind
from scheduler.farm.units import CENT
from scheduler.sheets import LONGEST_TEXT, clean_text

_NUMBER = re.compile(r"^[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?$")
_TIME = re.compile(r"^([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d)(\.\d{1,6})?)?$")
_ISO_DATE = re.compile(r"^\d{4}-\d{2}-\d{2}$")
_YES, _NO = {"yes", "y", "true", "1"}, {"no", "n", "false", "0"}


class CellError(Exception):
    """A cell does not hold what its column wants."""

    def __init__(self, found: str, expected: str, hint: str = "") -> None:
        super().__init__(found)
        self.found, self.expected, self.hint = found, expected, hint


@dataclass(frozen=True)
class Unreadable:
    """Stands for a cell whose content cannot be known: a formula never calculated, an error value."""

    found: str
    expected: str
    hint: str = ""


def nearest(word: str, known: Iterable[str]) -> str:
    """``did you mean LAN?`` or nothing."""
    names = {k.casefold(): k for k in known}
    wanted = word.casefold()
    near = difflib.get_close_matches(wanted, names, n=8, cutoff=0.6)
    best = max(near, key=lambda name: _likeness(wanted, name), default=None)  # of equals, the one that begins alike
    return f"did you mean {names[best]}?" if best is not None else ""


def _likeness(wanted: str, name: str) -> tuple[float, int]:
    alike = difflib.SequenceMatcher(None, name, wanted).ratio()
    begins = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(wanted, name, strict=False)))
    return round(alike, 6), begins


def is_blank(value: object) -> bool:
    """Whether a cell counts as empty."""
    return value is None or (isinstance(value, str) and not value.strip())


def shown(value: object) -> str:
    """A cell's content as it is named in a fault."""
    if isinstance(value, datetime | date | time):
        return f"the date or time {value}"
    text = str(value)
    return repr(text if len(text) <= 60 else text[:57] + "...")


def coerce(value: object, kind: Kind, expected: str) -> Any:
    """The value for a column of ``kind``. ``value`` is not blank. Raises ``CellError``."""
    if isinstance(value, Unreadable):
        raise CellError(value.found, value.expected, value.hint)
    if not kind.many:
        return _one(value, kind, expected)
    text = value if isinstance(value, str) else None
    if text is None:
        return (_one(value, kind, expected),)
    if text.strip() == EMPTY_LIST:
        return ()
    parts = [part.strip() for part in text.split(";")]
    try:
        return tuple(_one(part, kind, expected) for part in parts if part)
    except CellError as fault:
        if "," in text:
            raise CellError(shown(text), expected, "separate with ; as in " + ";".join(_comma_parts(text))) from None
        raise fault from None


def _comma_parts(text: str) -> list[str]:
    return [part.strip() for part in re.split(r"[;,]", text) if part.strip()]


def _one(value: object, kind: Kind, expected: str) -> Any:
    if kind.choices:
        return _choice(_text(value, expected), kind.choices, expected)
    if kind.base is str:
        return _text(value, expected)
    if kind.base is bool:
        return _bool(value, expected)
    if kind.base is date:
        return _date(value, expected)
    if kind.base is time:
        return _time(value, expected)
    number = _number(value, expected)
    if abs(number) >= 10**15:
        raise CellError(shown(value), f"{expected}, below 1e15")
    if kind.base is int:
        if number != number.to_integral_value():
            raise CellError(shown(value), expected)
        return int(number)
    return money(number) if kind.base is Decimal else float(number)


def money(amount: Decimal) -> Decimal:
    """Money with at least two places and no needless zeros: one form, whether it came from a number or from text."""
    plain = amount.normalize()
    exponent = plain.as_tuple().exponent
    return plain if isinstance(exponent, int) and exponent < -2 else amount.quantize(CENT)


def _text(value: object, expected: str) -> str:
    if isinstance(value, bool):
        raise CellError(f"the yes/no value {value}", expected, "format the cell as text and type it again")
    if isinstance(value, datetime | date | time):
        raise CellError(
            shown(value), expected, "the spreadsheet program made a date of it: format the cell as text and type it again"
        )
    if isinstance(value, float):
        if value.is_integer() and abs(value) < 1e15:
            return str(int(value))
        return repr(value)
    text = str(value).replace("\r\n", "\n").replace("\r", "\n").strip()
    if clean_text(text) != text:
        long = len(text) > LONGEST_TEXT
        raise CellError(
            "a text too long for a cell" if long else "a control character", f"at most {LONGEST_TEXT} plain characters"
        )
    return text


def _choice(text: str, choices: tuple[str, ...], expected: str) -> str:
    for choice in choices:
        if choice.casefold() == text.casefold():
            return choice
    raise CellError(repr(text), expected, nearest(text, choices))


def _bool(value: object, expected: str) -> bool:
    if isinstance(value, bool):
        return value
    text = str(int(value)) if isinstance(value, float) and value.is_integer() else str(value).strip().casefold()
    if text in _YES:
        return True
    if text in _NO:
        return False
    raise CellError(shown(value), expected)


def _date(value: object, expected: str) -> date:
    if isinstance(value, datetime):
        if value.time() != time(0):
            raise CellError(shown(value), expected, "a day without a time")
        return value.date()
    if isinstance(value, date):
        return value
    text = str(value).strip()
    if isinstance(value, str) and _ISO_DATE.match(text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise CellError(repr(text), expected, "there is no such day") from None
    hint = "write year-month-day" if isinstance(value, str) else "a number, not a date: format the cell as a date"
    raise CellError(shown(value), expected, hint)


def _time(value: object, expected: str) -> time:
    if isinstance(value, time):
        return value
    match = _TIME.match(str(value).strip())
    if isinstance(value, str) and match:
        hours, minutes, secs, part = match.groups()
        micro = int((part or ".0")[1:].ljust(6, "0"))
        return time(int(hours), int(minutes), int(secs or 0), micro)
    raise CellError(shown(value), expected)


def _number(value: object, expected: str) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, int | float | str | Decimal):
        raise CellError(shown(value), expected)
    if isinstance(value, float) and not math.isfinite(value):
        raise CellError(shown(value), expected)
    if not isinstance(value, str):
        return Decimal(str(value))  # the digits a person typed, not the binary neighbour
    text = value.strip()
    if _NUMBER.match(text):
        number = Decimal(text)
        if abs(number.adjusted()) > 300 and number:
            raise CellError(shown(value), expected)
        return number
    raise CellError(shown(value), expected, _number_hint(text))


def _number_hint(text: str) -> str:
    if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+", text):
        return f"write {text.replace(',', '')}, or {text.replace(',', '.', 1)} if the comma is a decimal one"
    if re.fullmatch(r"[+-]?\d*,\d+", text):
        return f"write {text.replace(',', '.')} with a decimal point"
    percent = re.fullmatch(r"([+-]?\d+(?:[.,]\d+)?)\s*%", text)
    if percent:
        return f"write {(Decimal(percent.group(1).replace(',', '.')) / 100).normalize():f} as a share"
    if re.fullmatch(r"[+-]?\d+([.]\d+)?\s*\D+", text):
        return "the number alone, without its unit"
    return ""
