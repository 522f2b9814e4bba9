"""Weeks: ISO weeks (ISO 8601) counted from the week of ``plan_monday``, which is week 1."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property


def monday_of(day: date) -> date:
    """The Monday that begins the ISO week of ``day``."""
    return day - timedelta(days=day.weekday())


def next_monday(day: date) -> date:
    """The first Monday after ``day`` (never ``day`` itself)."""
    return monday_of(day) + timedelta(days=7)


def iso_label(day: date) -> str:
    """``2026-W53`` for any day of that ISO week."""
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def month_of_week(monday: date) -> tuple[int, int]:
    """(year, month) a week belongs to: the month of its Thursday."""
    thursday = monday + timedelta(days=3)
    return thursday.year, thursday.month


@dataclass(frozen=True)
class Weeks:
    """The horizon. Week numbers run from 1; days before the plan fall in weeks 0, -1, ..."""

    plan_monday: date
    count: int
    near: int

    def __post_init__(self) -> None:
        if self.plan_monday.weekday() != 0:
            raise ValueError(f"plan_monday {self.plan_monday} is not a Monday")

    @property
    def all(self) -> range:
        """Weeks 1..count."""
        return range(1, self.count + 1)

    @property
    def near_weeks(self) -> range:
        """The weeks planned to session, person and position."""
        return range(1, min(self.near, self.count) + 1)

    @property
    def later_weeks(self) -> range:
        """The weeks planned to light zone and whole pieces."""
        return range(min(self.near, self.count) + 1, self.count + 1)

    def monday(self, week: int) -> date:
        """Monday of a week; any whole number is allowed."""
        return self.plan_monday + timedelta(weeks=week - 1)

    def days(self, week: int) -> tuple[date, ...]:
        """The seven days of a week."""
        monday = self.monday(week)
        return tuple(monday + timedelta(days=i) for i in range(7))

    def week_of(self, day: date) -> int:
        """The week a day falls in; 0 and below are before the plan."""
        return (day - self.plan_monday).days // 7 + 1

    def label(self, week: int) -> str:
        """ISO label such as ``2026-W49``."""
        return iso_label(self.monday(week))

    def month(self, week: int) -> tuple[int, int]:
        """(year, month) of a week."""
        return month_of_week(self.monday(week))

    @cached_property
    def months(self) -> tuple[tuple[int, int], ...]:
        """Months of the horizon in order."""
        return tuple(dict.fromkeys(self.month(w) for w in self.all))

    def weeks_in_month(self, month: tuple[int, int]) -> int:
        """How many ISO weeks (4 or 5) belong to a calendar month, inside the horizon or not."""
        year, number = month
        first = date(year, number, 1)
        after = date(year + number // 12, number % 12 + 1, 1)
        monday = monday_of(first)
        found = 0
        while monday < after:
            found += month_of_week(monday) == month
            monday += timedelta(days=7)
        return found

    def planned_in_month(self, month: tuple[int, int]) -> int:
        """How many weeks of that month lie inside the horizon."""
        return sum(self.month(w) == month for w in self.all)
