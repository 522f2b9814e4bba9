"""The pages, the help texts and the column guide say what the program does."""

from __future__ import annotations

import csv
import re
import shlex
import tomllib
from pathlib import Path
from typing import Any

import pytest
import typer
from typer.testing import CliRunner

import scheduler
from scheduler import errors
from scheduler.book.guide import column_guide
from scheduler.cli.main import app
from scheduler.farm.farm import TABLES

ROOT = Path(__file__).resolve().parents[1]
PAGES = ("README.md", "DEVELOPERS.md", "data/README.md", "reports/README.md")
RULES = {f"{letter}{n}" for letter, last in {"C": 4, "S": 6, "L": 9, "O": 2, "P": 2}.items() for n in range(1, last + 1)}


def text(page: str) -> str:
    return (ROOT / page).read_text(encoding="utf-8")


def commands(group: Any = None, path: tuple[str, ...] = ()) -> dict[tuple[str, ...], Any]:
    """Commands by the words that call them."""
    found: dict[tuple[str, ...], Any] = {}
    for name, command in (group or typer.main.get_command(app)).commands.items():
        if hasattr(command, "commands"):
            found |= commands(command, (*path, name))
        else:
            found[(*path, name)] = command
    return found


def lines_naming_the_program(page: str) -> list[str]:
    """What stands after ``frag-scheduler`` in code, up to the end of the code or the next command."""
    code = re.findall(r"```sh\n(.*?)```", text(page), re.DOTALL) + re.findall(r"`([^`\n]+)`", text(page))
    parts = [part.strip() for block in code for line in block.splitlines() for part in line.split("&&")]
    return [m[1].strip() for part in parts if (m := re.match(r"(?:\S*/)?frag-scheduler +(\S.*)", part))]


def check_call(words: list[str]) -> None:
    """The words name a command, and only options it has, each with a value the option takes."""
    known = commands()
    path = next((p for p in known if tuple(words[: len(p)]) == p), None)
    assert path is not None, f"frag-scheduler {' '.join(words)}: no such command; there are {sorted(known)}"
    arguments = [w for w in words[len(path) :] if w != ">"] if ">" not in words else words[len(path) : words.index(">")]
    known[path].make_context(path[-1], arguments)


@pytest.mark.parametrize("page", PAGES)
def test_every_command_on_a_page_is_one_the_program_has(page: str) -> None:
    calls = lines_naming_the_program(page)
    assert calls or page == "DEVELOPERS.md"
    for call in calls:
        check_call(shlex.split(call))


def test_the_readme_names_every_command() -> None:
    calls = [shlex.split(call) for call in lines_naming_the_program("README.md")]
    for path in commands():
        assert any(tuple(words[: len(path)]) == path for words in calls), f"README.md does not show {' '.join(path)}"


def test_options_named_by_themselves_exist() -> None:
    options = {
        name
        for command in commands().values()
        for parameter in command.params
        for name in (*parameter.opts, *parameter.secondary_opts)
    }
    for page in PAGES:
        for code in re.findall(r"`(--[a-z-]+)[^`]*`", text(page)):
            assert code in options, f"{page}: {code}"


@pytest.mark.parametrize("path", sorted(commands()), ids=" ".join)
def test_every_command_has_help_with_an_example_that_it_takes(path: tuple[str, ...]) -> None:
    command = commands()[path]
    assert command.help
    epilog = command.epilog or ""
    assert epilog.startswith("Example: frag-scheduler "), f"{' '.join(path)} has no example"
    words = shlex.split(epilog.removeprefix("Example: frag-scheduler "))
    assert tuple(words[: len(path)]) == path
    check_call(words)
    for parameter in command.params:
        assert getattr(parameter, "help", None) or parameter.name == "help", f"{' '.join(path)}: {parameter.name} has no help"
    shown = CliRunner().invoke(app, [*path, "--help"])
    assert shown.exit_code == 0
    assert "Example:" in shown.output


def test_the_column_guide_is_the_programs_own() -> None:
    assert text("data/COLUMNS.md") == column_guide(), "make it again: python -m scheduler.book.guide data/COLUMNS.md"


def test_exit_codes_are_those_of_the_errors() -> None:
    table = {int(code) for code in re.findall(r"^\| (\d) \|", text("README.md"), re.MULTILINE)}
    raised = {cls.exit_code for cls in errors.FragSchedulerError.__subclasses__()}
    assert table == raised | {0}


def test_every_rule_is_written_down_and_no_other_is_cited() -> None:
    written = set(re.findall(r"^\| ([CSLOP]\d) [a-z]", text("DEVELOPERS.md"), re.MULTILINE))
    assert written == RULES
    for file in sorted((ROOT / "scheduler" / "audit").glob("*.py")):
        cited = set(re.findall(r'"([A-Z]\d)"', file.read_text(encoding="utf-8")))
        assert cited <= RULES, f"{file.name} cites {sorted(cited - RULES)}"


def test_every_room_of_the_house_is_named() -> None:
    rooms = {
        p.name.removesuffix(".py") for p in (ROOT / "scheduler").iterdir() if p.suffix in ("", ".py") and p.name[0] not in "_."
    }
    for room in sorted(rooms - {"py.typed"}):
        assert f"`{room}`" in text("DEVELOPERS.md"), f"DEVELOPERS.md does not name {room}"


def test_versions_agree() -> None:
    project = tomllib.loads(text("pyproject.toml"))["project"]
    assert project["version"] == scheduler.__version__
    assert re.findall(r"^### (\S+)$", text("README.md"), re.MULTILINE)[0] == scheduler.__version__
    solver = next(d for d in project["dependencies"] if d.startswith("ortools"))
    assert re.fullmatch(r"ortools==[\d.]+", solver)
    assert solver.replace("==", " ") in text("DEVELOPERS.md")
    oldest = project["requires-python"].removeprefix(">=")
    assert f"Python {oldest} or later" in text("README.md")


def test_the_set_up_on_the_page_is_the_one_that_is_checked() -> None:
    extras = tomllib.loads(text("pyproject.toml"))["project"]["optional-dependencies"]
    installs = re.findall(r"pip install -q -e (\S+)", text("README.md"))
    assert installs == [".", "'.[test]'"]
    assert {"test", "dev"} <= set(extras)
    run = text(".ci/run")
    for command in (*(f"install -q -e {what}" for what in installs), "plan data/demo"):
        assert command in run
    assert (ROOT / ".ci" / "run").stat().st_mode & 0o111


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", text(page)):
        if not target.startswith("https://"):
            assert (ROOT / page).parent.joinpath(target).exists(), f"{page}: {target}"


def test_pictures_are_small() -> None:
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", text("README.md"))
    assert len(pictures) == 4
    for picture in pictures:
        assert (ROOT / picture).stat().st_size < 200_000


def test_the_demo_farm_has_the_rows_its_page_says() -> None:
    table = re.findall(r"^\| ((?:`\w+`(?:, )?)+) \| ([\d, ]+) \|", text("data/README.md"), re.MULTILINE)
    assert table
    for names, counts in table:
        for name, count in zip(re.findall(r"`(\w+)`", names), counts.split(", "), strict=True):
            with (ROOT / "data" / "demo" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
                assert sum(1 for _ in csv.DictReader(file)) == int(count), name


def test_every_sheet_is_in_the_demo_farm() -> None:
    assert {p.stem for p in (ROOT / "data" / "demo").glob("*.csv")} == set(TABLES)


def test_every_table_of_a_plan_is_listed() -> None:
    listed = {
        n
        for names in re.findall(r"^\| (`[a-z_`, ]+`) \|", text("reports/README.md"), re.MULTILINE)
        for n in re.findall(r"\w+", names)
    }
    source = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "scheduler" / "reporting" / "tables").glob("*.py"))
    assert listed == set(re.findall(r'\bTable\(\s*"(\w+)"', source))
