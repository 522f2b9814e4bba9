"""What the bench works with besides corals and people: routes of steps, dips, kinds of plugs."""

from __future__ import annotations

from datetime import date
from typing import ClassVar, Literal

from scheduler.farm.rows import Row, column

Step = Literal["label", "fetch", "cut", "mother back", "dip", "rinse", "mount", "dunk", "rack"]
Worker = Literal["cutter", "mounter", "either"]


class RouteStep(Row):
    """One step of the work on a colony of a group: who does it and which part of the standard minutes it takes.

    The steps share out the minutes of the groups table and add none, so the clock and the pay count the same minutes.
    """

    SHEET: ClassVar[str] = "routes"
    ABOUT: ClassVar[str] = (
        "Routes: the steps of work on a colony, in order, by group. The shares of each kind of minutes add up to 1 over a group's "
        "steps. Any step may be absent; a group without rows takes the usual route."
    )
    KEY: ClassVar[tuple[str, ...]] = ("group", "step")
    LINKS: ClassVar[dict[str, str]] = {"group": "groups"}

    group: str = column("group", "branching stony")
    place: int = column("place in the order of steps, from 1", "2", ge=1, le=20)
    step: Step = column("label, fetch, cut, mother back, dip, rinse, mount, dunk or rack", "fetch")
    worker: Worker = column("who does it: cutter, mounter, or either of the two", "cutter", default="cutter")
    of_colony: float = column("share of minutes_colony this step takes", "0.4", default=0.0, ge=0, le=1)
    of_cut: float = column("share of minutes_cut this step takes", "1", default=0.0, ge=0, le=1)
    of_mount: float = column("share of minutes_mount this step takes", "0.85", default=0.0, ge=0, le=1)
    of_label: float = column("share of label_minutes this step takes", "1", default=0.0, ge=0, le=1)


def _usual(place: int, step: Step, worker: Worker, **shares: float) -> RouteStep:
    return RouteStep(group="any", place=place, step=step, worker=worker, **shares)


USUAL_ROUTE = (
    _usual(1, "label", "mounter", of_label=1.0),
    _usual(2, "fetch", "cutter", of_colony=0.4),
    _usual(3, "cut", "cutter", of_colony=0.2, of_cut=1.0),
    _usual(4, "mother back", "cutter", of_colony=0.2),
    _usual(5, "dip", "cutter"),
    _usual(6, "rinse", "either", of_colony=0.2),
    _usual(7, "mount", "mounter", of_mount=0.85),
    _usual(8, "dunk", "mounter", of_mount=0.05),
    _usual(9, "rack", "mounter", of_mount=0.1),
)
"""The route of a group without rows of its own (common practice, no source; the shares are a farm choice)."""


class Dip(Row):
    """A dip other than iodine, by its substance."""

    SHEET: ClassVar[str] = "dips"
    ABOUT: ClassVar[str] = (
        "Dips other than iodine, named by their substance, with the dose the label or a vet gives. Iodine is in the settings."
    )
    KEY: ClassVar[tuple[str, ...]] = ("dip",)

    dip: str = column("substance, as written in the column dip of groups and strains", "potassium chloride")
    dose_per_litre: float = column("dose per litre of the system's water, in the unit beside it", "2.5", gt=0)
    unit: Literal["mL", "g", "drops"] = column("unit of the dose: mL, g or drops", "g")
    note: str = column("where the dose comes from, what to watch", "farm's vet", default="")


class PlugKind(Row):
    """A kind of plug that has to stand in water before it can be used."""

    SHEET: ClassVar[str] = "plugs"
    ABOUT: ClassVar[str] = (
        "Kinds of plugs that must stand in water for days before use, and how many stand there now. Kinds without a row only soak."
    )
    KEY: ClassVar[tuple[str, ...]] = ("plug_kind", "in_water_from")

    plug_kind: str = column("kind of plug", "large")
    condition_days: int = column("days in the system's water before it may carry a frag", "14", ge=0, le=365)
    in_water: int = column("plugs put into water on that day and not used yet", "60", default=0, ge=0)
    in_water_from: date | None = column("day they went into water", "2026-11-09", default=None)
