"""The page of farms of every odd shape: nothing is said on the console, and no sheet is missing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from scheduler.farm.trade import Pin
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.planning.hand import plan_by_hand
from scheduler.reporting.page import page_bytes
from scheduler.reporting.tables import tables_of
from tests.farms import random_farm
from tests.page.browser import Browser
from tests.reporting.example import farm, plan

SHEETS = ("racks", "bench", "capacity", "months", "why", "cautions")


def look_at(browser: Browser, file: Path, view: PlanView, width: int = 820) -> None:
    file.write_bytes(page_bytes(view, tables_of(view), "passed"))
    with browser.open(file, width=width, forced_colors="active") as opened:
        for sheet in SHEETS:
            opened.turn_to(sheet)
            opened.page.wait_for_timeout(30)
        opened.turn_to("racks")
        for week in (1, view.farm.weeks.near, view.farm.weeks.near + 1, view.farm.weeks.count):
            opened.slide_to(min(week, view.farm.weeks.count))
        assert (opened.said, opened.requests) == ([], [])
        assert opened.sideways() == 0


@pytest.mark.parametrize(("seed", "colonies"), [(0, 1), (1, 4), (2, 12), (3, 30)])
def test_pages_of_random_farms(browser: Browser, tmp_path: Path, seed: int, colonies: int) -> None:
    book = random_farm(seed, colonies, tight=seed % 2 == 1)
    look_at(browser, tmp_path / "week.html", PlanView(book, plan_by_hand(book, "simple").plan))


def test_a_plan_without_cuts_or_sales(browser: Browser, tmp_path: Path) -> None:
    nothing = Plan(about=plan().about)
    file = tmp_path / "week.html"
    look_at(browser, file, PlanView(farm(), nothing))
    with browser.open(file, "bench") as opened:
        assert "No session of the near weeks has cuts." in opened.text("#bench")
        opened.turn_to("months")
        assert "without a forecast" in opened.text("#months")


def test_pins_are_named_with_what_they_ask(browser: Browser, tmp_path: Path) -> None:
    pins = (
        Pin(pin="P1", kind="at least", colony="LAN-01", pieces=8),
        Pin(pin="P2", kind="keep free", rack="N2-a", to_date=date(2026, 12, 13), note="new lamp"),
        Pin(pin="P3", kind="no cut", colony="EMB-01"),
    )
    about = plan().about.model_copy(update={"dropped_pins": ("P3",)})
    view = PlanView(replace(farm(), pins=pins), Plan(about=about))
    file = tmp_path / "week.html"
    file.write_bytes(page_bytes(view, tables_of(view), "passed"))
    with browser.open(file) as opened:
        wanted = ["P1: cut at least 8 of LAN-01", "P2: keep N2-a free to 2026-12-13 (new lamp)", "left out of this plan: P3"]
        assert opened.texts("#week .pins li") == wanted
