"""A run that is killed leaves whole files and untouched inputs behind, and stands in nobody's way."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from random import Random

import pytest

from scheduler.book import read_book, write_csv
from scheduler.cli import record_command
from scheduler.files import LEFT_BEHIND_SECONDS, atomic_write
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.record import read_filled, record
from scheduler.reporting import write_plan
from scheduler.reporting.tables import csv_bytes, tables_of
from tests.audit.small_farm import finished, small_plan
from tests.record.filling import blank, fill
from tests.record.test_record_done import STOCKED, WEEK_1
from tests.safety.runs import book_fingerprint, contents, ended, killed, start, whole

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="kills child processes by fork, which this system has not")


@pytest.fixture(scope="module")
def inputs(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Plan]:
    """A book, its filled plan, and the plan."""
    folder = tmp_path_factory.mktemp("inputs")
    write_csv(STOCKED, folder / "book")
    farm = read_book(folder / "book").farm
    plan = finished(farm, small_plan(farm))
    return folder / "book", fill(blank(farm, plan, folder / "filled.xlsx"), WEEK_1), plan


def test_kills_while_a_plan_is_written(inputs: tuple[Path, Path, Plan], tmp_path: Path) -> None:
    book, filled, plan = inputs
    farm = read_book(book).farm
    before = contents(book, filled)
    tables = {f"{name}.csv": csv_bytes(t) for name, t in tables_of(PlanView(farm, plan)).items()}
    random, out = Random(1), tmp_path / "reports"

    def work() -> None:
        write_plan(farm, plan, out, "passed")

    began = time.perf_counter()
    assert ended(start(work)) == 0
    took = time.perf_counter() - began
    hits = 0
    for _ in range(10):
        hits += killed(work, random.uniform(0, took))
        for path, data in contents(out).items():
            assert whole(path, data), path
            assert path.suffix != ".csv" or data == tables[path.name]
    assert hits
    assert contents(book, filled) == before
    assert ended(start(work)) == 0


def test_kills_while_a_week_is_recorded(inputs: tuple[Path, Path, Plan], tmp_path: Path) -> None:
    book, filled, _ = inputs
    before = contents(book, filled)
    expected = record(read_book(book).farm, read_filled(filled)).farm
    assert expected is not None
    random, hits = Random(2), 0
    for number in range(10):
        out = tmp_path / (f"next-{number}.xlsx" if number % 2 else f"next-{number}")

        def work(out: Path = out) -> None:
            record_command.record(book, filled, out)

        began = time.perf_counter()
        if number < 2:
            assert ended(start(work)) == 0
            took = time.perf_counter() - began
        else:
            hits += killed(work, random.uniform(0, took))
        if out.exists():
            assert book_fingerprint(out) == expected.fingerprint
    assert hits
    assert contents(book, filled) == before


def test_drafts_of_killed_runs_are_cleared_away_in_time(tmp_path: Path) -> None:
    old, fresh = tmp_path / ".plan.json.old.tmp", tmp_path / ".plan.json.new.tmp"
    folder = tmp_path / ".book.old.tmp"
    folder.mkdir()
    for path in (old, fresh, folder / "lots.csv", tmp_path / ".other.json.old.tmp"):
        path.write_text("half", encoding="utf-8")
    then = time.time() - LEFT_BEHIND_SECONDS - 60
    for path in (old, folder, tmp_path / ".other.json.old.tmp"):
        os.utime(path, (then, then))
    atomic_write(tmp_path / "plan.json", b"{}\n")
    assert {p.name for p in tmp_path.iterdir()} == {"plan.json", fresh.name, folder.name, ".other.json.old.tmp"}
    write_csv(STOCKED, tmp_path / "book")
    assert not folder.exists()


@pytest.mark.slow
def test_two_hundred_kills_of_the_commands(inputs: tuple[Path, Path, Plan], tmp_path: Path) -> None:
    book, filled, _ = inputs
    before = contents(book, filled)
    expected = record(read_book(book).farm, read_filled(filled)).farm
    assert expected is not None
    random, hits = Random(3), 0
    program = [sys.executable, "-c", "from scheduler.cli.main import app; app()"]
    took: dict[bool, float] = {}
    for number in range(202):
        plans = number % 2 == 0
        out = tmp_path / ("reports" if plans else f"next-{number}")
        words = ["plan", book, "--out", out, "--time-limit", 1, "--quiet"] if plans else ["record", book, filled, "--out", out]
        began = time.perf_counter()
        run = subprocess.Popen([*program, *map(str, words)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        if number < 2:
            assert run.wait() == 0
            took[plans] = time.perf_counter() - began
            continue
        try:
            run.wait(random.uniform(0, took[plans]))
        except subprocess.TimeoutExpired:
            run.kill()
            hits += run.wait() != 0
        for path, data in contents(tmp_path / "reports").items():
            assert whole(path, data), path
        if not plans and out.exists():
            assert book_fingerprint(out) == expected.fingerprint
    assert hits > 100
    assert contents(book, filled) == before
