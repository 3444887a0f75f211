"""Pages as PDF and figures as pictures: by a browser that is there, that is not, that fails or never ends."""

from __future__ import annotations

import contextlib
import fcntl
import os
import struct
import sys
import time
from pathlib import Path

import pytest
from pypdf import PdfReader

from monitor.basis.errors import ReportError
from monitor.watch.papers import chromium, printing
from monitor.watch.papers.printing import figures_of, for_paper, write_figure, write_page

PAGE = """<!DOCTYPE html>
<html><head><meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>den: &quot;ready&quot; } * { display: none</title><style>@page { margin: 14mm } p { break-after: page }</style>
</head><body><h1>The den</h1><p>one</p><script>document.body.textContent = "taken"</script>
<figure data-name="air"><figcaption>It left the band once.</figcaption><svg width="400" height="100"></svg></figure>
<figure data-name="days"><figcaption>two</figcaption></figure></body></html>"""
AS_HTML = "Name a .html file and print that from any browser"
FAKE = """#!{python}
import sys, time
from pathlib import Path
wishes = dict(word.split("=", 1) for word in sys.argv[1:] if "=" in word)
Path({told!r}).write_text("\\n".join(sys.argv[1:]))
{does}
"""


@pytest.fixture
def fake(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A browser of ours, alone on the PATH, that does what it is told; gives the file with its words."""
    told = tmp_path / "told.txt"

    def make(does: str) -> Path:
        folder = tmp_path / "bin"
        folder.mkdir()
        program = folder / "chromium"
        program.write_text(FAKE.format(python=sys.executable, told=str(told), does=does), encoding="utf-8")
        program.chmod(0o755)
        monkeypatch.setenv("PATH", str(folder))
        return told

    return make


def failed(path: Path, html: str = PAGE) -> str:
    before = {one.name for one in path.parent.iterdir()}
    with pytest.raises(ReportError) as refused:
        write_page(path, html)
    assert not path.exists()
    assert {one.name for one in path.parent.iterdir()} - before <= {"told.txt"}
    return str(refused.value)


# --- with the browser that is there -----------------------------------------------------------------------------------


def test_a_pdf_has_the_paper_of_the_units_and_every_sheet_its_number_and_whose_it_is(tmp_path):
    write_page(tmp_path / "den.pdf", PAGE, "us")
    printed = PdfReader(tmp_path / "den.pdf")
    assert [one.mediabox[2:] for one in printed.pages] == [[612, 792], [612, 792]]
    texts = [one.extract_text() for one in printed.pages]
    assert "one" in texts[0]
    assert "It left the band once." in texts[1]
    for number, text in enumerate(texts, 1):
        assert f"page {number} of 2" in text
        assert 'den: "ready" } * { display: none' in text
    assert "taken" not in "".join(texts)
    assert [one.title for one in printed.outline] == ["The den"]
    assert printed.trailer["/Root"]["/MarkInfo"]["/Marked"]  # for screen readers: tagged (ISO 32000-1, 14.7.1)
    assert sorted(one.name for one in tmp_path.iterdir()) == ["den.pdf"]


def test_a_figure_is_a_picture_as_high_as_it_is(tmp_path):
    write_figure(tmp_path / "air.png", PAGE, "air")
    content = (tmp_path / "air.png").read_bytes()
    assert content[:8] == b"\x89PNG\r\n\x1a\n"
    wide, high = struct.unpack(">II", content[16:24])  # the header of PNG (W3C), width and height
    assert wide == 2 * 1040
    assert 2 * (100 + 48) < high < 2 * 300
    assert sorted(one.name for one in tmp_path.iterdir()) == ["air.png"]


# --- what is asked of it ----------------------------------------------------------------------------------------------


def test_the_paper_is_a4_where_the_units_are_not_of_the_us():
    assert "size: A4;" in for_paper(PAGE, "si")
    assert "size: letter;" in for_paper(PAGE, "us")


def test_a_style_that_is_allowed_by_its_hash_alone_gets_the_sheets_beside_it():
    strict = PAGE.replace("style-src 'unsafe-inline'", "style-src &#39;sha256-AAAA&#39;")
    allowed = for_paper(strict, "si").split("style-src ")[1]
    assert allowed.startswith("'sha256-")
    assert allowed.split(" ")[1].startswith("&#39;sha256-AAAA&#39;")


def test_a_title_cannot_get_out_of_the_foot_of_a_sheet():
    page = for_paper(PAGE.replace("den:", "&lt;/style&gt;&lt;script&gt;\u2028\\"), "si")
    assert page.count("</style>") == 2
    assert r'content: "\3c \2f style\3e \3c script\3e \2028 \5c  ' in page


def test_the_browser_has_no_network_no_profile_of_the_user_and_no_window(tmp_path, fake):
    told = fake('Path(wishes["--print-to-pdf"]).write_bytes(b"%PDF")')
    write_page(tmp_path / "den.pdf", PAGE)
    words = told.read_text(encoding="utf-8").splitlines()
    profile = next(word for word in words if word.startswith("--user-data-dir="))
    assert {
        "--headless=new", "--no-first-run", "--host-resolver-rules=MAP * ~NOTFOUND", "--no-pdf-header-footer",
        "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-extensions",
    } <= set(words)  # fmt: skip
    assert words[-1].startswith("file:///")
    assert not Path(profile.split("=", 1)[1]).exists()
    assert (tmp_path / "den.pdf").read_bytes() == b"%PDF"


@pytest.mark.parametrize(("user", "sandbox"), [(0, False), (1000, True)])
def test_only_root_goes_without_the_sandbox(tmp_path, fake, monkeypatch, user, sandbox):
    told = fake('Path(wishes["--print-to-pdf"]).write_bytes(b"%PDF")')
    monkeypatch.setattr(os, "geteuid", lambda: user)
    write_page(tmp_path / "den.pdf", PAGE)
    assert ("--no-sandbox" in told.read_text(encoding="utf-8").split()) is not sandbox


# --- where it fails ---------------------------------------------------------------------------------------------------


@pytest.fixture
def nowhere(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(chromium, "_usual_places", lambda: iter(()))


def test_without_a_browser_a_pdf_and_a_picture_are_refused_and_a_page_is_not(tmp_path, nowhere):
    said = (
        "no Chromium or Chrome is found that could make it. "
        "Install one of them, or name a .html file and print that from any browser"
    )
    assert failed(tmp_path / "den.pdf") == f"{tmp_path / 'den.pdf'}: {said}"
    with pytest.raises(ReportError) as refused:
        write_figure(tmp_path / "air.png", PAGE, "air")
    assert str(refused.value) == f"{tmp_path / 'air.png'}: {said}"
    write_page(tmp_path / "den.html", PAGE)
    assert (tmp_path / "den.html").read_text(encoding="utf-8") == PAGE


@pytest.mark.parametrize(
    ("platform", "environ", "place"),
    [
        ("linux", {}, "/snap/bin/chromium"),
        ("darwin", {}, "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome"),
        ("win32", {"PROGRAMFILES": "C:/Programs"}, "C:/Programs/Google/Chrome/Application/chrome.exe"),
    ],
)
def test_a_browser_that_is_not_on_the_path_is_found_where_it_usually_lies(monkeypatch, platform, environ, place):
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(sys, "platform", platform)
    for name in ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environ.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(Path, "is_file", lambda self: self == Path(place))
    assert chromium.found_browser() == str(Path(place))


def test_a_browser_that_fails_makes_nothing_makes_no_page(tmp_path, fake):
    fake("sys.exit(3)")
    path, program = tmp_path / "den.pdf", tmp_path / "bin" / "chromium"
    assert failed(path) == f"{path}: {program} ended with exit code 3. {AS_HTML}"
    program.write_text("#!/bin/sh\n", encoding="utf-8")
    program.chmod(0o755)
    assert failed(path) == f"{path}: the browser made nothing. {AS_HTML}"
    program.write_text("#!/nowhere/at/all\n", encoding="utf-8")
    assert failed(path) == f"{path}: {program} can't be run (No such file or directory). {AS_HTML}"


HOLD = "import fcntl, sys, time; fcntl.flock(open(sys.argv[1], 'w'), fcntl.LOCK_EX); print(flush=True); time.sleep(600)"


def test_a_browser_that_never_ends_is_ended_with_all_it_started(tmp_path, fake):
    held = tmp_path / "held"
    fake(
        "import subprocess\n"
        f"child = subprocess.Popen([sys.executable, '-c', {HOLD!r}, {str(held)!r}], stdout=subprocess.PIPE)\n"
        "child.stdout.readline()\n"
        "time.sleep(600)"
    )
    program = str(tmp_path / "bin" / "chromium")
    with chromium.shown(PAGE, tmp_path / "den.pdf") as page, pytest.raises(ReportError) as refused:
        chromium.run(program, page, made=tmp_path / "den.pdf", limit=3)
    assert str(refused.value) == f"{tmp_path / 'den.pdf'}: {program} was not done after 3 s. {AS_HTML}"
    by = time.monotonic() + 20
    with held.open("w", encoding="utf-8") as file:
        while time.monotonic() < by:
            with contextlib.suppress(BlockingIOError):
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            time.sleep(0.05)
        else:
            pytest.fail("what the browser started still runs")


def test_a_browser_out_of_a_snap_works_beside_the_file(tmp_path, fake, monkeypatch):
    snap = tmp_path / "snap"
    snap.touch()
    monkeypatch.setattr(chromium, "SNAP", snap)
    told = fake('Path(wishes["--print-to-pdf"]).write_bytes(b"%PDF")')
    write_page(tmp_path / "den.pdf", PAGE)
    assert told.read_text(encoding="utf-8").splitlines()[-1].startswith((tmp_path / "wallclime-").as_uri())
    assert {one.name for one in tmp_path.iterdir()} == {"bin", "snap", "told.txt", "den.pdf"}
    path = tmp_path / "nowhere" / "den.pdf"
    with pytest.raises(ReportError) as refused:
        write_page(path, PAGE)
    said = "there is no place for the browser to work in (No such file or directory)"
    assert str(refused.value) == f"{path}: {said}. {AS_HTML}"


@pytest.mark.parametrize(
    ("html", "said"),
    [
        (PAGE, "There are: air (The den); days (The den)"),
        (PAGE.replace("days", "air"), "There is: air (The den)"),
        ("<p>", "It has none"),
    ],
)
def test_a_figure_that_is_not_there_is_refused_with_those_that_are(tmp_path, html, said):
    with pytest.raises(ReportError) as refused:
        write_figure(tmp_path / "air.png", html, "wind")
    assert str(refused.value) == f"--figure: the page has no figure 'wind'. {said}"


def test_the_line_that_says_whose_a_figure_is_stands_in_its_picture(tmp_path, monkeypatch):
    shown = []
    monkeypatch.setattr(printing, "_pictured", lambda program, path, alone: shown.append(alone) or b"")
    write_figure(tmp_path / "air.png", PAGE.replace("<figcaption>It", '<p class="whose">den</p><figcaption>It'), "air")
    assert ".paper, .whose { display: block; }" in shown[0]
    assert '<p class="whose">den</p>' in shown[0]


def test_a_picture_has_the_ending_of_one(tmp_path):
    with pytest.raises(ReportError) as refused:
        write_figure(tmp_path / "air.jpg", PAGE, "air")
    assert str(refused.value) == f"{tmp_path / 'air.jpg'}: .jpg is no picture that can be written. Name a .png file"


def test_the_figures_of_a_page_are_known_by_name():
    assert list(figures_of(PAGE)) == ["air", "days"]
