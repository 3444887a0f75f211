"""What the form and the paper sheet ask, section by section: named as the entries of the log have it.

One list for the screen, the paper and the import, so that none of them can ask what another does not know.
"""

from __future__ import annotations

from typing import Literal, NamedTuple, get_args

from monitor.basis.units import System
from monitor.basis.values import Kind
from monitor.rules.cautions import Caution
from monitor.rules.install.flatness import Direction
from monitor.rules.install.site import SAID

Ask = Literal[
    "line", "text", "list", "choice", "yes_no", "length", "temperature", "percent", "number", "count", "rows", "pairs"
]
FORM_VERSION = 1  # of the file that a form saves


class Field(NamedTuple):
    """One thing that is asked. `key` as in the entry; `parts` of rows (each a dict) and of pairs (each a list).

    `none`: what to tick where there is no row, and this is known.
    """

    key: str
    label: str
    ask: Ask = "line"
    choices: tuple[str, ...] = ()
    parts: tuple[Field, ...] = ()
    hint: str = ""
    none: str = ""
    lines: int = 1  # to write on, on paper


class Section(NamedTuple):
    """What makes one entry of `kind`, each time it is filled in; `inside`: as the one item of that list in its body.

    On paper it stands `times` times.
    """

    name: str
    title: str
    kind: Kind
    fields: tuple[Field, ...]
    help: str = ""
    inside: str = ""
    cautions: tuple[Caution, ...] = ()
    times: int = 1


def _choice(key: str, label: str, hint: str = "") -> Field:
    return Field(key, label, "choice", tuple(str(word) for word in SAID[key]), hint=hint)


NOTE = Field("note", "anything else", "text", lines=2)
POINT = (Field("position", "position", "length"), Field("deviation", "deviation", "length"))

DELIVERY = Section(
    "delivery",
    "Delivery",
    Kind.DELIVER,
    (
        Field("lot", "lot, as you will call it"),
        Field("boxes", "boxes", "count"),
        Field("lot_numbers", "numbers printed on the boxes", "list", hint="with commas between"),
        Field("place", "where they lie, if not in {boxes_place}"),
        Field("unopened", "unopened", "yes_no"),
        Field("flat", "lying flat", "yes_no"),
        Field("wrapped", "still wrapped", "yes_no"),
        Field("stack_height_m", "height of the stack", "length"),
        Field("stack_width_m", "width of the stack", "length"),
        Field("spacers", "single layers on spacers, air between", "yes_no"),
        Field("floor_temperature", "temperature of the floor", "temperature", hint="if it is cold"),
        Field("box_temperature", "temperature of a box", "temperature", hint="in the middle of the stack"),
        Field("moisture", "moisture of a plank, of its dry mass", "percent", hint="only where it was measured"),
        Field("stored_before", "where they were stored before"),
    ),
    "Once for each lot.",
    cautions=(Caution.HEAVY_BOXES,),
    times=2,
)
SITE = Section(
    "site",
    "Site check",
    Kind.SITE_CHECK,
    (
        _choice("surface", "surface"),
        _choice("finish", "finish"),
        Field("secure", "secure, nothing loose", "yes_no"),
        Field("clean", "clean", "yes_no"),
        Field("dry", "dry", "yes_no"),
        Field("stains", "stains of water", "yes_no"),
        _choice("windows", "windows"),
        Field(
            "heat_sources",
            "stoves, heaters, flues and fireplaces near",
            "rows",
            parts=(Field("what", "what"), Field("distance_m", "distance", "length")),
            none="none near",
            lines=2,
        ),
        Field("heat_as_code", "heat sources are as far away as local code and their makers ask", "yes_no"),
        Field("several_homes", "is it a house of several homes?", "yes_no"),
        Field("stairs", "is the wall on stairs?", "yes_no"),
        Field("corridor", "is the wall in a corridor?", "yes_no"),
        Field("flame_spread", "flame-spread class of the planks", hint="where one of the three is yes"),
        _choice("old_paint", "old paint or texture that would be sanded"),
        NOTE,
    ),
    "What you did not look at, leave open: it stays unknown.",
    cautions=(Caution.OLD_PAINT, Caution.POWER, Caution.FIRE_DISTANCE, Caution.FLAME_SPREAD),
)
FLATNESS = Section(
    "flatness",
    "Flatness",
    Kind.SITE_CHECK,
    (
        Field("direction", "direction", "choice", get_args(Direction)),
        Field("name", "name, where there is more than one"),
        Field("straightedge_m", "length of the straightedge", "length", hint="empty for a laser or a string"),
        Field("points", "points", "pairs", parts=POINT, lines=16),
    ),
    "One for each line: along, across and both diagonals. Positions from the left end or from the floor, at most "
    "{points_apart} apart. Deviations towards the room are plus, hollows minus.",
    inside="flatness",
    cautions=(Caution.LADDERS,),
    times=4,
)
PLUMB = Section(
    "plumb",
    "Plumb",
    Kind.SITE_CHECK,
    (
        Field(
            "plumb",
            "where it was measured",
            "rows",
            parts=(
                Field("at_m", "from the left end", "length"),
                Field("over_m", "over a height of", "length"),
                Field("offset_m", "top stands out", "length"),
            ),
            lines=4,
        ),
    ),
    "Out towards the room at the top is plus, away from it minus.",
)
LEVEL = Section(
    "level",
    "Level of the first row",
    Kind.SITE_CHECK,
    (
        Field(
            "level",
            "points",
            "pairs",
            parts=(Field("position", "from the left end", "length"), Field("height", "height", "length")),
            lines=6,
        ),
    ),
    "Heights above one level line; both ends and some points between.",
)
MOISTURE = Section(
    "moisture",
    "Moisture of the wall",
    Kind.WALL_MOISTURE,
    (
        Field("meter", "meter, maker and model"),
        Field("scale", "scale and its setting"),
        Field("material", "material of the wall"),
        Field("dry_reference", "reading at a dry place of the same material", "number"),
        Field(
            "points",
            "readings",
            "rows",
            parts=(Field("where", "where"), Field("value", "reading", "number")),
            lines=6,
        ),
        NOTE,
    ),
    "A bare reading says nothing: it is judged by the difference from the dry place.",
)
READING = Section(
    "reading",
    "Reading of the air",
    Kind.READING,
    (
        Field("air_temperature", "temperature", "temperature"),
        Field("air_humidity", "relative humidity", "percent"),
        Field("instrument", "read off what"),
    ),
    "With an instrument of your own, beside the sensors.",
    times=2,
)
REMARK = Section("note", "Note", Kind.NOTE, (Field("text", "what happened", "text", lines=3),))
PHOTO = Section("photo", "Photos", Kind.PHOTO, (Field("shows", "what it shows"),))

SECTIONS = (DELIVERY, SITE, PLUMB, LEVEL, FLATNESS, MOISTURE, READING, REMARK)  # photos go with each, and alone


def unit(ask: Ask, units: System) -> str:
    """The unit that a bare number of the form is in."""
    us = units == "us"
    return {"length": "in" if us else "mm", "temperature": "degF" if us else "degC", "percent": "%"}.get(ask, "")
