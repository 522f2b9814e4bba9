"""Pins the near weeks honour: which kinds, what they ask for, and how they are told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable

from scheduler.farm.farm import Farm
from scheduler.week.model import ChosenCut

PIN_KINDS = ("cut", "no cut", "at least", "at most", "session", "rack", "keep free", "hold lot", "no sale")
"""Pins the near weeks have to honour: those on colonies and places, and those that keep a lot of the book where it is."""

ASKING = ("cut", "at least")
"""Pins that ask for pieces: without them, doing nothing keeps every rule."""


def asked_for(farm: Farm, pins: Collection[str]) -> dict[str, int]:
    """Fewest pieces that pins ask for, by colony."""
    asked: dict[str, int] = {}
    for p in farm.pins:
        if p.pin in pins and p.kind in ASKING and p.colony:
            asked[p.colony] = max(asked.get(p.colony, 1), p.pieces or 1)
    return asked


def pinned_colonies(farm: Farm, pins: Iterable[str]) -> set[str]:
    """Colonies that pins speak of, whatever they say."""
    held = set(pins)
    return {p.colony for p in farm.pins if p.pin in held and p.colony is not None}


def broken_pins(farm: Farm, pins: Collection[str], placed: Collection[ChosenCut]) -> list[str]:
    """Pins that ask for more than what found a place, in words."""
    cut = Counter[str]()
    for c in placed:
        cut[c.option.colony.colony] += c.pieces
    asked = [(p, 1 if p.kind == "cut" else p.pieces or 0) for p in farm.pins if p.pin in pins and p.kind in ASKING]
    return [describe_pin(farm, p.pin) for p, least in asked if cut[p.colony or ""] < least]


def describe_pin(farm: Farm, pin_id: str) -> str:
    """A pin in the grower's words."""
    return next(p for p in farm.pins if p.pin == pin_id).text
