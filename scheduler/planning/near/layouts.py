"""Ways to fill a rack: many quick trials of placing lots one after the other, for the near-weeks model to choose from."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from random import Random

import numpy as np

from scheduler.biology.zones import zone_by_position
from scheduler.farm.blocks import Block, Position, trim
from scheduler.farm.farm import Farm
from scheduler.planning.ground import beside, grid_of
from scheduler.racks import Grid, Request, greedy, part_of
from scheduler.week.draft import MOST_PIECES, Layout, Spot
from scheduler.week.floor import Floor, Ground
from scheduler.week.kept import kept_range
from scheduler.week.options import Option
from scheduler.week.releases import EarlySale, Move

ROUNDS_BY_CHANCE, ROUNDS_AROUND = 32, 12
"""Most layouts tried by chance for each rack, and around what stands there in each round."""

Left = Mapping[str, int]


class LayoutMaker:
    """Makes layouts of racks for the lots that could come. The same seed makes the same layouts in the same order.

    ``worth`` is what each colony's best cut or each move brings, money: only what brings something is tried unasked.
    ``told``: spots on each rack that keep clear of each other, as announced; half of the trials fill up beside them.
    """

    def __init__(
        self, farm: Farm, floor: Floor, comers: Sequence[Option | Move], sales: Sequence[EarlySale], worth: Mapping[str, float],
        seed: int, told: Mapping[str, Sequence[Spot]] | None = None,
    ) -> None:  # fmt: skip
        self.farm, self.floor, self.worth = farm, floor, worth
        self._told = told or {}
        self._random = Random(seed)
        self._comers: dict[str, dict[str, list[Option | Move]]] = {}
        for comer in comers:
            for rack in comer.places:
                self._comers.setdefault(rack, {}).setdefault(comer.name, []).append(comer)
        self._left = {rack: self._lefts(rack, comers, sales) for rack in self._comers}
        self.made: dict[Layout, None] = {}
        self._grids: dict[tuple[str, str, int, int], Grid] = {}

    def _lefts(self, rack: str, comers: Iterable[Option | Move], sales: Iterable[EarlySale]) -> list[dict[str, int]]:
        """What could be left of loose lots on a rack: nothing done, each thing done alone, all of them together."""
        last = self.farm.weeks.near_weeks[-1]
        ways: list[dict[str, int]] = [{}]
        ways += [{m.lot: 0} for m in comers if isinstance(m, Move) and self.farm.lot[m.lot].rack == rack]
        ways += [{s.lot: self.floor.left(s.lot, last) - s.pieces} for s in sales if self.farm.lot[s.lot].rack == rack]
        most: dict[str, int] = {}
        for way in ways:
            most |= {lot: min(left, most.get(lot, left)) for lot, left in way.items()}
        return [*ways, most] if len(most) > 1 else ways

    # ---- what to try ----------------------------------------------------------------------------------------------

    def by_chance(self, rounds: int) -> None:
        """Fill every rack with lots in orders by worth and chance; racks with more lots to choose from get more trials."""
        for rack, here in self._comers.items():
            for _ in range(min(rounds, 4 + 2 * len(here))):
                self._try(rack, (), self._others(rack, ()))

    def around(self, standing: Mapping[str, Sequence[tuple[str, int]]], rounds: int) -> None:
        """Keep what stands on a rack (names and plugs) in new orders, let it grow, and add others where there is room."""
        for rack in self._comers:
            kept = list(standing.get(rack, ()))
            for _ in range(rounds):
                some = self._random.sample(kept, self._random.randint(max(0, len(kept) - 1), len(kept)))
                self._try(rack, some, self._others(rack, [name for name, _ in some]))

    def exactly(self, rack: str, spots: Iterable[Spot]) -> None:
        """A layout known to be lawful."""
        self.made[Layout(rack, tuple(spots))] = None

    def _others(self, rack: str, without: Collection[str]) -> list[str]:
        names = [n for n in self._comers[rack] if n not in without and self.worth.get(n, 0.0) > 0]
        keys = {n: self.worth[n] * self._random.random() for n in names}
        return sorted(names, key=lambda n: -keys[n])

    # ---- one trial ------------------------------------------------------------------------------------------------

    def _try(self, rack: str, first: Sequence[tuple[str, int]], then: Sequence[str]) -> None:
        way, early = self._random.randrange(len(self._left[rack])), self._random.random() < 0.5
        fixed = self._fixed(rack)
        stay = {spot.name for spot in fixed}
        order, grids = [], {}
        for name, plugs in [*first, *((n, 0) for n in then)]:
            comers = self._comers[rack].get(name)
            if comers is None or name in stay:
                continue
            comer = comers[0 if early else -1]
            request = self._request(rack, comer, plugs)
            order.append(request)
            grids[name] = self._free(rack, comer, way, fixed)
        if not order:
            return
        row = self.farm.rack[rack]
        nothing: dict[str, Grid] = {r.lot: np.zeros((row.rows, row.cols), dtype=np.bool_) for r in order}
        places = greedy(
            order, grids, nothing, lambda a, b: self.farm.clear_positions(a, b, row.pitch_mm), self.farm.settings.max_blocks
        )
        spots = [self._spot(rack, request, places[request.lot]) for request in order if request.lot in places]
        found = tuple(sorted([*fixed, *(s for s in spots if s is not None)], key=lambda s: s.name))
        if found:
            self.made[Layout(rack, found)] = None

    def _fixed(self, rack: str) -> list[Spot]:
        """In half of the trials the places announced, each whole or cut down to what still counts as kept."""
        if rack not in self._told or self._random.random() < 0.5:
            return []
        found = []
        for spot in self._told[rack]:
            least, _ = kept_range(spot.plugs)
            smaller = replace(spot, blocks=trim(spot.blocks, least))
            held = [
                zone_by_position(self.farm).get((rack, p)) for b in smaller.blocks for p in self._positions(rack, spot.name, b)
            ]
            stays = 2 * held.count(spot.zone) > len(held) and self._random.random() < 0.5
            found.append(smaller if stays else spot)
        return found

    def _positions(self, rack: str, name: str, block: Block) -> tuple[Position, ...]:
        traits = self.farm.traits(self._comers[rack][name][0].strain)
        return block.positions(traits.plug_rows, traits.plug_cols)

    def _request(self, rack: str, comer: Option | Move, plugs: int) -> Request:
        """A lot that wants places: as many as stand there now or more, or any number that is worth cutting."""
        traits = self.farm.traits(comer.strain)
        if isinstance(comer, Move):
            most = least = comer.pieces
        else:
            most, least = min(comer.most, MOST_PIECES), traits.min_pieces
            wish = self._random.random()
            if wish < 0.25 and plugs:
                most = max(least, min(plugs, most))
            elif wish < 0.5:
                most = self._random.randint(least, most)
        allowed = frozenset(comer.places[rack])
        return Request(comer.name, comer.strain, most, least, traits.plug_rows, traits.plug_cols, allowed, 1)

    def _free(self, rack: str, comer: Option | Move, way: int, fixed: Iterable[Spot] = ()) -> Grid:
        """Where a lot may stand beside fixed spots; ``way``: which of the ways of what could be left of loose lots."""
        row, key = self.farm.rack[rack], (rack, comer.name, comer.week, way)
        if key not in self._grids:
            self._grids[key] = grid_of(row, made_free(comer.places[rack], self._left[rack][way]))
        standing = (
            (self._comers[rack][spot.name][0].strain, [p for b in spot.blocks for p in self._positions(rack, spot.name, b)])
            for spot in fixed
        )
        return beside(self.farm, row, comer.strain, self._grids[key], standing)

    def _spot(self, rack: str, request: Request, blocks: tuple[Block, ...]) -> Spot | None:
        """A spot in the zone of most of its positions; with fewer plugs where no zone has more than half of them."""
        table, row, least = zone_by_position(self.farm), self.farm.rack[rack], max(1, request.min_plugs)
        while blocks and (plugs := sum(b.plugs for b in blocks)) >= least:
            held = [table[rack, p] for b in blocks for p in request.positions(b)]
            zone = max(dict.fromkeys(held), key=held.count)
            if 2 * held.count(zone) > len(held):
                return Spot(request.lot, zone, blocks)
            fewer = replace(request, plugs=plugs - 1, min_plugs=least) if plugs > least else None
            blocks = part_of(blocks, fewer, (row.rows, row.cols)) if fewer is not None else ()
        return None


def made_free(ground: Ground, left: Left) -> frozenset[Position]:
    """Positions of a ground that are free when lots of the book have no more than so many plugs left at their places.

    A lot not named is as it is.
    """
    return frozenset(p for p, ways in ground.items() if all(lot in left and left[lot] <= most for lot, most in ways.items()))
