from __future__ import annotations

import zipfile
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook
from small_book import edit, faults_of, has

from scheduler.book import read_book
from scheduler.book.coerce import CellError, coerce
from scheduler.book.fields import Kind

TEXT, WHOLE, NUMBER = Kind(str, False, False, ()), Kind(int, False, False, ()), Kind(float, False, False, ())
MONEY, YES_NO, DAY, CLOCK = (Kind(base, False, False, ()) for base in (Decimal, bool, date, time))
FLOWS = Kind(str, True, False, ("low", "medium", "high"))
BANDS, MONTHS, NAMES = (Kind(base, True, False, ()) for base in (float, int, str))


@pytest.mark.parametrize(
    ("value", "kind", "wanted"),
    [
        ("007", TEXT, "007"), (1007, TEXT, "1007"), (1007.0, TEXT, "1007"), (1.5, TEXT, "1.5"), ("NA", TEXT, "NA"),
        ("None", TEXT, "None"), ("null", TEXT, "null"), (" LAN ", TEXT, "LAN"), ("=1+1", TEXT, "=1+1"),
        (4, WHOLE, 4), (4.0, WHOLE, 4), ("4", WHOLE, 4), ("4.0", WHOLE, 4), ("0.85", NUMBER, 0.85), (1, NUMBER, 1.0),
        (0.1, MONEY, Decimal("0.10")), (24, MONEY, Decimal("24.00")), ("24.000", MONEY, Decimal("24.00")),
        (0.125, MONEY, Decimal("0.125")), ("Yes", YES_NO, True), ("n", YES_NO, False), (1, YES_NO, True), (0.0, YES_NO, False),
        (True, YES_NO, True), ("FALSE", YES_NO, False), ("2026-11-30", DAY, date(2026, 11, 30)),
        (datetime(2026, 11, 30), DAY, date(2026, 11, 30)), ("08:30", CLOCK, time(8, 30)), ("8:30", CLOCK, time(8, 30)),
        (time(8, 30), CLOCK, time(8, 30)), ("low; HIGH;", FLOWS, ("low", "high")), ("-", FLOWS, ()), (7, MONTHS, (7,)),
        ("7;8", MONTHS, (7, 8)), ("60;100.5", BANDS, (60.0, 100.5)), (7, NAMES, ("7",)), ("-;", NAMES, ("-",)),
    ],
)  # fmt: skip
def test_cells_become_what_was_meant(value: object, kind: Kind, wanted: object) -> None:
    found = coerce(value, kind, "x")
    assert found == wanted
    assert type(found) is type(wanted)


@pytest.mark.parametrize(
    ("value", "kind", "hint"),
    [
        ("0,85", NUMBER, "0.85"), ("1,007", NUMBER, "1007"), ("40 %", NUMBER, "0.4"), ("40%", NUMBER, "0.4"),
        ("12 mm", NUMBER, "without its unit"), ("many", NUMBER, ""), (4.5, WHOLE, ""), (True, NUMBER, ""), ("inf", NUMBER, ""),
        (float("nan"), NUMBER, ""), ("1e999", NUMBER, ""), (10**16, MONEY, ""), (date(2026, 1, 2), NUMBER, ""),
        ("30/11/2026", DAY, "year-month-day"), ("2026-02-30", DAY, "no such day"), (46000, DAY, "format the cell"),
        (datetime(2026, 11, 30, 8), DAY, "without a time"), ("25:00", CLOCK, ""), (0.35, CLOCK, ""), ("maybe", YES_NO, ""),
        (2, YES_NO, ""), ("low,high", FLOWS, "low;high"), ("hgih", FLOWS, "high"), ("60,100", BANDS, "60;100"),
        (datetime(2026, 11, 30), TEXT, "as text"), (True, TEXT, "as text"), ("a\x07b", TEXT, ""), ("x" * 40_000, TEXT, ""),
    ],
)  # fmt: skip
def test_cells_that_could_mean_several_things_are_refused_with_a_cure(value: object, kind: Kind, hint: str) -> None:
    with pytest.raises(CellError) as caught:
        coerce(value, kind, "x")
    assert hint in caught.value.hint


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"colonies_F2": "=20+28"}, ("colonies!F2", "formula without a stored value", "open and save")),
        ({"colonies_F2": "#REF!"}, ("colonies!F2", "the error #REF!")),
        ({"colonies_F2": None}, ("colonies!F2", "nothing", "a number from 0")),
        ({"colonies_F2": "48,5"}, ("colonies!F2", "48.5")),
        ({"colonies_F2": -1}, ("colonies!F2", "'-1'", "a number from 0")),
        ({"colonies_G2": "30/11/2026"}, ("colonies!G2", "2026-11-30")),
        ({"colonies_I2": "fti"}, ("colonies!I2", "did you mean fit?")),
        ({"colonies_B2": "LNA"}, ("colonies!B2", "'LNA'", "did you mean LAN?")),
        ({"colonies_Z2": "stray"}, ("colonies!Z2", "under no heading")),
        ({"colonies_F1": "cuont"}, ("colonies!F1", "did you mean count?")),
        ({"colonies_F1": "colony"}, ("colonies!F1", "again", "colonies!A1")),
        ({"colonies_F1": None}, ("colonies!1:1", "no column count")),
        ({"colonies_A3": "LAN-01"}, ("colonies!A3", "again", "colonies!A2")),
        ({"settings_A5": "horizon_week"}, ("settings!A5", "did you mean horizon_weeks?")),
        ({"settings_B5": "soon"}, ("settings!B5", "'soon'", "a whole number from 4 to 104")),
        ({"settings_B5": 3}, ("settings!B5", "'3'", "from 4 to 104")),
        ({"settings_A5": "near_weeks"}, ("settings!B6", "again", "settings!B5")),
        ({"settings_B1": "wert"}, ("settings!1:1", "no column setting and value")),
        ({"light_B3": None}, ("light!B3", "nothing", "a date")),
    ],
)
def test_faults_name_cell_find_and_cure(workbook: Path, tmp_path: Path, cells: dict[str, Any], words: tuple[str, ...]) -> None:
    path = edit(workbook, tmp_path / "farm.xlsx", **cells)
    faults = faults_of(lambda: read_book(path))
    assert has(faults, *words), faults


def test_all_faults_come_at_once(workbook: Path, tmp_path: Path) -> None:
    path = edit(
        workbook, tmp_path / "farm.xlsx",
        colonies_F2="48,5", strains_D4="toolong", lots_F2=99, market_C3=None, racks_H2="Z9", orders_D2="smal", light_C3=400,
    )  # fmt: skip
    faults = faults_of(lambda: read_book(path))
    sheets = {f.where.split("!")[0] for f in faults}
    assert {"colonies", "strains", "lots", "market", "racks", "orders", "light"} <= sheets
    assert has(faults, "orders!D2", "did you mean small?")


def test_a_row_with_a_fault_does_not_make_its_name_unknown(workbook: Path, tmp_path: Path) -> None:
    faults = faults_of(lambda: read_book(edit(workbook, tmp_path / "farm.xlsx", racks_C2="eight")))
    assert [f.where for f in faults] == ["racks!C2"]


def test_names_of_sheets_and_columns_may_differ_in_case_and_blanks(workbook: Path, tmp_path: Path) -> None:
    book = load_workbook(workbook)
    book["colonies"].title = " Colonies"
    book[" Colonies"]["G1"].value = "Count Date "
    book.save(tmp_path / "farm.xlsx")
    assert read_book(tmp_path / "farm.xlsx").farm.fingerprint == read_book(workbook).farm.fingerprint


def test_blank_rows_and_columns_are_passed_over(workbook: Path, tmp_path: Path) -> None:
    book = load_workbook(workbook)
    book["colonies"].insert_rows(3, 2)
    book["colonies"].insert_cols(5)
    book["colonies"]["A900"].value = "  "
    book.save(tmp_path / "farm.xlsx")
    assert read_book(tmp_path / "farm.xlsx").farm.fingerprint == read_book(workbook).farm.fingerprint


def test_rows_marked_as_example_are_not_read(workbook: Path, tmp_path: Path) -> None:
    book = load_workbook(workbook)
    sheet = book["tanks"]
    sheet["E1"].value, sheet["A9"].value, sheet["B9"].value, sheet["E9"].value = "example", "X9", "nowhere", "Example"
    book.save(tmp_path / "farm.xlsx")
    assert read_book(tmp_path / "farm.xlsx").farm.fingerprint == read_book(workbook).farm.fingerprint
    sheet["E9"].value = "exmaple"
    book.save(tmp_path / "typo.xlsx")
    assert has(faults_of(lambda: read_book(tmp_path / "typo.xlsx")), "tanks!E9", "exmaple")


def test_merged_cells_hidden_rows_and_stray_sheets(workbook: Path, tmp_path: Path) -> None:
    book = load_workbook(workbook)
    book["colonies"].row_dimensions[3].hidden = True
    book["tanks"].sheet_state = "hidden"
    book.create_sheet("About this farm")
    book.save(tmp_path / "hidden.xlsx")
    doubts = read_book(tmp_path / "hidden.xlsx").doubts
    assert has(doubts, "colonies!3:3", "hidden row")
    assert has(doubts, "tanks", "hidden sheet")
    book["colonies"].merge_cells("D2:D3")
    book.create_sheet("colonys")
    book.remove(book["groups"])
    book.save(tmp_path / "merged.xlsx")
    faults = faults_of(lambda: read_book(tmp_path / "merged.xlsx"))
    assert has(faults, "colonies!D2:D3", "unmerge")
    assert has(faults, "colonys", "did you mean colonies?")
    assert has(faults, "merged.xlsx", "no table groups")


def test_a_calculated_formula_gives_its_value(workbook: Path, tmp_path: Path) -> None:
    path = edit(workbook, tmp_path / "farm.xlsx", colonies_F2="=40+8.5")
    _store_value(path, b"<f>40+8.5</f><v></v>", b"<f>40+8.5</f><v>48.5</v>")
    assert read_book(path).farm.fingerprint == read_book(workbook).farm.fingerprint


def _store_value(path: Path, old: bytes, new: bytes) -> None:
    """Put a stored value beside a formula, as a spreadsheet program would."""
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    hits = [name for name, content in parts.items() if old in content or old.replace(b"<v></v>", b"<v />") in content]
    assert len(hits) == 1
    content = parts[hits[0]].replace(old.replace(b"<v></v>", b"<v />"), new)
    parts[hits[0]] = content.replace(old, new)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name, part)
