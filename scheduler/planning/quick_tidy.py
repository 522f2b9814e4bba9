"""Tidying racks: grown lots move to where they stand beside their own kind or out of the way.

Lots of other strains keep their distance from a few frags as much as from many. A lot's footprint is what would be open to
any other strain if the lot were gone: its own positions and those that it alone keeps clear, each counted by how much ground
is wanted there (``quick_ground``). Lots move within their water to where their footprint is smaller; nobody but the crew's
minutes pays for it. Frags that grow on need the light they have; those of their largest size may wait in less.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean

import numpy as np
from numpy.typing import NDArray

from scheduler.biology.light import par_of_rack
from scheduler.biology.zones import zone_of, zones
from scheduler.farm.blocks import Block, Position
from scheduler.farm.coral import Lot
from scheduler.farm.farm import Farm
from scheduler.farm.hours import CARING
from scheduler.farm.space import Rack
from scheduler.plan.model import Sale, Stand
from scheduler.plan.view import life_of_lot, old_stand
from scheduler.planning.ground import beside, grid_of
from scheduler.planning.near.stock import life_after
from scheduler.planning.quick_ground import wanted_ground
from scheduler.racks import Grid, Request
from scheduler.racks.candidates import widest
from scheduler.racks.requests import closing, shadow
from scheduler.season.ledger import Ledger
from scheduler.week.floor import Floor, blocks_positions
from scheduler.week.model import ChosenCut
from scheduler.week.options import takes
from scheduler.week.releases import may_move, step

LEAST_GAIN = 3
"""Positions a move has to open: farm choice, no published source."""

MOST_MINUTES = 60.0
"""Minutes of moving in a week: farm choice, no published source."""

DIMMER = 0.9
"""A lot that is still growing into a size class is not moved to less than this share of the light it stands in."""

_WEEK = 1


@dataclass(frozen=True)
class Place:
    """Where a lot could stand; ``footprint`` in positions as wanted as the mean, ``par`` of its first, µmol m-2 s-1."""

    rack: str
    block: Block
    footprint: float
    par: float


class Tidying:
    """The racks of week 1 with the near weeks' cuts on them; each move is entered beside those before it.

    ``floor`` shows lots before their sales of the week, since what is packed may fall short; ``ledger`` the hours and
    positions the plan leaves.
    """

    def __init__(self, farm: Farm, floor: Floor, ledger: Ledger, cuts: Sequence[ChosenCut], pins: Sequence[str]) -> None:
        self.farm, self.floor, self.ledger, self.pins = farm, floor, ledger, pins
        self._standing: dict[str, list[tuple[str, str, frozenset[Position]]]] = defaultdict(list)
        for rack in farm.racks:
            self._standing[rack.rack] = [(t.name, t.strain, t.positions) for t in floor.taken(rack.rack, _WEEK)]
        self._leaving = set[str]()
        """Lots that move: they hold their places for this week and are no company to others any more."""
        self._held = Counter[str]()
        self._coming = Counter[str]()
        """Positions by light zone that cuts and moves bring, beside the ledger's."""
        for cut in cuts:
            traits = farm.traits(cut.option.strain)
            held = blocks_positions(cut.blocks, traits.plug_rows, traits.plug_cols)
            self._standing[cut.section.rack].append((cut.option.name, cut.option.strain, held))
            self._held[farm.system_of_rack(cut.section.rack)] += len(held)
            self._coming[cut.section.zone] += len(held)
        self._new_strains = {(farm.rack[c.section.rack].tank, c.option.strain) for c in cuts}
        self._soon = farm.weeks.near_weeks[1:]
        self._gap = {rack.rack: self._usual_gap(rack) for rack in farm.racks}
        self._wanted = wanted_ground(farm, _WEEK)

    def moves(self, sales: Mapping[str, Sequence[Sale]]) -> Iterator[Stand]:
        """The moves, those that open most positions a frag first. ``sales``: what the plan sells, by lot; it still can afterwards."""
        s, minutes_left = self.farm.settings, MOST_MINUTES
        lots = [x for x in self.farm.lots if x.alive and may_move(self.farm, x, _WEEK, self.pins)]
        pieces = {x.lot: x.alive - sum(sale.pieces for sale in sales.get(x.lot, ()) if sale.week == _WEEK) for x in lots}
        lots = [x for x in lots if pieces[x.lot] - sum(y.pieces for y in sales.get(x.lot, ()) if y.week in self._soon) > 0]
        footprints = {x.lot: self.footprint(x.rack, x.lot) for x in lots}
        for lot in sorted(lots, key=lambda x: (-footprints[x.lot] / x.alive, x.lot)):
            minutes = s.move_lot_minutes + s.move_frag_minutes * pieces[lot.lot]
            if footprints[lot.lot] < LEAST_GAIN or minutes > minutes_left or not self.ledger.care_fits(_WEEK, minutes):
                continue
            now = self.footprint(lot.rack, lot.lot)
            places = sorted(self._places(lot, pieces[lot.lot]), key=_rank)
            stands = ((p, self._stand(lot, p)) for p in places if now - p.footprint >= LEAST_GAIN)
            stay = pieces[lot.lot] - sum(y.pieces for y in sales.get(lot.lot, ()) if y.week in self._soon)
            stands = (x for x in stands if self._zone_has_room(lot, x[1].zone, stay))
            found = next((x for x in stands if self._still_sells(lot, x[1], sales.get(lot.lot, ()))), None)
            if found is not None:
                minutes_left -= minutes
                self._coming[found[1].zone] += stay * self.farm.traits(lot.strain).plug_area
                self._enter(lot, found[0], minutes)
                yield found[1]

    # ---- footprints -----------------------------------------------------------------------------------------------

    def footprint(self, rack: str, name: str) -> float:
        """Positions of a rack that would be open to any other strain if a lot were gone, and are not now, as they are wanted."""
        return self._wanted[rack] * int(self.open_ground(rack, without=name).sum() - self.open_ground(rack).sum())

    def open_ground(self, rack: str, without: str | None = None) -> Grid:
        """Positions of a rack open to a strain that keeps the usual distance from all that stands there."""
        row = self.farm.rack[rack]
        grid = grid_of(row, row.open_positions)
        for name, _, positions in self._standing[rack]:
            if name != without and name not in self._leaving:
                grid &= ~shadow(row.rows, row.cols, positions, self._gap[rack])
        return grid

    def _usual_gap(self, rack: Rack) -> int:
        """Clear positions two strains of the farm keep on the average."""
        names = [s.strain for s in self.farm.strains]
        gaps = [self.farm.clear_positions(a, b, rack.pitch_mm) for i, a in enumerate(names) for b in names[:i]]
        return round(fmean(gaps)) if gaps else 0

    # ---- places ---------------------------------------------------------------------------------------------------

    def _places(self, lot: Lot, pieces: int) -> Iterator[Place]:
        """L1, L3, L4, L7, L8, L9: where else so many frags of a lot could stand in one block in its water."""
        farm, traits = self.farm, self.farm.traits(lot.strain)
        low, high = step(farm, self.floor, lot, _WEEK)
        here = par_of_rack(farm, lot.rack, _WEEK)
        (mine,) = [t.positions for t in self.floor.taken(lot.rack, _WEEK) if t.name == lot.lot]
        if not self._grown(lot):
            low = max(low, DIMMER * fmean(float(here[p]) for p in mine))
        system = farm.system_of_rack(lot.rack)
        if not self._system_has_room(system, pieces * traits.plug_area):
            return
        request = Request(
            lot=lot.lot, strain=lot.strain, plugs=pieces, min_plugs=pieces, plug_rows=traits.plug_rows,
            plug_cols=traits.plug_cols, allowed=frozenset(), value=1,
        )  # fmt: skip
        for rack in farm.racks:
            if farm.system_of_rack(rack.rack) != system or rack.flow not in traits.flow_growing:
                continue
            if not takes(farm, self.floor, rack, lot.strain, _WEEK, self.pins) or self._kept_apart(rack, lot.strain):
                continue
            par = par_of_rack(farm, rack.rack, _WEEK)
            standing = ((strain, held) for _, strain, held in self._standing[rack.rack])
            free = beside(farm, rack, lot.strain, grid_of(rack, rack.open_positions), standing) & (par >= low) & (par <= high)
            if free.sum() >= pieces * traits.plug_area:
                yield from self._blocks(rack, free, request, par)

    def _grown(self, lot: Lot) -> bool:
        """Whether a lot has reached its strain's largest class."""
        course = life_of_lot(self.farm, lot.lot, (old_stand(self.farm, lot.lot),))
        return all(course.reached(c.size_class, _WEEK) for c in self.farm.size_classes(lot.strain))

    def _blocks(self, rack: Rack, free: Grid, request: Request, par: NDArray[np.float64]) -> Iterator[Place]:
        closed = closing(self.open_ground(rack.rack, without=request.lot), self._gap[rack.rack])
        for block in widest(free, request):
            if block.plugs == request.plugs:
                footprint = self._wanted[rack.rack] * closed(request.span(block), block.top, block.left)
                yield Place(rack.rack, block, footprint, float(par[block.top, block.left]))

    def _kept_apart(self, rack: Rack, strain: str) -> bool:
        """L7: whether frags of the near weeks' cuts that are kept apart from a strain come to the rack's water."""
        apart = {
            self.farm.strains_apart(strain, other)
            for tank, other in self._new_strains
            if self.farm.system_of_tank(tank) == self.farm.system_of_tank(rack.tank)
        }
        return bool(apart - {None})

    def _system_has_room(self, system: str, positions: int) -> bool:
        """L9: a mover holds its old and its new place in the week."""
        held = self.ledger.system_held(system, _WEEK) + self._held[system] + positions
        return held <= self.ledger.system_limit[system] + 1e-9

    def _zone_has_room(self, lot: Lot, zone: str, pieces: int) -> bool:
        """L1 of later weeks: whether a zone takes so many frags of a lot more, beside what comes to it; its own zone has them."""
        farm = self.farm
        if not farm.weeks.later_weeks or zone == old_stand(farm, lot.lot).zone:
            return True
        room = self.ledger.room(zones(farm)[zone], farm.weeks.later_weeks)
        need = self._coming[zone] + pieces * farm.traits(lot.strain).plug_area
        return need <= room + 1e-9

    # ---- entering -------------------------------------------------------------------------------------------------

    def _stand(self, lot: Lot, place: Place) -> Stand:
        traits = self.farm.traits(lot.strain)
        zone = zone_of(self.farm, place.rack, place.block.positions(traits.plug_rows, traits.plug_cols))
        return Stand(lot=lot.lot, week=_WEEK, zone=zone, rack=place.rack, blocks=(place.block,), pieces=place.block.plugs)

    def _still_sells(self, lot: Lot, stand: Stand, sales: Sequence[Sale]) -> bool:
        """O1: every sale planned still finds frags of its class."""
        after = life_after(self.farm, lot.lot, stand)
        return all(s.route == "clear" or after.reached(s.size_class, s.week) for s in sales)

    def _enter(self, lot: Lot, place: Place, minutes: float) -> None:
        traits = self.farm.traits(lot.strain)
        held = frozenset(place.block.positions(traits.plug_rows, traits.plug_cols))
        self._standing[place.rack].append((f"{lot.lot} moved", lot.strain, held))
        self._leaving.add(lot.lot)
        self._held[self.farm.system_of_rack(place.rack)] += len(held)
        self._new_strains.add((self.farm.rack[place.rack].tank, lot.strain))
        self.ledger.outside[_WEEK][CARING] += minutes


def _rank(place: Place) -> tuple[float, float, str, int, int, int]:
    return place.footprint, -place.par, place.rack, place.block.top, place.block.left, place.block.across
