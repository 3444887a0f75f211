"""Headless Chromium as a printer: how many pages a sheet takes, and how wide it wants to be on a small screen."""

from __future__ import annotations

import html as markup
import os
import re
import shutil
import subprocess
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome")
FRAME = """<!DOCTYPE html><title>measure</title>
<iframe style="width:{width}px;height:800px;border:0" srcdoc="{page}"></iframe>
<script>setTimeout(() => {{
  document.title = document.querySelector("iframe").contentDocument.documentElement.scrollWidth;
}}, 1000);</script>"""


def browser(folder: Path, *args: str) -> str:
    """Run it on a file of `folder`; what it prints."""
    program = next(filter(None, map(shutil.which, NAMES)), None)
    assert program, f"this test needs a browser: install one of {', '.join(NAMES)}"
    command = [program, "--headless=new", "--no-first-run", "--disable-gpu", f"--user-data-dir={folder / 'profile'}"]
    command += ["--disable-background-networking", "--hide-scrollbars", "--virtual-time-budget=3000"]
    command += ["--no-sandbox"] if os.geteuid() == 0 else []
    done = subprocess.run([*command, *args], capture_output=True, text=True, timeout=60, check=True)
    return done.stdout


def pages_of(html: str, paper: str, folder: Path) -> int:
    """How many pages of `paper` a sheet takes."""
    file, printed = folder / "sheet.html", folder / "sheet.pdf"
    file.write_text(html.replace("</head>", f"<style>@page {{ size: {paper} }}</style></head>"), encoding="utf-8")
    browser(folder, "--no-pdf-header-footer", f"--print-to-pdf={printed}", file.as_uri())
    return len(re.findall(rb"/Type\s*/Page\b", printed.read_bytes()))


def wide_in(html: str, width: int, folder: Path) -> int:
    """How wide a sheet wants to be on a screen of `width` pixels."""
    file = folder / "frame.html"
    file.write_text(FRAME.format(width=width, page=markup.escape(html)), encoding="utf-8")
    found = re.search(r"<title>(\d+)</title>", browser(folder, "--dump-dom", file.as_uri()))
    assert found is not None
    return int(found[1])
