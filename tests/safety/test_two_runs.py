"""Two runs at once on one place: one waits or fails clearly; neither harms the other."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

import scheduler.files
from scheduler.book import read_book, write_csv, write_xlsx
from scheduler.errors import OutputError
from scheduler.files import LOCK_NAME, atomic_write, folder_lock
from scheduler.reporting import write_plan
from tests.audit.small_farm import finished, small_plan
from tests.record.test_record_done import STOCKED
from tests.safety.runs import contents, ended, killed, start, whole

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="starts child processes by fork, which this system has not")


def held(folder: Path, seconds: float) -> int:
    """A child that holds a folder so long; returns once it does."""

    def work() -> None:
        with folder_lock(folder):
            (folder / ".held").touch()
            time.sleep(seconds)

    child = start(work)
    while not (folder / ".held").exists():
        time.sleep(0.01)
    return child


def test_a_run_waits_for_another(tmp_path: Path) -> None:
    child = held(tmp_path, 0.5)
    with folder_lock(tmp_path):
        assert os.waitpid(child, os.WNOHANG)[0] in (0, child)
    assert (tmp_path / LOCK_NAME).exists()


def test_a_run_that_waited_too_long_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scheduler.files, "LOCK_SECONDS", 0.1)
    child = held(tmp_path / "2026-W49", 30)
    with pytest.raises(OutputError, match="another run is writing to"):
        write_plan(STOCKED, small_plan(STOCKED), tmp_path, "passed")
    assert not contents(tmp_path)
    os.kill(child, 9)
    assert ended(child) == -9


def test_a_killed_run_holds_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scheduler.files, "LOCK_SECONDS", 5)

    def work() -> None:
        with folder_lock(tmp_path):
            time.sleep(60)

    assert killed(work, 0.3)
    with folder_lock(tmp_path):
        pass


def test_two_plans_into_one_folder_are_both_whole(tmp_path: Path) -> None:
    plan = finished(STOCKED, small_plan(STOCKED))
    children = [start(lambda: write_plan(STOCKED, plan, tmp_path, "passed")) for _ in range(2)]
    assert [ended(c) for c in children] == [0, 0]
    files = contents(tmp_path)
    assert len(files) > 10
    assert all(whole(path, data) for path, data in files.items())
    assert not list(tmp_path.rglob("*.tmp"))


@pytest.mark.parametrize("name", ["next", "next.xlsx"])
def test_of_two_new_books_of_one_name_one_is_refused(tmp_path: Path, name: str) -> None:
    write = write_xlsx if name.endswith(".xlsx") else write_csv
    children = [start(lambda: write(STOCKED, tmp_path / name)) for _ in range(4)]
    assert sorted(ended(c) for c in children) == [0, 5, 5, 5]
    assert read_book(tmp_path / name).farm.colonies == STOCKED.colonies
    assert not list(tmp_path.glob(".*.tmp"))


def test_a_new_file_takes_nobodys_name(tmp_path: Path) -> None:
    atomic_write(tmp_path / "a", b"one", new=True)
    with pytest.raises(OutputError, match="exists already"):
        atomic_write(tmp_path / "a", b"two", new=True)
    assert (tmp_path / "a").read_bytes() == b"one"
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


def test_a_file_system_without_links_is_written_to_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "hardlink_to", no_links)
    atomic_write(tmp_path / "a", b"one", new=True)
    assert (tmp_path / "a").read_bytes() == b"one"
    with pytest.raises(OutputError, match="exists already"):
        atomic_write(tmp_path / "a", b"two", new=True)
    assert [p.name for p in tmp_path.iterdir()] == ["a"]
