"""A page that is one file: style, drawings, data and program inside, nothing fetched, and only our programs may run.

plotly.js comes out of the installed plotly package, compressed; a small loader unpacks it in the browser and draws. The
policy in the page's head names both programs by their SHA-256, so that nothing else in the page can ever run.
"""

from __future__ import annotations

import base64
import gzip
import hashlib
import re
from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape
from plotly.offline import get_plotlyjs

POLICY = "default-src 'none'; script-src {}; style-src {}; base-uri 'none'; form-action 'none'"

_DEGREES = re.compile(r"(?<=\d )deg(?=[CF]\b)")
_UNIT = re.compile(r"(?<=\d) (?=(?:h|min|s|ms|d|m|mm|ft|in|K|°[CF]|%RH)\b|%)|(?<=\d h) (?=\d+ min)")
_HARMLESS = str.maketrans("<>&", ",.:")
_TIME = re.compile(r"\d{4}-\d\d-\d\d(?:[ T]\d\d:\d\d(?::\d\d)?(?:Z| ?[+-]\d\d:\d\d)?)?")


def render(
    template: str, figures: Mapping[str, str], *, sheets: Sequence[str] = (), program: str = "", **values: Any
) -> str:
    """The finished HTML of `template` with `figures` (id of ours -> JSON of plotly) in it. Same values, same bytes.

    `sheets` and `program` name styles and a program of our own that the page needs besides.
    """
    environment = _environment()
    loader = _source(environment, "loader.js")
    own = _source(environment, program) if program else ""
    style = "\n".join(_source(environment, name) for name in ("page.css", *sheets))
    plotly = get_plotlyjs() if figures else ""
    programs = [*([loader, plotly] if figures else []), *([own] if own else [])]
    hashes = " ".join(f"'sha256-{_sha256(one)}'" for one in programs) or "'none'"
    styles = "'unsafe-inline'" if figures else f"'sha256-{_sha256(chr(10) + style + chr(10))}'"  # plotly writes its own
    return environment.get_template(template).render(
        policy=POLICY.format(hashes, styles),
        style=Markup(style),
        loader=Markup(loader),
        program=Markup(own),
        packed=Markup(_packed(plotly)) if figures else "",
        figures={name: Markup(in_script(figure)) for name, figure in figures.items()},
        **values,
    )


def in_script(json_text: str) -> str:
    """JSON that can stand in a script element whatever is in its strings."""
    found = json_text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return found.replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def neat(text: str) -> Markup:
    """A text of ours for HTML: escaped, degrees with their sign, no number parted from its unit and no time broken."""
    found = _DEGREES.sub("°", str(escape(text)))
    found = _UNIT.sub("\u00a0", found)
    return Markup(_TIME.sub(r"<time>\g<0></time>", found))


@cache  # it keeps what it made of each template
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("monitor.tell"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["neat"] = neat
    return environment


def _source(environment: Environment, name: str) -> str:
    assert environment.loader is not None
    return environment.loader.get_source(environment, name)[0].strip()


def _sha256(program: str) -> str:
    return base64.b64encode(hashlib.sha256(program.encode()).digest()).decode()


@cache
def _packed(program: str) -> str:
    """gzip in base 85, without a time inside, so that a page has the same bytes whenever it is written.

    Three signs that mean something in HTML are put as ones that do not.
    """
    text = base64.b85encode(gzip.compress(program.encode(), 9, mtime=0)).decode()
    return text.translate(_HARMLESS)
