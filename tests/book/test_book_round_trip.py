from __future__ import annotations

import csv
from datetime import date, time
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook
from small_book import altered, small_farm, tables

from scheduler.book import canonical, check_farm, convert, read_book, write_csv, write_xlsx
from scheduler.errors import OutputError
from scheduler.farm.farm import TABLES
from scheduler.farm.settings import Settings


def test_the_small_farm_has_neither_faults_nor_doubts(workbook: Path) -> None:
    assert check_farm(small_farm()) == ((), ())
    assert read_book(workbook).doubts == ()


def test_workbook_and_csv_read_as_the_same_farm(workbook: Path, csv_book: Path) -> None:
    farm = canonical(small_farm())
    assert read_book(workbook).farm.fingerprint == farm.fingerprint
    assert read_book(csv_book).farm.fingerprint == farm.fingerprint


def test_every_table_comes_back_row_for_row(workbook: Path) -> None:
    read, made = read_book(workbook).farm, canonical(small_farm())
    for sheet in TABLES:
        assert getattr(read, sheet) == getattr(made, sheet), sheet


def test_conversion_both_ways_keeps_the_fingerprint(workbook: Path, tmp_path: Path) -> None:
    first = convert(workbook, tmp_path / "as csv")
    second = convert(tmp_path / "as csv", tmp_path / "again.xlsx")
    assert first.fingerprint == second.fingerprint == read_book(workbook).farm.fingerprint
    assert read_book(tmp_path / "again.xlsx").farm.fingerprint == first.fingerprint


def test_nothing_is_written_over_what_exists(workbook: Path, csv_book: Path, tmp_path: Path) -> None:
    before = workbook.read_bytes()
    with pytest.raises(OutputError, match="exists already"):
        write_xlsx(small_farm(), workbook)
    with pytest.raises(OutputError, match="exists already"):
        write_csv(small_farm(), csv_book)
    with pytest.raises(OutputError, match="exists already"):
        convert(csv_book, workbook)
    assert workbook.read_bytes() == before
    assert not list(tmp_path.glob(".*"))


def test_the_book_that_is_read_is_not_touched(workbook: Path) -> None:
    before = workbook.read_bytes(), workbook.stat().st_mtime_ns
    read_book(workbook)
    assert (workbook.read_bytes(), workbook.stat().st_mtime_ns) == before


def test_text_never_becomes_a_formula(workbook: Path) -> None:
    book = load_workbook(workbook)
    cells = [cell for sheet in book.worksheets for row in sheet.iter_rows() for cell in row]
    assert all(cell.data_type != "f" for cell in cells)
    name = next(cell for cell in cells if cell.value == "=Double Button")
    assert (name.data_type, name.quotePrefix) == ("s", True)


def test_text_that_begins_like_a_formula_is_text_in_csv(csv_book: Path) -> None:
    with (csv_book / "strains.csv").open(encoding="utf-8", newline="") as file:
        assert [row["name"] for row in csv.DictReader(file)][2] == "=Double Button"
    assert read_book(csv_book).farm.strain["007"].name == "=Double Button"


def test_an_empty_list_and_no_value_are_told_apart(workbook: Path) -> None:
    farm = read_book(workbook).farm
    assert farm.strain["EMB"].closed_months == ()
    assert farm.strain["LAN"].closed_months is None
    assert farm.traits("EMB").closed_months == ()
    assert farm.traits("LAN").closed_months == (7, 8)


def test_cells_hold_numbers_dates_and_times(workbook: Path) -> None:
    book = load_workbook(workbook)
    assert book["colonies"]["F2"].value == 48.5
    assert book["colonies"]["G2"].is_date
    assert book["sessions"]["F2"].value == time(8, 30)


_texts = (
    st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Cn", "Co"]), min_size=1, max_size=20)
    .map(str.strip)
    .filter(bool)
)


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    name=_texts,
    note=st.one_of(
        _texts, st.sampled_from(["NA", "None", "null", "#N/A", "TRUE", "=1+1", "1e5", "007", "a;b", "a,b", 'x"y', "a\nb"])
    ),
    stock=st.floats(0, 1e12).map(lambda x: round(x, 6)),  # nothing on a farm is counted finer than a millionth
    pitch=st.floats(0.001, 1e4).map(lambda x: round(x, 6)),
    price=st.decimals(0, 10_000, places=4),
    start=st.times(),
    day=st.dates(date(1890, 1, 1), date(2026, 11, 25)),
)
def test_any_value_survives_both_kinds_of_book(
    name: str, note: str, stock: float, pitch: float, price: Decimal, start: time, day: date
) -> None:
    rows = tables()
    changes = {
        "strains": (rows["strains"][0].model_copy(update={"name": name}), *rows["strains"][1:]),
        "racks": (*rows["racks"][:2], rows["racks"][2].model_copy(update={"pitch_mm": pitch})),
        "pins": (rows["pins"][0].model_copy(update={"note": note}), *rows["pins"][1:]),
        "supplies": (rows["supplies"][0].model_copy(update={"stock": stock, "unit_cost": price}), *rows["supplies"][1:]),
        "sessions": (rows["sessions"][0].model_copy(update={"start": start}), *rows["sessions"][1:]),
        "colonies": (rows["colonies"][0].model_copy(update={"last_cut": day}), *rows["colonies"][1:]),
    }
    farm = canonical(small_farm(**changes))
    with TemporaryDirectory() as folder:
        write_xlsx(farm, Path(folder) / "farm.xlsx")
        write_csv(farm, Path(folder) / "farm")
        assert read_book(Path(folder) / "farm.xlsx").farm.fingerprint == farm.fingerprint
        assert read_book(Path(folder) / "farm").farm.fingerprint == farm.fingerprint


def test_settings_come_back_with_their_defaults(workbook: Path) -> None:
    assert read_book(workbook).farm.settings == Settings(farm_name="Test farm", book_date=date(2026, 11, 25), horizon_weeks=8)


def test_a_numeric_looking_key_stays_text(tmp_path: Path) -> None:
    farm = altered("orders", 0, order="0012")
    write_xlsx(farm, tmp_path / "farm.xlsx")
    assert read_book(tmp_path / "farm.xlsx").farm.orders[0].order == "0012"
