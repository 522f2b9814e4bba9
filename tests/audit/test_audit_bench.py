"""S1 to S4: hours, methods, water and hazard."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from small_farm import FIRST, N1A, Q1A, S1A, SECOND, audited, broken, changed, cut, sale, small_farm, small_plan, stand, with_row

from scheduler.farm.farm import Farm
from scheduler.farm.people import StandingWork
from scheduler.plan.model import Overtime

FARM = small_farm()
PLAN = small_plan(FARM)


# Week 1, Ada cuts: 2 x 6 + 18 = 30 minutes; Ben mounts 18 x 1.5 = 27. Week 2, Ada the same, one change of 15 minutes.
@pytest.mark.parametrize(("length", "rule"), [(180.0, set()), (71.0, set()), (70.0, {"S1"}), (40.0, {"S1"})])
def test_s1_bench_hours_in_near_weeks(length: float, rule: set[str]) -> None:
    assert broken(changed(FARM, "sessions", minutes=length), PLAN) == rule


def test_s1_a_person_at_the_very_limit_of_a_session() -> None:
    full = changed(changed(FARM, "settings", bench_fill=1.0), "sessions", minutes=65.0)
    assert broken(full, PLAN) == set()
    report = audited(changed(full, "sessions", minutes=64.9), PLAN)
    assert [b.things for b in report.breaches] == [(SECOND, "Ada")]
    assert "30.00 minutes of work" in report.breaches[0].text


# Week 4: cutting 6 + 10 = 16 minutes and mounting 15; Ada and Ben have both skills.
# Each offers 160 x fill: 31 minutes of work need a fill of 31 / 320 = 0.096875, shared between them.
@pytest.mark.parametrize(("fill", "rule"), [(0.85, set()), (0.0969, set()), (0.0966, {"S1"}), (0.05, {"S1"})])
def test_s1_bench_hours_in_later_weeks(fill: float, rule: set[str]) -> None:
    later = {
        "cuts": tuple(c for c in PLAN.cuts if c.lot == "LA"), "stands": tuple(s for s in PLAN.stands if s.lot == "LA"), "sales": (),
    }  # fmt: skip
    assert broken(changed(FARM, "settings", bench_fill=fill), PLAN, **later) == rule


def test_s1_later_weeks_need_the_method_and_the_skill() -> None:
    later = {
        "cuts": tuple(c for c in PLAN.cuts if c.lot == "LA"), "stands": tuple(s for s in PLAN.stands if s.lot == "LA"), "sales": (),
    }  # fmt: skip
    assert broken(FARM, PLAN, **later) == set()
    assert broken(changed(FARM, "sessions", methods=("scalpel",)), PLAN, **later) == {"S1"}
    assert broken(changed(FARM, "people", skills=("cutters", "care")), PLAN, **later) == {"S1"}
    toxic = changed(FARM, "strains", "AAA", toxic=True)
    assert broken(toxic, PLAN, **later) == set()
    assert broken(changed(toxic, "people", skills=("cutters", "mount", "care")), PLAN, **later) == {"S1"}


def busy(minutes: float, skill: str = "care") -> Farm:
    """The farm with standing work; Ada and Ben offer 420 minutes each outside sessions, Ada 120 of overtime."""
    work = StandingWork(task="feeding", skill=skill, minutes_per_week=minutes)  # type: ignore[arg-type]
    return replace(FARM, standing=(work,))


def test_s1_hours_outside_sessions_need_overtime_or_do_not_fit() -> None:
    assert broken(busy(700.0), PLAN) == set()
    stretched = audited(busy(800.0), PLAN)
    assert stretched.rules == set()
    assert any(line.subject == "overtime" for line in stretched.lines)
    assert broken(busy(905.0), PLAN) == {"S1"}


def test_s1_where_standing_work_does_not_fit_nothing_is_added() -> None:
    idle: dict[str, Any] = {"cuts": (), "stands": (), "sales": ()}
    assert broken(busy(2000.0), PLAN, **idle) == set()
    assert broken(busy(2000.0), PLAN) == {"S1"}
    assert broken(busy(2000.0), PLAN, **(idle | {"sales": (sale("OB", 3, 2, "clear", "large"),)})) == {"S1"}


def test_s1_packing_needs_people_who_pack() -> None:
    assert broken(changed(FARM, "people", "Ada", skills=("cutters", "scalpel", "mount", "toxic", "care")), PLAN) == {"S1"}


def test_s1_overtime_is_what_it_takes() -> None:
    assert broken(FARM, PLAN, overtime=(Overtime(week=3, minutes=Decimal("0.04")),)) == set()
    assert broken(FARM, PLAN, overtime=(Overtime(week=3, minutes=Decimal("0.06")),)) == {"S1"}
    assert broken(busy(800.0), PLAN, overtime=()) == {"S1"}


def test_s2_method_and_people() -> None:
    assert broken(changed(FARM, "sessions", methods=("cutters",)), PLAN) == {"S2"}
    assert broken(FARM, PLAN, cuts=with_row(PLAN.cuts, "NZ", cutter="Ben")) == {"S2"}
    assert broken(FARM, PLAN, cuts=with_row(PLAN.cuts, "NA", cutter="Ben", mounter="Ada")) == set()
    assert broken(changed(FARM, "people", "Ben", skills=("cutters", "toxic", "care")), PLAN) == {"S2"}
    assert "S2" in broken(changed(FARM, "sessions", people=("Ada",)), PLAN)


def test_s3_ranks_never_fall_and_quarantine_comes_last() -> None:
    swapped = with_row(with_row(PLAN.cuts, "NB", run_order=2), "NQ", run_order=1)
    assert broken(FARM, PLAN, cuts=swapped) == {"S3"}
    extra = (*PLAN.cuts, cut("NC", "A2", "AAA", 2, 5, 3))
    extra = with_row(extra, "LA", colony="A1", week=5)
    stands = with_row(PLAN.stands, "LA", week=5)
    stands = (*stands, stand("NC", 2, N1A, "N1-a", "G1:G5"))
    assert broken(FARM, PLAN, cuts=extra, stands=stands) == {"S3"}
    ordered = with_row(with_row(with_row(extra, "NC", run_order=1), "NB", run_order=2), "NQ", run_order=3)
    assert broken(FARM, PLAN, cuts=ordered, stands=stands) == set()
    fallen = with_row(with_row(with_row(extra, "NC", run_order=2), "NB", run_order=1), "NQ", run_order=3)
    assert broken(FARM, PLAN, cuts=fallen, stands=stands) == {"S3"}
    assert broken(FARM, PLAN, cuts=with_row(PLAN.cuts, "NQ", run_order=1)) == {"S3"}


def test_s3_at_most_one_quarantined_system_a_session() -> None:
    assert "S3" in broken(changed(FARM, "systems", "South", quarantined=True), PLAN)


def test_s3_nothing_leaves_quarantine_before_release() -> None:
    assert broken(FARM, PLAN, sales=(*PLAN.sales, sale("OQ", 5, 2))) == {"S3"}
    assert broken(FARM, PLAN, sales=(*PLAN.sales, sale("OQ", 5, 2, "clear", "large"))) == {"S3"}
    assert broken(FARM, PLAN, sales=(*PLAN.sales, sale("OQ", 6, 2))) == set()
    assert broken(FARM, PLAN, stands=(*PLAN.stands, stand("OQ", 5, N1A, pieces=10))) == {"S3"}
    assert broken(FARM, PLAN, stands=(*PLAN.stands, stand("OQ", 6, N1A, pieces=10))) == set()
    endless = changed(FARM, "systems", "Quay", release_date=None)
    assert broken(endless, PLAN, stands=(*PLAN.stands, stand("OQ", 8, N1A, pieces=10))) == {"S3"}


def test_s3_fresh_frags_stay_in_quarantine() -> None:
    fed = changed(FARM, "systems", "Quay", feeds=("South",))
    stands = tuple(stand("NQ", 2, S1A, "S1-a", "G1:G8") if s.lot == "NQ" else s for s in PLAN.stands)
    assert broken(fed, PLAN, stands=stands) == {"S3"}
    assert Q1A in {s.zone for s in PLAN.stands}


@pytest.mark.parametrize(
    ("until", "rule"), [(date(2026, 11, 30), set()), (date(2026, 12, 1), {"S3"}), (date(2027, 3, 1), {"S3"})]
)
def test_s3_holds(until: date, rule: set[str]) -> None:
    assert broken(changed(FARM, "systems", "North", hold_until=until), PLAN) == rule


def test_s4_toxic_cuts_come_last() -> None:
    cuts = with_row(with_row(PLAN.cuts, "NZ", run_order=1), "NA", run_order=2)
    report = audited(FARM, PLAN, cuts=cuts)
    assert report.rules == {"S4"}
    assert report.breaches[0].things == (FIRST, "NA")


def test_s4_no_toxic_cut_from_a_clean_system_beside_quarantined_work() -> None:
    farm = changed(FARM, "strains", "BBB", toxic=True)
    assert broken(farm, PLAN) == {"S4"}
    without = {"cuts": tuple(c for c in PLAN.cuts if c.lot != "NQ"), "stands": tuple(s for s in PLAN.stands if s.lot != "NQ")}
    assert broken(farm, PLAN, **without) == set()


def test_s4_trained_people() -> None:
    assert broken(changed(FARM, "people", "Ben", skills=("cutters", "mount", "care")), PLAN) == {"S4"}
    ada = ("cutters", "scalpel", "mount", "pack", "care")
    assert broken(changed(FARM, "people", "Ada", skills=ada), PLAN) == {"S4"}
