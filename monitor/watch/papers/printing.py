"""Pages as files: HTML as it is, PDF and pictures by an installed browser; whole or not at all."""

from __future__ import annotations

import base64
import hashlib
import html as markup
import os
import re
import tempfile
from pathlib import Path

from monitor.basis.errors import ReportError
from monitor.basis.units import System
from monitor.watch.papers import chromium

PAPER = {"us": "letter", "si": "A4"}
WIDTH = 1040  # of a picture [CSS px]
FINER = 2  # pixels of a picture to a CSS pixel
_STILL = '<meta http-equiv="Content-Security-Policy" content="script-src \'none\'">'
_NUMBERED = (
    "@page {{ size: {paper}; @bottom-left {{ content: {title}; {small} }} "
    '@bottom-right {{ content: "page " counter(page) " of " counter(pages); {small} }} }}'
)
_SMALL = "font: 8pt sans-serif; color: #5c564d;"
_FIGURE = re.compile(r'<figure\b[^>]*\bdata-name="([\w-]+)"[^>]*>.*?</figure>', re.DOTALL)
_ALONE = (
    "html, body {{ background: #fff; }} body {{ margin: 0; padding: 24px; }} figure {{ margin: 0; }} "
    ".plot {{ display: none; }} .paper, .whose {{ display: block; }}"
)


def page_file(path: Path) -> Path:
    """A path that a page can be written to. Raises ReportError, also for a PDF where there is no browser."""
    if path.suffix.lower() not in (".html", ".htm", ".pdf"):
        raise ReportError(
            f"{path.suffix or 'no ending'} is no page that can be written",
            where=str(path),
            mend="Name a .html or .pdf file",
        )
    if path.suffix.lower() == ".pdf":
        chromium.the_browser(path)
    return path


def write_page(path: Path, html: str, units: System = "si") -> None:
    """Write a page as the ending of `path` asks: .html as it is, .pdf printed, on Letter where `units` are of the US.

    A page that is there is replaced at once or not at all. Raises ReportError.
    """
    page_file(path)
    if path.suffix.lower() == ".pdf":
        write_whole(path, _printed(path, html, units))
    else:
        write_whole(path, html)


def figures_of(html: str) -> dict[str, str]:
    """The figures of a page by name."""
    return {found[1]: found[0] for found in _FIGURE.finditer(html)}


def write_figure(path: Path, html: str, name: str) -> None:
    """Write one figure of a page as a PNG. Raises ReportError that lists the figures there are."""
    program = chromium.the_browser(picture_file(path))
    figures = figures_of(html)
    if name not in figures:
        named = "; ".join(f"{one} ({_under(html, one)})" for one in figures)
        there = f"There {'is' if len(figures) == 1 else 'are'}: {named}" if figures else "It has none"
        raise ReportError(f"the page has no figure {name!r}", where="--figure", mend=there)
    style = "".join(re.findall(r"<style>.*?</style>", html, re.DOTALL))
    alone = f'<!DOCTYPE html><meta charset="utf-8">{_STILL}{style}<style>{_ALONE.format()}</style>{figures[name]}'
    write_whole(path, _pictured(program, path, alone))


def _under(html: str, name: str) -> str:
    """The heading that a figure stands under."""
    before = html.split(f'data-name="{name}"', 1)[0]
    heading = re.findall(r"<h[123]\b[^>]*>(.*?)</h[123]>", before, re.DOTALL)[-1:]
    return markup.unescape(re.sub(r"<[^>]*>", "", "".join(heading)))


def picture_file(path: Path) -> Path:
    """A path that a picture can be written to. Raises ReportError."""
    if path.suffix.lower() != ".png":
        raise ReportError(
            f"{path.suffix or 'no ending'} is no picture that can be written", where=str(path), mend="Name a .png file"
        )
    return path


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file beside its place and move it there; of a failure nothing is left. Raises ReportError."""
    beside = None
    try:
        handle, beside = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(content.encode() if isinstance(content, str) else content)
        os.chmod(beside, 0o644)
        os.replace(beside, path)
        beside = None
    except OSError as exc:
        raise ReportError(
            f"it can't be written ({exc.strerror})",
            where=str(path),
            mend=f"Choose another place with -o FILE{path.suffix}",
        ) from exc
    finally:
        if beside is not None:
            os.unlink(beside)


def _printed(path: Path, html: str, units: System) -> bytes:
    program = chromium.the_browser(path)
    with chromium.shown(for_paper(html, units), path) as page:
        made = page.with_suffix(".pdf")
        wishes = ("--no-pdf-header-footer", "--generate-pdf-document-outline", f"--print-to-pdf={made}")
        chromium.run(program, page, *wishes, made=path)
        return _made(made, path)


def for_paper(html: str, units: System) -> str:
    """The page as it is printed: no program runs, sheets have their size, their number and the page's title."""
    title = markup.unescape(next(iter(re.findall(r"<title>(.*?)</title>", html, re.DOTALL)), ""))
    style = _NUMBERED.format(paper=PAPER[units], title=_css_text(title[:90]), small=_SMALL)
    hashed = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    allowed = re.sub(r"style-src (?=(?:'|&#39;)sha256-)", f"style-src 'sha256-{hashed}' ", html, count=1)
    return allowed.replace("<head>", f"<head>{_STILL}", 1).replace("</head>", f"<style>{style}</style></head>", 1)


def _css_text(text: str) -> str:
    """A text for a style sheet, every sign that could mean something in it as its number."""
    return '"' + "".join(sign if sign.isalnum() or sign in " ,:" else f"\\{ord(sign):x} " for sign in text) + '"'


def _pictured(program: str, path: Path, alone: str) -> bytes:
    """A picture as high as the figure is: it is measured first, in a frame."""
    measure = (
        f'<!DOCTYPE html><title>-</title><iframe style="width:{WIDTH}px;border:0" srcdoc="{markup.escape(alone)}">'
        "</iframe><script>onload = () => {"
        'document.title = document.querySelector("iframe").contentDocument.documentElement.offsetHeight; }</script>'
    )
    with chromium.shown(measure, path) as page:
        said = re.search(r"<title>(\d+)</title>", chromium.run(program, page, "--dump-dom", made=path))
    height = int(said[1]) if said else WIDTH
    with chromium.shown(alone, path) as page:
        made = page.with_suffix(".png")
        wishes = (f"--window-size={WIDTH},{height}", f"--force-device-scale-factor={FINER}", f"--screenshot={made}")
        chromium.run(program, page, *wishes, made=path)
        return _made(made, path)


def _made(file: Path, path: Path) -> bytes:
    """What the browser has made. Raises ReportError where it made nothing."""
    if not file.is_file():
        raise ReportError(
            "the browser made nothing", where=str(path), mend="Name a .html file and print that from any browser"
        )
    return file.read_bytes()
