"""What binds a colony: its rest, and pins."""

from __future__ import annotations

from itertools import combinations

from scheduler.farm.pins import pin_covers
from scheduler.week.draft import Draft


def rest(d: Draft) -> None:
    """C1: one cut of a colony in the near weeks; its size after a first cut is not modelled."""
    for a, b in combinations(range(len(d.options)), 2):
        if d.options[a].colony == d.options[b].colony:
            d.model.add_at_most_one(d.v.cut[a], d.v.cut[b])


def pinned(d: Draft) -> None:
    """P1: pins on colonies (keep-free pins have taken their places from the options already)."""
    m, v = d.model, d.v
    for pin in d.pins:
        mine = [i for i, o in enumerate(d.options) if o.colony.colony == pin.colony and pin_covers(d.farm, pin, o.week)]
        cuts = [v.cut[i] for i in mine]
        pieces = sum(v.pieces[i] for i in mine)
        if pin.kind == "cut":
            m.add(sum(cuts) >= 1)
        elif pin.kind == "no cut":
            m.add(sum(cuts) == 0)
        elif pin.kind == "at least":
            m.add(pieces >= (pin.pieces or 0))
        elif pin.kind == "at most":
            m.add(pieces <= (pin.pieces or 0))
        elif pin.kind == "session":
            for (i, sid), var in v.at.items():
                if i in mine and sid != pin.session:
                    m.add(var == 0)
        elif pin.kind == "rack":
            for (i, section), var in v.stands.items():
                if i in mine and section.rack != pin.rack:
                    m.add(var == 0)
