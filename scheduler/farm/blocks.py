"""Rack positions and the blocks lots stand in.

A position is a row letter and a column number, ``A1`` at the rack's first corner (the naming of microplate wells,
ANSI SLAS 4-2004). A block is a run of plugs in reading order inside a rectangle: full rows of ``across`` plugs, the
last row perhaps shorter. Plugs leave from the end of a block.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from pydantic import BaseModel, ConfigDict, Field

Position = tuple[int, int]
"""(row, column), both from 0."""

_CELL = re.compile(r"^([A-Z]{1,2})([1-9]\d{0,2})$")
_BLOCK = re.compile(r"^([A-Z]{1,2}[1-9]\d{0,2})(?::([A-Z]{1,2}[1-9]\d{0,2}))?(?:=([1-9]\d{0,3}))?$")


def row_letters(row: int) -> str:
    """Letters of a row: 0 -> A, 25 -> Z, 26 -> AA."""
    return chr(65 + row) if row < 26 else chr(64 + row // 26) + chr(65 + row % 26)


def position_name(position: Position) -> str:
    """``(1, 3)`` -> ``B4``."""
    return f"{row_letters(position[0])}{position[1] + 1}"


def parse_position(text: str) -> Position:
    """``B4`` -> ``(1, 3)``. Raises ``ValueError`` with a plain sentence."""
    match = _CELL.match(text.strip().upper())
    if not match:
        raise ValueError(f"{text!r} is not a rack position such as B4")
    letters, number = match.groups()
    row = ord(letters[-1]) - 65
    if len(letters) == 2:
        row += 26 * (ord(letters[0]) - 64)
    return row, int(number) - 1


class Block(BaseModel):
    """Plugs standing in reading order from ``top``, ``left``: ``across`` plugs a row, ``plugs`` in all."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    top: int = Field(ge=0, description="first row, from 0")
    left: int = Field(ge=0, description="first column, from 0")
    across: int = Field(ge=1, description="plugs in a full row")
    plugs: int = Field(ge=1, description="plugs in the block")

    def positions(self, plug_rows: int = 1, plug_cols: int = 1) -> tuple[Position, ...]:
        """All positions held, plug after plug in reading order (a plug holds plug_rows x plug_cols positions)."""
        return tuple(p for plug in range(self.plugs) for p in self.plug_positions(plug, plug_rows, plug_cols))

    def plug_positions(self, plug: int, plug_rows: int = 1, plug_cols: int = 1) -> Iterator[Position]:
        """The positions of one plug (from 0)."""
        top = self.top + plug // self.across * plug_rows
        left = self.left + plug % self.across * plug_cols
        for row in range(top, top + plug_rows):
            for col in range(left, left + plug_cols):
                yield row, col

    def first(self, plugs: int) -> Block | None:
        """What is left of the block when only its first ``plugs`` plugs remain; ``None`` for nothing."""
        return self.model_copy(update={"plugs": plugs}) if plugs > 0 else None

    def text(self, plug_rows: int = 1, plug_cols: int = 1) -> str:
        """``A1:C4`` (a full rectangle) or ``A1:C4=10`` (the last row is shorter)."""
        down = -(-self.plugs // self.across)
        width = min(self.across, self.plugs)
        end = (self.top + down * plug_rows - 1, self.left + width * plug_cols - 1)
        name = position_name((self.top, self.left))
        if end != (self.top, self.left):
            name += f":{position_name(end)}"
        return name if down * width == self.plugs else f"{name}={self.plugs}"


def parse_block(text: str, plug_rows: int = 1, plug_cols: int = 1) -> Block:
    """Read ``A1``, ``A1:C4`` or ``A1:C4=10``. Raises ``ValueError`` with a plain sentence."""
    match = _BLOCK.match(text.strip().upper().replace(" ", ""))
    if not match:
        raise ValueError(f"{text!r} is not a block such as A1:C4 or A1:C4=10")
    start = parse_position(match.group(1))
    end = parse_position(match.group(2)) if match.group(2) else (start[0] + plug_rows - 1, start[1] + plug_cols - 1)
    rows, cols = end[0] - start[0] + 1, end[1] - start[1] + 1
    if rows <= 0 or cols <= 0:
        raise ValueError(f"{text!r} ends before it begins")
    if rows % plug_rows or cols % plug_cols:
        raise ValueError(f"{text!r} does not hold whole plugs of {plug_rows} x {plug_cols} positions")
    down, across = rows // plug_rows, cols // plug_cols
    plugs = int(match.group(3)) if match.group(3) else down * across
    if not (down - 1) * across < plugs <= down * across:
        raise ValueError(f"{text!r} counts {plugs} plugs, which do not end in its last row")
    return Block(top=start[0], left=start[1], across=across, plugs=plugs)


def trim(blocks: tuple[Block, ...], plugs: int) -> tuple[Block, ...]:
    """The first ``plugs`` plugs of a lot's blocks: what is left after sales from the end."""
    kept = []
    for block in blocks:
        part = block.first(min(block.plugs, plugs))
        if part is None:
            break
        kept.append(part)
        plugs -= part.plugs
    return tuple(kept)
