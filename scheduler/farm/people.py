"""People, absences, standing work and bench sessions."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time
from typing import ClassVar, Literal

from scheduler.farm.rows import Row, column

Day = date
"""The type of a day where a column is called ``date``."""

Weekday = Literal["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
WEEKDAYS: tuple[Weekday, ...] = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

MOUNT, TOXIC, PACK, CARE = "mount", "toxic", "pack", "care"
"""Skills with a meaning of their own; every cutting method is a skill too."""


class Person(Row):
    """Somebody who works on the farm."""

    SHEET: ClassVar[str] = "people"
    ABOUT: ClassVar[str] = (
        "People. Skills: each cutting method, mount, toxic (trained for toxic corals), pack, care (cleaning, counting, moving)."
    )
    KEY: ClassVar[tuple[str, ...]] = ("person",)

    person: str = column("name or initials", "Ada")
    skills: tuple[str, ...] = column("what the person does; separate with ;", "cutters;saw;mount;care")
    hours_per_week: float = column("paid hours a week", "38", ge=0, le=80)
    overtime_hours_per_week: float = column("most overtime a week, hours", "4", default=0.0, ge=0, le=40)


class Absence(Row):
    """Days a person is away."""

    SHEET: ClassVar[str] = "absences"
    ABOUT: ClassVar[str] = "Days somebody is away."
    KEY: ClassVar[tuple[str, ...]] = ("person", "from_date")
    LINKS: ClassVar[dict[str, str]] = {"person": "people"}

    person: str = column("who", "Ada")
    from_date: date = column("first day away", "2026-12-21")
    to_date: date = column("last day away", "2027-01-01")


class StandingWork(Row):
    """Work that is done every week, plan or no plan."""

    SHEET: ClassVar[str] = "standing"
    ABOUT: ClassVar[str] = "Standing work of every week: feeding, water changes, inspection. It comes before anything planned."
    KEY: ClassVar[tuple[str, ...]] = ("task",)

    task: str = column("what", "feeding")
    skill: Literal["care", "pack"] = column("skill it needs: care or pack", "care", default="care")
    minutes_per_week: float = column("minutes a week", "420", ge=0)


class Session(Row):
    """A bench session: dated, or a weekly pattern."""

    SHEET: ClassVar[str] = "sessions"
    ABOUT: ClassVar[str] = (
        "Bench sessions: a weekday repeats every week; a row with a date stands alone, or replaces the pattern of the same name that day."
    )
    KEY: ClassVar[tuple[str, ...]] = ("session", "date")
    LINKS: ClassVar[dict[str, str]] = {"people": "people"}

    session: str = column("name of the session", "Tue-morning")
    weekday: Weekday | None = column("day of the week it repeats on; or give a date", "Tue", default=None)
    date: Day | None = column("day of a single session", "2026-12-08", default=None)
    from_date: Day | None = column("first day of the pattern", "2026-11-30", default=None)
    to_date: Day | None = column("last day of the pattern", "2027-03-31", default=None)
    start: time = column("start, 24-hour clock", "08:30")
    minutes: float = column("length, minutes; 0 cancels it", "180", ge=0, le=720)
    people: tuple[str, ...] = column("who is there; separate with ;", "Ada;Ben")
    methods: tuple[str, ...] = column("cutting methods offered; separate with ;", "cutters;scalpel")


@dataclass(frozen=True)
class BenchSession:
    """One session on one day. ``id`` is its name and date; ``people`` are those present that day."""

    id: str
    name: str
    day: date
    week: int
    start: time
    minutes: float
    people: tuple[str, ...]
    methods: tuple[str, ...]
