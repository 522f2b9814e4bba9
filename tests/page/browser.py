"""A headless Chromium that keeps what a page asks for and complains of."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Page

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync",
)  # fmt: skip
NAMES = ("chromium", "chromium-browser", "google-chrome")


class Browser:
    """Opens files, each page in a context of its own."""

    def __init__(self, browser: Any) -> None:
        self._browser = browser

    @classmethod
    @contextmanager
    def started(cls) -> Iterator[Browser]:
        """Skips the test where there is no browser or no playwright."""
        api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
        program = next((path for name in NAMES if (path := shutil.which(name))), None)
        if program is None:
            pytest.skip("no Chromium on this machine (Debian: apt install chromium)")
        with api.sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=program, args=list(FLAGS))
            yield cls(browser)
            browser.close()

    @contextmanager
    def open(
        self, file: Path, sheet: str = "", *, width: int = 1280, height: int = 900, slow: float = 1, **options: Any
    ) -> Iterator[Opened]:
        """A page as a tester sees it. Whatever it asks for beside the file is refused and kept. ``slow``: processor so many times slower."""
        context = self._browser.new_context(viewport={"width": width, "height": height}, **options)
        page = context.new_page()
        opened = Opened(page, file.as_uri())
        page.on("console", lambda message: opened.said.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: opened.said.append(f"error: {error}"))
        page.on("dialog", lambda dialog: (opened.said.append(f"dialog: {dialog.message}"), dialog.dismiss()))
        context.route("**/*", opened.asked_for)
        if slow > 1:
            context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": slow})
        page.goto(f"{file.as_uri()}#{sheet}" if sheet else file.as_uri())
        opened.wait_until("performance.getEntriesByName('page-usable').length > 0")
        try:
            yield opened
        finally:
            context.close()


class Opened:
    """An open page, what it said on the console, and what it asked for beside its own file."""

    def __init__(self, page: Page, address: str) -> None:
        self.page, self.address = page, address
        self.said: list[str] = []
        self.requests: list[str] = []

    def asked_for(self, route: Any) -> None:
        if route.request.url.split("#")[0] == self.address:
            route.continue_()
        else:
            self.requests.append(route.request.url)
            route.abort()

    def wait_until(self, expression: str) -> None:
        """Look until an expression is true (the page's policy forbids the browser to look by itself)."""
        for _ in range(400):
            if self.page.evaluate(expression):
                return
            self.page.wait_for_timeout(25)
        raise AssertionError(f"never true: {expression}")

    def turn_to(self, sheet: str) -> None:
        """Open a sheet by its tab."""
        self.page.click(f'.tabs a[href="#{sheet}"]')
        self.page.wait_for_selector(f"#{sheet}:not([hidden])")

    def text(self, selector: str) -> str:
        return self.page.inner_text(selector)

    def texts(self, selector: str) -> list[str]:
        return self.page.locator(selector).all_inner_texts()

    def sideways(self) -> int:
        """How far the page can be pushed sideways, pixels."""
        found: int = self.page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        return found

    def slide_to(self, week: int) -> None:
        self.page.locator("#week-slider").evaluate(
            "(s, week) => { s.value = week; s.dispatchEvent(new Event('input')); }", str(week)
        )

    def tank(self, index: int) -> None:
        """Show one tank alone, so that all of it is drawn."""
        self.page.select_option("#tank-choice", str(index))
        self.page.wait_for_selector(f'.tank[data-tank="{index}"] .rack')
