"""The racks as they stand in a near week: what is taken, by whom, and where a lot could come to stand."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.light import par_of_rack
from scheduler.biology.zones import zone_by_position
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
    """A rack with one of its light zones: a lot stands on the rack, most of its positions in the zone."""

    rack: str
    zone: str


Ground = Mapping[Position, Mapping[str, int]]
"""Positions of a rack a lot may hold. The value names lots of the book that stand in the way, each with the most
plugs it may still have at its old place; empty where the position is free as things stand."""


class Floor:
    """Racks in the near weeks under the sales already decided.

    ``left[lot][week]`` are the pieces of a lot of the book still there after the week's sales. ``loose`` lots may sell
    more or move away; every other lot of the book keeps its places.
    """

    def __init__(self, farm: Farm, left: Mapping[str, Mapping[int, int]], loose: Collection[str] = ()) -> None:
        self.farm = farm
        self.loose = frozenset(loose)
        self._left = left
        self._standing: dict[str, list[tuple[str, str, tuple[tuple[Position, ...], ...]]]] = {}
        for lot in farm.lots:
            if lot.alive:
                self._standing.setdefault(lot.rack, []).append((lot.lot, lot.strain, self._plugs(lot.lot)))
        self._in_tank: dict[tuple[str, int], frozenset[str]] = {}
        self._clear: dict[tuple[str, int, tuple[int, ...]], dict[Position, Mapping[str, int]]] = {}

    def loosened(self, lots: Collection[str]) -> Floor:
        """The same racks with some lots loose."""
        return Floor(self.farm, self._left, lots)

    def left(self, lot: str, week: int) -> int:
        """Pieces of a lot of the book left after a week's sales."""
        return self._left[lot][week]

    def _plugs(self, name: str) -> tuple[tuple[Position, ...], ...]:
        """The positions of each plug of a lot of the book, in the order of its blocks."""
        lot = self.farm.lot[name]
        traits = self.farm.traits(lot.strain)
        return tuple(
            tuple(block.plug_positions(plug, traits.plug_rows, traits.plug_cols))
            for block in trim(self.farm.lot_blocks(lot), lot.alive)
            for plug in range(block.plugs)
        )

    def taken(self, rack: str, week: int) -> tuple[Taken, ...]:
        """Lots of the book and mothers on a rack in a week."""
        found = [Taken(c.colony, c.strain, frozenset(p)) for c, p in self.farm.mothers_on_racks.get(rack, ())]
        for lot, strain, plugs in self._standing.get(rack, ()):
            held = frozenset(p for plug in plugs[: self.left(lot, week)] for p in plug)
            if held:
                found.append(Taken(lot, strain, held))
        return tuple(found)

    def strains_in_tank(self, tank: str, week: int) -> frozenset[str]:
        """Strains of the colonies and of the lots of the book standing in a tank in a week."""
        if (tank, week) not in self._in_tank:
            racks = (rack for rack in self._standing if self.farm.rack[rack].tank == tank)
            here = {strain for rack in racks for lot, strain, _ in self._standing[rack] if self.left(lot, week) > 0}
            self._in_tank[tank, week] = self.farm.mothers_in_tank[tank] | here
        return self._in_tank[tank, week]

    def free(self, rack: str, week: int) -> frozenset[Position]:
        """Open positions nobody holds in a week."""
        held = {p for t in self.taken(rack, week) for p in t.positions}
        return frozenset(p for p in self.farm.rack[rack].open_positions if p not in held)

    def ground(self, strain: str, week: int, rack: str, fits: NDArray[np.bool_]) -> Ground:
        """L1, L4: positions of a rack whose light ``fits`` (by row and column) and which are clear of other strains, or would be."""
        return {p: ways for p, ways in self._clear_of(strain, week, rack).items() if fits[p]}

    def _clear_of(self, strain: str, week: int, rack: str) -> Mapping[Position, Mapping[str, int]]:
        """The same in any light; worked out once for all strains that keep clear of what stands there alike."""
        farm, row = self.farm, self.farm.rack[rack]
        mothers, standing = farm.mothers_on_racks.get(rack, ()), self._standing.get(rack, ())
        gaps = tuple(
            farm.clear_positions(strain, other, row.pitch_mm)
            for other in (*(colony.strain for colony, _ in mothers), *(other for _, other, _ in standing))
        )
        key = (rack, week, gaps)
        if key in self._clear:
            return self._clear[key]
        found: dict[Position, dict[str, int]] = {p: {} for p in row.open_positions}
        for (_, positions), gap in zip(mothers, gaps, strict=False):
            for p in _around(positions, gap):
                found.pop(p, None)
        for (lot, _, plugs), gap in zip(standing, gaps[len(mothers) :], strict=True):
            for number, plug in enumerate(plugs[: self.left(lot, week)]):
                for p in _around(plug, gap):
                    if lot not in self.loose:
                        found.pop(p, None)
                    elif p in found:
                        found[p].setdefault(lot, number)
        self._clear[key] = dict(found)
        return self._clear[key]

    def settling_ground(self, colony: Colony, week: int, rack: str) -> Ground:
        """L1, L2, L4: where on a rack the light fits a colony's frags all through settling, clear of other strains."""
        farm, s = self.farm, self.farm.settings
        low, high = (1 - s.dim) * colony.par_umol, (1 + s.bright) * colony.par_umol
        weeks = range(week, min(week + max(s.settle_weeks, 1), farm.weeks.count + 1))
        pars = np.stack([par_of_rack(farm, rack, w) for w in weeks])
        return self.ground(colony.strain, week, rack, np.asarray(np.all((low <= pars) & (pars <= high), axis=0)))

    def settling(self, colony: Colony, week: int, section: Section) -> frozenset[Position]:
        """The positions of a section's zone that are free as things stand, and fit a colony's frags all through settling."""
        table = zone_by_position(self.farm)
        free = free_now(self.settling_ground(colony, week, section.rack))
        return frozenset(p for p in free if table[section.rack, p] == section.zone)


def free_now(ground: Ground) -> frozenset[Position]:
    """The positions of a ground that are free as things stand."""
    return frozenset(p for p, ways in ground.items() if not ways)


def blocks_positions(blocks: tuple[Block, ...], plug_rows: int, plug_cols: int) -> frozenset[Position]:
    """All positions of a lot's blocks."""
    return frozenset(p for b in blocks for p in b.positions(plug_rows, plug_cols))


def _around(positions: Collection[Position], gap: int) -> Iterator[Position]:
    """Positions held, and those around them that keep no ``gap`` clear positions from them."""
    reach = range(-gap, gap + 1)
    return ((r + i, c + j) for r, c in positions for i in reach for j in reach)
