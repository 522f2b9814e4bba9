"""The commands as a grower runs them: what they print, what they write, and their exit codes."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from scheduler import __version__
from scheduler.book import read_book, write_csv
from scheduler.cli import show
from scheduler.cli.main import app
from scheduler.farm.counts import Count, PastLot
from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan
from tests.audit.small_farm import MONDAY, changed, small_farm
from tests.week.bench_farm import at_least, cut, pins, tiny_farm

if TYPE_CHECKING:
    from click.testing import Result

DEMO = Path(__file__).parents[2] / "data" / "demo"


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "300")


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(w) for w in words])


def book(folder: Path, farm: Farm | None = None) -> Path:
    """A book brought up to date on the Monday its colonies were counted."""
    write_csv(changed(farm or small_farm(), "settings", book_date=MONDAY), folder)
    return folder


def plan_of(book: Path, out: Path, *more: object) -> Result:
    return run("plan", book, "--out", out, "--time-limit", 1, *more)


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, Result]:
    """A book, the folder of its plan, and what the command said."""
    folder = tmp_path_factory.mktemp("farm")
    source = book(folder / "book")
    result = plan_of(source, folder / "reports")
    return source, folder / "reports" / "2026-W49", result


# ---- check ------------------------------------------------------------------------------------------------------------


def test_the_demo_book_has_no_faults() -> None:
    result = run("check", DEMO)
    assert result.exit_code == 0
    assert "No faults." in result.output


def test_a_misspelt_strain_is_a_fault_with_the_nearest_good_name(tmp_path: Path) -> None:
    source = book(tmp_path / "book")
    table = source / "colonies.csv"
    table.write_text(table.read_text(encoding="utf-8").replace("A1,AAA", "A1,AAB"), encoding="utf-8")
    for command in (("check", source), ("plan", source, "--out", tmp_path / "out")):
        result = run(*command)
        assert result.exit_code == 2
        assert "AAB" in result.stderr
        assert "AAA" in result.stderr
    assert not (tmp_path / "out").exists()


def test_a_book_that_is_not_there(tmp_path: Path) -> None:
    assert run("check", tmp_path / "nowhere").exit_code == 2


# ---- plan -------------------------------------------------------------------------------------------------------------


def test_a_plan_is_written_and_summed_up(planned: tuple[Path, Path, Result]) -> None:
    _, folder, result = planned
    assert result.exit_code == 0, result.output
    assert (folder / "weekly-plan-2026-W49.xlsx").is_file()
    assert (folder / "plan.json").is_file()
    assert list((folder / "tables").glob("*.csv"))
    assert "The audit passed it." in result.stdout
    assert "Written:" in result.stdout
    for stage in ("reading the farm book", "near weeks", "later weeks", "audit", "writing the workbook"):
        assert stage in result.stderr


def test_a_quiet_plan_with_a_horizon_of_its_own_is_audited_with_it(tmp_path: Path) -> None:
    source = book(tmp_path / "book")
    result = plan_of(source, tmp_path / "out", "--quiet", "--weeks", 6)
    assert result.exit_code == 0, result.output
    assert "near weeks" not in result.stderr
    plan = tmp_path / "out" / "2026-W49" / "plan.json"
    assert json.loads(plan.read_text(encoding="utf-8"))["about"]["weeks"] == 6
    assert run("audit", plan, source).exit_code == 0


def clashing() -> Farm:
    """A farm whose second and third pin cannot hold together."""
    wanted = pins({"kind": "no cut", "colony": "A2"}, cut("A1"), {"kind": "at most", "colony": "A1", "pieces": 0})
    return tiny_farm(mothers={"A1": ("A", "M"), "A2": ("A", "M")}, pins=wanted)


def test_pins_that_clash_are_named_and_nothing_is_written(tmp_path: Path) -> None:
    result = plan_of(book(tmp_path / "book", clashing()), tmp_path / "out")
    assert result.exit_code == 3
    assert "P2: cut A1" in result.stderr
    assert "P3: cut at most 0 of A1" in result.stderr
    assert "P1" not in result.stderr
    assert not (tmp_path / "out").exists()


def test_what_to_do_about_pins_that_clash_can_be_done(tmp_path: Path) -> None:
    """A pin of the book can be dropped; one given with the command is left out there, as --drop-pin does not know it."""
    of_book = plan_of(book(tmp_path / "book", clashing()), tmp_path / "out").stderr
    assert "--drop-pin P2" in of_book
    assert "--pin" not in of_book
    bare = book(tmp_path / "bare", replace(clashing(), pins=()))
    of_command = plan_of(bare, tmp_path / "out", "--pin", "cut A1", "--pin", "no cut A1").stderr
    assert "--drop-pin" not in of_command
    assert "leave out a --pin" in of_command


def test_a_pin_can_be_dropped(tmp_path: Path) -> None:
    result = plan_of(book(tmp_path / "book", clashing()), tmp_path / "out", "--drop-pin", "P3")
    assert result.exit_code == 0, result.output
    assert "pin dropped: P3" in result.stdout


def test_only_pins_of_the_book_can_be_dropped(tmp_path: Path) -> None:
    result = plan_of(book(tmp_path / "book", clashing()), tmp_path / "out", "--drop-pin", "P9")
    assert result.exit_code == 2
    assert "P1, P2, P3" in result.stderr
    bare = replace(clashing(), pins=())
    assert "none" in plan_of(book(tmp_path / "bare", bare), tmp_path / "out", "--drop-pin", "P1").stderr


def test_a_place_that_cannot_be_written_to(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("a file, not a folder", encoding="utf-8")
    result = plan_of(book(tmp_path / "book", tiny_farm()), tmp_path / "out")
    assert result.exit_code == 5
    assert "out" in result.stderr


def test_a_plan_after_an_announced_one_with_pins_in_words(tmp_path: Path) -> None:
    source = book(tmp_path / "book")
    announced, written = (tmp_path / name / "2026-W49" / "plan.json" for name in ("first", "second"))
    assert plan_of(source, tmp_path / "first", "--pin", "at least 6 of A1").exit_code == 0
    result = plan_of(source, tmp_path / "second", "--since", announced, "--pin", "no cut A1")
    assert result.exit_code == 0, result.output
    assert "announced cut of A1" in result.stdout
    first, second = (Plan.model_validate_json(p.read_bytes()) for p in (announced, written))
    assert [p.kind for p in first.about.added_pins] == ["at least"]
    assert [p.kind for p in second.about.added_pins] == ["no cut"]
    assert {a.colony for a in second.announced} == {c.colony for c in first.cuts if c.session is not None}
    assert run("audit", announced, source).exit_code == run("audit", written, source).exit_code == 0


def test_wishes_and_plans_that_cannot_be_read_are_told(planned: tuple[Path, Path, Result], tmp_path: Path) -> None:
    source, _, _ = planned
    result = plan_of(source, tmp_path / "out", "--pin", "chop A1")
    assert result.exit_code == 2
    assert "cut LAN-02" in result.stderr
    assert plan_of(source, tmp_path / "out", "--since", tmp_path / "none.json").exit_code == 2
    assert not (tmp_path / "out").exists()


def test_plans_are_made_and_audited_with_what_counts_have_taught(tmp_path: Path) -> None:
    lot = PastLot(lot="PA", strain="A", cut_date=MONDAY - timedelta(weeks=26), started=60)
    seen = [Count(lot="PA", date=lot.cut_date + timedelta(weeks=w), alive=n) for w, n in ((0, 60), (4, 45))]
    source = book(tmp_path / "book", replace(tiny_farm(), past_lots=(lot,), counts=tuple(seen)))
    learned = {}
    for option in ("--learn", "--no-learn"):
        result = plan_of(source, tmp_path / option, option)
        assert result.exit_code == 0, result.output
        written = tmp_path / option / "2026-W49" / "plan.json"
        learned[option] = Plan.model_validate_json(written.read_bytes()).about.learned
        assert ("as learned from counts" in result.stdout) == (option == "--learn")
        assert run("audit", written, source).exit_code == 0
    assert learned["--no-learn"] == ()
    assert "death_early" in {row.trait for row in learned["--learn"]}


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "x", "--speed", "9"), ("plan", "x", "--weeks", "3"), ("plan", "x", "--time-limit", "0"), ("plan", "x", "--seed", "no"),
        ("plan",), ("grow",), ("audit", "plan.json"),
    ],
)  # fmt: skip
def test_words_nobody_knows(words: tuple[str, ...]) -> None:
    assert run(*words).exit_code == 2


# ---- audit ------------------------------------------------------------------------------------------------------------


def test_a_plan_that_holds(planned: tuple[Path, Path, Result]) -> None:
    source, folder, _ = planned
    result = run("audit", folder / "plan.json", source)
    assert result.exit_code == 0
    assert "Every rule holds." in result.stdout


def test_a_spoiled_plan_breaks_rules(planned: tuple[Path, Path, Result], tmp_path: Path) -> None:
    source, folder, _ = planned
    document = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    document["cuts"][0]["pieces"] += 1
    (tmp_path / "plan.json").write_text(json.dumps(document), encoding="utf-8")
    result = run("audit", tmp_path / "plan.json", source)
    assert result.exit_code == 1
    assert document["cuts"][0]["lot"] in result.stdout


def test_a_plan_of_another_book_is_told_apart(planned: tuple[Path, Path, Result], tmp_path: Path) -> None:
    other = book(tmp_path / "other", changed(small_farm(), "colonies", "A1", count=70.0))
    assert run("audit", planned[1] / "plan.json", other).exit_code == 1


@pytest.mark.parametrize("text", ["", "not json", "[]", '{"about": 1}', "\x00\xff"])
def test_garbage_is_no_plan(planned: tuple[Path, Path, Result], tmp_path: Path, text: str) -> None:
    (tmp_path / "plan.json").write_text(text, encoding="latin-1")
    result = run("audit", tmp_path / "plan.json", planned[0])
    assert result.exit_code == 2
    assert "is not a plan of this program" in result.stderr


def test_a_plan_that_is_not_there(tmp_path: Path) -> None:
    result = run("audit", tmp_path / "none.json", DEMO)
    assert result.exit_code == 2
    assert "cannot be read" in result.stderr


# ---- books and the rest -----------------------------------------------------------------------------------------------


def test_the_schema_is_json_and_names_the_parts_of_a_plan() -> None:
    result = run("schema")
    assert result.exit_code == 0
    assert {"about", "cuts", "stands", "sales", "lines", "balance"} <= set(json.loads(result.stdout)["properties"])


def test_a_new_book_is_made_once(tmp_path: Path) -> None:
    path = tmp_path / "farm.xlsx"
    result = run("book", "new", path)
    assert result.exit_code == 0
    assert path.is_file()
    before = path.read_bytes()
    assert run("book", "new", path).exit_code == 5
    assert path.read_bytes() == before


def test_a_book_goes_to_a_workbook_and_back(tmp_path: Path) -> None:
    source = book(tmp_path / "book", tiny_farm(pins=pins(at_least("A1", 5))))
    assert run("book", "convert", source, tmp_path / "farm.xlsx").exit_code == 0
    assert run("book", "convert", tmp_path / "farm.xlsx", tmp_path / "again").exit_code == 0
    assert read_book(tmp_path / "again").farm.fingerprint == read_book(source).farm.fingerprint
    assert run("book", "convert", source, tmp_path / "again").exit_code == 5


def test_version_and_help() -> None:
    assert run("--version").stdout.strip() == f"frag-scheduler {__version__}"
    assert "plan" in run("--help").stdout
    assert "convert" in run("book", "--help").stdout


def test_progress_is_told_at_most_once_a_second(capsys: pytest.CaptureFixture[str]) -> None:
    stages = show.Stages()
    stages.progress("near weeks", None, 900.0, 1.5)
    stages.progress("near weeks", 10_000.0, 20_000.0, 2.0)
    stages.progress("near weeks", 11_000.0, 20_000.0, 2.5)
    stages.progress("near weeks", 12_000.0, None, 3.5)
    told = capsys.readouterr().err
    assert "best 100, bound 200, gap 50.0 %" in told
    assert "best 110" not in told
    assert "best 120" in told
    show.Stages(quiet=True).progress("near weeks", 1.0, 2.0, 9.0)
    assert capsys.readouterr().err == ""


# ---- page -------------------------------------------------------------------------------------------------------------


def test_the_page_is_written_with_the_plan_and_the_same_again(planned: tuple[Path, Path, Result], tmp_path: Path) -> None:
    source, folder, result = planned
    page = folder / "week.html"
    first = page.read_bytes()
    assert "week.html" in result.stdout
    assert b"draws" in first
    page.unlink()
    again = run("page", folder / "plan.json", source)
    assert again.exit_code == 0, again.output
    assert page.read_bytes() == first
    other = tmp_path / "other.html"
    assert run("page", folder / "plan.json", source, "--out", other).exit_code == 0
    assert other.read_bytes() == first


def test_no_page_is_written_for_another_book_or_a_spoiled_plan(planned: tuple[Path, Path, Result], tmp_path: Path) -> None:
    source, folder, _ = planned
    page = tmp_path / "week.html"
    other = book(tmp_path / "other", changed(small_farm(), "settings", wage_per_hour=99))
    told = run("page", folder / "plan.json", other, "--out", page)
    assert (told.exit_code, page.exists()) == (2, False)
    assert "was not made from" in told.stderr
    document = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
    document["sales"] = document["sales"][1:]
    spoiled = tmp_path / "spoiled.json"
    spoiled.write_text(json.dumps(document), encoding="utf-8")
    told = run("page", spoiled, source, "--out", page)
    assert (told.exit_code, page.exists()) == (1, False)
    assert "frag-scheduler audit" in told.stderr


def test_a_page_never_takes_the_name_of_another_kind_of_file(planned: tuple[Path, Path, Result]) -> None:
    source, folder, _ = planned
    plan = folder / "plan.json"
    before = plan.read_bytes()
    assert run("page", plan, source, "--out", plan).exit_code == 2
    assert plan.read_bytes() == before
    assert run("page", plan, source, "--out", plan / "week.html").exit_code == 5
