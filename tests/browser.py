"""A real browser for the tests of pages: Debian's Chromium through Playwright, one for all tests of a module.

Every page is opened from a file; what it asks of a network is written down and refused.
"""

from __future__ import annotations

import io
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, Route, sync_playwright
from pypdf import PdfReader

from monitor.basis.units import System
from monitor.watch.papers.printing import for_paper

NAMES = ("chromium", "chromium-browser", "google-chrome")
WIDE = 1180  # [CSS px]
PATIENCE = 90  # of a slow machine [s]
FITS = """() => [...document.querySelectorAll("[data-figure]")]
  .filter((place) => place._fullLayout && place.clientWidth)
  .every((place) => Math.abs(place._fullLayout.width - place.clientWidth) < 2)"""


@dataclass
class Opened:
    """A page that stands open, and what it did meanwhile."""

    page: Page
    file: Path
    console: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def run(self, program: str, *given: Any) -> Any:
        """What a JavaScript expression or function is worth on the page."""
        return self.page.evaluate(program, *given)

    def resize(self, width: int, height: int = 900) -> None:
        """Make the window so wide, and let the page and its charts take it in. [CSS px]"""
        self.page.set_viewport_size({"width": width, "height": height})
        self.run("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
        self.until(FITS)  # plotly draws anew some time after

    def until(self, program: str, *given: Any) -> None:
        """Wait until it is true. Playwright's own wait evaluates text in the page, which our policy forbids."""
        by = time.monotonic() + PATIENCE
        while not self.run(program, *given):
            assert time.monotonic() < by, f"not within {PATIENCE} s: {program}"
            self.page.wait_for_timeout(50)

    def drawn(self) -> int:
        """How many charts are drawn, once all are."""
        self.until("[...document.querySelectorAll('[data-figure]')].every((place) => place.querySelector('.main-svg'))")
        return self.page.locator("[data-figure] .main-svg:first-of-type").count()


class Window:
    """Opens pages in one browser, each alone."""

    def __init__(self, browser: Browser, folder: Path) -> None:
        self.browser, self.folder, self._number = browser, folder, 0

    @contextmanager
    def open(self, html: str, *, width: int = WIDE, height: int = 900) -> Iterator[Opened]:
        """Open a page from a file of its own, without a network, in New York."""
        self._number += 1
        file = self.folder / f"page-{self._number}.html"
        file.write_text(html, encoding="utf-8")
        context = self.browser.new_context(viewport={"width": width, "height": height}, timezone_id="America/New_York")
        context.set_default_timeout(1000 * PATIENCE)
        page = context.new_page()
        opened = Opened(page, file)
        page.on("console", lambda message: opened.console.append(message.text))
        page.on("pageerror", lambda error: opened.console.append(str(error)))

        def meet(route: Route) -> None:
            if route.request.url == file.as_uri():
                route.continue_()
            else:
                opened.requests.append(route.request.url)
                route.abort()

        page.route("**/*", meet)
        page.goto(file.as_uri())
        try:
            yield opened
        finally:
            context.close()

    def printed(self, html: str, units: System) -> PdfReader:
        """The sheets of a page, as it is printed for people with these units."""
        with self.open(for_paper(html, units)) as opened:
            return PdfReader(io.BytesIO(opened.page.pdf(prefer_css_page_size=True)))


@contextmanager
def window(folder: Path) -> Iterator[Window]:
    """A browser that keeps its files in `folder`."""
    program = next(filter(None, map(shutil.which, NAMES)), None)
    assert program, f"this test needs a browser: install one of {', '.join(NAMES)}"
    alone = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=alone, timeout=1000 * PATIENCE)
        try:
            yield Window(browser, folder)
        finally:
            browser.close()
