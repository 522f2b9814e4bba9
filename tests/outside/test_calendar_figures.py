"""Weeks against published examples of ISO 8601 and the count of long years."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from scheduler.farm.weeks import Weeks, iso_label, monday_of, month_of_week, next_monday

# ISO 8601 week dates: examples of the standard's turn of the year; recomputed by brute force.
ISO_DATES = {
    "1995-01-21": "1995-W03", "1996-12-30": "1997-W01", "1997-01-05": "1997-W01", "2000-01-02": "1999-W52",
    "2005-01-01": "2004-W53", "2005-01-02": "2004-W53", "2006-12-31": "2006-W52", "2007-12-31": "2008-W01",
    "2008-12-29": "2009-W01", "2009-12-31": "2009-W53", "2010-01-03": "2009-W53", "2012-12-31": "2013-W01",
    "2015-01-01": "2015-W01", "2016-01-03": "2015-W53", "2019-12-30": "2020-W01", "2020-12-31": "2020-W53",
    "2021-01-03": "2020-W53", "2021-01-04": "2021-W01", "2022-12-31": "2022-W52", "2024-12-30": "2025-W01",
    "2026-12-31": "2026-W53", "2027-01-03": "2026-W53", "2032-12-31": "2032-W53",
}  # fmt: skip
# ISO 8601: years of 53 weeks; 71 in any 400 years.
LONG_YEARS = [2004, 2009, 2015, 2020, 2026, 2032, 2037]


@pytest.mark.parametrize(("day", "label"), ISO_DATES.items())
def test_the_label_of_a_day_is_its_iso_week(day: str, label: str) -> None:
    assert iso_label(date.fromisoformat(day)) == label
    monday = monday_of(date.fromisoformat(day))
    assert Weeks(monday, 4, 1).label(1) == label


def test_years_of_53_weeks() -> None:
    def weeks_of(year: int) -> int:
        return int(iso_label(date(year, 12, 28))[-2:])

    assert [y for y in range(2000, 2041) if weeks_of(y) == 53] == LONG_YEARS
    assert sum(weeks_of(y) == 53 for y in range(2000, 2400)) == 71


def test_a_horizon_over_the_turn_of_a_long_year_counts_every_week_once() -> None:
    weeks = Weeks(date(2026, 12, 14), 6, 2)
    labels = [weeks.label(w) for w in weeks.all]
    assert labels == ["2026-W51", "2026-W52", "2026-W53", "2027-W01", "2027-W02", "2027-W03"]


def test_a_week_belongs_to_the_month_of_its_thursday_and_every_month_has_four_or_five() -> None:
    weeks = Weeks(date(2025, 12, 29), 104, 2)
    assert month_of_week(date(2025, 12, 29)) == (2026, 1)
    counted = {m: weeks.planned_in_month(m) for m in weeks.months}
    assert sum(counted.values()) == 104
    for month in weeks.months:
        assert weeks.weeks_in_month(month) in (4, 5)
        assert counted[month] <= weeks.weeks_in_month(month)
    # 2026 has 53 weeks: by the rule of Thursdays they all fall into its twelve months.
    assert sum(weeks.weeks_in_month((2026, m)) for m in range(1, 13)) == 53
    assert sum(weeks.weeks_in_month((2027, m)) for m in range(1, 13)) == 52


def test_the_first_monday_after_a_day_is_never_that_day() -> None:
    for offset in range(7):
        day = date(2026, 11, 30) + timedelta(days=offset)
        assert next_monday(day) == date(2026, 12, 7)
