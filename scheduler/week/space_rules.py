"""Where lots come to stand: one rack each, by layouts or counts; room in zones and systems; company."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from itertools import product

from ortools.sat.python import cp_model

from scheduler.farm.blocks import Block, Position
from scheduler.week.draft import Draft, Spot
from scheduler.week.floor import Section
from scheduler.week.options import Option

Literal = cp_model.IntVar


def stands(d: Draft) -> None:
    """L5: a lot that comes stands on one rack, in one section, with all its plugs."""
    m, v = d.model, d.v
    for i, comer in enumerate(d.comers):
        whole = v.pieces[i] if isinstance(comer, Option) else d.moves[i - len(d.options)].pieces * v.moves[i]
        most = d.most(i) if isinstance(comer, Option) else comer.pieces
        comes = v.cut[i] if isinstance(comer, Option) else v.moves[i]
        for section in comer.sections:
            v.stands[i, section] = m.new_bool_var(f"stands {i} {section}")
            v.plugs[i, section] = m.new_int_var(0, most, f"plugs {i} {section}")
            m.add(v.plugs[i, section] <= most * v.stands[i, section])
        m.add(sum(v.stands[i, section] for section in comer.sections) == comes)
        m.add(sum(v.plugs[i, section] for section in comer.sections) == whole)
    for lot in dict.fromkeys([*(x.lot for x in d.moves), *(s.lot for s in d.sales)]):
        m.add_at_most_one(_stirred(d, lot))


def _stirred(d: Draft, lot: str) -> list[Literal]:
    """Everything a lot of the book could do; it does one thing at most."""
    moved = [d.v.moves[k] for k, _ in d.moves_of.get(lot, ())]
    return moved + [d.v.leaves[k] for k, _ in d.sales_of.get(lot, ())]


def layouts(d: Draft) -> None:
    """L1, L4, L5: each rack is filled by one of its layouts at most; a lot stands on a spot that layout has for it."""
    m, v = d.model, d.v
    if not d.laid_out:
        return
    v.layouts |= {k: m.new_bool_var(f"layout {k}") for k in range(len(d.layouts))}
    spots: dict[tuple[str, str, str], list[tuple[int, Spot]]] = defaultdict(list)
    on_rack: dict[str, list[Literal]] = defaultdict(list)
    for k, layout in enumerate(d.layouts):
        on_rack[layout.rack].append(v.layouts[k])
        for spot in layout.spots:
            spots[spot.name, layout.rack, spot.zone].append((k, spot))
    for ways_to_fill in on_rack.values():
        m.add_at_most_one(ways_to_fill)
    for (i, section), stands in v.stands.items():
        comer = d.comers[i]
        room = [(k, spot.plugs, makes_way(d, i, section.rack, held_by(d, comer.strain, spot.blocks)))
                for k, spot in spots.get((comer.name, section.rack, section.zone), ())]  # fmt: skip
        lawful = [(k, plugs, needs) for k, plugs, needs in room if needs is not None]
        m.add(stands <= sum(v.layouts[k] for k, _, _ in lawful))
        m.add(v.plugs[i, section] <= sum(plugs * v.layouts[k] for k, plugs, _ in lawful))
        for k, _, needs in lawful:
            for ways in needs:
                m.add(v.layouts[k] + stands <= 1 + sum(ways))


def held_by(d: Draft, strain: str, blocks: Iterable[Block]) -> tuple[Position, ...]:
    """Positions a lot of a strain holds in some blocks."""
    traits = d.farm.traits(strain)
    return tuple(p for block in blocks for p in block.positions(traits.plug_rows, traits.plug_cols))


def makes_way(d: Draft, i: int, rack: str, positions: Iterable[Position]) -> list[list[Literal]] | None:
    """L1, L2, L4: what has to happen before a lot may hold positions: of each list of literals one must hold.

    ``None`` if it never may. Lots of the book that stand in the way have left, in part or altogether, by then.
    """
    ground, week = d.comers[i].places[rack], d.comers[i].week
    most_left: dict[str, int] = {}
    for p in positions:
        if p not in ground:
            return None
        for lot, left in ground[p].items():
            most_left[lot] = min(left, most_left.get(lot, left))
    needs = []
    for lot, left in most_left.items():
        ways = ways_out(d, lot, left, week)
        if not ways:
            return None
        needs.append(ways)
    return needs


def ways_out(d: Draft, lot: str, left: int, week: int) -> list[Literal]:
    """What leaves no more than so many plugs of a lot of the book at its old place in a week: sales by then, moves before."""
    now = d.floor.left(lot, week)
    ways = [d.v.leaves[k] for k, s in d.sales_of.get(lot, ()) if s.week <= week and now - s.pieces <= left]
    return ways + [d.v.moves[k] for k, move in d.moves_of.get(lot, ()) if move.week < week]


def fresh(d: Draft) -> None:
    """S5: new frags mounted into a system in a week."""
    for system, week in product(d.farm.systems, d.farm.weeks.near_weeks):
        new = [
            n
            for (i, section), n in d.v.plugs.items()
            if i < len(d.options) and d.options[i].week == week and d.zones[section.zone].system == system.system
        ]
        if new:
            d.model.add(sum(new) <= system.max_fresh)


def room(d: Draft) -> None:
    """L1 later weeks, L9: what zones and systems hold. A lot that moves holds both places in its week.

    Where lots of the book alone hold more than a zone may, what they make free first has to bring it below the limit.
    """
    for (system, week), left in d.limits.system.items():
        held = [
            d.area(i) * n
            for (i, section), n in d.v.plugs.items()
            if d.zones[section.zone].system == system
            and (d.comers[i].week <= week if i < len(d.options) else d.comers[i].week == week)
        ]
        if held:
            d.model.add(sum(held) <= max(0, left))
    n = len(d.options)
    leaving = [(d.v.moves[n + j], m.zone, m.frees) for j, m in enumerate(d.moves)]
    leaving += [(d.v.leaves[k], s.zone, s.frees) for k, s in enumerate(d.sales)]
    leaves_from: dict[str, list[tuple[Literal, Mapping[int, int]]]] = defaultdict(list)
    for way, zone, frees in leaving:
        leaves_from[zone].append((way, frees))
    rows: dict[tuple[str, tuple[int, ...]], int] = {}
    for (zone, week), left in d.limits.zone.items():
        freed = tuple(frees.get(week, 0) for _, frees in leaves_from[zone])
        rows[zone, freed] = min(left, rows.get((zone, freed), left))
    held_in: dict[str, list[cp_model.LinearExpr]] = defaultdict(list)
    stands_in: dict[str, list[cp_model.IntVar]] = defaultdict(list)
    for (i, section), plugs in d.v.plugs.items():
        held_in[section.zone].append(d.area(i) * plugs)
        stands_in[section.zone].append(d.v.stands[i, section])
    for (zone, freed), left in rows.items():
        if held_in[zone]:
            more = [f * way for f, (way, _) in zip(freed, leaves_from[zone], strict=True) if f]
            if left >= 0 or not more:
                d.model.add(sum(held_in[zone]) <= max(0, left) + sum(more))
                continue
            comes = d.once(("comes to", zone), lambda zone=zone: d.any(stands_in[zone]))  # type: ignore[misc]
            assert comes is not None  # where plugs are held, something stands
            d.model.add(sum(held_in[zone]) <= left * comes + sum(more))


def company(d: Draft) -> None:
    """L7: lots that come, of groups kept apart, do not meet in a tank or system."""
    for scope in ("tank", "system"):
        here: dict[str, dict[tuple[str, str], list[Literal]]] = defaultdict(lambda: defaultdict(list))
        for (i, section), var in d.v.stands.items():
            strain = d.comers[i].strain
            group = d.farm.strain[strain].group
            if group in d.farm.choosy_groups:
                here[_place(d, section, scope)][group, strain].append(var)
        for strains in here.values():
            for one, two in product(strains, repeat=2):
                if one[1] < two[1] and d.farm.apart(one[0], two[0]) == scope:
                    first, second = d.any(strains[one]), d.any(strains[two])
                    if first is not None and second is not None:
                        d.model.add_at_most_one(first, second)


def _place(d: Draft, section: Section, scope: str) -> str:
    zone = d.zones[section.zone]
    return zone.tank if scope == "tank" else zone.system
