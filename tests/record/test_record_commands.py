"""``record``, ``diff`` and ``calendar`` as a grower runs them, with files saved by an office program too."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from openpyxl import load_workbook
from typer.testing import CliRunner

from scheduler.book import read_book, write_csv, write_xlsx
from scheduler.cli import record_command
from scheduler.cli.main import app
from scheduler.errors import RecordError
from scheduler.farm.farm import Farm
from scheduler.record import read_filled
from tests.audit.small_farm import changed, finished, small_plan
from tests.record.filling import blank, fill
from tests.record.test_record_done import FIRST, STOCKED, WEEK_1
from tests.record.test_weeks_through_files import saved_by_office

if TYPE_CHECKING:
    from click.testing import Result


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(w) for w in words])


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("book")
    write_csv(STOCKED, folder / "book")
    return folder / "book"


@pytest.fixture(scope="module")
def sheets(book: Path) -> Path:
    farm = read_book(book).farm
    return blank(farm, finished(farm, small_plan(farm)), book.parent / "plan.xlsx")


@pytest.mark.parametrize("name", ["next", "next.xlsx"])
def test_the_next_book_says_what_changed(book: Path, sheets: Path, tmp_path: Path, name: str) -> None:
    before = {p.name: p.read_bytes() for p in book.iterdir()}
    result = run("record", book, fill(sheets, WEEK_1, tmp_path / "done.xlsx"), "--out", tmp_path / name)
    assert result.exit_code == 0, result.output
    assert "colonies A1, last_cut: nothing -> 2026-12-01" in result.stdout
    assert "lots NA: new" in result.stdout
    assert {p.name: p.read_bytes() for p in book.iterdir()} == before
    told = [x for x in result.stdout.splitlines()[:-1] if not x.startswith("Note: ")]
    if name.endswith(".xlsx"):
        inside = [str(r[0]) for r in load_workbook(tmp_path / name)["about changes"].iter_rows(values_only=True)]
    else:
        inside = [x.strip('"') for x in (tmp_path / name / "about changes.csv").read_text(encoding="utf-8").splitlines()[1:]]
    assert inside == told
    shown = run("diff", book, tmp_path / name)
    assert shown.stdout.splitlines()[:-1] == told


def test_nothing_is_written_while_a_point_is_open(book: Path, sheets: Path, tmp_path: Path) -> None:
    wrong = fill(sheets, WEEK_1 | {("cut NA", "pieces"): 3}, tmp_path / "wrong.xlsx")
    for words in ((wrong,), (sheets,), (sheets, "--weeks", 3, "--assume-done"), (tmp_path / "none.xlsx",)):
        result = run("record", book, *words, "--out", tmp_path / "next")
        assert result.exit_code == 2, result.output
        assert "nothing was written" in result.stderr
    assert not (tmp_path / "next").exists()
    assert run("record", book, sheets, "--assume-done", "--out", tmp_path / "next").exit_code == 0


def test_a_book_that_exists_is_never_overwritten(book: Path, sheets: Path, tmp_path: Path) -> None:
    write_xlsx(STOCKED, tmp_path / "mine.xlsx")
    before = (tmp_path / "mine.xlsx").read_bytes()
    for out in (tmp_path / "mine.xlsx", book):
        assert run("record", book, sheets, "--assume-done", "--out", out).exit_code == 5
    assert (tmp_path / "mine.xlsx").read_bytes() == before


def test_at_a_terminal_lists_without_a_mark_are_asked_about(
    book: Path, sheets: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    answers = iter(["perhaps", "Not done", "stop"])

    class Terminal:
        def isatty(self) -> bool:
            return True

    def prompt(text: str, **_: object) -> str:
        asked.append(text)
        return next(answers)

    monkeypatch.setattr(record_command.sys, "stdin", Terminal())
    monkeypatch.setattr(record_command.typer, "prompt", prompt)
    record_command.record(book, sheets, tmp_path / "next")
    assert len(asked) == 2
    assert "bench Tue 2026-12-01" in asked[0]
    assert read_book(tmp_path / "next").farm.lots == STOCKED.lots
    with pytest.raises(RecordError, match="no mark for bench"):
        record_command.record(book, sheets, tmp_path / "other")
    assert not (tmp_path / "other").exists()


def test_a_workbook_saved_by_an_office_program_says_the_same(sheets: Path, tmp_path: Path) -> None:
    cells = {(FIRST, "mark"): "except", ("cut NA", "pieces"): 11, ("cut NA", "rack"): "N1-b", ("cut NA", "blocks"): "A1:B6=11",
             ("cut NZ", "counted"): 41.5, ("cut NZ", "note"): "vergoß nichts – 1,5"}  # fmt: skip
    plain = fill(sheets, cells, tmp_path / "filled.xlsx")
    again = saved_by_office(plain, tmp_path)
    one, two = read_filled(plain), read_filled(again)
    assert two.work == one.work
    assert two.faults == one.faults
    assert {k: {c: str(w.value) for c, w in e.cells.items()} for k, e in two.entries.items()} == {
        k: {c: str(w.value) for c, w in e.cells.items()} for k, e in one.entries.items()
    }


def test_a_farm_book_saved_by_an_office_program_reads_back_the_same(book: Path, tmp_path: Path) -> None:
    farm = read_book(book).farm
    write_xlsx(farm, tmp_path / "farm.xlsx", ["lots NA: new"])
    assert read_book(saved_by_office(tmp_path / "farm.xlsx", tmp_path)).farm.fingerprint == farm.fingerprint


def altered(farm: Farm) -> Farm:
    return changed(changed(farm, "colonies", "A1", count=12.5, place="=left"), "settings", near_weeks=3)


def test_a_diff_names_rows_and_columns(book: Path, tmp_path: Path) -> None:
    write_csv(altered(read_book(book).farm), tmp_path / "other")
    result = run("diff", book, tmp_path / "other")
    assert result.exit_code == 0
    assert result.stdout.splitlines() == [
        "settings of the farm, near_weeks: 2 -> 3", "colonies A1, place: nothing -> =left", "colonies A1, count: 60 -> 12.5",
        "3 differences.",
    ]  # fmt: skip
    assert run("diff", book, book).stdout == "0 differences.\n"


def test_a_calendar_belongs_to_its_book(book: Path, tmp_path: Path) -> None:
    farm = read_book(book).farm
    document = tmp_path / "plan.json"
    document.write_text(finished(farm, small_plan(farm)).model_dump_json(), encoding="utf-8")
    for _ in range(2):
        result = run("calendar", document, book, "--out", tmp_path / "bench.ics")
        assert result.exit_code == 0, result.output
        assert "3 events" in result.stdout
    assert (tmp_path / "bench.ics").read_bytes().count(b"BEGIN:VEVENT") == 3
    write_csv(altered(farm), tmp_path / "other")
    assert run("calendar", document, tmp_path / "other", "--out", tmp_path / "no.ics").exit_code == 2
    assert not (tmp_path / "no.ics").exists()
