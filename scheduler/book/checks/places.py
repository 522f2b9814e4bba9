"""What stands where: light on every rack, positions that exist, and one plug in each."""

from __future__ import annotations

from collections import Counter

from scheduler.book.checks.ledger import Ledger
from scheduler.farm.blocks import Block, Position, parse_block, position_name
from scheduler.farm.coral import Lot
from scheduler.farm.farm import Farm
from scheduler.farm.space import Rack

Standing = dict[tuple[str, Position], str]
"""Who stands on a rack's position."""


def check_light(farm: Farm, ledger: Ledger) -> None:
    """Every rack has a reading."""
    read = {r.rack for r in farm.light}
    for index, rack in enumerate(farm.racks):
        if rack.rack not in read:
            ledger.fault("racks", index, "rack", f"rack {rack.rack} without light", "a row for it in light", "measure its PAR")


def check_positions(farm: Farm, ledger: Ledger) -> None:
    """Colonies and lots stand on positions that exist, are open and are theirs alone (L1)."""
    standing: Standing = {}
    for index, colony in enumerate(farm.colonies):
        if colony.rack is None or colony.block is None:
            continue
        rack = farm.rack[colony.rack]
        if rack.tank != colony.tank:
            ledger.fault("colonies", index, "rack", f"rack {rack.rack} of tank {rack.tank}", f"a rack in tank {colony.tank}")
        held = colony.block.positions()
        _stand(ledger, ("colonies", index, "positions"), f"colony {colony.colony}", rack, held, standing)
    for index, lot in enumerate(farm.lots):
        _lot(farm, ledger, index, lot, standing)


def _lot(farm: Farm, ledger: Ledger, index: int, lot: Lot, standing: Standing) -> None:
    traits = farm.traits(lot.strain)
    rack = farm.rack[lot.rack]
    blocks: list[Block] = []
    for text in lot.blocks:
        try:
            blocks.append(parse_block(text, traits.plug_rows, traits.plug_cols))
        except ValueError as error:
            ledger.fault("lots", index, "blocks", str(error), "blocks such as A1:B8=15")
            return
    plugs = sum(block.plugs for block in blocks)
    if plugs != lot.alive:
        hint = ""
        if 0 < lot.alive < plugs and len(blocks) == 1:
            first = blocks[0].model_copy(update={"plugs": lot.alive})
            hint = f"write {first.text(traits.plug_rows, traits.plug_cols)}"
        found = f"{plugs} plugs in the blocks, {lot.alive} alive"
        ledger.fault("lots", index, "blocks", found, "as many plugs as are alive", hint)
    held = tuple(p for block in blocks for p in block.positions(traits.plug_rows, traits.plug_cols))
    _stand(ledger, ("lots", index, "blocks"), f"lot {lot.lot}", rack, held, standing)
    if len(blocks) > farm.settings.max_blocks:
        ledger.doubt("lots", index, "blocks", f"{len(blocks)} blocks", f"at most max_blocks {farm.settings.max_blocks}")


def check_mothers(farm: Farm, ledger: Ledger) -> None:
    """A lot is of its mother's strain. Where several lots agree on another strain than hers, it is the colony's row that is told."""
    lots: dict[str, list[int]] = {}
    for index, lot in enumerate(farm.lots):
        if lot.colony is not None:
            lots.setdefault(lot.colony, []).append(index)
    for at, colony in enumerate(farm.colonies):
        mine = lots.get(colony.colony, [])
        strains = {farm.lots[i].strain for i in mine}
        if len(mine) > 1 and len(strains) == 1 and colony.strain not in strains:
            (strain,) = strains
            found = f"{colony.strain!r}, with {len(mine)} lots of {strain}"
            ledger.fault("colonies", at, "strain", found, "the strain of its lots", f"did you mean {strain}?")
            continue
        for index in mine:
            if farm.lots[index].strain != colony.strain:
                found, place = f"colony {colony.colony} of strain {colony.strain}", ledger.where("colonies", at, "strain")
                ledger.fault("lots", index, "colony", found, f"a colony of {farm.lots[index].strain}", f"or {place} is wrong")


def _stand(
    ledger: Ledger, cell: tuple[str, int, str], who: str, rack: Rack, held: tuple[Position, ...], standing: Standing
) -> None:
    """Put somebody on positions; what does not fit is a fault, one of each sort."""
    outside = [p for p in held if p[0] >= rack.rows or p[1] >= rack.cols]
    blocked = [p for p in held if p in rack.blocked_positions]
    if outside:
        ledger.fault(*cell, _named(outside, "outside the rack"), f"positions of {rack.rack}: A1 to {_last(rack)}")
    if blocked:
        ledger.fault(*cell, _named(blocked, "blocked"), f"open positions of rack {rack.rack}")
    times = Counter(held)
    taken: dict[str, list[Position]] = {}
    for position in held:
        other = standing.setdefault((rack.rack, position), who)
        if other != who or times[position] > 1:
            taken.setdefault(other, []).append(position)
    for other, positions in taken.items():
        ledger.fault(*cell, _named(positions, f"held by {other} already"), "one plug in a position")


def _named(positions: list[Position], what: str) -> str:
    names = ", ".join(position_name(p) for p in positions[:4])
    return f"{names}{' ...' if len(positions) > 4 else ''} {what}"


def _last(rack: Rack) -> str:
    return position_name((rack.rows - 1, rack.cols - 1))
