"""An installed Chromium or Chrome, run once on a page of ours without a window, a network or a profile that stays."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from monitor.basis.errors import ReportError

TIME_LIMIT = 120  # figure ours: a page of years takes a few seconds [s]
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
SNAP = Path("/snap/bin/chromium")
_QUIET = ("background-networking", "component-update", "default-apps", "domain-reliability", "extensions", "sync")
_FLAGS = (
    "--headless=new",
    "--no-first-run",
    "--no-default-browser-check",
    "--hide-scrollbars",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--disable-gpu",
    *(f"--disable-{what}" for what in _QUIET),
)


def found_browser() -> str | None:
    """The program: of the PATH, else where it usually lies on this system; None where there is none."""
    on_path = next(filter(None, map(shutil.which, NAMES)), None)
    return on_path or next((str(place) for place in _usual_places() if place.is_file()), None)


def _usual_places() -> Iterator[Path]:
    if sys.platform == "darwin":
        for folder in (Path("/Applications"), Path.home() / "Applications"):
            yield folder / "Google Chrome.app/Contents/MacOS/Google Chrome"
            yield folder / "Chromium.app/Contents/MacOS/Chromium"
    elif sys.platform == "win32":
        for root in filter(None, map(os.environ.get, ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA"))):
            yield Path(root) / "Google/Chrome/Application/chrome.exe"
            yield Path(root) / "Chromium/Application/chrome.exe"
    else:
        yield from (SNAP, Path("/opt/google/chrome/chrome"), Path("/usr/lib/chromium/chromium"))


def the_browser(path: Path) -> str:
    """The program that makes `path` out of a page. Raises ReportError where there is none."""
    program = found_browser()
    if program is None:
        raise ReportError(
            "no Chromium or Chrome is found that could make it",
            where=str(path),
            mend="Install one of them, or name a .html file and print that from any browser",
        )
    return program


@contextmanager
def shown(html: str, made: Path) -> Iterator[Path]:
    """A file with the page, in a folder that goes away again with all that the browser left in it.

    A browser out of a snap sees no folder of the system for what is temporary, but those of its user (from memory): so
    the page stands beside `made` then. Raises ReportError.
    """
    beside = made.parent if SNAP.exists() else None
    try:
        opened = tempfile.TemporaryDirectory(prefix="wallclime-", dir=beside, ignore_cleanup_errors=True)
    except OSError as exc:
        raise _failed(made, f"there is no place for the browser to work in ({exc.strerror})") from exc
    with opened as folder:
        page = Path(folder) / "page.html"
        page.write_text(html, encoding="utf-8")
        yield page


def run(program: str, page: Path, *wishes: str, made: Path, limit: float = TIME_LIMIT) -> str:
    """Open `page` with `wishes` of the command line; what the program printed. Raises ReportError that names `made`."""
    said = page.with_suffix(".said")
    root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []  # else Chromium refuses to start
    command = [program, *_FLAGS, *root, f"--user-data-dir={page.parent / 'profile'}", *wishes, page.as_uri()]
    try:
        with said.open("wb") as out:
            code = _wait(command, out, limit)
    except OSError as exc:
        raise _failed(made, f"{program} can't be run ({exc.strerror})") from exc
    except subprocess.TimeoutExpired as exc:
        raise _failed(made, f"{program} was not done after {limit:g} s") from exc
    if code:
        raise _failed(made, f"{program} ended with exit code {code}")
    return said.read_text(encoding="utf-8", errors="replace")


def _wait(command: Sequence[str], out: object, limit: float) -> int:
    """The exit code of a program that is ended, with all it has started, when it takes too long."""
    alone = sys.platform != "win32"
    process = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.DEVNULL, start_new_session=alone
    )  # type: ignore[call-overload]
    try:
        return process.wait(limit)
    except BaseException:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL) if alone else process.kill()
        process.wait()
        raise


def _failed(made: Path, what: str) -> ReportError:
    return ReportError(what, where=str(made), mend="Name a .html file and print that from any browser")
