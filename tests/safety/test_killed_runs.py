"""A run that is killed leaves whole files and untouched inputs behind, and stands in nobody's way."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from scheduler.book import read_book, write_csv
from scheduler.cli import record_command
from scheduler.cli.inputs import read_plan
from scheduler.errors import ChangeError
from scheduler.file_sets import UNFINISHED, unfinished, write_together
from scheduler.files import LEFT_BEHIND_SECONDS, atomic_write
from scheduler.plan.model import Notice, Plan
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


def told(plan: Plan, number: int) -> Plan:
    """The plan with a notice of its own, so that its files differ from those of another one."""
    return plan.model_copy(update={"notices": (*plan.notices, Notice(kind="gave way", text=f"plan number {number}"))})


def set_of(out: Path, documents: dict[bytes, bytes]) -> None:
    """A plan folder holds one plan, or says that it does not; ``documents``: plan.json -> the table of notices beside it."""
    for path, data in contents(out).items():
        assert whole(path, data), path
    folder = out / "2026-W49"
    if not (folder / "plan.json").exists() or unfinished(folder / "plan.json"):
        if folder.exists() and any(folder.glob("*.json")):
            with pytest.raises(ChangeError, match="cut short"):
                read_plan(folder / "plan.json")
        return
    assert (folder / "tables" / "notices.csv").read_bytes() == documents[(folder / "plan.json").read_bytes()]


def test_kills_while_a_plan_is_written(inputs: tuple[Path, Path, Plan], tmp_path: Path) -> None:
    book, filled, plan = inputs
    farm = read_book(book).farm
    before = contents(book, filled)
    random, out = Random(1), tmp_path / "reports"
    documents: dict[bytes, bytes] = {}
    plans = [told(plan, number) for number in (1, 2)]
    for one in plans:
        tables = tables_of(PlanView(farm, one))
        documents[(one.model_dump_json(indent=2) + "\n").encode()] = csv_bytes(tables["notices"])
    began = time.perf_counter()
    assert ended(start(lambda: write_plan(farm, plans[0], out, "passed"))) == 0
    took = time.perf_counter() - began
    hits = 0
    for number in range(10):
        hits += killed(lambda n=number: write_plan(farm, plans[n % 2], out, "passed"), random.uniform(0, took))  # type: ignore[misc]
        set_of(out, documents)
    assert hits
    assert contents(book, filled) == before
    assert ended(start(lambda: write_plan(farm, plans[1], out, "passed"))) == 0
    assert not unfinished(out / "2026-W49" / "plan.json")
    set_of(out, documents)


STEPS = 9
"""Changes of names in which three files are written together: their drafts, the mark, the files, and some to spare."""


@pytest.mark.parametrize("there", [False, True])
@pytest.mark.parametrize("step", range(STEPS))
def test_a_set_of_files_killed_at_every_change_of_a_name(tmp_path: Path, step: int, there: bool) -> None:
    old = {name: f"old {name}\n".encode() for name in ("a.csv", "b.csv", "tables/c.csv")}
    new = {name: f"new {name}\n".encode() for name in old}
    if there:
        write_together(tmp_path, old)
    (tmp_path / "mine.txt").write_bytes(b"mine\n")
    changes = iter(range(1000))

    def work() -> None:
        def dying(draft: Path, target: Path, replace: Callable[..., Path] = Path.replace) -> Path:
            if next(changes) == step:
                os.kill(os.getpid(), 9)
            return replace(draft, target)

        Path.replace = dying  # type: ignore[assignment, method-assign]
        write_together(tmp_path, new)

    code = ended(start(work))
    found = {str(p.relative_to(tmp_path)): d for p, d in contents(tmp_path).items() if p.name != "mine.txt"}
    marked = unfinished(tmp_path / "a.csv")
    if marked:
        assert code == -9
        assert all(data in (old[name], new[name]) for name, data in found.items())
    else:
        assert found == (new if code == 0 else old if there else {})
    write_together(tmp_path, {"d.csv": b"next\n"})  # another run finishes first what was begun
    after = {str(p.relative_to(tmp_path)): d for p, d in contents(tmp_path).items()}
    begun = new if code == 0 or marked else old if there else {}
    assert after == {**begun, "d.csv": b"next\n", "mine.txt": b"mine\n"}
    assert not [p for p in tmp_path.iterdir() if p.is_dir() and p.name.startswith(".")]


def test_a_spoiled_mark_stands_in_nobodys_way(tmp_path: Path) -> None:
    for spoiled in ("", "{}", "[1]", '{"drafts": "gone", "files": ["a.csv"]}'):
        (tmp_path / UNFINISHED).write_text(spoiled, encoding="utf-8")
        assert unfinished(tmp_path / "a.csv")
        write_together(tmp_path, {"a.csv": b"new\n"})
        assert contents(tmp_path) == {tmp_path / "a.csv": b"new\n"}
        assert not unfinished(tmp_path / "a.csv")


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
