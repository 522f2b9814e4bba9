"""Exact places: every block a lot could stand in is a choice of its own. For few lots; layouts serve for many."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import combinations, product

from ortools.sat.python import cp_model

from scheduler.biology.zones import zone_by_position
from scheduler.farm.blocks import Position
from scheduler.week.draft import Draft
from scheduler.week.floor import Section
from scheduler.week.space_rules import held_by, makes_way

Literal = cp_model.IntVar


def blocks(d: Draft) -> None:
    """L1, L5: plugs stand in at most ``max_blocks`` of the blocks offered, most positions in the section's zone."""
    m, v = d.model, d.v
    for (name, rack), offered in d.shapes.items():
        here = [(i, s) for i, comer in enumerate(d.comers) if comer.name == name for s in comer.sections if s.rack == rack]
        if not here:
            continue
        xs = [m.new_bool_var(f"block {name} {rack} {k}") for k in range(len(offered))]
        v.blocks |= {(name, rack, k): x for k, x in enumerate(xs)}
        m.add(sum(xs) <= d.farm.settings.max_blocks * sum(v.stands[k] for k in here))
        m.add(sum(v.plugs[k] for k in here) <= sum(b.plugs * x for b, x in zip(offered, xs, strict=True)))
        strain = d.comers[here[0][0]].strain
        held = [held_by(d, strain, (block,)) for block in offered]
        _mostly_in_zone(d, here, rack, xs, held)
        for i in dict.fromkeys(i for i, _ in here):
            stands = [v.stands[k] for k in here if k[0] == i]
            for x, positions in zip(xs, held, strict=True):
                needs = makes_way(d, i, rack, positions)
                for ways in [[]] if needs is None else needs:
                    m.add(x + sum(stands) <= 1 + sum(ways))


def _mostly_in_zone(
    d: Draft, here: Sequence[tuple[int, Section]], rack: str, xs: Sequence[Literal], held: Sequence[Sequence[Position]]
) -> None:
    """Zone of a stand: more than half of the positions of its blocks lie in it."""
    table = zone_by_position(d.farm)
    for i, section in here:
        lead = [sum(1 if table[rack, p] == section.zone else -1 for p in positions) for positions in held]
        if any(n < 1 for n in lead):
            row = sum(n * x for n, x in zip(lead, xs, strict=True))
            d.model.add(row >= 1).only_enforce_if(d.v.stands[i, section])


def reach(d: Draft) -> None:
    """L1: no position twice. L4: a square of gap + 1 positions holds lots of one of two strains that want the gap."""
    strain = {comer.name: comer.strain for comer in d.comers}
    for rack in d.farm.racks:
        covers: dict[str, dict[Position, list[Literal]]] = defaultdict(lambda: defaultdict(list))
        for (name, at, k), x in d.v.blocks.items():
            if at == rack.rack:
                for p in held_by(d, strain[name], (d.shapes[name, at][k],)):
                    covers[strain[name]][p].append(x)
        if covers:
            _keep_clear(d, rack.rows, rack.cols, covers, rack.pitch_mm)


def _keep_clear(d: Draft, rows: int, cols: int, covers: dict[str, dict[Position, list[Literal]]], pitch_mm: float) -> None:
    m = d.model
    taken: dict[str, dict[Position, Literal]] = {}
    for strain, by_position in covers.items():
        taken[strain] = {p: m.new_bool_var("") for p in by_position}
        for p, xs in by_position.items():
            m.add(sum(xs) == taken[strain][p])
            d.follows(taken[strain][p], xs, sum)
    for p in sorted({p for held in taken.values() for p in held}):
        m.add_at_most_one(held[p] for held in taken.values() if p in held)
    gaps = {pair: d.farm.clear_positions(*pair, pitch_mm) for pair in combinations(sorted(taken), 2)}
    for gap in sorted(set(gaps.values()) - {0}):
        for clique in cliques(sorted(taken), {p for p, g in gaps.items() if g >= gap}, {p for p, g in gaps.items() if g == gap}):
            for top, left in product(range(max(1, rows - gap)), range(max(1, cols - gap))):
                square = list(product(range(top, top + gap + 1), range(left, left + gap + 1)))
                uses = [u for s in clique if (u := _use(d, [taken[s][p] for p in square if p in taken[s]])) is not None]
                if len(uses) > 1:
                    m.add_at_most_one(uses)


def _use(d: Draft, inside: Sequence[Literal]) -> Literal | None:
    """A literal that holds if a strain has a position in a square; ``None`` if it never can."""
    if len(inside) < 2:
        return inside[0] if inside else None
    use = d.model.new_bool_var("")
    for taken in inside:
        d.model.add_implication(taken, use)
    d.follows(use, inside, max)
    return use


def cliques(names: Sequence[str], apart: set[tuple[str, str]], wanted: set[tuple[str, str]]) -> Iterator[list[str]]:
    """Sets of names all of which are kept apart from each other, so that every wanted pair is in one of them."""
    open_pairs = set(wanted)
    while open_pairs:
        one, two = min(open_pairs)
        clique = [one, two]
        for name in names:
            if name not in clique and all(tuple(sorted((name, other))) in apart for other in clique):
                clique.append(name)
        open_pairs -= {pair for pair in open_pairs if set(pair) <= set(clique)}
        yield clique
