"""Water systems, tanks, racks and light."""

from __future__ import annotations

from datetime import date
from functools import cached_property
from typing import ClassVar, Literal

from scheduler.farm.blocks import Position, parse_position
from scheduler.farm.rows import Row, column

Flow = Literal["low", "medium", "high"]


class WaterSystem(Row):
    """Tanks that share water."""

    SHEET: ClassVar[str] = "systems"
    ABOUT: ClassVar[str] = "Water systems: tanks that share water. Sessions work from the cleanest to quarantine."
    KEY: ClassVar[tuple[str, ...]] = ("system",)
    LINKS: ClassVar[dict[str, str]] = {"feeds": "systems"}

    system: str = column("name of the water system", "North")
    health_rank: int = column("order of work in a session: 1 is the cleanest, quarantine comes last", "1", ge=1)
    quarantined: bool = column("yes while the system is in quarantine", "no", default=False)
    release_date: date | None = column(
        "day quarantine ends; clean from the week that starts on or after it", "2026-12-20", default=None
    )
    hold_until: date | None = column("pests or illness: no cuts, moves out or sales before this day", "2026-12-05", default=None)
    max_fresh: int = column("most new frags mounted into this system in one week", "160", ge=0)
    feeds: tuple[str, ...] = column(
        "other systems whose water may take this system's fresh frags; separate with ;", "South", default=()
    )


class Tank(Row):
    """A tank."""

    SHEET: ClassVar[str] = "tanks"
    ABOUT: ClassVar[str] = "Tanks. A closed tank takes nothing new between its two dates."
    KEY: ClassVar[tuple[str, ...]] = ("tank",)
    LINKS: ClassVar[dict[str, str]] = {"system": "systems"}

    tank: str = column("name of the tank", "N1")
    system: str = column("its water system", "North")
    closed_from: date | None = column("first day it takes nothing new", "2027-02-01", default=None)
    closed_to: date | None = column("last day it takes nothing new; empty: until further notice", "2027-02-28", default=None)


class Rack(Row):
    """A rack: a grid of positions in one tank."""

    SHEET: ClassVar[str] = "racks"
    ABOUT: ClassVar[str] = "Racks: rows are lettered, columns numbered, A1 is the first corner."
    KEY: ClassVar[tuple[str, ...]] = ("rack",)
    LINKS: ClassVar[dict[str, str]] = {"tank": "tanks"}

    rack: str = column("name of the rack", "N1-a")
    tank: str = column("tank it stands in", "N1")
    rows: int = column("rows of positions", "8", ge=1, le=60)
    cols: int = column("columns of positions", "10", ge=1, le=60)
    pitch_mm: float = column("distance between neighbouring positions, mm", "30", gt=0)
    flow: Flow = column("water flow: low, medium or high", "medium")
    plug_kinds: tuple[str, ...] = column("kinds of plug its holes take; separate with ;", "small;large")
    blocked: tuple[str, ...] = column("positions that cannot be used; separate with ;", "A1;H10", default=())

    @cached_property
    def blocked_positions(self) -> frozenset[Position]:
        """Positions that hold nothing."""
        return frozenset(parse_position(text) for text in self.blocked)

    @cached_property
    def open_positions(self) -> tuple[Position, ...]:
        """Positions that are not blocked, in reading order."""
        return tuple((r, c) for r in range(self.rows) for c in range(self.cols) if (r, c) not in self.blocked_positions)


class LightReading(Row):
    """PAR on a rack from a date on."""

    SHEET: ClassVar[str] = "light"
    ABOUT: ClassVar[str] = "PAR on the racks: one reading, or four corners. A planned lamp change is a reading with a later date."
    KEY: ClassVar[tuple[str, ...]] = ("rack", "from_date")
    LINKS: ClassVar[dict[str, str]] = {"rack": "racks"}

    rack: str = column("rack", "N1-a")
    from_date: date = column("day measured, or day a planned lamp change begins", "2026-10-12")
    lamp_percent: float | None = column("lamp setting, percent", "70", default=None, ge=0, le=100)
    par_umol: float | None = column(
        "PAR of the whole rack, µmol m-2 s-1; or give all four corners", "180", default=None, gt=0, le=2500
    )
    par_first_row_first_col: float | None = column("PAR at A1, µmol m-2 s-1", "190", default=None, gt=0, le=2500)
    par_first_row_last_col: float | None = column("PAR at the end of row A, µmol m-2 s-1", "150", default=None, gt=0, le=2500)
    par_last_row_first_col: float | None = column(
        "PAR at the start of the last row, µmol m-2 s-1", "170", default=None, gt=0, le=2500
    )
    par_last_row_last_col: float | None = column(
        "PAR at the end of the last row, µmol m-2 s-1", "140", default=None, gt=0, le=2500
    )
    planned: bool = column("yes for a planned lamp change, no for a measurement", "no", default=False)

    @property
    def corners(self) -> tuple[float, float, float, float] | None:
        """PAR at (A1, end of row A, start of last row, end of last row), or ``None`` if neither form is complete."""
        four = (
            self.par_first_row_first_col,
            self.par_first_row_last_col,
            self.par_last_row_first_col,
            self.par_last_row_last_col,
        )
        if all(v is not None for v in four):
            return four  # type: ignore[return-value]
        if self.par_umol is not None and all(v is None for v in four):
            return (self.par_umol,) * 4
        return None
