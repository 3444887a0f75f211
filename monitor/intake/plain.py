"""Plain JSON of which nobody said where its values stand: they are found by the words beside them.

Names decide, never values: what a message is read as depends on nothing but its own names and unit texts, so that the
same sensor is always read alike. The value that stands highest up in the document is taken. The names are common ones,
no published source.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from datetime import datetime
from typing import Any, NamedTuple

from monitor.basis.times import EARLIEST, LATEST, SECOND, ms_of
from monitor.basis.values import LIVE, SIMULATED, Origin, Quantity, Reading
from monitor.intake.moment import Moment, arrival_of, check_stamp
from monitor.intake.refusal import Reason, finite, refusal

DEEPEST = 4  # levels that are searched
MOST = 500  # names that are looked at: what has more is no sensor's message, and may be there to keep us busy; ours

_TOLD = 5  # places that a refusal tells

_WORDS = {
    Quantity.AIR_TEMPERATURE: ("temperature", "temp", "airtemperature", "airtemp", "roomtemperature", "roomtemp"),
    Quantity.AIR_HUMIDITY: ("humidity", "rh", "hum", "humi", "relativehumidity", "airhumidity", "roomhumidity"),
}
_UNITS = {
    Quantity.AIR_TEMPERATURE: {
        **dict.fromkeys(("c", "tc", "degc", "celsius"), "degC"),
        **dict.fromkeys(("f", "tf", "degf", "fahrenheit"), "degF"),
    },
    Quantity.AIR_HUMIDITY: dict.fromkeys(("pct", "percent", "rh"), "%"),
}
_USUAL = {Quantity.AIR_TEMPERATURE: "degC", Quantity.AIR_HUMIDITY: "%"}
_NAMES: dict[str, tuple[Quantity, str]] = {  # "" where the name tells no unit
    word + suffix: (quantity, unit)
    for quantity, words in _WORDS.items()
    for word in words
    for suffix, unit in {"": "", **_UNITS[quantity]}.items()
}
_INSIDE = ("value", "val", "current", "reading")  # {"temperature": {"value": 17.2, "unit": "C"}}
_OWN_UNIT = ("temperatureunit", "tempunit", "unittemperature", "unittemp", "humidityunit")  # it may stand at the top
_UNIT_NAMES = ("unit", "units", *_OWN_UNIT)
_TIMES = ("time", "timestamp", "ts", "datetime", "date", "measuredat", "utc")
_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?", re.ASCII)


class Spot(NamedTuple):
    """A value and where it stands: an RFC 6901 pointer; the unit as in `unit_of`."""

    at: str
    value: float
    unit: str


def read(document: Any, stream: str, topic: str, moment: Moment) -> list[Reading]:
    """The readings of one message, at least one. Raises PayloadError; NO_QUANTITY where no air is recognized in it."""
    spots = look(document, topic)
    if not spots:
        mend = "Say where they stand in a [[source]] of wallclime.toml"
        raise refusal(Reason.NO_QUANTITY, "no temperature and no humidity is recognized in it", topic, mend)
    t, origin = _time(document, topic, moment)
    if isinstance(document, dict) and document.get("simulated") is True:
        origin = SIMULATED
    return [
        Reading(stream, quantity, t, spot.value, spot.unit, moment.arrival, origin) for quantity, spot in spots.items()
    ]


def look(document: Any, topic: str) -> dict[Quantity, Spot]:
    """Where each quantity of the air stands. Raises PayloadError where one stands there several times."""
    found: dict[Quantity, Spot] = {}
    top = {key: text for _, table in _opened("", document) for key, text in _texts(table, _OWN_UNIT).items()}
    _check_size(document, topic)
    for tables in _levels(document):
        here: dict[Quantity, list[Spot]] = {}
        for pointer, table in tables:
            beside = {**top, **_texts(table, _UNIT_NAMES)}
            for key, value in table.items():
                quantity, told = _NAMES.get(_word(key), (None, ""))
                if quantity is None or quantity in found:
                    continue
                spot = _spot(quantity, told, f"{pointer}/{_escaped(key)}", value, beside)
                here.setdefault(quantity, []).extend([spot] if spot else [])
        found |= {quantity: _only(quantity, spots, topic) for quantity, spots in here.items() if spots}
    return found


def _check_size(document: Any, topic: str) -> None:
    names = sum(len(table) for tables in _levels(document) for _, table in tables)
    if names > MOST:
        mend = "Say where its values stand in a [[source]] of wallclime.toml"
        raise refusal(Reason.NO_QUANTITY, f"it has {names} names, the most is {MOST}", topic, mend)


def _texts(table: Mapping[str, Any], names: Collection[str]) -> dict[str, str]:
    """The texts that stand in a table at the keys that are one of `names`."""
    return {key: value for key, value in table.items() if isinstance(value, str) and _word(key) in names}


def stamp_at(document: Any) -> str | None:
    """Where a time that can be believed stands, as a pointer."""
    return next((at for at, _, _ in _stamps(document)), None)


def _spot(quantity: Quantity, told: str, at: str, value: Any, beside: Mapping[str, str]) -> Spot | None:
    """The number at a name, or in the table there; None where there is none."""
    if isinstance(value, dict):
        inside = {_word(key): key for key in value}
        word = next((word for word in (*_INSIDE, *_UNITS[quantity]) if word in inside), None)
        if word is None:
            return None
        at, told = f"{at}/{_escaped(inside[word])}", told or _UNITS[quantity].get(word, "")
        nearer = {key: text for key, text in beside.items() if key not in value}
        value, beside = value[inside[word]], {**_texts(value, _UNIT_NAMES), **nearer}
    number = _number(value)
    if number is None:
        return None
    return Spot(at, number, told or _unit_beside(quantity, beside) or _USUAL[quantity])


def _number(value: Any) -> float | None:
    """A number, or a text that is one: many a sensor sends it in quotes."""
    if isinstance(value, str) and len(value) <= 40 and _NUMBER.fullmatch(value.strip()):
        return float(value)
    return finite(value)


def _unit_beside(quantity: Quantity, beside: Mapping[str, str]) -> str:
    """The unit that one of the texts beside a value names; "" where none does."""
    return next((unit for text in beside.values() if (unit := _UNITS[quantity].get(_word(text)))), "")


def _only(quantity: Quantity, spots: list[Spot], topic: str) -> Spot:
    """The one spot; of the same in degC and degF that in degC. Raises PayloadError."""
    usual = [spot for spot in spots if spot.unit == _USUAL[quantity]]
    if len(spots) > 1 and len(usual) != 1:
        places = ", ".join([spot.at for spot in spots[:_TOLD]] + ["..."] * (len(spots) > _TOLD))
        what = f"{quantity.value.replace('_', ' ')} stands there {len(spots)} times: {places}"
        raise refusal(Reason.AMBIGUOUS, what, topic, "Say which one in a [[source]] of wallclime.toml")
    return usual[0] if len(spots) > 1 else spots[0]


def _time(document: Any, topic: str, moment: Moment) -> tuple[int, Origin]:
    """The time that the message carries, else that of its arrival: a time without an offset says nothing."""
    for _, stamp, t in _stamps(document):
        return t, check_stamp(t, stamp, topic, moment)
    return arrival_of(topic, moment), LIVE


def _stamps(document: Any) -> Iterator[tuple[str, Any, int]]:
    """The times of a message, highest first: pointer, as it stands there, UTC ms."""
    for tables in _levels(document):
        for pointer, table in tables:
            for key, value in table.items():
                t = _moment_of(value) if _word(key) in _TIMES else None
                if t is not None:
                    yield f"{pointer}/{_escaped(key)}", value, t


def _moment_of(value: Any) -> int | None:
    """A time after 2000, of RFC 3339 or a number of s or ms since 1970; None for all else, as of an unset clock."""
    number = finite(value)
    if number is not None:
        return next((round(t) for t in (number * SECOND, number) if EARLIEST <= t < LATEST), None)
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        return None
    return None if moment is None or moment.tzinfo is None or moment.year < 2000 else ms_of(moment)


def _levels(document: Any) -> Iterator[list[tuple[str, dict[str, Any]]]]:
    """The tables of the document, level by level, each with its pointer; a list of one is looked into."""
    level = [("", document)]
    for _ in range(DEEPEST):
        tables = [(pointer, table) for pointer, value in level for pointer, table in _opened(pointer, value)]
        if not tables:
            return
        yield tables
        level = [(f"{pointer}/{_escaped(key)}", value) for pointer, table in tables for key, value in table.items()]


def _opened(pointer: str, value: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    if isinstance(value, list) and len(value) == 1:
        pointer, value = f"{pointer}/0", value[0]
    if isinstance(value, dict):
        yield pointer, value


def _word(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower()) if len(text) <= 40 else ""


def _escaped(key: str) -> str:
    return key.replace("~", "~0").replace("/", "~1")
