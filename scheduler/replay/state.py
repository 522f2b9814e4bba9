"""Mothers and lots as they truly are, with what is written down about them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scheduler.farm.blocks import Block, Position, trim
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm

Route = Literal["order", "market", "clear"]


@dataclass
class Mother:
    """A mother: ``units`` is its true size in counted units, ``row`` what the book says."""

    row: Colony
    units: float
    last_cut_week: int | None
    recovers: int | None = None
    """Week in which it is judged fit again."""

    @property
    def name(self) -> str:
        """Its name."""
        return self.row.colony


@dataclass
class Frags:
    """A lot: true sizes of the living frags, and the plugs on the rack as they were last counted."""

    id: str
    strain: str
    colony: str | None
    cut_date: date
    cut_week: int
    started: int
    sizes: NDArray[np.float64]
    """Size of each living frag, mm."""
    pace: NDArray[np.float64]
    """Growth of each beside the strain's."""
    tank: str
    rack: str | None
    blocks: tuple[Block, ...]
    par: float | None
    """PAR of its zone, where it has no rack."""
    recorded: int
    """Plugs on the rack by the last count, less those sold since."""
    count_date: date
    moved_date: date | None = None
    detached: int = 0
    """Frags that came off since the last count, found below the rack."""
    sold: int = 0
    """Frags sold since the last count."""
    owed: tuple[float, float] = (0.5, 0.5)
    """Parts of a death and of a detachment not fallen due yet, where losses fall evenly."""

    @property
    def alive(self) -> int:
        """Living frags."""
        return len(self.sizes)

    def keep(self, mask: NDArray[np.bool_]) -> None:
        """Keep the frags that are marked."""
        self.sizes, self.pace = self.sizes[mask], self.pace[mask]

    def positions(self, farm: Farm) -> tuple[Position, ...]:
        """Rack positions its recorded plugs fill; none where it has no rack."""
        traits = farm.traits(self.strain)
        return tuple(p for b in trim(self.blocks, self.recorded) for p in b.positions(traits.plug_rows, traits.plug_cols))


@dataclass
class Tally:
    """What a replay adds up. Money in the farm's currency, minutes of real work."""

    money: dict[str, float] = field(default_factory=dict)
    minutes: dict[str, float] = field(default_factory=dict)
    count: dict[str, int] = field(default_factory=dict)

    def earn(self, what: str, amount: float) -> None:
        """Add money; costs are negative."""
        self.money[what] = self.money.get(what, 0.0) + amount

    def work(self, what: str, minutes: float) -> None:
        """Add minutes."""
        self.minutes[what] = self.minutes.get(what, 0.0) + minutes

    def add(self, what: str, number: int = 1) -> None:
        """Count something."""
        self.count[what] = self.count.get(what, 0) + number
