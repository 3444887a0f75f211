"""The page in a real browser: headless Chromium, from a file, without a network."""

import html as markup
import os
import re
import shutil
import subprocess
from dataclasses import replace

import invented_den as den
import pytest
from read_page import read_page

from monitor.tell.report import render_report

NAMES = ("chromium", "chromium-browser", "google-chrome")
NASTY = '<img src=x onerror=document.title="taken"><script>document.title="taken"</script><b>bold</b>'
MEASURE = """<!DOCTYPE html><title>measure</title>
<iframe style="width:360px;height:800px;border:0" srcdoc="{}"></iframe>
<script>setTimeout(() => {{
  const page = document.querySelector("iframe").contentDocument.documentElement;
  const charts = page.querySelectorAll(".drawn .main-svg").length > 0 ? "with charts" : "without charts";
  document.title = `${{page.clientWidth}} wide, ${{page.scrollWidth}} needed ${{charts}}`;
}}, 3000);</script>"""


@pytest.fixture(scope="module")
def open_page(tmp_path_factory):
    """Opens HTML from a file; gives the document as it stands after the programs ran, and what the console said."""
    program = next(filter(None, map(shutil.which, NAMES)), None)
    assert program, f"this test needs a browser: install one of {', '.join(NAMES)}"
    home = tmp_path_factory.mktemp("browser")
    quiet = ["background-networking", "component-update", "sync", "gpu", "extensions"]
    command = [
        program,
        "--headless=new",
        "--no-first-run",
        "--hide-scrollbars",
        *(f"--disable-{what}" for what in quiet),
    ]
    command += [f"--user-data-dir={home / 'profile'}", "--enable-logging=stderr", "--virtual-time-budget=8000"]
    command += ["--no-sandbox"] if os.geteuid() == 0 else []

    def run(html: str) -> tuple[str, list[str]]:
        file = home / "page.html"
        file.write_text(html, encoding="utf-8")
        done = subprocess.run(
            [*command, "--dump-dom", file.as_uri()], capture_output=True, text=True, timeout=60, check=True
        )
        return done.stdout, [line for line in done.stderr.splitlines() if ":CONSOLE" in line]

    return run


def title_of(document: str) -> str:
    return markup.unescape(re.search(r"<title>(.*?)</title>", document, re.DOTALL)[1])


def test_the_charts_are_drawn_from_the_file_alone_whatever_the_names_and_the_console_is_silent(open_page):
    html = render_report(
        den.page(
            assessment=replace(den.ASSESSMENT, job=NASTY),
            channels=tuple(replace(channel, sensor=NASTY) for channel in den.page().channels[:2]),
            hand_readings=(replace(den.page().hand_readings[0], instrument=NASTY),),
        )
    )
    document, console = open_page(html)
    assert console == []
    assert 'class="drawn"' in document
    assert 'class="main-svg"' in document
    assert all(f'class="subplot {panel}"' in document for panel in ("xy", "xy2", "xy3"))
    assert len(re.findall(r'class="trace scatter', document)) == len(read_page(html).figure()["data"])
    assert title_of(document) == f"{NASTY}: not ready"
    assert "<img" not in document


def test_a_program_that_is_not_ours_is_refused_by_the_page(open_page):
    forged = render_report(den.page()).replace("</main>", '</main><script>document.title="taken"</script>')
    document, console = open_page(forged)
    assert title_of(document) == "north wall of the den: not ready"
    assert any("Content Security Policy" in line for line in console)


def test_the_page_fits_a_screen_of_360_pixels(open_page):
    document, _ = open_page(MEASURE.format(markup.escape(render_report(den.page()))))
    assert title_of(document) == "360 wide, 360 needed with charts"
