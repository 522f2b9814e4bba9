"""Blocks for the near weeks: those pins may choose from, and the tidy places of what was chosen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scheduler.biology.zones import zones
from scheduler.farm.blocks import Block, Position
from scheduler.farm.farm import Farm
from scheduler.planning.ground import grid_of
from scheduler.racks import MOST, Gap, Request, Standing, blocks_for, most_plugs, part_of, place
from scheduler.solving import Limits as SolveLimits
from scheduler.week.draft import MOST_PIECES
from scheduler.week.floor import Section, blocks_positions, free_now
from scheduler.week.model import Shapes
from scheduler.week.options import Option
from scheduler.week.releases import Move

ALL_BLOCKS = 30_000
"""Most blocks of a model with exact places; every lot and rack has at least ``FEWEST_BLOCKS``."""

FEWEST_BLOCKS = 150


@dataclass(frozen=True)
class Coming:
    """A lot that is to stand in a section: its plugs, the ground it may use and the blocks the model found for it.

    ``stays``: it keeps just these blocks.
    """

    name: str
    strain: str
    plugs: int
    section: Section
    allowed: frozenset[Position]
    blocks: tuple[Block, ...]
    stays: bool = False


def shapes(farm: Farm, comers: Sequence[Option | Move], wanted: Mapping[str, int] | None = None) -> Shapes:
    """Blocks by name and rack, of every week a lot could come in, for as many plugs as ``wanted`` (else the most there are)."""
    most = max(FEWEST_BLOCKS, min(MOST, ALL_BLOCKS // max(1, sum(len(c.places) for c in comers))))
    found: dict[tuple[str, str], dict[Block, None]] = {}
    for comer in comers:
        traits = farm.traits(comer.strain)
        plugs = comer.pieces if isinstance(comer, Move) else min(comer.most, MOST_PIECES)
        plugs = min(plugs, (wanted or {}).get(comer.name, plugs))
        for rack, ground in comer.places.items():
            request = Request(rack, comer.strain, plugs, 0, traits.plug_rows, traits.plug_cols, frozenset(ground), 1)
            for positions in dict.fromkeys((frozenset(ground), free_now(ground))):
                blocks = blocks_for(grid_of(farm.rack[rack], positions), request, most)
                found.setdefault((comer.name, rack), {}).update(dict.fromkeys(blocks))
    return {key: tuple(blocks) for key, blocks in found.items()}


def most_on(farm: Farm, comers: Sequence[Option | Move]) -> dict[tuple[str, int, str, bool], int]:
    """Plugs that could stand on each rack at all, by (name, week, rack, whether everything has gone that could go)."""
    found = {}
    for comer in comers:
        traits = farm.traits(comer.strain)
        plugs = comer.pieces if isinstance(comer, Move) else min(comer.most, MOST_PIECES)
        for rack, ground in comer.places.items():
            request = Request(rack, comer.strain, plugs, 0, traits.plug_rows, traits.plug_cols, frozenset(ground), 1)
            for freed, positions in ((False, free_now(ground)), (True, frozenset(ground))):
                grid = grid_of(farm.rack[rack], positions)
                found[comer.name, comer.week, rack, freed] = most_plugs(grid, request, farm.settings.max_blocks)
    return found


def tidy(farm: Farm, lots: Sequence[Coming], seed: int) -> dict[str, tuple[Block, ...]]:
    """Final blocks by lot: as many plugs as asked, in fewer and tighter blocks where that is possible.

    Other strains' lots of the book are outside the allowed ground already, so only the new ones have to keep clear.
    """
    found = {lot.name: lot.blocks for lot in lots if lot.stays}
    for rack in dict.fromkeys(lot.section.rack for lot in lots):
        row = farm.rack[rack]
        requests = {lot.name: _request(farm, lot) for lot in lots if lot.section.rack == rack and not lot.stays}
        standing = [Standing(lot.name, lot.strain, _held(farm, lot)) for lot in lots if lot.section.rack == rack and lot.stays]
        known = {lot.name: part_of(lot.blocks, requests[lot.name], (row.rows, row.cols)) for lot in lots if lot.name in requests}
        found |= place(
            row.rows, row.cols, list(requests.values()), standing, _gap(farm, row.pitch_mm),
            SolveLimits(seconds=10, deterministic=0.1, seed=seed), farm.settings.max_blocks,
            known={name: blocks for name, blocks in known.items() if blocks},
        )  # fmt: skip
    return found


def _held(farm: Farm, lot: Coming) -> frozenset[Position]:
    traits = farm.traits(lot.strain)
    return blocks_positions(lot.blocks, traits.plug_rows, traits.plug_cols)


def _gap(farm: Farm, pitch_mm: float) -> Gap:
    return lambda a, b: farm.clear_positions(a, b, pitch_mm)


def _request(farm: Farm, lot: Coming) -> Request:
    traits = farm.traits(lot.strain)
    home = frozenset(p for rack, p in zones(farm)[lot.section.zone].positions if rack == lot.section.rack)
    return Request(
        lot=lot.name, strain=lot.strain, plugs=lot.plugs, min_plugs=min(traits.min_pieces, lot.plugs), plug_rows=traits.plug_rows,
        plug_cols=traits.plug_cols, allowed=lot.allowed, value=1, home=home,
    )  # fmt: skip
