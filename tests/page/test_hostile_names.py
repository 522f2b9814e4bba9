"""Whatever is typed as a name stays a text: nothing runs, nothing becomes markup, nothing is asked for."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from scheduler.plan.model import Plan
from scheduler.plan.view import PlanView
from scheduler.reporting.page import page_bytes
from scheduler.reporting.tables import tables_of
from tests.page.browser import Browser
from tests.page.hostile import END, IMAGE, LONG, NAMES, hostile_farm, hostile_plan
from tests.reporting.example import farm, plan

SHEETS = ("week", "racks", "bench", "capacity", "months", "why", "cautions")


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    view = PlanView(hostile_farm(), hostile_plan())
    path = tmp_path_factory.mktemp("hostile") / "week.html"
    path.write_bytes(page_bytes(view, tables_of(view), IMAGE))
    return path


def test_names_are_in_the_file_only_escaped(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    assert text.count("</script>") == 2
    assert text.count("<script") == 2
    for name in NAMES.values():
        if "<" in name:
            assert name not in text


def test_names_are_shown_as_they_were_typed(browser: Browser, file: Path) -> None:
    with browser.open(file) as opened:
        assert opened.page.title().startswith(f"Reef {END}")
        assert IMAGE in opened.text("#week .notices")
        opened.turn_to("racks")
        opened.page.fill("#find", "<img")
        opened.page.wait_for_selector("#racks-found button")
        assert f"{IMAGE};" in opened.text("#racks-found")
        opened.page.click("#racks-found button >> nth=0")
        assert IMAGE in opened.text("#card .cardhead")
        opened.page.keyboard.press("Escape")
        opened.turn_to("bench")
        for card in opened.page.locator("[data-card]").all():
            card.click()
            opened.page.click('#card button:has-text("Close")')
        assert "<b>Ada</b>" in opened.text("#bench")
        assert "{{ 7 * 7 }}{% raw %}" in opened.text("#bench")
        opened.turn_to("months")
        assert "</td><td>1001" in opened.text("#months .orders")
        for sheet in SHEETS:
            opened.turn_to(sheet)
        marks = "document.querySelectorAll('img, iframe, object, embed, b b, i, u, style:not(:first-of-type), [onload], [onerror]').length"
        assert opened.page.evaluate(marks) == 0
        assert opened.page.evaluate("document.scripts.length") == 2
        assert opened.page.evaluate("window.hit") is None
        assert (opened.said, opened.requests) == ([], [])


def test_a_name_turns_no_number_beside_it(browser: Browser, tmp_path: Path) -> None:
    """Overrides (U+202E) would show PAR 140 as 041 (Unicode Standard Annex 9); a right-to-left name keeps to itself."""
    turned, hebrew = "\u202eLantern\u2066", "\u05d0\u05d1\u05d2"
    racks = tuple(r.model_copy(update={"rack": hebrew}) if r.rack == "S1-a" else r for r in farm().racks)
    light = tuple(r.model_copy(update={"rack": hebrew}) if r.rack == "S1-a" else r for r in farm().light)
    book = replace(
        farm(), racks=racks, light=light, lots=(), orders=(),
        strains=tuple(s.model_copy(update={"name": turned}) for s in farm().strains),
    )  # fmt: skip
    view = PlanView(book, Plan(about=plan().about))
    file = tmp_path / "week.html"
    file.write_bytes(page_bytes(view, tables_of(view), turned))
    assert not re.search("[\u202a-\u202e\u2066-\u2069]", file.read_text(encoding="utf-8"))
    with browser.open(file, "racks") as opened:
        opened.tank(2)
        name, counts = (
            opened.page.locator(f".tank[data-tank='2'] figcaption {part}").first.bounding_box() for part in (".name", ".counts")
        )
        assert name
        assert counts
        assert name["x"] + name["width"] <= counts["x"] + 1
        opened.page.fill("#find", "lantern")
        opened.page.wait_for_selector("#racks-found button")
        assert "\ufffdLantern\ufffd" in opened.text("#racks-found")


def test_a_very_long_name_pushes_no_page_sideways(browser: Browser, file: Path) -> None:
    with browser.open(file, "racks", width=360) as opened:
        for sheet in SHEETS:
            opened.turn_to(sheet)
            assert opened.sideways() == 0, sheet
        opened.turn_to("why")
        opened.turn_to("racks")
        opened.page.fill("#find", "dus-01")
        opened.page.fill("#find", "<!--")
        opened.page.wait_for_selector("#racks-found button")
        opened.page.click("#racks-found button >> nth=-1")
        assert LONG in opened.text("#card")
        assert opened.page.evaluate("document.getElementById('card').scrollWidth <= window.innerWidth")
