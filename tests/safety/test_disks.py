"""A full disk, a folder one may not write to, a file another program holds: a clear error, and nothing lost."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from scheduler.book import read_book, write_csv, write_xlsx
from scheduler.cli import record_command
from scheduler.errors import BookError, OutputError
from scheduler.files import atomic_write
from scheduler.record import read_filled
from scheduler.reporting import write_plan
from tests.audit.small_farm import finished, small_plan
from tests.record.filling import blank, fill
from tests.record.test_record_done import STOCKED, WEEK_1
from tests.safety.runs import contents, ended, start, whole

resource = pytest.importorskip("resource", reason="limits on file sizes are of POSIX systems")
NOBODY = 65_534

PLAN = finished(STOCKED, small_plan(STOCKED))


def writes(folder: Path) -> dict[str, Callable[[], object]]:
    """Everything this program writes, into a folder."""
    return {
        "plan": lambda: write_plan(STOCKED, PLAN, folder / "reports", "passed"),
        "workbook": lambda: write_xlsx(STOCKED, folder / "next.xlsx"),
        "folder": lambda: write_csv(STOCKED, folder / "next"),
    }


@pytest.mark.parametrize("what", ["plan", "workbook", "folder"])
def test_a_disk_that_fills_up(tmp_path: Path, what: str) -> None:
    """The system refuses files beyond a size: the same error path as no space left, met while bytes are written."""

    def work() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1500, 1500))
        writes(tmp_path)[what]()

    assert ended(start(work)) == 5
    assert all(whole(path, data) for path, data in contents(tmp_path).items())
    assert not (tmp_path / "next").exists()
    assert not (tmp_path / "next.xlsx").exists()
    assert not list(tmp_path.rglob("*.tmp"))


def test_an_old_plan_outlives_a_full_disk(tmp_path: Path) -> None:
    write_plan(STOCKED, PLAN, tmp_path, "passed")
    before = contents(tmp_path)

    def work() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1500, 1500))
        write_plan(STOCKED, PLAN, tmp_path, "passed")

    assert ended(start(work)) == 5
    assert contents(tmp_path) == before


def test_a_table_open_on_the_other_side_keeps_the_old_plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where one file of a plan cannot be replaced, those that were get back what they held."""
    write_plan(STOCKED, PLAN, tmp_path, "passed")
    before = contents(tmp_path)
    replace = Path.replace

    def busy(draft: Path, target: Path) -> Path:
        if (
            Path(target).name == "sales.csv"
            and Path(target).parent.name == "tables"
            and Path(target).parent.parent.name == "2026-W49"
        ):
            raise PermissionError(errno.EACCES, "Permission denied", str(target))
        return replace(draft, target)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", busy)
        with pytest.raises(OutputError, match=r"sales\.csv could not be written, and .* was left as it was: .* open in another"):
            write_plan(STOCKED, PLAN.model_copy(update={"notices": ()}), tmp_path, "passed again")
    assert contents(tmp_path) == before
    write_plan(STOCKED, PLAN, tmp_path, "passed again")


def test_a_workbook_the_crew_has_begun_to_fill_in_is_not_written_over(tmp_path: Path) -> None:
    write_plan(STOCKED, PLAN, tmp_path, "passed")
    write_plan(STOCKED, PLAN, tmp_path, "passed")  # nothing filled in yet
    fill(tmp_path / "2026-W49" / "weekly-plan-2026-W49.xlsx", WEEK_1)
    before = contents(tmp_path)
    with pytest.raises(OutputError, match="has been filled in and was left as it is; record it first"):
        write_plan(STOCKED, PLAN, tmp_path, "passed")
    assert contents(tmp_path) == before


def test_no_space_left_is_said_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    (tmp_path / "plan.json").write_bytes(b"old\n")
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OutputError, match="No space left on device"):
        atomic_write(tmp_path / "plan.json", b"new\n")
    assert contents(tmp_path) == {tmp_path / "plan.json": b"old\n"}


@pytest.fixture
def fenced() -> Iterator[Path]:
    """A folder its owner may read only, within reach of everybody."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    (folder / "closed").mkdir(mode=0o555)
    yield folder / "closed"
    (folder / "closed").chmod(0o755)
    shutil.rmtree(folder)


def unprivileged(work: Callable[[], object]) -> int:
    """Exit code of work by somebody who may not write everywhere."""

    def as_nobody() -> None:
        if os.geteuid() == 0:
            os.setegid(NOBODY)
            os.seteuid(NOBODY)
        work()

    return ended(start(as_nobody))


@pytest.mark.parametrize("what", ["plan", "workbook", "folder"])
def test_a_folder_one_may_only_read(fenced: Path, what: str) -> None:
    assert unprivileged(writes(fenced)[what]) == 5
    assert not list(fenced.iterdir())


def test_a_week_recorded_into_a_folder_one_may_only_read(fenced: Path, tmp_path: Path) -> None:
    write_csv(STOCKED, tmp_path / "book")
    farm = read_book(tmp_path / "book").farm
    sheets = fill(blank(farm, finished(farm, small_plan(farm)), tmp_path / "plan.xlsx"), WEEK_1)
    readable = fenced.parent / "inputs"
    shutil.copytree(tmp_path, readable)
    readable.chmod(0o755)
    before = contents(readable)
    record_command.record(readable / "book", readable / sheets.name, tmp_path / "next")  # loads what nobody may not load

    def work() -> None:
        record_command.record(readable / "book", readable / sheets.name, fenced / "next")

    assert unprivileged(work) == 5
    assert contents(readable) == before


@pytest.mark.parametrize("name", ["next", "next.xlsx"])
def test_a_book_nobody_may_read(fenced: Path, name: str) -> None:
    book = fenced.parent / name
    (write_xlsx if name.endswith(".xlsx") else write_csv)(STOCKED, book)
    for path in (*(book.iterdir() if book.is_dir() else ()), book):
        path.chmod(0)
    assert unprivileged(lambda: read_book(book)) == 2
    for path in (book, *(book.iterdir() if book.is_dir() else ())):
        path.chmod(0o755)


def test_a_file_open_on_the_other_side(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Some systems let nobody replace or read a file that another program has open; this stands in for them."""
    target = tmp_path / "weekly.xlsx"
    target.write_bytes(b"old")

    def busy(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", busy)
        with pytest.raises(OutputError, match="is it open in another program"):
            atomic_write(target, b"new")
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("weekly.xlsx", b"old")]
    with monkeypatch.context() as patch:
        patch.setattr(Path, "read_bytes", busy)
        with pytest.raises(BookError, match="is it open in another program"):
            read_book(target)
        with pytest.raises(Exception, match="no file to be read"):
            read_filled(target)
