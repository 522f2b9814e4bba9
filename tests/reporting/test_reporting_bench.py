"""Session sheets with clock times, preparation, labels, the time chart, and their tables."""

from __future__ import annotations

from functools import cache
from io import BytesIO

import pytest
from example import THURSDAY, TUESDAY, farm, plan
from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.planning.bench_day import schedule_sessions, with_bench
from scheduler.reporting import all_tables
from scheduler.reporting.tables.clock import lot_clock, person_entries, session_tasks
from scheduler.reporting.workbook import build_workbook
from scheduler.reporting.workbook.bench import ALARM
from scheduler.sheets import workbook_bytes
from scheduler.solving import Limits


@cache
def timed() -> Plan:
    return with_bench(plan(), schedule_sessions(farm(), plan(), Limits(deterministic=1, seed=1)))


@pytest.fixture(scope="module")
def book() -> Workbook:
    found = build_workbook(PlanView(farm(), timed()), all_tables(farm(), timed()), "every rule holds")
    return load_workbook(BytesIO(workbook_bytes(found)))


def texts(ws: Worksheet) -> list[str]:
    return [str(c.value) for row in ws.iter_rows() for c in row if c.value is not None]


def test_a_session_has_its_preparation_its_sheet_and_its_chart(book: Workbook) -> None:
    names = book.sheetnames
    for name in ("Tue-morning 12-01", "Thu-late 12-10"):
        at = names.index(name)
        assert names[at - 1 : at + 2] == [f"prepare {name}", name, f"chart {name}"]
    assert "labels" in names


def test_only_baths_carry_an_alarm(book: Workbook) -> None:
    cells = [c for c in texts(book["Tue-morning 12-01"]) if c.startswith(f"{ALARM} ")]
    dips = [t for t in session_tasks(timed(), TUESDAY) if t.steps == ("dip",)]
    assert len(cells) == 2 * len(dips)  # once in the cut list, once in somebody's list
    assert len(dips) == 4


def test_everybody_finds_all_of_their_work_once(book: Workbook) -> None:
    sheet = texts(book["Tue-morning 12-01"])
    for person in ("Ada", "Ben"):
        for entry in person_entries(farm(), timed(), TUESDAY, person):
            assert any(cell.startswith(entry.what) for cell in sheet), entry
    mounted = [e.what for p in ("Ada", "Ben") for e in person_entries(farm(), timed(), TUESDAY, p) if e.what.startswith("mount ")]
    for cut in timed().cuts:
        if cut.session == TUESDAY:
            assert sum(int(w.rsplit(" ", 1)[1]) for w in mounted if w.startswith(f"mount {cut.lot}:")) == cut.pieces


def test_a_colony_on_rock_is_cut_in_the_tank_and_its_mother_is_not_dipped() -> None:
    tasks = session_tasks(timed(), THURSDAY)
    assert not any(t.steps == ("mother dip",) for t in tasks)
    assert any("mother back" in t.steps and "cut" in t.steps for t in tasks)


def test_the_chart_is_native_and_adds_up(book: Workbook) -> None:
    ws = book["chart Tue-morning 12-01"]
    assert len(ws._charts) == 1
    rows = [r for r in ws.iter_rows(values_only=True) if isinstance(r[3], float | int) or hasattr(r[3], "hour")]
    assert len(rows) == 4
    for cut in timed().cuts:
        clock = lot_clock(farm(), cut, session_tasks(timed(), TUESDAY))
        if clock is not None:
            assert clock.cut < clock.cut_end <= (clock.out or clock.cut_end) <= clock.mount < clock.racked  # type: ignore[operator]


def test_preparation_says_dose_codes_and_cautions_for_what_is_there(book: Workbook) -> None:
    tuesday, thursday = texts(book["prepare Tue-morning 12-01"]), texts(book["prepare Thu-late 12-10"])
    assert any("4.0 L (1.06 US gal): 2.1 mL (about 42 drops)" in t for t in tuesday)
    assert {"LN", "EM", "DU", "MO"} <= set(tuesday)
    assert "palytoxin" in tuesday
    assert "palytoxin" not in thursday
    assert "not enough: order" in tuesday or "plug small" in tuesday
    assert any(t.startswith("These notes do not replace") for t in thursday)


def test_every_plug_has_its_label(book: Workbook) -> None:
    sheet = texts(book["labels"])
    assert sheet.count("LN") == 12 + 9
    assert sheet.count("DU") == 5
    assert any(t.startswith("MO-2649a") for t in sheet)


def test_tables_of_the_bench() -> None:
    tables = all_tables(farm(), timed())
    assert len(tables["clock"].rows) == len(timed().bench)
    assert tables["session_clocks"].column("session") == (TUESDAY, THURSDAY)
    assert sum(int(str(n)) for n in tables["labels"].column("labels")) == 37
    assert set(tables["dip_baths"].column("dip")) == {"iodine"}
    left = [v for item, v in tables["bench_supplies"].pick("item", "stock_after") if item == "plug small"]
    assert left == [0, -9]  # 20 in stock; 20 and 9 small plugs
    assert tables["plugs_into_water"].rows == ()


def test_a_plan_without_clock_times_still_prints() -> None:
    found = build_workbook(PlanView(farm(), plan()), all_tables(farm(), plan()), "")
    assert not any(name.startswith("chart ") for name in found.sheetnames)
    assert "By the clock" not in texts(found["Tue-morning 12-01"])
