from __future__ import annotations

import stat
import zipfile
from pathlib import Path

import pytest
from small_book import edit, faults_of, has

from scheduler.book import read_book
from scheduler.errors import OutputError
from scheduler.files import atomic_write, atomic_write_text, refuse_existing


def _repacked(source: Path, target: Path, extra: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            if name not in extra:
                new.writestr(name, old.read(name))
        for name, content in extra.items():
            new.writestr(name, content)
    return target


def test_a_zip_bomb_is_refused_before_it_is_opened(workbook: Path, tmp_path: Path) -> None:
    path = _repacked(workbook, tmp_path / "bomb.xlsx", {"xl/media/image1.bin": bytes(20_000_000)})
    assert has(faults_of(lambda: read_book(path)), "bomb.xlsx", "to 1")


def test_too_many_parts_are_refused(workbook: Path, tmp_path: Path) -> None:
    path = _repacked(workbook, tmp_path / "parts.xlsx", {f"x/{i}": b"" for i in range(2100)})
    assert has(faults_of(lambda: read_book(path)), "parts inside")


def test_too_much_once_unpacked_is_refused(workbook: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("scheduler.sheets.MAX_UNPACKED_BYTES", 10_000)
    assert has(faults_of(lambda: read_book(workbook)), "once unpacked")
    monkeypatch.setattr("scheduler.sheets.MAX_FILE_BYTES", 1_000)
    assert has(faults_of(lambda: read_book(workbook)), "a file of")


@pytest.mark.parametrize("code", ["utf-8", "utf-16"])
def test_entity_declarations_are_refused(workbook: Path, tmp_path: Path, code: str) -> None:
    text = f'<?xml version="1.0" encoding="{code}"?><!DOCTYPE a [<!ENTITY b "bb"><!ENTITY c "&b;&b;">]><a>&c;</a>'
    path = _repacked(workbook, tmp_path / "entities.xlsx", {"xl/styles.xml": text.encode(code)})
    assert has(faults_of(lambda: read_book(path)), "entity declaration", "xl/styles.xml")


def test_a_cell_far_out_is_a_fault_and_costs_nothing(workbook: Path, tmp_path: Path) -> None:
    path = edit(workbook, tmp_path / "far.xlsx", tanks_XFD1048576="x")
    assert has(faults_of(lambda: read_book(path)), "tanks!XFD1048576", "at most 20000 rows")


def test_a_wrong_dimension_hides_no_rows(workbook: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(workbook) as archive:
        parts = {n: archive.read(n) for n in archive.namelist() if n.startswith("xl/worksheets/sheet")}
    wrong = {
        n: c.replace(c[c.index(b"<dimension") : c.index(b"/>", c.index(b"<dimension"))], b'<dimension ref="A1:A1"')
        for n, c in parts.items()
    }
    path = _repacked(workbook, tmp_path / "dimension.xlsx", wrong)
    assert read_book(path).farm.fingerprint == read_book(workbook).farm.fingerprint


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("gone.xlsx", None, ("nothing there",)),
        ("farm.xls", b"x", (".xls file", "save it as .xlsx")),
        ("colonies.csv", b"x", ("give the folder",)),
        ("farm.xlsx", b"not a zip", ("no readable workbook",)),
    ],
)
def test_what_is_no_book_is_said_plainly(tmp_path: Path, name: str, content: bytes | None, words: tuple[str, ...]) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    assert has(faults_of(lambda: read_book(path)), *words)


def test_a_broken_workbook_is_a_fault(workbook: Path, tmp_path: Path) -> None:
    path = _repacked(workbook, tmp_path / "broken.xlsx", {"xl/workbook.xml": b"<workbook"})
    assert has(faults_of(lambda: read_book(path)), "no readable workbook")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"tank;system\nN1;North\n", ("tanks.csv line 1", "semicolons")),
        (b"tank\tsystem\nN1\tNorth\n", ("tanks.csv line 1", "tabs")),
        (b'tank,system\n"N1,North\n', ("tanks.csv line 2", "a broken line")),
        (b"tank,system\nN1,North\nK\xf6ln,North\n", ("tanks.csv line 3", "UTF-8")),
        (b"tank,system\n\nN1,Nroth\n", ("tanks.csv line 3, column system", "did you mean North?")),
        (b"tank,system\n" + b"x,North\n" * 20_001, ("too large a table",)),
    ],
)
def test_csv_faults_name_file_line_and_column(csv_book: Path, content: bytes, words: tuple[str, ...]) -> None:
    (csv_book / "tanks.csv").write_bytes(content)
    faults = faults_of(lambda: read_book(csv_book))
    assert has(faults, *words), faults


def test_csv_with_a_byte_order_mark_and_other_line_ends_is_read(csv_book: Path) -> None:
    before = read_book(csv_book).farm.fingerprint
    for path in csv_book.iterdir():
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert read_book(csv_book).farm.fingerprint == before


def test_an_empty_folder_and_missing_files(csv_book: Path, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    assert has(faults_of(lambda: read_book(tmp_path / "empty")), "no CSV file")
    (csv_book / "pins.csv").unlink()
    (csv_book / "sources.csv").unlink()
    assert read_book(csv_book).farm.pins == ()
    (csv_book / "racks.csv").unlink()
    (csv_book / "tnaks.csv").write_text("tank\n")
    faults = faults_of(lambda: read_book(csv_book))
    assert has(faults, "no table racks")
    assert has(faults, "tnaks.csv", "did you mean tanks?")


def test_without_a_book_date_one_fault_asks_for_it(csv_book: Path) -> None:
    (csv_book / "settings.csv").unlink()
    faults = faults_of(lambda: read_book(csv_book))
    assert [f.found for f in faults] == ["no book_date"]


def test_an_atomic_write_keeps_permissions_and_leaves_nothing_behind(tmp_path: Path) -> None:
    path = tmp_path / "sub" / "file.txt"
    atomic_write_text(path, "one")
    path.chmod(0o640)
    atomic_write(path, b"two")
    assert path.read_bytes() == b"two"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert [p.name for p in path.parent.iterdir()] == ["file.txt"]


def test_a_write_that_fails_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "file.txt"
    path.write_text("old")

    def no_room(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("scheduler.files.os.fsync", no_room)
    with pytest.raises(OutputError, match="No space left"):
        atomic_write_text(path, "new")
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["file.txt"]


def test_a_folder_or_a_file_in_the_way_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="is a folder"):
        atomic_write_text(tmp_path, "x")
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="could not be written"):
        atomic_write_text(tmp_path / "file" / "below", "x")
    with pytest.raises(OutputError, match="exists already"):
        refuse_existing(tmp_path / "file")
