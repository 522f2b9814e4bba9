"""The command, its workbook and its tables."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from openpyxl import load_workbook
from typer.testing import CliRunner

from scheduler.book import read_book, write_csv
from scheduler.cli.main import app
from scheduler.farm.coral import Colony
from scheduler.farm.farm import Farm
from scheduler.farm.trade import Market, Order
from scheduler.forecast.outlook import forecast
from scheduler.reporting.tables.forecast import forecast_tables
from scheduler.reporting.workbook.forecast import build_forecast_workbook
from tests.forecast.rack_farm import MONDAY, count, market_sale, past, past_cut, rack_farm, rack_plan

if TYPE_CHECKING:
    from click.testing import Result

FORMULA = "=1+1"


@pytest.fixture(autouse=True)
def _plain_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "300")


def run(*words: object) -> Result:
    return CliRunner().invoke(app, ["forecast", *(str(w) for w in words)])


def example() -> Farm:
    """A farm with lots, an order, a market and a history; one strain is named like a formula."""
    due = MONDAY + timedelta(weeks=11)
    order = Order(order="one", channel="ship", strain="AMB", size_class="small", quantity=20, price=Decimal(20), due=due)
    farm = rack_farm(
        [(-6, 20), (-2, 30), (-3, 25)], strains=("AMB", "BRI"),
        tables={
            "orders": (order,), "market": (Market(strain="AMB", size_class="small", quantity=5.0),),
            "past_lots": (past("P1", 30, 20),), "counts": (count("P1", 26, 18, size_mm=34.5), count("P1", 20, 17, size_mm=41)),
            "past_cuts": (past_cut("A", 5, 10, 9, minutes_cutting=18),),
        },
    )  # fmt: skip
    colony = Colony(
        colony="A1", strain="AMB", tank="T0", par_umol=2000, count=40, count_date=MONDAY - timedelta(days=10), condition="no cut",
        condition_date=MONDAY - timedelta(days=10),
    )  # fmt: skip
    strains = tuple(s.model_copy(update={"name": FORMULA}) if s.strain == "BRI" else s for s in farm.strains)
    return replace(farm, strains=strains, colonies=(colony,))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A book and a plan of it."""
    folder = tmp_path_factory.mktemp("forecast")
    write_csv(example(), folder / "book")
    farm = read_book(folder / "book").farm
    sales = (market_sale("L0000", 12, 18, route="order", order="one"), market_sale("L0001", 9, 10))
    plan = rack_plan(farm, sales=sales)
    (folder / "plan.json").write_text(plan.model_dump_json())
    return folder / "book", folder / "plan.json"


def rows(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def test_a_forecast_is_told_and_written(made: tuple[Path, Path], tmp_path: Path) -> None:
    book, plan = made
    result = run(
        book, "--plan", plan, "--out", tmp_path, "--draws", 300, "--new-order", "AMB:small:5", "--new-order", "AMB:large:900"
    )
    assert result.exit_code == 0, result.output
    assert "2026-12" in result.stdout
    assert "18 started for 20" in result.stdout
    assert "A new order of 5 AMB small: by the end of" in result.stdout
    assert "A new order of 900 AMB large: in no month of the plan" in result.stdout
    folder = tmp_path / "2026-W49"
    assert {p.stem for p in (folder / "tables").glob("*.csv")} == {
        "forecast", "promises", "order_chances", "shortages", "learned", "class_times", "survival", "breeding",
    }  # fmt: skip
    months = rows(folder / "tables" / "forecast.csv")
    for row in months:
        assert int(row["p10"]) <= int(row["p50"]) <= int(row["p90"])
    totals = [float(r["mean"]) for r in months if r["strain"] == "all"]
    parts = [float(r["mean"]) for r in months if r["size_class"] == "small"]
    assert sum(totals) == pytest.approx(sum(parts), abs=0.2)
    assert rows(folder / "tables" / "order_chances.csv")[0]["started"] == "18 started for 20"
    learned = {(r["strain"], r["quantity"]): r for r in rows(folder / "tables" / "learned.csv")}
    growth = learned["AMB", "frag_mm_per_week"]
    assert float(growth["default"]) < float(growth["blended"]) < float(growth["own_counts"])
    times = rows(folder / "tables" / "class_times.csv")
    assert [r["size_class"] for r in times] == ["small", "large"]
    assert [r["default_weeks"] for r in times] == ["10.0", "20.0"]
    for row in times:
        assert float(row["p10"]) < float(row["p50"]) < float(row["p90"])
    assert [(r["strain"], r["mothers"]) for r in rows(folder / "tables" / "breeding.csv")] == [("AMB", "1")]
    survival = rows(folder / "tables" / "survival.csv")
    assert [r["weeks"] for r in survival] == [str(w) for w in range(1, 11)]
    assert float(survival[-1]["counted"]) == pytest.approx(17 / 20, abs=0.005)


def test_the_same_command_writes_the_same_numbers(made: tuple[Path, Path], tmp_path: Path) -> None:
    book, plan = made
    for name in ("a", "b"):
        assert run(book, "--plan", plan, "--out", tmp_path / name, "--draws", 200, "--quiet").exit_code == 0
    first, second = ((tmp_path / n / "2026-W49" / "tables" / "forecast.csv").read_bytes() for n in ("a", "b"))
    assert first == second


def test_the_plan_of_the_week_is_found_by_itself(made: tuple[Path, Path], tmp_path: Path) -> None:
    book, plan = made
    (tmp_path / "2026-W49").mkdir()
    (tmp_path / "2026-W49" / "plan.json").write_bytes(plan.read_bytes())
    result = run(book, "--out", tmp_path, "--draws", 200)
    assert result.exit_code == 0
    assert "the plan is" in result.stderr


def test_without_a_plan_one_is_made(made: tuple[Path, Path], tmp_path: Path) -> None:
    book, plan = made
    (tmp_path / "2026-W49").mkdir()
    (tmp_path / "2026-W49" / "plan.json").write_text(plan.read_text().replace('"book_fingerprint":"', '"book_fingerprint":"0'))
    result = run(book, "--out", tmp_path, "--draws", 200)
    assert result.exit_code == 0, result.output
    assert "is not used" in result.stderr
    assert "no plan of this week's book" in result.stderr
    assert (tmp_path / "2026-W49" / "forecast-2026-W49.xlsx").is_file()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--new-order", "AMB:small"), "expected a strain, a size class and a number"),
        (("--new-order", "AMB:small:0"), "expected a strain, a size class and a number"),
        (("--new-order", "XXX:small:5"), "there is no strain 'XXX'; the book has AMB, BRI"),
        (("--new-order", "AMB:huge:5"), "AMB has no size class 'huge'; it has small, large"),
        (("--plan", "none.json"), "cannot be read"),
    ],
)
def test_what_cannot_be_used_is_refused(made: tuple[Path, Path], tmp_path: Path, words: tuple[str, ...], told: str) -> None:
    result = run(made[0], "--out", tmp_path, *words)
    assert result.exit_code == 2
    assert told in result.stderr
    assert not list(tmp_path.iterdir())


def test_a_plan_of_another_book_or_no_plan_at_all_is_refused(made: tuple[Path, Path], tmp_path: Path) -> None:
    book, plan = made
    other = tmp_path / "other.json"
    other.write_text(plan.read_text().replace('"book_fingerprint":"', '"book_fingerprint":"0'))
    result = run(book, "--plan", other, "--out", tmp_path / "out")
    assert result.exit_code == 2
    assert "another book" in result.stderr
    other.write_text("[]")
    assert "is not a plan" in run(book, "--plan", other, "--out", tmp_path / "out").stderr
    assert not (tmp_path / "out").exists()


def cells(values: Iterable[tuple[object, ...]]) -> list[object]:
    return [v for row in values for v in row if v is not None]


def test_the_workbook_shows_the_tables_and_a_fan(made: tuple[Path, Path], tmp_path: Path) -> None:
    book, plan = made
    assert run(book, "--plan", plan, "--out", tmp_path, "--draws", 200, "--quiet").exit_code == 0
    found = load_workbook(tmp_path / "2026-W49" / "forecast-2026-W49.xlsx")
    assert found.sheetnames == ["forecast", "orders", "promises", "shortages", "learned"]
    page = found["forecast"]
    chart = page._charts[0]
    assert [type(c).__name__ for c in chart._charts] == ["AreaChart", "LineChart"]
    assert len(chart._charts[0].series) == 3
    table = rows(tmp_path / "2026-W49" / "tables" / "forecast.csv")
    first = next(r for r in page.iter_rows(values_only=True) if r[0] == "2026-12")
    assert [str(v) for v in first[1:4]] == [table[0][q] for q in ("p10", "p50", "p90")]
    assert (first[5], first[6]) == (first[2] - first[1], first[3] - first[2])
    for sheet in found.worksheets:
        for row in sheet.iter_rows():
            assert all(cell.data_type != "f" for cell in row)
    assert FORMULA in cells(found["promises"].iter_rows(values_only=True))
    assert "18 started for 20" in cells(found["orders"].iter_rows(values_only=True))


def test_a_farm_with_nothing_on_racks_has_a_forecast_too() -> None:
    farm = replace(rack_farm(), lots=())
    outlook = forecast(farm, rack_plan(farm), draws=100)
    assert not outlook.total.any()
    tables = forecast_tables(farm, outlook)
    assert tables["promises"].rows == tables["order_chances"].rows == tables["learned"].rows == ()
    assert len(build_forecast_workbook(farm, outlook, tables).sheetnames) == 5
