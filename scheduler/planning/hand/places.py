"""Where fresh frags go by hand: the nearest free rack of like light."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from scheduler.biology.zones import Zone, zone_racks, zones
from scheduler.farm.blocks import Block
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.pins import kept_free
from scheduler.planning.hand.stock import Stock
from scheduler.racks.greedy import greedy
from scheduler.racks.requests import Request, Standing, free_grids, shadow
from scheduler.season.ledger import Ledger
from scheduler.week.floor import Floor, Section, Taken, blocks_positions

_EPSILON = 1e-6


@dataclass(frozen=True)
class Spot:
    """Where a cut's frags stand: in near weeks with rack and blocks."""

    zone: Zone
    pieces: int
    rack: str | None = None
    blocks: tuple[Block, ...] = ()


class _SoldFloor(Floor):
    """The floor of a week whose sales are all decided: what stands on a rack is looked up once."""

    def __init__(self, farm: Farm, left: Mapping[str, Mapping[int, int]]) -> None:
        super().__init__(farm, left)
        self._known: dict[tuple[str, int], tuple[Taken, ...]] = {}

    def taken(self, rack: str, week: int) -> tuple[Taken, ...]:
        """Lots of the book and mothers on a rack in a week."""
        if (rack, week) not in self._known:
            self._known[rack, week] = super().taken(rack, week)
        return self._known[rack, week]


class Racks:
    """First fit over the zones whose light is nearest to the colony's."""

    def __init__(self, farm: Farm, ledger: Ledger, stock: Stock, pins: Collection[str]) -> None:
        self.farm, self.ledger, self.stock, self.pins = farm, ledger, stock, pins
        self.floor = _SoldFloor(farm, stock.left)
        self._fresh: dict[str, list[tuple[str, str, tuple[Block, ...]]]] = {}

    def find(self, colony: Colony, week: int, pieces: int, rack: str | None = None) -> Spot | None:
        """The first place that takes all the pieces, else the one that takes most; in near weeks on ``rack`` alone, if given."""
        best: Spot | None = None
        for spot in self._spots(colony, week, pieces, rack):
            if best is None or spot.pieces > best.pieces:
                best = spot
            if best.pieces >= pieces:
                break
        return best if best is not None and best.pieces >= self.farm.traits(colony.strain).min_pieces else None

    def enter(self, lot: str, colony: Colony, week: int, spot: Spot) -> None:
        """Remember what stands there from now on."""
        self.ledger.fresh[spot.zone.system, week] += spot.pieces
        if spot.rack is not None:
            self._fresh.setdefault(spot.rack, []).append((lot, colony.strain, spot.blocks))

    def _spots(self, colony: Colony, week: int, pieces: int, rack: str | None) -> Iterator[Spot]:
        near = week in self.farm.weeks.near_weeks
        for zone in self._zones(colony, week):
            most = min(pieces, self._room(colony, zone, week))
            if most < self.farm.traits(colony.strain).min_pieces:
                continue
            if not near:
                if self._light_fits(colony, zone, week) and self._later_racks(colony, zone, week):
                    yield Spot(zone, most)
                continue
            for name in zone_racks(zone):
                if rack in (None, name):
                    spot = self._on_rack(colony, zone, name, week, most)
                    if spot is not None:
                        yield spot

    def _zones(self, colony: Colony, week: int) -> list[Zone]:
        """L6, L7, L8, L9: zones open to a colony's frags, nearest light first."""
        farm, traits = self.farm, self.farm.traits(colony.strain)
        home = farm.system_of_tank(colony.tank)
        found = [
            z
            for z in zones(farm).values()
            if farm.may_settle_in(home, z.system, week)
            and z.flow in traits.flow_settling
            and not farm.tank_closed(z.tank, week)
            and not self._clash(colony.strain, z)
        ]
        return sorted(found, key=lambda z: (abs(z.par_in(week) - colony.par_umol), z.id))

    def _clash(self, strain: str, zone: Zone) -> bool:
        """L7: whether a strain it is kept apart from stands in the tank, or in the system."""
        farm = self.farm
        for tank in farm.tanks:
            if tank.system == zone.system:
                kept = {farm.strains_apart(strain, other) for other in self.stock.strains_in(tank.tank)}
                if "system" in kept or ("tank" in kept and tank.tank == zone.tank):
                    return True
        return False

    def _room(self, colony: Colony, zone: Zone, week: int) -> int:
        """L1, L9, S5: most pieces the zone, its system and the week's limit of fresh frags take.

        Nothing sold yet is counted on: what stands now is taken to stand on, and only dies away.
        """
        ledger, weeks = self.ledger, self.farm.weeks
        later = weeks.later_weeks
        room = ledger.system_limit[zone.system] - ledger.system_held(zone.system, week)
        if week in later:
            room = ledger.room(zone, (week,))
        elif later:
            room = min(room, ledger.room(zone, later[:1]))
        pieces = int((room - _EPSILON) / self.stock.area(colony.strain)) if room > 0 else 0
        return min(pieces, self.farm.system[zone.system].max_fresh - ledger.fresh[zone.system, week])

    # ---- later weeks ----------------------------------------------------------------------------------------------

    def _light_fits(self, colony: Colony, zone: Zone, week: int) -> bool:
        """L2 on the zone's mean, all through settling."""
        s = self.farm.settings
        low, high = (1 - s.dim) * colony.par_umol, (1 + s.bright) * colony.par_umol
        last = min(week + max(s.settle_weeks, 1) - 1, self.farm.weeks.count)
        return all(low <= zone.par_in(w) <= high for w in range(week, last + 1))

    def _later_racks(self, colony: Colony, zone: Zone, week: int) -> bool:
        kind, racks = self.farm.traits(colony.strain).plug_kind, zone_racks(zone)
        fits = any(kind in self.farm.rack[r].plug_kinds for r in racks)
        return fits and not kept_free(self.farm, self.pins, zone.tank, racks, week)

    # ---- near weeks -----------------------------------------------------------------------------------------------

    def _on_rack(self, colony: Colony, zone: Zone, rack: str, week: int, pieces: int) -> Spot | None:
        """L1, L2, L4: blocks on one rack, in its first free positions of like light."""
        farm, traits, row = self.farm, self.farm.traits(colony.strain), self.farm.rack[rack]
        if traits.plug_kind not in row.plug_kinds or kept_free(farm, self.pins, zone.tank, (rack,), week):
            return None
        allowed = self.floor.settling(colony, week, Section(rack, zone.id))
        if len(allowed) < traits.min_pieces * self.stock.area(colony.strain):
            return None
        request = Request(
            lot="fresh", strain=colony.strain, plugs=pieces, min_plugs=min(traits.min_pieces, pieces),
            plug_rows=traits.plug_rows, plug_cols=traits.plug_cols, allowed=allowed, value=1,
        )  # fmt: skip
        standing = [Standing(t.name, t.strain, t.positions) for t in self.floor.taken(rack, week)] + self._standing(rack, week)

        def gap(a: str, b: str) -> int:
            return farm.clear_positions(a, b, row.pitch_mm)

        kin = np.zeros((row.rows, row.cols), dtype=np.bool_)
        for other in standing:
            if other.strain == colony.strain:
                kin |= shadow(row.rows, row.cols, other.positions, 0)
        free = free_grids(row.rows, row.cols, [request], standing, gap)
        blocks = greedy([request], free, {"fresh": kin}, gap, farm.settings.max_blocks).get("fresh", ())
        return Spot(zone, sum(b.plugs for b in blocks), rack, blocks) if blocks else None

    def _standing(self, rack: str, week: int) -> list[Standing]:
        """Fresh lots put there before; their places are kept whole until they are gone."""
        found = []
        for lot, strain, blocks in self._fresh.get(rack, ()):
            if self.stock.left[lot][week]:
                traits = self.farm.traits(strain)
                found.append(Standing(lot, strain, blocks_positions(blocks, traits.plug_rows, traits.plug_cols)))
        return found
