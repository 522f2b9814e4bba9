"""What was done, as plain facts: the plan's own where the crew wrote nothing else."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Route = Literal["order", "market", "clear"]


@dataclass(frozen=True)
class DoneCut:
    """A cut: ``pieces`` taken from the colony, ``mounted`` of them. ``left`` was counted on the colony, in its unit."""

    lot: str
    colony: str
    strain: str | None
    week: int
    day: date
    planned: int
    pieces: int
    mounted: int
    left: float | None
    rack: str | None
    blocks: tuple[str, ...]
    own_blocks: bool
    cutter: str | None
    mounter: str | None
    minutes_cutting: float | None
    minutes_mounting: float | None
    where: str


@dataclass(frozen=True)
class DoneSale:
    """Plugs taken off a lot, and the frags sold of them."""

    lot: str
    week: int
    day: date
    route: Route
    order: str | None
    size_class: str
    channel: str
    plugs: int
    frags: int
    where: str


@dataclass(frozen=True)
class DoneMove:
    """A lot put elsewhere."""

    lot: str
    week: int
    day: date
    rack: str
    blocks: tuple[str, ...]
    where: str


@dataclass(frozen=True)
class DoneCount:
    """A count of a lot at the end of a week."""

    lot: str
    week: int
    day: date
    alive: int
    detached: int
    blocks: tuple[str, ...]
    where: str


@dataclass(frozen=True)
class DoneColony:
    """A colony counted (in its unit) or judged."""

    colony: str
    week: int
    day: date
    count: float | None
    condition: Literal["fit", "watch", "no cut"] | None
    where: str


@dataclass(frozen=True)
class DoneReading:
    """Light measured on a rack, PAR in µmol m-2 s-1: one number, or (A1, end of row A, start and end of the last row)."""

    rack: str
    week: int
    day: date
    par: tuple[float, ...]
    lamp_percent: float | None
    where: str


@dataclass(frozen=True)
class DonePlugs:
    """Plugs of a kind put into water."""

    plug_kind: str
    week: int
    day: date
    plugs: int


Done = DoneCut | DoneSale | DoneMove | DoneCount | DoneColony | DoneReading | DonePlugs


@dataclass(frozen=True)
class Happened:
    """Everything done in the weeks recorded, in order of weeks, and the sessions that were held."""

    done: tuple[Done, ...]
    sessions: tuple[str, ...]

    def of(self, week: int) -> tuple[Done, ...]:
        """What was done in a week."""
        return tuple(d for d in self.done if d.week == week)
