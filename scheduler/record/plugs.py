"""Plugs that stand in water before use: what went in, and what was mounted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date

from scheduler.farm.bench import PlugKind
from scheduler.farm.farm import Farm
from scheduler.farm.work import condition_days
from scheduler.record.done import DoneCut, DonePlugs, Happened


def plugs_in_water(farm: Farm, happened: Happened, strains: Mapping[str, str], notes: list[str]) -> tuple[PlugKind, ...]:
    """The rows of the next book: mounted plugs leave those longest in water, what was put in stands there from its day.

    ``strains`` gives the strain of every lot. More mounted than stood in water is noted.
    """
    used: Counter[str] = Counter()
    put: Counter[tuple[str, date]] = Counter()
    for done in happened.done:
        if isinstance(done, DoneCut):
            used[farm.traits(strains[done.lot]).plug_kind] += done.mounted
        elif isinstance(done, DonePlugs):
            put[done.plug_kind, done.day] += done.plugs
    rows = list(farm.plugs)
    for (kind, day), plugs in put.items():
        rows = _added(rows, kind, condition_days(farm, kind), plugs, day)
    for kind, plugs in used.items():
        if condition_days(farm, kind):
            rows, missing = _drawn(rows, kind, plugs)
            if missing:
                notes.append(f"{kind} plugs: {missing} more were mounted than stood in water")
    return tuple(rows)


def _added(rows: Sequence[PlugKind], kind: str, days: int, plugs: int, day: date) -> list[PlugKind]:
    there = [r for r in rows if (r.plug_kind, r.in_water_from) == (kind, day)]
    new = PlugKind(plug_kind=kind, condition_days=days, in_water=plugs + sum(r.in_water for r in there), in_water_from=day)
    return [*(r for r in rows if r not in there), new]


def _drawn(rows: Sequence[PlugKind], kind: str, plugs: int) -> tuple[list[PlugKind], int]:
    """Rows after so many plugs were taken, longest in water first, and how many were not there. A kind keeps one row at least."""
    left: dict[int, PlugKind] = dict(enumerate(rows))
    for i in sorted((i for i, r in left.items() if r.plug_kind == kind), key=lambda i: left[i].in_water_from or date.min):
        taken = min(plugs, left[i].in_water)
        plugs -= taken
        left[i] = left[i].model_copy(update={"in_water": left[i].in_water - taken})
        if taken and not left[i].in_water and sum(r.plug_kind == kind for r in left.values()) > 1:
            del left[i]
    return list(left.values()), plugs
