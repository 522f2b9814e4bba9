"""``python -m tests.benchmarks.page``: size of the week page, time until it can be used, time to slide a week, by the browser's own clock."""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from scheduler.book import read_book
from scheduler.cli.inputs import read_plan
from scheduler.cli.page_command import months_ahead
from scheduler.farm.farm import Farm
from scheduler.plan.identity import farm_as_planned
from scheduler.plan.model import Held, Help, Plan, WeekPrice
from scheduler.plan.view import PlanView
from scheduler.planning.hand import plan_by_hand
from scheduler.reporting.page import page_bytes
from scheduler.reporting.tables import tables_of
from tests.benchmarks.machine import machine
from tests.farms_large import large_farm
from tests.page.browser import Browser, Opened

ROOT = Path(__file__).parents[2]
RUNS = 5
"""Times a page is opened; the median counts."""

_SLIDE = """async (week) => {
  const slider = document.getElementById('week-slider'), painted = () => new Promise((done) => requestAnimationFrame(() => {
    const channel = new MessageChannel(); channel.port1.onmessage = done; channel.port2.postMessage(0); }));
  await painted();
  const begin = performance.now();
  slider.value = week;
  slider.dispatchEvent(new Event('input'));
  await painted();
  return performance.now() - begin;
}"""
"""From the event to the moment after the next frame is painted."""


def main() -> None:
    """Measure the pages the arguments ask for."""
    ask = argparse.ArgumentParser(prog="python -m tests.benchmarks.page", description=__doc__)
    ask.add_argument(
        "--colonies", type=int, nargs="*", default=[2000], help="large farms beside the demo farm (2000: 40,000 positions)"
    )
    ask.add_argument("--keep", type=Path, help="folder that keeps the plans of large farms for the next time")
    ask.add_argument(
        "--slow", type=float, default=1, help="how many times slower the browser's processor is made, as of a tablet"
    )
    ask.add_argument("--out", type=Path, default=ROOT / "reports" / "benchmarks.jsonl", help="results are appended here")
    given = ask.parse_args()
    print("| farm | positions | lots | page, MB | made in, s | usable, ms | worst sheet, ms | slide a week, ms: median | worst |")
    print("|---|---|---|---|---|---|---|---|---|")
    for name, book, farm, plan in _farms(given.colonies, given.keep):
        row = measured(name, book, farm, plan, given.slow) | {"date": date.today().isoformat(), "machine": machine()}
        given.out.parent.mkdir(parents=True, exist_ok=True)
        with given.out.open("a", encoding="utf-8") as file:
            file.write(json.dumps(row) + "\n")
        print(
            f"| {name} | {row['positions']:,} | {row['lots']:,} | {row['mb']} | {row['made_s']} | {row['usable_ms']} | "
            f"{row['worst_sheet_ms']} | {row['slide_ms']} | {row['worst_slide_ms']} |"
        )


def _farms(sizes: list[int], keep: Path | None) -> Iterator[tuple[str, Farm, Farm, Plan]]:
    """Name, farm of the book, farm as planned, plan."""
    plan = read_plan(ROOT / "reports" / "sample-week" / "plan.json")
    book = read_book(ROOT / "data" / "demo").farm
    yield "demo", book, farm_as_planned(book, plan.about), plan
    for colonies in sizes:
        farm = large_farm(colonies)
        kept = keep / f"plan-{colonies}.json" if keep else None
        if kept is not None and kept.is_file():
            plan = Plan.model_validate_json(kept.read_bytes())
        else:
            print(f"planning {colonies} colonies by the simple hand rule", file=sys.stderr)
            plan = plan_by_hand(farm, "simple").plan
            if kept is not None:
                kept.parent.mkdir(parents=True, exist_ok=True)
                kept.write_text(plan.model_dump_json(), encoding="utf-8")
        yield f"{colonies} colonies", farm, farm, with_reasons(farm, plan)


def with_reasons(farm: Farm, plan: Plan) -> Plan:
    """A plan by hand has no reasons and no prices: made-up ones of the usual length, so that the page is as full as it would be."""
    cut = {c.colony for c in plan.cuts if c.week in farm.weeks.near_weeks}
    reasons = ("market full", "resting", "too small", "worth more grown on", "no place in its light", "hours used up")
    held = tuple(
        Held(colony=c.colony, reason=reasons[i % len(reasons)], detail=f"{i % 30} pieces now would be {i % 200} ahead of waiting; " * 2,
             at_stake=Decimal(i % 20_000) / 100)
        for i, c in enumerate(farm.colonies) if c.colony not in cut
    )  # fmt: skip
    prices = tuple(WeekPrice(week=w, price=Decimal(w)) for w in farm.weeks.all)
    helps = tuple(
        Help(kind="market", subject=s.strain, text=f"10 more frags a month of {s.name} at list price", amount=Decimal(10),
             unit="frags a month", gain=Decimal(i), prices=prices)
        for i, s in enumerate(farm.strains)
    )  # fmt: skip
    return plan.model_copy(update={"held": held, "helps": helps})


def measured(name: str, book: Farm, farm: Farm, plan: Plan, slow: float) -> dict[str, Any]:
    """One page: made, opened and slid through, on a processor ``slow`` times slower."""
    begin = time.process_time()
    view = PlanView(farm, plan)
    page = page_bytes(view, tables_of(view), "not audited here", months_ahead(book, plan))
    made = time.process_time() - begin
    row: dict[str, Any] = {
        "way": "page", "farm": name, "slow": slow, "positions": sum(len(r.open_positions) for r in farm.racks), "lots": len(view.lots),
        "mb": round(len(page) / 1e6, 2), "made_s": round(made, 1),
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as folder, Browser.started() as browser:
        file = Path(folder) / "week.html"
        file.write_bytes(page)
        usable, sheets, slides = [], {}, []
        for _ in range(RUNS):
            with browser.open(file, "racks", slow=slow) as opened:
                usable.append(_usable(opened))
                assert (
                    opened.page.evaluate("performance.getEntriesByName('page-usable')[0].detail") > 0
                )  # racks are drawn by then
        for sheet in ("week", "bench", "capacity", "months", "why"):
            with browser.open(file, sheet, slow=slow) as opened:
                sheets[sheet] = _usable(opened)
        with browser.open(file, "racks", slow=slow) as opened:
            for place in (0, 6000):
                opened.page.mouse.wheel(0, place)
                opened.page.wait_for_timeout(300)
                slides += [opened.page.evaluate(_SLIDE, str(week)) for week in (*range(1, farm.weeks.count + 1), 1, 2, 1)]
            assert opened.said == []
    return row | {
        "usable_ms": round(statistics.median(usable)), "worst_sheet_ms": round(max(sheets.values())), "sheets_ms": {k: round(v) for k, v in sheets.items()},
        "slide_ms": round(statistics.median(slides)), "worst_slide_ms": round(max(slides)),
    }  # fmt: skip


def _usable(opened: Opened) -> float:
    found: float = opened.page.evaluate("performance.getEntriesByName('page-usable')[0].startTime")
    return found


if __name__ == "__main__":
    main()
