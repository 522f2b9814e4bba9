"""A farm lives for weeks through files alone: plan, fill in, save in an office program, record, plan again."""

from __future__ import annotations

import shutil
import subprocess
from collections import Counter
from decimal import Decimal
from pathlib import Path
from random import Random

import pytest
from openpyxl import load_workbook
from typer.testing import CliRunner

from scheduler.book import read_book, write_csv
from scheduler.cli.main import app
from scheduler.farm.farm import Farm
from scheduler.plan.model import Plan
from scheduler.planning.since import announced_cuts, calm
from scheduler.record import read_filled
from scheduler.record.layout import COLUMNS, KEY_COLUMN
from tests.audit.small_farm import changed
from tests.farms import random_farm

DEMO = Path(__file__).parents[2] / "data" / "demo"
OFFICE = shutil.which("soffice")


def run(*words: object) -> str:
    result = CliRunner().invoke(app, [str(w) for w in words])
    assert result.exit_code == 0, result.output
    return result.stdout


def saved_by_office(path: Path, folder: Path) -> Path:
    """The workbook as an office program saves it."""
    if OFFICE is None:
        pytest.skip("no office program (soffice) on this machine")
    profile = f"-env:UserInstallation=file://{folder / 'profile'}"
    words = [
        OFFICE,
        profile,
        "--headless",
        "--convert-to",
        "xlsx:Calc MS Excel 2007 XML",
        "--outdir",
        str(folder / "saved"),
        str(path),
    ]
    subprocess.run(words, check=True, capture_output=True, timeout=900)
    return folder / "saved" / path.name


class Crew:
    """Fills the sheet: most lists as planned, some cuts short by a few pieces, every lot due counted."""

    def __init__(self, seed: int) -> None:
        self.random = Random(seed)
        self.mounted: Counter[str] = Counter()
        self.off: Counter[str] = Counter()
        self.lost: Counter[str] = Counter()

    def fill(self, path: Path, target: Path) -> Path:
        work = read_filled(path).work
        book = load_workbook(path)
        sheet = book["record"]
        row = {str(sheet.cell(r, KEY_COLUMN).value): r for r in range(1, sheet.max_row + 1)}

        def put(key: str, column: str, value: object) -> None:
            sheet.cell(row[key], COLUMNS.index(column) + 1).value = value  # type: ignore[assignment]

        left: dict[str, int] = {}
        for group in (g for g in work.groups if g.week == 1):
            differs = False
            for thing in group.things:
                if group.section == "session":
                    short = self.random.choice((0, 0, 0, 1)) if thing.pieces > 1 else 0
                    if short:
                        put(thing.key, "lost", short)
                        differs = True
                    self.mounted[thing.lot] += thing.pieces - short
                elif group.section == "packing":
                    self.off[thing.lot] += thing.pieces
                elif group.section == "counts":
                    gone = sum(self.random.random() < 0.02 for _ in range(thing.pieces))
                    came_off = self.random.randint(0, gone)
                    put(thing.key, "counted", thing.pieces - gone)
                    put(thing.key, "lost", came_off)
                    self.lost[thing.lot] += gone
                    left[thing.lot] = thing.pieces - gone
            if group.marked and group.things:
                put(group.key, "mark", "except" if differs else "as planned")
        book.save(target)
        return target


def play(farm_book: Path, folder: Path, weeks: int, limit: int) -> tuple[Farm, Farm, Crew, list[tuple[int, int]]]:
    """So many weeks through files; the first and the last farm, the crew, and (changed, announced) cuts of each new plan."""
    crew = Crew(weeks)
    book, first = farm_book, read_book(farm_book).farm
    restless: list[tuple[int, int]] = []
    last: Plan | None = None
    told = folder / "nothing announced yet"
    for week in range(1, weeks + 1):
        farm = read_book(book).farm
        out = folder / "reports"
        since = () if last is None else ("--since", told)
        run("plan", book, "--out", out, "--time-limit", limit, "--quiet", *since)
        label = farm.weeks.label(1)
        document = out / label / "plan.json"
        assert "Every rule holds." in run("audit", document, book)
        plan, told = Plan.model_validate_json(document.read_bytes()), document
        if last is not None:
            measure = calm(announced_cuts(farm, last), plan.cuts)
            restless.append((measure.changed, measure.announced))
        last = plan
        sheet = crew.fill(out / label / f"weekly-plan-{label}.xlsx", folder / f"week-{week}.xlsx")
        sheet = saved_by_office(sheet, folder)
        following = folder / (f"book-{week + 1}.xlsx" if week % 2 else f"book-{week + 1}")
        before = {p: p.read_bytes() for p in ([book] if book.is_file() else sorted(book.iterdir()))}
        said = run("record", book, sheet, "--out", following).splitlines()
        assert before == {p: p.read_bytes() for p in before}
        assert run("diff", book, following).splitlines()[:-1] == [x for x in said[:-1] if not x.startswith("Note: ")]
        balanced(first, read_book(following).farm, crew)
        book = following
    return first, read_book(book).farm, crew, restless


def balanced(first: Farm, now: Farm, crew: Crew) -> None:
    """Every plug ever mounted is on a rack, was sold, or was taken off dead; and every plug used is missing from stock."""
    at_first = {lot.lot: lot.alive for lot in first.lots}
    alive = {lot.lot: lot.alive for lot in now.lots}
    for lot in {*at_first, *crew.mounted}:
        began = at_first.get(lot, 0) + crew.mounted[lot]
        assert began == alive.get(lot, 0) + crew.off[lot] + crew.lost[lot], lot
    assert {lot: n for lot, n in crew.off.items() if n} == _sold(first, now)
    stock = {s.item: s.stock for s in now.supplies}
    for item in first.supplies:
        if item.per == "piece":
            strains = {lot.lot: lot.strain for lot in (*now.lots, *now.past_lots)}
            used = sum(
                n
                for lot, n in crew.mounted.items()
                if n and item.only_for in (None, now.traits(strains[lot]).plug_kind, now.strain[strains[lot]].group)
            )
            assert stock[item.item] == pytest.approx(max(0.0, item.stock - used * item.quantity_per), abs=1e-6)


def _sold(first: Farm, now: Farm) -> dict[str, int]:
    found: Counter[str] = Counter()
    for row in now.sales_done[len(first.sales_done) :]:
        found[row.lot] += row.plugs
    return dict(found)


def stocked(farm: Farm) -> Farm:
    """Supplies that do not run out, so that what is used can be counted."""
    return changed(farm, "supplies", None, stock=100_000.0)


def test_two_weeks_of_a_small_farm(tmp_path: Path) -> None:
    write_csv(stocked(random_farm(3, 4, weeks=6)), tmp_path / "book-1")
    _, now, crew, _ = play(tmp_path / "book-1", tmp_path, weeks=2, limit=1)
    assert len(now.recorded) == 2
    assert sum(crew.mounted.values()) > 0
    assert sum(crew.off.values()) > 0


@pytest.mark.slow
def test_eight_weeks_of_the_demo_farm(tmp_path: Path) -> None:
    write_csv(changed(stocked(read_book(DEMO).farm), "settings", change_cost=Decimal(20)), tmp_path / "book-1")
    first, now, crew, restless = play(tmp_path / "book-1", tmp_path, weeks=8, limit=16)
    assert len(now.recorded) == 8
    assert (now.weeks.plan_monday - first.weeks.plan_monday).days == 56
    assert sum(crew.mounted.values()) > 150
    assert len(now.counts) > len(first.counts)
    assert all(changed_cuts <= announced for changed_cuts, announced in restless)
    print("announced cuts changed by each new plan:", restless)
