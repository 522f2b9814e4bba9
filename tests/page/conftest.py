"""A browser, and the page of the demo farm's kept plan in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from scheduler.book import read_book
from scheduler.cli.inputs import read_plan
from scheduler.cli.page_command import months_ahead
from scheduler.farm.farm import Farm
from scheduler.forecast.outlook import Outlook
from scheduler.plan.identity import farm_as_planned
from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.reporting.page import page_bytes
from scheduler.reporting.tables import Table, tables_of
from tests.page.browser import Browser

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Demo:
    """The demo farm as planned, its plan, tables and forecast, and its page."""

    farm: Farm
    plan: Plan
    view: PlanView
    tables: dict[str, Table]
    outlook: Outlook
    page: bytes
    file: Path


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    plan = read_plan(ROOT / "reports" / "sample-week" / "plan.json")
    book = read_book(ROOT / "data" / "demo").farm
    farm = farm_as_planned(book, plan.about)
    assert farm.fingerprint == plan.about.book_fingerprint
    view = PlanView(farm, plan)
    tables, outlook = tables_of(view), months_ahead(book, plan)
    page = page_bytes(view, tables, "passed", outlook)
    file = tmp_path_factory.mktemp("page") / "week.html"
    file.write_bytes(page)
    return Demo(farm, plan, view, tables, outlook, page, file)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with Browser.started() as found:
        yield found
