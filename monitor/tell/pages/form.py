"""The form for a phone on site: one file that asks, keeps what is typed while it is open, and saves it as another file.

The policy in its head names its one program and its style by their SHA-256: nothing else can run, nothing is fetched.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from typing import Any, NamedTuple

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from monitor.basis.times import rfc3339
from monitor.basis.units import System, format_length
from monitor.rules.cautions import CAUTIONS, PRACTICE, Caution
from monitor.tell.asked import FORM_VERSION, PHOTO, SECTIONS, Field, Section, unit
from monitor.tell.words import visible

POLICY = (
    "default-src 'none'; script-src {script}; style-src '{style}'; img-src data: blob:; base-uri 'none'; "
    "form-action 'none'"
)
WORDS = {"degF": "°F", "degC": "°C"}


class FormView(NamedTuple):
    """What a form is about. Times in UTC ms, lengths in m."""

    job: str
    zone: str
    units: System
    opened: int
    made: int
    boxes_place: str
    length: float
    height: float
    points_apart: float


def render_form(view: FormView) -> str:
    """The form as HTML, the same for the same values."""
    about = {
        "wallclime_form": FORM_VERSION,
        "job": view.job,
        "zone": view.zone,
        "units": view.units,
        "opened": rfc3339(view.opened),
        "made": rfc3339(view.made),
    }
    environment = environment_of()
    script = source(environment, "form.js")
    style = source(environment, "form.css")
    return environment.get_template("form.html").render(
        policy=POLICY.format(script=f"'{hashed(script)}'", style=hashed(style)),
        style=Markup(style),
        script=Markup(script),
        about=Markup(in_script(about)),
        photo=PHOTO,
        **shared(view),
    )


def shared(view: FormView) -> dict[str, Any]:
    """What the screen and the paper show alike."""
    return {
        "job": visible(view.job),
        "zone": view.zone,
        "wall": f"{format_length(view.length, view.units)} x {format_length(view.height, view.units)}",
        "sections": SECTIONS,
        "cautions": {section.name: _cautions(section) for section in SECTIONS},
        "told": _told(view),
        "unit": lambda field: _unit(field, view.units),
        "shown_unit": lambda field: WORDS.get(_unit(field, view.units), _unit(field, view.units)),
        "practice": PRACTICE,
        "local_code": CAUTIONS[Caution.LOCAL_CODE].text,
    }


def environment_of() -> Environment:
    """The templates, with strict escaping."""
    return Environment(
        loader=PackageLoader("monitor.tell"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def source(environment: Environment, name: str) -> str:
    """A style or program as it will stand between its tags."""
    assert environment.loader is not None
    return environment.loader.get_source(environment, name)[0].strip()


def hashed(text: str) -> str:
    """ "sha256-...": how a policy names a program or a style."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"


def in_script(value: Mapping[str, Any]) -> str:
    """JSON that can stand in a script element whatever is in its strings: ASCII, and no sign that HTML could read."""
    found = json.dumps(value)
    return found.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _cautions(section: Section) -> list[str]:
    return [CAUTIONS[key].text for key in section.cautions]


def _told(view: FormView) -> Any:
    """Fills a label or help with what is known of the job."""
    known = {"boxes_place": visible(view.boxes_place), "points_apart": format_length(view.points_apart, view.units)}

    def fill(text: str) -> str:
        for name, value in known.items():
            text = text.replace(f"{{{name}}}", value)
        return text

    return fill


def _unit(field: Field, units: System) -> str:
    return unit(field.ask, units)
