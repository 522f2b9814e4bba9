"""The racks as they stand in a near week: what is taken, by whom, and where a colony's frags could settle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from scheduler.biology.light import par_of_rack
from scheduler.biology.zones import zone_by_position, zones
from scheduler.farm.blocks import Block, Position, trim
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm


@dataclass(frozen=True)
class Taken:
    """Something standing on a rack: a lot or a mother colony."""

    name: str
    strain: str
    positions: frozenset[Position]


@dataclass(frozen=True)
class Section:
    """The positions of one rack in one light zone: where a lot may be put as a whole."""

    rack: str
    zone: str


class Floor:
    """Racks in the near weeks under the sales already decided.

    ``left[lot][week]`` are the pieces of a lot of the book still there after the week's sales; ``moved`` lots that
    stand elsewhere are not supported here: lots of the book keep their places.
    """

    def __init__(self, farm: Farm, left: Mapping[str, Mapping[int, int]]) -> None:
        self.farm = farm
        self._left = left

    def taken(self, rack: str, week: int) -> tuple[Taken, ...]:
        """Lots of the book and mothers on a rack in a week."""
        farm = self.farm
        found = [Taken(c.colony, c.strain, frozenset(p)) for c, p in farm.mothers_on_racks.get(rack, ())]
        for lot in farm.lots:
            if lot.rack != rack or lot.alive == 0:
                continue
            traits = farm.traits(lot.strain)
            blocks = trim(farm.lot_blocks(lot), self._left[lot.lot][week])
            held = frozenset(p for b in blocks for p in b.positions(traits.plug_rows, traits.plug_cols))
            if held:
                found.append(Taken(lot.lot, lot.strain, held))
        return tuple(found)

    def strains_in_tank(self, tank: str, week: int) -> frozenset[str]:
        """Strains of the colonies and of the lots of the book standing in a tank in a week."""
        here = (lot for lot in self.farm.lots if lot.alive and self.farm.rack[lot.rack].tank == tank)
        return self.farm.mothers_in_tank[tank] | {lot.strain for lot in here if self._left[lot.lot][week] > 0}

    def free(self, rack: str, week: int) -> frozenset[Position]:
        """Open positions nobody holds in a week."""
        held = {p for t in self.taken(rack, week) for p in t.positions}
        return frozenset(p for p in self.farm.rack[rack].open_positions if p not in held)

    def settling(self, colony: Colony, week: int, section: Section) -> frozenset[Position]:
        """Free positions of a section whose light fits a colony's frags all through settling, clear of other strains."""
        farm, s = self.farm, self.farm.settings
        row = farm.rack[section.rack]
        by_position = zone_by_position(farm)
        low, high = (1 - s.dim) * colony.par_umol, (1 + s.bright) * colony.par_umol
        weeks = range(week, min(week + max(s.settle_weeks, 1), farm.weeks.count + 1))
        pars = [par_of_rack(farm, section.rack, w) for w in weeks]
        barred: set[Position] = set()
        for taken in self.taken(section.rack, week):
            gap = farm.clear_positions(colony.strain, taken.strain, row.pitch_mm)
            if gap:
                barred |= {(r + i, c + j) for r, c in taken.positions for i in range(-gap, gap + 1) for j in range(-gap, gap + 1)}
        return frozenset(
            p
            for p in self.free(section.rack, week)
            if by_position[section.rack, p] == section.zone
            and p not in barred
            and all(low <= float(par[p]) <= high for par in pars)
        )


def sections(farm: Farm) -> tuple[Section, ...]:
    """Every section of every rack."""
    return tuple(dict.fromkeys(Section(rack, zone.id) for zone in zones(farm).values() for rack, _ in zone.positions))


def blocks_positions(blocks: tuple[Block, ...], plug_rows: int, plug_cols: int) -> frozenset[Position]:
    """All positions of a lot's blocks."""
    return frozenset(p for b in blocks for p in b.positions(plug_rows, plug_cols))
