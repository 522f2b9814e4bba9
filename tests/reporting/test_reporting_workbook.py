"""The workbook holds every sheet, the plan's numbers, no formula, and prints well."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest
from example import FORMULA, farm, plan
from openpyxl import Workbook, load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from scheduler.plan.model import Notice, Plan
from scheduler.plan.view import PlanView
from scheduler.reporting import all_tables, plan_schema, write_plan
from scheduler.reporting.tables.bench import session_views
from scheduler.reporting.workbook import build_workbook
from scheduler.reporting.workbook.bench import ONE_PAGE, session_title
from scheduler.reporting.workbook.page import sheet_name
from scheduler.reporting.workbook.racks import picture
from scheduler.sheets import workbook_bytes

AUDIT = "every rule holds"


def built(of: Plan) -> Workbook:
    book = build_workbook(PlanView(farm(), of), all_tables(farm(), of), AUDIT)
    return load_workbook(BytesIO(workbook_bytes(book)))


@pytest.fixture(scope="module")
def book() -> Workbook:
    return built(plan())


def texts(ws: Worksheet) -> list[str]:
    return [str(c.value) for row in ws.iter_rows() for c in row if c.value is not None]


def test_every_sheet_is_there(book: Workbook) -> None:
    assert book.sheetnames == [
        "week", "prepare Tue-morning 12-01", "Tue-morning 12-01", "prepare Thu-late 12-10", "Thu-late 12-10", "labels",
        "racks N1", "racks N2", "racks S1", "moves", "sell and pack", "orders", "weeks ahead", "rack use", "sellable", "why cut", "not cut",
        "what would help",
        "supplies", "count and measure", "record", "record keys", "cautions", "about",
    ]  # fmt: skip


def test_every_near_cut_is_on_exactly_one_session_sheet(book: Workbook) -> None:
    sessions = [texts(book[n]) for n in ("Tue-morning 12-01", "Thu-late 12-10")]
    for cut in plan().cuts:
        assert sum(s.count(cut.lot) for s in sessions) == (cut.session is not None)


def test_a_session_sheet_marks_water_changes_toxic_kit_and_rock(book: Workbook) -> None:
    tuesday, thursday = texts(book["Tue-morning 12-01"]), texts(book["Thu-late 12-10"])
    assert "change to South" in tuesday
    assert any(t.startswith("Kit for toxic corals") for t in tuesday)
    assert not any(t.startswith("Kit for toxic corals") for t in thursday)
    assert "N2, left shelf; cut in the tank, on rock" in thursday
    assert any(t.startswith("EMB-02 ") for t in tuesday)  # stands by


def test_no_cell_is_a_formula(book: Workbook) -> None:
    kinds = {c.data_type for ws in book for row in ws.iter_rows() for c in row}
    assert "f" not in kinds
    assert f"N1, {FORMULA}" in texts(book["Tue-morning 12-01"])
    assert FORMULA in texts(book["racks S1"])


def test_headline_numbers_are_the_plans(book: Workbook) -> None:
    rows = {r[0]: [v for v in r[1:] if v is not None] for r in book["week"].iter_rows(values_only=True) if r[0]}
    assert rows["colonies to cut"] == [4, 1]
    assert rows["pieces to cut and mount"] == [28, 9]
    assert rows["lots to move"] == [1, 0]


def test_weeks_ahead_add_up_to_the_plan(book: Workbook) -> None:
    rows = [r for r in book["weeks ahead"].iter_rows(values_only=True) if str(r[0]).startswith("20")]
    assert len(rows) == farm().weeks.count
    assert sum(int(str(r[3])) for r in rows) == sum(c.pieces for c in plan().cuts)


def test_rack_maps_agree_with_positions(book: Workbook) -> None:
    view = PlanView(farm(), plan())
    for rack in farm().racks:
        ws = book[f"racks {rack.tank}"]
        drawn = picture(view, rack, 1)
        head = next(
            c.row for row in ws.iter_rows(max_col=1) for c in row if str(c.value).startswith(f"{rack.rack}   end of 2026-W49")
        )
        top = head + 3  # heading, light, column numbers
        for r in range(rack.rows):
            for c in range(rack.cols):
                cell = ws.cell(top + r, c + 2)
                tag = drawn.tag((r, c))
                assert cell.value == tag if tag else len(str(cell.value)) == 1
                if tag and tag.startswith("+"):
                    assert cell.font.b


def test_kinds_differ_by_more_than_colour() -> None:
    view = PlanView(farm(), plan())
    drawn = {r.rack: picture(view, r, 1) for r in farm().racks}
    assert drawn["N1-a"].tag((0, 0)) == "x"
    assert drawn["N1-a"].tag((2, 0)) == "LN1"
    assert drawn["N1-a"].tag((5, 0)) == "+LN2"
    assert drawn["N2-a"].tag((3, 0)) == ">LN"
    assert drawn["N1-b"].tag((0, 8)) == "<LN"
    assert drawn["N2-a"].tag((0, 0)) == "M EM"
    assert drawn["N2-a"].tag((7, 9)) is None


def test_only_racks_that_change_are_drawn_again(book: Workbook) -> None:
    assert not any(t.startswith("N1-a   end of 2026-W50") for t in texts(book["racks N1"]))
    assert any(t.startswith("N2-a   end of 2026-W50") for t in texts(book["racks N2"]))


def test_sheets_print_one_page_wide_with_footers(book: Workbook) -> None:
    sessions = {sheet_name(Workbook(), session_title(s)): len(s.cuts) for s in session_views(farm(), plan())}
    assert len(sessions) == 2
    for ws in (ws for ws in book if ws.sheet_state == "visible"):
        assert ws.sheet_properties.pageSetUpPr.fitToPage, ws.title
        assert (ws.page_setup.fitToWidth, ws.page_setup.paperSize) == (1, 9)
        one = ws.title == "week" or (ws.title in sessions and sessions[ws.title] <= ONE_PAGE)
        two = "-morning" in ws.title or "-late" in ws.title  # a larger session and its preparation: two pages at most
        assert ws.page_setup.fitToHeight == (1 if one else 2 if two else 0)
        assert ws.oddFooter.left.text == "Reef && Bench"
        assert "&P" in ws.oddFooter.right.text
        assert "2026-W49" in ws.oddFooter.center.text
    for name in ("racks N1", "moves", "sell and pack", "not cut", "supplies", "cautions"):
        assert book[name].print_title_rows, name


def test_charts_are_native() -> None:
    book = build_workbook(PlanView(farm(), plan()), all_tables(farm(), plan()), AUDIT)
    assert [ws.title for ws in book if ws._charts] == ["rack use", "sellable"]


def test_about_names_book_audit_and_value(book: Workbook) -> None:
    found = texts(book["about"])
    assert AUDIT in found
    assert farm().fingerprint in found
    assert "251.3" in found  # order sales summed
    assert "237.1" in found


def test_many_notices_get_a_sheet_of_their_own() -> None:
    notices = tuple(Notice(kind="note", text=f"note {i}") for i in range(30))
    book = built(plan().model_copy(update={"notices": notices}))
    assert "note 29" in texts(book["notices"])


def test_a_plan_that_does_nothing_still_makes_a_workbook() -> None:
    empty = Plan(about=plan().about)
    book = built(empty)
    assert "Nothing leaves in the near weeks." in texts(book["sell and pack"])
    assert "no moves in the near weeks" in texts(book["moves"])


def test_sheet_names_are_short_clean_and_unique() -> None:
    book = Workbook()
    for wanted in ("a/b", "a:b", "x" * 40, "x" * 40, ""):
        book.create_sheet(sheet_name(book, wanted))
    assert book.sheetnames[1:] == ["a-b", "a-b (2)", "x" * 31, "x" * 27 + " (2)", "sheet (2)"]


def test_write_plan_writes_workbook_json_and_csv(tmp_path: Path) -> None:
    files = write_plan(farm(), plan(), tmp_path, AUDIT)
    folder = tmp_path / "2026-W49"
    assert folder / "weekly-plan-2026-W49.xlsx" in files
    assert Plan.model_validate_json((folder / "plan.json").read_text(encoding="utf-8")) == plan()
    assert {p.stem for p in (folder / "tables").iterdir()} == set(all_tables(farm(), plan()))
    assert all(p.is_file() for p in files)
    load_workbook(folder / "weekly-plan-2026-W49.xlsx")


def test_the_schema_describes_every_field_of_a_plan() -> None:
    schema = plan_schema()
    assert set(schema["properties"]) == set(Plan.model_fields)
