"""Racks by counts of positions, where no exact places are looked for: whatever can really stand keeps these rows."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable
from itertools import islice, product

from ortools.sat.python import cp_model

from scheduler.biology.zones import zone_by_position
from scheduler.farm.blocks import Position
from scheduler.week.block_rules import cliques
from scheduler.week.draft import Draft
from scheduler.week.floor import Section, free_now
from scheduler.week.space_rules import ways_out

SCALE = 1000
"""Positions in rows with borders are counted in thousandths."""

MOST_BORDERS = 8
"""Most sets of strains whose borders are looked at on one rack: with many strains the sets are many and nearly the same."""


def counted(d: Draft) -> None:
    """L1, L4, L5 as a relaxation."""
    if d.counted:
        _sections(d)
        _racks(d)
        _grounds(d)
        _borders(d)


def _sections(d: Draft) -> None:
    """L1 and the zone of a stand: not more plugs than the rack has ground for, more than half of them in the zone."""
    table = zone_by_position(d.farm)
    for (i, section), plugs in d.v.plugs.items():
        comer = d.comers[i]
        most: list[int] = []
        for ground in (free_now(comer.places[section.rack]), frozenset(comer.places[section.rack])):
            at_home = sum(table[section.rack, p] == section.zone for p in ground)
            room = max(0, min(len(ground), 2 * at_home - 1) // d.area(i))
            key = (comer.name, comer.week, section.rack, bool(most))
            most.append(min(room, d.limits.most.get(key, room)))
        now, freed = most
        d.model.add(plugs <= max(now, freed) * d.v.stands[i, section])
        if now < freed:
            ways = _freed(d, [i], section.rack)
            d.model.add(plugs <= now + sum((freed - now) * way for way, _ in ways))


def _freed(d: Draft, comers: Iterable[int], rack: str) -> list[tuple[cp_model.IntVar, set[Position]]]:
    """Ground that each thing lots of the book could do may add for some lots; what several stand on is counted with one."""
    found: dict[int, tuple[cp_model.IntVar, set[Position]]] = {}
    for i in dict.fromkeys(comers):
        for way, positions in d.once(("freed", i, rack), lambda i=i: _freed_for(d, i, rack)):  # type: ignore[misc]
            found.setdefault(way.index, (way, set()))[1].update(positions)
    return list(found.values())


def _freed_for(d: Draft, i: int, rack: str) -> list[tuple[cp_model.IntVar, set[Position]]]:
    """The same for one lot."""
    comer = d.comers[i]
    waiting: dict[tuple[str, int], set[Position]] = defaultdict(set)
    out = {way: ways_out(d, *way, comer.week) for way in {w for ways in comer.places[rack].values() for w in ways.items()}}
    for p, ways in comer.places[rack].items():
        if ways:
            waiting[min(ways.items(), key=lambda way: (len(out[way]), way))].add(p)
    return [(way, positions) for way_out, positions in waiting.items() for way in out[way_out]]


def _racks(d: Draft) -> None:
    """L1: each week a rack holds no more than what is free, or is made free."""
    n = len(d.options)
    for rack, week in product(d.farm.rack, d.farm.weeks.near_weeks):
        held = [d.area(i) * x for (i, sec), x in d.v.plugs.items() if sec.rack == rack and d.comers[i].week <= week]
        if not held:
            continue
        freed = []
        for k, sale in enumerate(d.sales):
            if d.farm.lot[sale.lot].rack == rack and sale.week <= week:
                freed.append(sale.pieces * _plug_area(d, sale.lot) * d.v.leaves[k])
        for j, move in enumerate(d.moves):
            if d.farm.lot[move.lot].rack == rack and move.week < week:
                freed.append(d.floor.left(move.lot, week) * _plug_area(d, move.lot) * d.v.moves[n + j])
        d.model.add(sum(held) <= len(d.floor.free(rack, week)) + sum(freed))


def _grounds(d: Draft) -> None:
    """L1, L2, L4: the lots of a strain, and of all strains, hold no more than the ground of all of them together."""
    held: dict[tuple[str, str], list[tuple[int, Section]]] = defaultdict(list)
    for i, section in d.v.plugs:
        for strain in (d.comers[i].strain, ""):
            held[section.rack, strain].append((i, section))
    for (rack, _), keys in held.items():
        now = {p for i, _ in keys for p in free_now(d.comers[i].places[rack])}
        more = [len(ground - now) * way for way, ground in _freed(d, (i for i, _ in keys), rack)]
        d.model.add(sum(d.area(k[0]) * d.v.plugs[k] for k in keys) <= len(now) + sum(more))


def _plug_area(d: Draft, lot: str) -> int:
    traits = d.farm.traits(d.farm.lot[lot].strain)
    return traits.plug_area


def _borders(d: Draft) -> None:
    """L4: strains that keep g positions clear of each other need, widened by g rows and columns, ground of their own.

    a positions widened so are at least (sqrt(a) + g) squared (the inequality of Brunn and Minkowski for areas, from
    memory), and all of them lie within the ground widened likewise. Between the fewest and the most positions of a
    strain a chord stands for the concave border.
    """
    on_rack: dict[str, dict[str, list[tuple[int, Section]]]] = defaultdict(lambda: defaultdict(list))
    for i, section in d.v.stands:
        on_rack[section.rack][d.comers[i].strain].append((i, section))
    for rack, strains in on_rack.items():
        pitch = d.farm.rack[rack].pitch_mm
        gaps = {(a, b): d.farm.clear_positions(a, b, pitch) for a in strains for b in strains if a < b}
        for gap in sorted(set(gaps.values()) - {0}):
            wide = {pair for pair, g in gaps.items() if g >= gap}
            for clique in islice(cliques(sorted(strains), wide, wide), MOST_BORDERS):
                _border_row(d, rack, {s: strains[s] for s in clique}, gap)


def _border_row(d: Draft, rack: str, strains: dict[str, list[tuple[int, Section]]], gap: int) -> None:
    m = d.model
    lots = [i for keys in strains.values() for i, _ in keys]
    ground = {p for i in lots for p in d.comers[i].places[rack]}
    now = _widened({p for i in lots for p in free_now(d.comers[i].places[rack])}, gap)
    more = [SCALE * len(_widened(freed, gap) - now) * way for way, freed in _freed(d, lots, rack)]
    row: list[cp_model.LinearExpr] = []
    for keys in strains.values():
        fewest = min(d.area(i) * d.fewest(i) for i, _ in keys)
        most = max(fewest, min(len(ground), sum(d.area(i) * d.most(i) for i in dict.fromkeys(i for i, _ in keys))))
        low, high = (2 * gap * math.sqrt(a) + gap * gap for a in (fewest, most))
        slope = (high - low) / (most - fewest) if most > fewest else 0.0
        here = m.new_bool_var("")
        m.add_max_equality(here, [d.v.stands[k] for k in keys])
        each = math.floor(SCALE * (1 + slope))
        row += [each * d.area(k[0]) * d.v.plugs[k] for k in keys]
        row.append(math.floor(SCALE * (low - slope * fewest)) * here)
    m.add(sum(row) <= SCALE * len(now) + sum(more))


def _widened(ground: set[Position], gap: int) -> set[Position]:
    """A ground widened by ``gap`` rows down and columns along."""
    return {(r + i, c + j) for r, c in ground for i in range(gap + 1) for j in range(gap + 1)}
