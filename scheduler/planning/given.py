"""What a plan is given beside the farm book: pins in words, and what the farm's counts have taught."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from typing import Any, get_args

from scheduler.book import check_farm
from scheduler.errors import ChangeError
from scheduler.farm.counts import LotPace
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Pin
from scheduler.forecast.learn import learned_farm
from scheduler.plan.model import LearnableTrait, LearnedTrait, Plan

_DAY = r"(\d{4}-\d{2}-\d{2})"
_FORMS: tuple[tuple[str, str], ...] = (
    (r"no cut (?P<colony>.+)", "no cut"),
    (r"cut (?P<colony>.+)", "cut"),
    (r"at least (?P<pieces>\d+) of (?P<colony>.+)", "at least"),
    (r"at most (?P<pieces>\d+) of (?P<colony>.+)", "at most"),
    (r"session (?P<session>.+ \d{4}-\d{2}-\d{2}) for (?P<colony>.+)", "session"),
    (r"rack (?P<rack>.+) for (?P<colony>.+)", "rack"),
    (r"keep free (?:rack (?P<rack>.+)|tank (?P<tank>.+))", "keep free"),
    (r"no sale (?P<lot>.+)", "no sale"),
    (r"hold lot (?P<lot>.+)", "hold lot"),
)
PIN_WORDS = (
    "cut LAN-02", "no cut LAN-03", "at least 12 of LAN-02", "at most 6 of LAN-02", "session Tue-morning 2026-12-01 for LAN-02",
    "rack N1-a for LAN-02", "keep free rack N1-a from 2026-12-01 to 2026-12-13", "keep free tank N1", "no sale LN-2639a",
    "hold lot LN-2639a",
)  # fmt: skip
"""Examples of every pin in words; each may end in ``from DATE``, ``to DATE`` or both."""


def pin_from_words(words: str, name: str) -> Pin:
    """A pin from words such as ``at least 12 of LAN-02 from 2026-12-01``. Raises ``ChangeError``."""
    text = " ".join(words.split())
    found = re.fullmatch(rf"(?P<what>.*?)(?: from {_DAY})?(?: to {_DAY})?", text)
    assert found is not None
    first, last = found.group(2), found.group(3)
    for form, kind in _FORMS:
        match = re.fullmatch(form, found["what"])
        if match:
            parts: dict[str, Any] = {k: v for k, v in match.groupdict().items() if v is not None}
            try:
                days = {
                    "from_date": date.fromisoformat(first) if first else None,
                    "to_date": date.fromisoformat(last) if last else None,
                }
            except ValueError as error:
                raise ChangeError(f"--pin {words!r}: there is no such day ({error})") from error
            return Pin(pin=name, kind=kind, **parts, **days)
    raise ChangeError(f"--pin {words!r} is no pin; pins are such as:\n" + "\n".join(f"  {w}" for w in PIN_WORDS))


def with_pins(farm: Farm, words: Sequence[str]) -> tuple[Farm, tuple[Pin, ...]]:
    """The farm with more pins, and those pins. Raises ``ChangeError`` with everything wrong with them."""
    if not words:
        return farm, ()
    taken = {p.pin for p in farm.pins}
    names = (name for i in range(1, 10_000) if (name := f"given {i}") not in taken)
    added = tuple(pin_from_words(text, next(names)) for text in words)
    pinned = replace(farm, pins=(*farm.pins, *added))
    faults, _ = check_farm(pinned)
    wrong = []
    for number, text in enumerate(words, start=len(farm.pins) + 1):
        wrong += [
            f"--pin {text!r}: found {f.found}; expected {f.expected}" + (f" ({f.hint})" if f.hint else "")
            for f in faults
            if re.match(rf"pins row {number}\b", f.where)
        ]
    if wrong:
        raise ChangeError("\n".join(wrong))
    return pinned, added


def with_learned(farm: Farm) -> tuple[Farm, tuple[LearnedTrait, ...]]:
    """The farm with its strains' traits as its counts, past lots and past cuts have taught them, and those traits."""
    taught = learned_farm(farm)
    rows = [
        LearnedTrait(strain=new.strain, trait=trait, value=getattr(new, trait))
        for old, new in zip(farm.strains, taught.strains, strict=True)
        for trait in get_args(LearnableTrait)
        if getattr(new, trait) != getattr(old, trait)
    ]
    return taught, tuple(rows)


def with_given(
    plan: Plan, added: Sequence[Pin] = (), learned: Sequence[LearnedTrait] = (), paces: Sequence[LotPace] = ()
) -> Plan:  # fmt: skip
    """The plan with what it was given written into it, so that ``farm_as_planned`` finds its farm again."""
    about = plan.about.model_copy(update={"added_pins": tuple(added), "learned": tuple(learned), "paces": tuple(paces)})
    return plan.model_copy(update={"about": about})
