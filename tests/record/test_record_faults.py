"""Everything that does not fit is named with its cell, and nothing is written."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook
from openpyxl.utils import get_column_letter

from scheduler.errors import RecordError
from scheduler.record import read_filled, record
from scheduler.record.layout import COLUMNS
from tests.audit.small_farm import changed, small_farm
from tests.record.filling import Cells, blank, fill, filled, rows
from tests.record.test_record_done import FIRST, MOVES, PLAN, SECOND, SHIP, STOCKED, WEEK_1, WEEK_2

MORE = f"{FIRST} more 1"
EXCEPT: Cells = {(FIRST, "mark"): "except"}
SALE = "sale 2026-W50 OA order one small"
COUNT = "counts 2026-W49 more 1"


def settle(folder: Path, cells: Cells, weeks: int = 1, **more: Any) -> list[str]:
    """The points that have to be settled, as text."""
    with pytest.raises(RecordError) as error:
        record(STOCKED, filled(STOCKED, PLAN, folder, cells), weeks=weeks, **more)
    return [str(f) for f in error.value.faults]


LIGHT, LIGHT_2 = "light 2026-W49 more 1", "light 2026-W49 more 2"

FAULTS: list[tuple[Cells, tuple[str, str], tuple[str, ...]]] = [
    ({(FIRST, "mark"): "as plannd"}, (FIRST, "mark"), ("did you mean as planned?",)),
    (EXCEPT, (FIRST, "mark"), ("no row below differs",)),
    ({("cut NA", "pieces"): 9}, (FIRST, "mark"), ("no mark for bench",)),
    (WEEK_1 | {("cut NA", "pieces"): 9}, ("cut NA", "pieces"), ("marked 'as planned'", "except")),
    ({(FIRST, "mark"): "not done", ("cut NA", "lost"): 1}, ("cut NA", "lost"), ("marked 'not done'",)),
    (EXCEPT | {("cut NA", "lost"): 13}, ("cut NA", "lost"), ("13 not mounted", "at most the 12")),
    (EXCEPT | {("cut NA", "pieces"): "9,5"}, ("cut NA", "pieces"), ("decimal point",)),
    (EXCEPT | {("cut NA", "pieces"): 9.5}, ("cut NA", "pieces"), ("whole number",)),
    (EXCEPT | {("cut NA", "pieces"): -1}, ("cut NA", "pieces"), ("from 0 up",)),
    (EXCEPT | {("cut NA", "pieces"): "a dozen"}, ("cut NA", "pieces"), ("note",)),
    (EXCEPT | {("cut NA", "pieces"): 14}, ("cut NA", "pieces"), ("blocks for 12 plugs", "14 plugs")),
    (EXCEPT | {("cut NA", "rack"): "N1-b"}, ("cut NA", "rack"), ("without blocks",)),
    (EXCEPT | {("cut NA", "rack"): "N1-x", ("cut NA", "blocks"): "A1:B6"}, ("cut NA", "pieces"), ("rack 'N1-x'", "did you mean N1-")),
    (EXCEPT | {("cut NA", "blocks"): "A to B"}, ("cut NA", "pieces"), ("is not a block",)),
    (EXCEPT | {("cut NA", "blocks"): "A1:B6"}, ("cut NA", "pieces"), ("held by lot OA",)),
    (EXCEPT | {("cut NA", "blocks"): "A9:A10; F1:F10"}, ("cut NA", "pieces"), ("A10", "blocked")),
    (EXCEPT | {("cut NA", "blocks"): "H5:H16"}, ("cut NA", "pieces"), ("outside the rack",)),
    (EXCEPT | {("cut NA", "rack"): "N1-b", ("cut NA", "blocks"): "H1:H10; G1:G2"}, ("cut NA", "pieces"), ("held by colony A2",)),
    (EXCEPT | {("cut NA", "pieces"): 70, ("cut NA", "lost"): 60}, ("cut NA", "pieces"), ("which had about 60", "--accept record!G")),
    (EXCEPT | {(MORE, "name"): "B9", (MORE, "lot"): "X1", (MORE, "pieces"): 3, (MORE, "rack"): "S1-a", (MORE, "blocks"): "E1:E3"},
     (MORE, "pieces"), ("colony 'B9'", "did you mean B1?")),
    (EXCEPT | {(MORE, "name"): "B1", (MORE, "pieces"): 3}, (MORE, ""), ("without a lot",)),
    (EXCEPT | {(MORE, "name"): "B1", (MORE, "lot"): "OA", (MORE, "pieces"): 3, (MORE, "rack"): "S1-a", (MORE, "blocks"): "E1:E3"},
     (MORE, "pieces"), ("lot 'OA' for new frags",)),
    (EXCEPT | {(MORE, "name"): "A1", (MORE, "lot"): "X1", (MORE, "pieces"): 3, (MORE, "rack"): "N1-a", (MORE, "blocks"): "H1:H3"},
     (MORE, "pieces"), ("A1 cut twice",)),
    (EXCEPT | {(MORE, "lot"): "X1"}, (MORE, ""), ("a cut of no colony",)),
    (WEEK_1 | {(COUNT, "lot"): "OA", (COUNT, "counted"): 11}, (COUNT, "counted"), ("11 alive", "at most the 10")),
    (WEEK_1 | {(COUNT, "lot"): "OA", (COUNT, "counted"): 9, (COUNT, "lost"): 2}, (COUNT, "counted"), ("together at most",)),
    (WEEK_1 | {(COUNT, "lot"): "OA", (COUNT, "lost"): 2}, (COUNT, "lost"), ("without the frags alive",)),
    (WEEK_1 | {(COUNT, "lot"): "OX", (COUNT, "counted"): 2}, (COUNT, "counted"), ("lot 'OX'", "did you mean O")),
    (WEEK_1 | {(COUNT, "lot"): "OA", (COUNT, "counted"): 9, (COUNT, "blocks"): "A1:B4"}, (COUNT, "counted"), ("blocks for 8",)),
    (WEEK_1 | {("colonies 2026-W49 more 1", "name"): "L1"}, ("colonies 2026-W49 more 1", ""), ("half filled",)),
    (WEEK_1 | {("colonies 2026-W49 more 1", "name"): "L1", ("colonies 2026-W49 more 1", "mark"): "poorly"},
     ("colonies 2026-W49 more 1", "mark"), ("fit, watch, no cut",)),
    (WEEK_1 | {(LIGHT, "pieces"): 200}, (LIGHT, ""), ("without a rack",)),
    (WEEK_1 | {(LIGHT, "name"): "N1-x", (LIGHT, "pieces"): 200}, (LIGHT, "pieces"), ("rack 'N1-x'", "did you mean N1-")),
    (WEEK_1 | {(LIGHT, "name"): "N1-a", (LIGHT, "pieces"): 200, (LIGHT, "lost"): 190}, (LIGHT, "pieces"), ("half filled", "four corners")),
    (WEEK_1 | {(LIGHT, "name"): "N1-a", (LIGHT, "minutes_mounting"): 70}, (LIGHT, "minutes_mounting"), ("half filled",)),
    (WEEK_1 | {(LIGHT, "name"): "N1-a", (LIGHT, "pieces"): 0}, (LIGHT, "pieces"), ("PAR above 0",)),
    (WEEK_1 | {(LIGHT, "name"): "N1-a", (LIGHT, "pieces"): 20}, (LIGHT, "pieces"), ("PAR 20 on N1-a", "the 200 of", "--accept record!G")),
    (WEEK_1 | {(LIGHT, "name"): "N1-a", (LIGHT, "counted"): "bright"}, (LIGHT, "counted"), ("half filled",)),
    (WEEK_1 | {(LIGHT, "name"): "N1-a", (LIGHT, "pieces"): 200, (LIGHT_2, "name"): "N1-a", (LIGHT_2, "pieces"): 210},
     (LIGHT_2, "pieces"), ("measured twice",)),
    (WEEK_1 | {(FIRST, "pieces"): 3}, (FIRST, "pieces"), ("nothing in this column",)),
    (WEEK_1 | {(SECOND, "mark"): "as planned"}, (SECOND, "mark"), ("--weeks 2",)),
    (WEEK_1 | {("cut NA", "planned"): 10}, ("cut NA", "planned"), ("'12' as planned", "to the right")),
    (EXCEPT | {("cut NA", "pieces"): True}, ("cut NA", "pieces"), ("a number",)),
]  # fmt: skip


@pytest.mark.parametrize(("cells", "at", "words"), FAULTS, ids=range(len(FAULTS)))
def test_a_fault_is_named_with_its_cell(tmp_path: Path, cells: Cells, at: tuple[str, str], words: tuple[str, ...]) -> None:
    found = settle(tmp_path, cells)
    row = rows(tmp_path / "plan.xlsx")[at[0]]
    column = get_column_letter(COLUMNS.index(at[1]) + 1) if at[1] else ""
    place = f"record!{column}{row}:" if column else f"record!{row}:{row}:"
    near = [f for f in found if f.startswith((place, f"record!{row}:{row}:"))]
    assert any(all(w in f for w in words) for f in near), found


SECOND_WEEK: list[tuple[Cells, str]] = [
    ({(SHIP, "mark"): "except", (SALE, "pieces"): 11, (SALE, "counted"): 2}, "11 plugs taken of lot OA"),
    ({(SHIP, "mark"): "except", (SALE, "pieces"): 3}, "3 plugs instead of 5, and no frags"),
    ({(SHIP, "mark"): "except", (SALE, "counted"): 6}, "6 frags sold"),
    ({(SHIP, "mark"): "except", (f"{SHIP} more 1", "name"): "tow", (f"{SHIP} more 1", "lot"): "OA", (f"{SHIP} more 1", "pieces"): 1,
      (f"{SHIP} more 1", "counted"): 1}, "order 'tow'"),
    ({(SHIP, "mark"): "except", (f"{SHIP} more 1", "name"): "market", (f"{SHIP} more 1", "lot"): "OA", (f"{SHIP} more 1", "pieces"): 1,
      (f"{SHIP} more 1", "counted"): 1}, "without its class"),
    ({(SHIP, "mark"): "except", (f"{SHIP} more 1", "name"): "market", (f"{SHIP} more 1", "lot"): "OA", (f"{SHIP} more 1", "pieces"): 1,
      (f"{SHIP} more 1", "counted"): 1, (f"{SHIP} more 1", "detail"): "huge"}, "class 'huge'"),
    ({(MOVES, "mark"): "except", ("move 2026-W50 OA", "blocks"): "A1:A4"}, "blocks for 4 plugs of lot OA"),
    ({(MOVES, "mark"): "except", (f"{MOVES} more 1", "lot"): "OB", (f"{MOVES} more 1", "blocks"): "A1:A5"}, "without a rack"),
]  # fmt: skip


@pytest.mark.parametrize(("cells", "words"), SECOND_WEEK, ids=range(len(SECOND_WEEK)))
def test_faults_of_packing_and_moves(tmp_path: Path, cells: Cells, words: str) -> None:
    assert any(words in f for f in settle(tmp_path, WEEK_2 | cells, weeks=2))


def test_every_point_is_named_at_once(tmp_path: Path) -> None:
    cells = EXCEPT | {("cut NA", "pieces"): "x", ("cut NZ", "lost"): 99, (COUNT, "lot"): "none", (COUNT, "counted"): 1}
    assert len(settle(tmp_path, cells)) == 3


def test_a_contradiction_that_is_true_can_be_accepted(tmp_path: Path) -> None:
    cells = EXCEPT | {("cut NA", "pieces"): 70, ("cut NA", "lost"): 60}
    cell = settle(tmp_path, cells)[0].split(":")[0]
    outcome = record(STOCKED, read_filled(tmp_path / "plan.xlsx"), accept=[cell])
    assert outcome.farm is not None
    assert outcome.farm.colony["A1"].count < 10
    assert any("below keep_pieces" in n for n in outcome.notes)


def test_a_list_without_a_mark_is_asked_about(tmp_path: Path) -> None:
    work = filled(STOCKED, PLAN, tmp_path, {})
    asked = record(STOCKED, work)
    assert asked.farm is None
    assert [g.key for g in asked.open] == [FIRST]
    answered = record(STOCKED, work, marks={FIRST: "not done"})
    assert answered.farm is not None
    assert answered.farm.lots == STOCKED.lots
    taken = record(STOCKED, work, weeks=2, marks={"*": "as planned"}).farm
    assert taken is not None
    assert {"NA", "NZ", "NB", "NQ"} <= set(taken.lot)


def test_a_plan_of_another_book(tmp_path: Path) -> None:
    other = changed(small_farm(), "colonies", "A1", count=61.0)
    with pytest.raises(RecordError, match="made from the book"):
        record(other, filled(STOCKED, PLAN, tmp_path, WEEK_1))


def test_the_same_plan_twice(tmp_path: Path) -> None:
    work = filled(STOCKED, PLAN, tmp_path, WEEK_1)
    once = record(STOCKED, work).farm
    assert once is not None
    with pytest.raises(RecordError, match="into this book already"):
        record(once, work)


def test_more_weeks_than_the_plan_has(tmp_path: Path) -> None:
    assert "1 to 2" in settle(tmp_path, WEEK_2, weeks=3)[0]


# ---- sheets that were changed -----------------------------------------------------------------------------------------


def points(path: Path) -> list[str]:
    return [str(f) for f in read_filled(path).faults]


def test_a_row_that_was_deleted_copied_or_made_up(tmp_path: Path) -> None:
    path = fill(blank(STOCKED, PLAN, tmp_path / "plan.xlsx"), WEEK_1)
    at = rows(path)
    book = load_workbook(path)
    sheet = book["record"]
    sheet.cell(at["cut NZ"], 15).value = "cut NA"
    sheet.cell(at["cut NZ"], 2).value = "NA"
    sheet.cell(at[f"{FIRST} more 2"], 15).value = None
    sheet.cell(at[f"{FIRST} more 2"], 7).value = 5
    sheet.cell(at[f"{FIRST} more 3"], 15).value = "cut Q9"
    book.save(path)
    found = "\n".join(points(path))
    assert "a second row for 'cut NA'" in found
    assert "no row for Z1" in found
    assert "entries in the rows of the plan only" in found
    assert "the key 'cut Q9'" in found


def test_a_column_that_was_moved(tmp_path: Path) -> None:
    path = blank(STOCKED, PLAN, tmp_path / "plan.xlsx")
    book = load_workbook(path)
    book["record"].cell(rows(path)["head session"], 7).value = "lost"
    book.save(path)
    assert any("the heading 'lost'" in f and "'pieces cut'" in f for f in points(path))


def test_formulas_without_values_and_errors(tmp_path: Path) -> None:
    path = fill(blank(STOCKED, PLAN, tmp_path / "plan.xlsx"), {("cut NA", "pieces"): "=6+5"})
    assert any("a formula without a stored value" in f for f in points(path))


def test_a_key_sheet_that_was_changed(tmp_path: Path) -> None:
    path = blank(STOCKED, PLAN, tmp_path / "plan.xlsx")
    book = load_workbook(path)
    book["record keys"].cell(2, 1).value = str(book["record keys"].cell(2, 1).value).replace('"pieces":12', '"pieces":13')
    book.save(path)
    with pytest.raises(RecordError, match="other contents than this program wrote"):
        read_filled(path)


@pytest.mark.parametrize("name", ["none.xlsx", "plan.csv", "text.xlsx", "other.xlsx"])
def test_files_that_are_no_plan_workbook(tmp_path: Path, name: str) -> None:
    (tmp_path / "text.xlsx").write_text("no workbook", encoding="utf-8")
    (tmp_path / "plan.csv").write_text("a,b", encoding="utf-8")
    from openpyxl import Workbook

    Workbook().save(tmp_path / "other.xlsx")
    with pytest.raises(RecordError):
        read_filled(tmp_path / name)


def test_rows_may_be_sorted(tmp_path: Path) -> None:
    path = fill(blank(STOCKED, PLAN, tmp_path / "plan.xlsx"), WEEK_1)
    at = rows(path)
    book = load_workbook(path)
    sheet = book["record"]
    one, two = at["cut NA"], at["cut NZ"]
    for column in range(1, len(COLUMNS) + 1):
        a, b = sheet.cell(one, column), sheet.cell(two, column)
        a.value, b.value = b.value, a.value
    book.save(path)
    outcome = record(STOCKED, read_filled(path))
    assert outcome.farm is not None
    assert {"NA", "NZ"} <= set(outcome.farm.lot)
