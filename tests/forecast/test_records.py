"""Counts, past lots and past cuts in the farm book: what is a fault, what a doubt, and how they are read."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from scheduler.book import check_farm, convert, read_book, write_csv
from scheduler.errors import BookError
from scheduler.farm.farm import Farm
from scheduler.forecast.history import lot_record, steps
from tests.audit.small_farm import MONDAY, small_farm
from tests.forecast.rack_farm import count, past, past_cut, rack_farm

DEMO = Path(__file__).parents[2] / "data" / "demo"
TODAY = MONDAY - timedelta(days=3)


def farm_with(**tables: Any) -> Farm:
    return replace(rack_farm(strains=("AMB",)), **tables)


def faults_and_doubts(**tables: Any) -> tuple[list[str], list[str]]:
    """Findings about counts and past records alone."""
    found = check_farm(farm_with(**tables))
    return tuple([str(f) for f in part if f.where.startswith(("counts", "past"))] for part in found)  # type: ignore[return-value]


def test_good_records_are_neither_fault_nor_doubt() -> None:
    lots = (past("P1", 30, 20),)
    counts = (count("P1", 26, 18, detached=1, size_mm=34), count("P1", 18, 10, sold=7), count("L0000", 1, 20))
    assert faults_and_doubts(past_lots=lots, counts=counts[:2], past_cuts=(past_cut("A", 3, 10, 9),)) == ([], [])


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (count("P1", 26, 21), ("21 alive of lot P1", "at most the 20 mounted")),
        (count("P1", 26, 15, detached=4, sold=3), ("15 alive, 4 detached and 3 sold", "together at most the 20 mounted")),
        (count("P1a", 26, 5), ("'P1a'", "a lot from lots or past_lots", "did you mean P1")),
        (count("P1", 40, 20), ("before lot P1 was cut",)),
        (count("P1", -2, 20), ("after the book's date", "a day that has been")),
    ],
)
def test_what_cannot_have_been_is_a_fault(row: Any, words: tuple[str, ...]) -> None:
    faults, _ = faults_and_doubts(past_lots=(past("P1", 30, 20),), counts=(row,))
    assert len(faults) == 1
    assert all(word in faults[0] for word in words), faults


def test_a_lot_is_on_racks_or_past() -> None:
    faults, _ = faults_and_doubts(past_lots=(past("L0000", 30, 20),))
    assert "lot L0000, which is in lots too" in faults[0]


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ((count("P1", 26, 15), count("P1", 22, 17)), ("17 alive", "at most the 15 of the count before", "miscount")),
        ((count("P1", 26, 3),), ("17 of 20 frags of lot P1 lost", "outlier")),
        ((count("P1", 26, 20, size_mm=90),), ("90 mm, lot P1", "30 to about 34 mm")),
        ((count("P1", 26, 20, size_mm=9),), ("9 mm, lot P1",)),
        ((count("L0000", 0, 19),), ("newer than", "in lots too")),
    ],
)
def test_what_is_hard_to_believe_is_a_doubt(rows: tuple[Any, ...], words: tuple[str, ...]) -> None:
    farm = farm_with(past_lots=(past("P1", 30, 20),), counts=rows)
    farm = replace(farm, settings=farm.settings.model_copy(update={"book_date": MONDAY}))
    faults, doubts = check_farm(farm)
    assert not [f for f in faults if f.where.startswith("counts")]
    told = [str(d) for d in doubts if d.where.startswith("counts")]
    assert len(told) == 1
    assert all(word in told[0] for word in words), told


def test_twice_the_pieces_planned_is_a_doubt() -> None:
    _, doubts = faults_and_doubts(past_cuts=(past_cut("A", 3, 10, 21),))
    assert "21 pieces where 10 were planned" in doubts[0]


def test_records_are_read_from_the_book_and_name_their_cells(tmp_path: Path) -> None:
    farm = farm_with(past_lots=(past("P1", 30, 20),), counts=(count("P1", 26, 18),), past_cuts=(past_cut("A", 3, 10, 9),))
    write_csv(farm, tmp_path / "book")
    read = read_book(tmp_path / "book").farm
    assert (read.counts, read.past_lots, read.past_cuts) == (farm.counts, farm.past_lots, farm.past_cuts)
    assert convert(tmp_path / "book", tmp_path / "book.xlsx").fingerprint == read.fingerprint
    file = tmp_path / "book" / "counts.csv"
    file.write_text(file.read_text().replace(",18,", ",21,"))
    with pytest.raises(BookError, match=r"counts.csv line 2, column alive: found 21 alive of lot P1"):
        read_book(tmp_path / "book")
    file.unlink()
    assert read_book(tmp_path / "book").farm.counts == ()


def test_a_farm_with_lots_and_no_people_is_doubted() -> None:
    faults, doubts = check_farm(farm_with())
    assert not faults
    assert any("people" in d.where and "nobody has the skill care" in d.found for d in doubts)


def test_the_demo_farm_has_a_history() -> None:
    farm = read_book(DEMO).farm
    assert len(farm.counts) > 100
    assert set(farm.counts_of) & set(farm.past_lot)
    assert set(farm.counts_of) & set(farm.lot)


def test_steps_between_counts() -> None:
    """Two counts of a week are one; what was sold and came off in between adds up."""
    cut = past("P1", 30, 20)
    rows = (
        count("P1", 26, 19, detached=1),
        count("P1", 22, 18),
        count("P1", 22, 17, sold=1).model_copy(update={"date": date(2026, 7, 1)}),
    )
    farm = farm_with(past_lots=(cut,), counts=rows)
    record = lot_record(farm, "P1")
    assert record is not None
    found = [(s.start, s.end, s.frags, s.count.alive, s.detached, s.sold, s.died) for s in steps(farm, record)]
    assert found == [(0, 4, 20, 19, 1, 0, 0), (4, 8, 19, 17, 0, 1, 1)]
    assert lot_record(farm, "nowhere") is None


def test_a_lot_on_racks_brings_its_tank_and_light() -> None:
    farm = small_farm()
    record = lot_record(farm, "OA")
    assert record is not None
    assert (record.tank, record.par_umol, record.started) == ("N1", 200.0, 10)
