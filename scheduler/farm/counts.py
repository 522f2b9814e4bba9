"""What was counted and measured: counts of lots, lots that have left the racks, and what past cuts really gave."""

from __future__ import annotations

from datetime import date
from typing import ClassVar

from pydantic import BaseModel, ConfigDict, Field

from scheduler.farm.rows import Row, column

Day = date
"""The type of a day where a column is called ``date``."""


class Count(Row):
    """One count of a lot. Deaths are what is missing: alive at the count before, less alive, detached and sold."""

    SHEET: ClassVar[str] = "counts"
    ABOUT: ClassVar[str] = "Counts of lots, on racks or past. The first interval of a lot begins with the plugs mounted."
    KEY: ClassVar[tuple[str, ...]] = ("lot", "date")

    lot: str = column("label code of a lot in lots or past_lots", "LN-2639a")
    date: Day = column("day of the count", "2026-10-19")
    alive: int = column("plugs on the rack with a living frag", "17", ge=0)
    detached: int = column("frags that came off their plug since the count before", "1", default=0, ge=0)
    sold: int = column("frags sold or taken away alive since the count before", "0", default=0, ge=0)
    size_mm: float | None = column("mean size of the frags, mm, if measured", "33", default=None, gt=0, le=1000)


class PastLot(Row):
    """A lot that is no longer on the racks; its counts still teach."""

    SHEET: ClassVar[str] = "past_lots"
    ABOUT: ClassVar[str] = "Lots no longer on racks whose counts are kept to learn from."
    KEY: ClassVar[tuple[str, ...]] = ("lot",)
    LINKS: ClassVar[dict[str, str]] = {"strain": "strains", "tank": "tanks"}

    lot: str = column("label code of the lot", "LN-2539a")
    strain: str = column("its strain", "LAN")
    cut_date: date = column("day it was cut", "2025-09-22")
    started: int = column("plugs mounted that day", "18", ge=1)
    tank: str | None = column("tank it stood in", "N1", default=None)
    par_umol: float | None = column(
        "mean PAR where it stood, µmol m-2 s-1; without it its sizes are not used", "220", default=None, gt=0, le=2500
    )


class PastCut(Row):
    """What a colony really gave, and the minutes it really took."""

    SHEET: ClassVar[str] = "past_cuts"
    ABOUT: ClassVar[str] = "Past cuts: pieces and minutes against what was planned."
    KEY: ClassVar[tuple[str, ...]] = ("colony", "date")
    LINKS: ClassVar[dict[str, str]] = {"strain": "strains"}

    colony: str = column("mother colony, also one that is gone", "LAN-02")
    date: Day = column("day of the cut", "2026-09-14")
    strain: str = column("its strain", "LAN")
    pieces_planned: int = column("pieces planned", "18", ge=1)
    pieces_got: int = column("pieces really cut and mounted; 0 if the colony was left uncut", "17", ge=0)
    minutes_cutting: float | None = column("minutes used to fetch, set up, dip and cut it", "19", default=None, ge=0)
    minutes_mounting: float | None = column("minutes used to glue and label its pieces", "26", default=None, ge=0)
    on_rock: bool = column("yes if it was cut on its rock", "no", default=False)


class LotPace(BaseModel):
    """How fast the frags of a lot on racks grow, as its measured sizes have taught: no row of the book."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    lot: str = Field(description="label code of a lot on racks")
    growth: float = Field(gt=0, le=100, description="growth of its frags as a share of what its strain and light expect")
