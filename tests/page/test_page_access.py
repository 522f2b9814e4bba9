"""The page by keyboard, on narrow screens, enlarged, on paper, and by the rules of WCAG 2.2 that a program can check."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.page.browser import Browser, Opened
from tests.page.conftest import Demo

SHEETS = ("week", "racks", "bench", "capacity", "months", "why", "cautions")
FINGER = 44
"""Least height of something to touch, CSS pixels: more than the 24 of WCAG 2.2, 2.5.8, as 2.5.5 (level AAA) has it, for wet fingers."""

SPACED = "* { line-height: 1.5 !important; letter-spacing: 0.12em !important; word-spacing: 0.16em !important; } p { margin-bottom: 2em !important; }"
"""Text spacing a page has to bear (WCAG 2.2, 1.4.12)."""


def focused(opened: Opened) -> str:
    found: str = opened.page.evaluate(
        "(document.activeElement.innerText || document.activeElement.id || document.activeElement.tagName).trim()"
    )
    return found


def tab_to(opened: Opened, wanted: str, most: int = 60, key: str = "Tab") -> None:
    for _ in range(most):
        opened.page.keyboard.press(key)
        if opened.page.evaluate("(wanted) => document.activeElement.matches(wanted)", wanted):
            return
    raise AssertionError(f"the keyboard does not reach {wanted}; it is at {focused(opened)}")


# ---- keyboard ---------------------------------------------------------------------------------------------------------


def test_by_keyboard_alone(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file) as opened:
        press = opened.page.keyboard.press
        press("Tab")
        assert focused(opened) == "Skip to the sheet"
        tab_to(opened, 'a[href="#racks"]')
        press("Enter")
        assert focused(opened) == "Racks"
        tab_to(opened, "#week-slider")
        press("ArrowRight")
        assert demo.farm.weeks.label(2) in opened.text("#week-said")
        press("End")
        assert demo.farm.weeks.label(demo.farm.weeks.count) in opened.text("#week-said")
        press("Home")
        tab_to(opened, "#find")
        opened.page.keyboard.type("LN-26")
        opened.page.wait_for_selector("#racks-found button")
        tab_to(opened, "#racks-found button")
        name = opened.page.evaluate("document.activeElement.querySelector('.what').firstChild.textContent")
        press("Enter")
        assert opened.text("#card h2") == name
        assert opened.page.evaluate("document.getElementById('card').contains(document.activeElement)")
        for _ in range(12):
            press("Tab")
            assert opened.page.evaluate(
                "document.activeElement === document.body || document.getElementById('card').contains(document.activeElement)"
            )
        press("Escape")
        assert opened.page.locator("#card").is_hidden()
        assert opened.page.evaluate("document.activeElement.matches('#racks-found button')")
        tab_to(opened, ".rack .lots button")
        press("Enter")
        press("Escape")
        tab_to(opened, 'a[href="#bench"]', key="Shift+Tab", most=120)
        press("Enter")
        tab_to(opened, "[data-step]")
        press("Space")
        assert "pieces" in opened.text("#card h2")
        press("Escape")
        assert opened.page.evaluate("document.activeElement.matches('[data-step]')")
        assert opened.said == []


def test_focus_is_seen(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file) as opened:
        for wanted in ('a[href="#racks"]', "#week-slider", "#find", "#tank-choice", ".rack .lots button"):
            tab_to(opened, wanted)
            if wanted.startswith("a"):
                opened.page.keyboard.press("Enter")
                opened.page.keyboard.press("Tab")
            width = opened.page.evaluate("parseFloat(getComputedStyle(document.activeElement).outlineWidth)")
            style = opened.page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
            assert (width >= 2, style) == (True, "solid"), wanted


# ---- narrow, enlarged, spaced -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("width", "scale"), [(320, 1), (640, 2), (1280, 1)])
def test_no_sheet_is_pushed_sideways(browser: Browser, demo: Demo, width: int, scale: int) -> None:
    """320 px is WCAG 2.2, 1.4.10; 640 px at twice the pixels is a 1280 px window enlarged to 200 % (1.4.4)."""
    with browser.open(demo.file, width=width, height=700, device_scale_factor=scale) as opened:
        for sheet in SHEETS:
            opened.turn_to(sheet)
            opened.page.wait_for_timeout(50)
            assert opened.sideways() == 0, sheet
        opened.turn_to("bench")
        opened.page.locator("[data-step]").first.click()
        assert opened.page.evaluate(
            "document.getElementById('card').scrollWidth <= document.getElementById('card').clientWidth + 1"
        )


def test_whatever_is_touched_is_large_enough(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file, width=820, height=1180, has_touch=True) as opened:
        for sheet in SHEETS:
            opened.turn_to(sheet)
            opened.page.wait_for_timeout(50)
            small = opened.page.evaluate(
                "(least) => [...document.querySelectorAll('main > section:not([hidden]) :is(button, select, input, summary), nav a')]"
                ".filter((e) => e.offsetParent && (e.offsetHeight < least || e.offsetWidth < least))"
                ".map((e) => `${e.tagName} ${e.innerText || e.id} ${e.offsetWidth} x ${e.offsetHeight}`)", FINGER,
            )  # fmt: skip
            assert small == [], sheet


def test_wider_spaced_text_is_not_cut(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file, width=360, bypass_csp=True) as opened:
        opened.page.add_style_tag(content=SPACED)
        for sheet in SHEETS:
            opened.turn_to(sheet)
            opened.page.wait_for_timeout(50)
            assert opened.sideways() == 0, sheet
            cut = opened.page.evaluate(
                "[...document.querySelectorAll('main button, main p, main li, main dd')].filter((e) => e.offsetParent && e.scrollWidth > e.clientWidth + 1 "
                "&& getComputedStyle(e).overflowX !== 'visible').map((e) => e.innerText)"
            )
            assert cut == [], sheet


def test_nothing_moves_by_itself(browser: Browser, demo: Demo) -> None:
    """There is no motion to be reduced: no rule of the style sheets animates, and scrolling jumps."""
    for wish in ("reduce", "no-preference"):
        with browser.open(demo.file, "racks", reduced_motion=wish) as opened:
            moving = (
                "[...document.querySelectorAll('*')].map((e) => getComputedStyle(e))"
                ".filter((s) => s.animationName !== 'none' || s.transitionDuration !== '0s').length"
            )
            assert opened.page.evaluate(moving) == 0
            assert opened.page.evaluate("getComputedStyle(document.documentElement).scrollBehavior") == "auto"


# ---- paper ------------------------------------------------------------------------------------------------------------


def test_every_sheet_prints(browser: Browser, demo: Demo) -> None:
    pages = {}
    with browser.open(demo.file) as opened:
        for sheet in SHEETS:
            opened.turn_to(sheet)
            data: bytes = opened.page.pdf(format="A4", print_background=True)
            pages[sheet] = len(re.findall(rb"/Type\s*/Page\b", data))
            if sheet == "racks":
                assert opened.page.locator(".rack svg").count() == len(demo.farm.racks)
            if sheet == "bench":
                assert opened.page.locator(".steps").count() >= len({c.session for c in demo.plan.cuts if c.session})
    assert all(pages.values())
    assert pages["week"] <= 2
    assert pages["racks"] <= len(demo.farm.racks)
    assert pages["capacity"] <= 4


def test_paper_is_grey_and_keeps_patterns(browser: Browser, demo: Demo) -> None:
    with browser.open(demo.file, "racks", color_scheme="dark") as opened:
        opened.page.emulate_media(media="print")
        colours = opened.page.evaluate(
            "[...document.querySelectorAll('#racks svg *')].flatMap((e) => { const s = getComputedStyle(e); return [s.fill, s.stroke]; })"
        )
        seen = {tuple(re.findall(r"\d+", c)[:3]) for c in colours if c.startswith("rgb")}
        assert all(len(set(c)) == 1 for c in seen)
        assert 'url("#stripes")' in colours
        assert opened.page.locator("nav:visible").count() == 0
        assert opened.page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


# ---- rules of WCAG a program can check --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def axe() -> Any:
    return pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed").Axe()


def faults(axe: Any, opened: Opened) -> list[str]:
    found = axe.run(
        opened.page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
    ).response
    assert found["passes"]
    return [f"{v['id']}: {v['help']}: {[n['html'][:160] for n in v['nodes'][:3]]}" for v in found["violations"]]


@pytest.mark.parametrize(
    ("scheme", "width", "sheets"), [("light", 1280, SHEETS), ("dark", 390, ("racks", "bench", "months"))], ids=["light", "dark"]
)
def test_no_rule_of_wcag_is_broken(
    browser: Browser, demo: Demo, axe: Any, scheme: str, width: int, sheets: tuple[str, ...]
) -> None:
    with browser.open(demo.file, width=width, color_scheme=scheme) as opened:
        for sheet in sheets:
            opened.turn_to(sheet)
            if sheet == "racks":  # the rest is more of the same and takes long
                opened.tank(0)
            elif sheet == "why":
                opened.page.fill("#why-text", "LAN")
            opened.page.wait_for_timeout(50)
            assert faults(axe, opened) == [], sheet
            if sheet == "racks":
                opened.slide_to(9)
                assert faults(axe, opened) == [], "later weeks"
            if sheet == "bench":
                opened.page.locator("[data-step]").first.click()
                assert faults(axe, opened) == [], "card"
                opened.page.keyboard.press("Escape")
