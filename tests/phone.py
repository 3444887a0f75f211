"""A page held in a real browser as on a phone: headless Chromium, from a file, without a network, in New York."""

from __future__ import annotations

import html as markup
import os
import re
import shutil
import subprocess
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome")
HOLD = """<!DOCTYPE html><meta charset="utf-8"><title>held</title><pre id="said"></pre>
<iframe style="width:{width}px;height:844px;border:0" srcdoc="{page}"></iframe>
<script>document.querySelector("iframe").onload = async () => {{
  const view = document.querySelector("iframe").contentWindow, page = view.document;
  const find = (selector, within = page) => within.querySelector(selector);
  const all = (selector, within = page) => [...within.querySelectorAll(selector)];
  const type = (field, text) => {{
    field.value = text;
    field.dispatchEvent(new view.Event("input", {{ bubbles: true }}));
  }};
  const wait = () => new Promise((resolve) => setTimeout(resolve, 500));
  const act = async () => {{ {act} }};
  document.getElementById("said").textContent = await act().catch((problem) => `${{problem.stack}}`);
}};</script>"""


def hold(folder: Path, page: str, act: str, *, width: int = 390) -> tuple[str, list[str]]:
    """What the JavaScript `act` returns that is run on `page`, and what the console said."""
    program = next(filter(None, map(shutil.which, NAMES)), None)
    assert program, f"this test needs a browser: install one of {', '.join(NAMES)}"
    file = folder / "held.html"
    file.write_text(HOLD.format(page=markup.escape(page), act=act, width=width), encoding="utf-8")
    quiet = ["background-networking", "component-update", "sync", "gpu", "extensions"]
    command = [
        program,
        "--headless=new",
        "--no-first-run",
        "--hide-scrollbars",
        *(f"--disable-{what}" for what in quiet),
    ]
    command += [f"--user-data-dir={folder / 'profile'}", "--enable-logging=stderr", "--virtual-time-budget=8000"]
    command += ["--no-sandbox"] if os.geteuid() == 0 else []
    done = subprocess.run(
        [*command, "--dump-dom", file.as_uri()],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
        env={**os.environ, "TZ": "America/New_York"},
    )
    said = re.search(r'<pre id="said">(.*?)</pre>', done.stdout, re.DOTALL)
    assert said is not None
    return markup.unescape(said[1]), [line for line in done.stderr.splitlines() if ":CONSOLE" in line]
