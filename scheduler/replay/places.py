"""Where the crew puts frags whose planned places are taken after all: nearby, in like light, clear of other strains."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from scheduler.farm.blocks import Block, Position
from scheduler.farm.coral import Traits
from scheduler.farm.farm import Farm
from scheduler.farm.space import Rack
from scheduler.plan.model import Stand
from scheduler.replay.state import Frags
from scheduler.replay.world import World

Held = dict[Position, str]
"""Positions of a rack under plugs and mothers, with the strain on each."""


def held_on(world: World, farm: Farm, rack: str, but: Frags | None = None) -> Held:
    """What stands on a rack by the crew's count, one lot left out if wanted."""
    held = {p: x.strain for x in world.lots.values() if x.rack == rack and x is not but for p in x.positions(farm)}
    for mother in world.mothers.values():
        if mother.row.rack == rack and mother.row.block is not None:
            held |= dict.fromkeys(mother.row.block.positions(), mother.row.strain)
    return held


def fitting(blocks: tuple[Block, ...], traits: Traits, held: Held) -> tuple[Block, ...]:
    """What is left of blocks up to the first place that is taken."""
    found = []
    for block in blocks:
        plugs = 0
        while plugs < block.plugs and not any(p in held for p in block.plug_positions(plugs, traits.plug_rows, traits.plug_cols)):
            plugs += 1
        part = block.first(plugs)
        if part is not None:
            found.append(part)
        if plugs < block.plugs:
            break
    return tuple(found)


def settle(world: World, farm: Farm, stand: Stand, strain: str, par_umol: float, day: date) -> tuple[str, tuple[Block, ...]]:
    """(rack, blocks) for a cut's frags: as planned if those places are free, else where most of them fit in the same tank.

    The crew keeps to the light the mother stands in as the rack was read (L2), to flow and plug kind, and to the reach of
    other strains (L4); the rack planned comes first. Fewer plugs than wanted if no place is large enough, none if there is none.
    """
    assert stand.rack is not None
    traits = farm.traits(strain)
    best = stand.rack, fitting(stand.blocks, traits, held_on(world, farm, stand.rack))
    tank = farm.rack[stand.rack].tank
    racks = sorted((r for r in farm.racks if r.tank == tank), key=lambda r: (r.rack != stand.rack, r.rack))
    for rack in racks:
        if _plugs(best[1]) >= stand.pieces:
            break
        if traits.plug_kind not in rack.plug_kinds or rack.flow not in traits.flow_settling:
            continue
        free = _free(world, farm, rack, strain, par_umol, day)
        for block in _blocks(rack, traits, free, stand.pieces):
            if block.plugs > _plugs(best[1]):
                best = rack.rack, (block,)
    return best


def _plugs(blocks: tuple[Block, ...]) -> int:
    return sum(b.plugs for b in blocks)


def _free(world: World, farm: Farm, rack: Rack, strain: str, par_umol: float, day: date) -> set[Position]:
    """Open positions of like light that nobody's reach covers."""
    reading, s = farm.reading(rack.rack, day), farm.settings
    corners = reading.corners if reading is not None else None
    if corners is None:
        return set()
    low, high = (1 - s.dim) * par_umol, (1 + s.bright) * par_umol
    barred: set[Position] = set()
    for (row, col), other in held_on(world, farm, rack.rack).items():
        gap = farm.clear_positions(strain, other, rack.pitch_mm)
        barred |= {(row + i, col + j) for i in range(-gap, gap + 1) for j in range(-gap, gap + 1)}
    shape = rack.rows, rack.cols
    return {p for p in rack.open_positions if p not in barred and low <= world.truth.between(corners, shape, p) <= high}


def _blocks(rack: Rack, traits: Traits, free: set[Position], wanted: int) -> Iterator[Block]:
    """Blocks of free places from each corner and of each width, in reading order."""
    high, wide = traits.plug_rows, traits.plug_cols
    for top in range(rack.rows - high + 1):
        for left in range(rack.cols - wide + 1):
            if (top, left) not in free:
                continue
            for across in range(1, min(wanted, (rack.cols - left) // wide) + 1):
                block = Block(top=top, left=left, across=across, plugs=across * ((rack.rows - top) // high))
                plugs = 0
                while plugs < min(wanted, block.plugs) and free.issuperset(block.plug_positions(plugs, high, wide)):
                    plugs += 1
                if plugs < across:
                    break
                yield block.model_copy(update={"plugs": plugs})
