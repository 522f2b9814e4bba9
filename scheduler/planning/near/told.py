"""Where announced cuts were to stand, and whether they still can."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from scheduler.biology.zones import zone_by_position
from scheduler.farm.blocks import Block, Position, trim
from scheduler.farm.farm import Farm
from scheduler.plan.model import Announced
from scheduler.racks import check_gap
from scheduler.week.floor import Section, blocks_positions
from scheduler.week.model import ChosenCut, Spot
from scheduler.week.options import Option


@dataclass(frozen=True)
class ToldPlaces:
    """Places of announced cuts, clear of each other, by rack; and the lots of the book that have to make way for them."""

    spots: Mapping[str, Sequence[Spot]] = field(default_factory=dict)
    lots: frozenset[str] = frozenset()


def home_of(farm: Farm, row: Announced, pieces: int) -> Section | None:
    """The rack and zone that hold most positions of the first pieces of an announced cut; ``None`` where no zone holds most."""
    if row.rack not in farm.rack:
        return None
    traits, table, rack = farm.traits(farm.colony[row.colony].strain), zone_by_position(farm), row.rack
    held = [
        table.get((rack, p)) for b in trim(row.blocks, pieces) for p in b.positions(traits.plug_rows, traits.plug_cols)
    ]  # fmt: skip
    zone = max(dict.fromkeys(held), key=held.count, default=None)
    return Section(rack, zone) if zone is not None and 2 * held.count(zone) > len(held) else None


def told_places(farm: Farm, announced: Sequence[Announced], options: Sequence[Option]) -> ToldPlaces:
    """Places announced that frags of the options can still have, or could if lots of the book made way."""
    table = {(o.name, o.week): o for o in options}
    spots: dict[str, list[Spot]] = {}
    held: dict[str, list[tuple[str, Collection[Position]]]] = {}
    lots: set[str] = set()
    for row in announced:
        option, home = table.get((row.colony, row.week)), home_of(farm, row, row.pieces)
        if option is None or home not in option.sections:
            continue
        traits, pitch, ground = farm.traits(option.strain), farm.rack[home.rack].pitch_mm, option.places[home.rack]
        mine = blocks_positions(row.blocks, traits.plug_rows, traits.plug_cols)
        others = held.setdefault(home.rack, [])
        if mine <= ground.keys() and all(
            check_gap(mine, positions, farm.clear_positions(strain, option.strain, pitch)) for strain, positions in others
        ):
            others.append((option.strain, mine))
            spots.setdefault(home.rack, []).append(Spot(option.name, home.zone, row.blocks))
            lots.update(lot for p in mine for lot in ground[p])
    return ToldPlaces(spots, frozenset(lots))


def as_told(farm: Farm, cut: ChosenCut, told: Mapping[tuple[str, int], Announced]) -> tuple[tuple[Block, ...], bool]:
    """Blocks of a chosen cut, and whether they are those announced (by colony and week) and so its own for good."""
    row = told.get((cut.option.name, cut.option.week))
    if row is None or row.rack != cut.section.rack or sum(b.plugs for b in row.blocks) < cut.pieces:
        return cut.blocks, False
    blocks = trim(row.blocks, cut.pieces)
    stays = trim(cut.blocks, cut.pieces) == blocks and home_of(farm, row, cut.pieces) == cut.section
    return (blocks, True) if stays else (cut.blocks, False)
