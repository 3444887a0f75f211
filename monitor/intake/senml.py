"""SenML in JSON (RFC 8428): records that name their sensors, units and times themselves.

A name must begin with the prefix that the topic gives, so that no publisher speaks for another's sensors. The unit
says what a record measures. A pack is read whole or refused whole.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from monitor.basis.errors import PayloadError
from monitor.basis.times import SECOND
from monitor.basis.values import LIVE, SIMULATED, Origin, Quantity, Reading
from monitor.intake.moment import Moment, arrival_of, check_stamp
from monitor.intake.refusal import Reason, finite, refusal, shown

VERSION = 10  # of RFC 8428; a higher one has fields that must be understood, section 4.4
RELATIVE = 2.0**28  # a time below it counts from now, section 4.5.3 [s]

_UNITS = {
    "Cel": (Quantity.AIR_TEMPERATURE, "degC"),
    "K": (Quantity.AIR_TEMPERATURE, "K"),
    "%RH": (Quantity.AIR_HUMIDITY, "%"),
    "%EL": (Quantity.BATTERY, "%"),  # section 12.1: what is left of a battery
}
_WORDS = {"temperature", "temp", "air_temperature", "humidity", "hum", "rh", "air_humidity", "battery", "bat"}
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")  # section 4.5.1
_LAST = re.compile(r"[/:]([^/:]*)\Z")
_KINDS = ("v", "vs", "vb", "vd")
_REGULAR = {*_KINDS, "n", "u", "s", "t", "ut"}
_TEXTS = ("bn", "bu", "n", "u", "vs", "vd")
_TIMES = ("bt", "t", "ut")
_NUMBERS = ("bv", "bs", "v", "s", "bver")
_LATEST = 1e12  # far beyond any year that is taken, and safe to reckon with [s]


class _Record(NamedTuple):
    """A record with its base fields put in. `value` None where it is no number, `seconds` as sent."""

    place: str
    name: str
    unit: str
    value: float | None
    seconds: float


def check_levels(prefix: str, names: Mapping[str, str], topic: str) -> None:
    """Raise PayloadError where a level of the topic is empty or has the sign that ends it in `prefix`."""
    for name, level in names.items():
        if f"{{{name}}}" in prefix and (not level or (":" in level and f"{{{name}}}:" in prefix)):
            mend = "Let no level be empty or have a : in it, or write a / after it in prefix"
            raise refusal(Reason.WRONG_NAME, f"its level {level!r} can't begin a name", topic, mend)


def read(document: Any, prefix: str, topic: str, moment: Moment) -> list[Reading]:
    """The readings of a pack, at least one, of sensors whose names begin with `prefix`. Raises PayloadError."""
    if not isinstance(document, list) or not all(isinstance(record, dict) for record in document):
        raise refusal(
            Reason.UNREADABLE, "it is no list of records", topic, "Send a JSON array of SenML records (RFC 8428)"
        )
    readings: list[Reading] = []
    simulated = any(record.get("simulated") is True for record in document)
    for record in _resolved(document, topic):
        stream = _stream(record, prefix, topic)
        if record.unit not in _UNITS:
            continue
        if record.value is None:
            mend = "Send the number as v"
            raise refusal(
                Reason.NOT_A_NUMBER, f"{record.place} is in {record.unit}, but its value is no number", topic, mend
            )
        quantity, unit = _UNITS[record.unit]
        t, origin = _time(record.seconds, topic, moment)
        readings.append(
            Reading(stream, quantity, t, record.value, unit, moment.arrival, SIMULATED if simulated else origin)
        )
    if not readings:
        what = f"there is no record in {', '.join(_UNITS)}"
        raise refusal(
            Reason.NO_QUANTITY, what, topic, "Send temperatures in Cel or K, humidities in %RH, batteries in %EL"
        )
    return readings


def _resolved(document: list[dict[str, Any]], topic: str) -> Iterator[_Record]:
    """The records in their order, without those that only set base fields."""
    base: dict[str, Any] = {}
    for number, fields in enumerate(document, 1):
        place = f"record {number}"
        _check(fields, place, topic)
        base |= {key: fields[key] for key in ("bn", "bt", "bu", "bv", "bs") if key in fields}
        if _REGULAR & fields.keys():
            value, is_sum = _value(fields, base, place, topic)
            if not is_sum:
                yield _Record(
                    place,
                    base.get("bn", "") + fields.get("n", ""),
                    fields.get("u", base.get("bu", "")),
                    value,
                    float(base.get("bt", 0)) + float(fields.get("t", 0)),
                )


def _check(fields: dict[str, Any], place: str, topic: str) -> None:
    """Each field has the type of section 5, and nothing is there that we would have to understand."""
    for key, value in fields.items():
        if key.endswith("_"):
            raise _unread(f"{place} has {shown(key)}, which must be understood and is not", topic)
        if key in _TEXTS and not isinstance(value, str):
            raise _unread(f"{place} has {key} {shown(value)}, not a text", topic)
        if key == "vb" and not isinstance(value, bool):
            raise _unread(f"{place} has vb {shown(value)}, neither true nor false", topic)
        if key in _TIMES + _NUMBERS and finite(value) is None:
            reason = Reason.TIME_UNKNOWN if key in _TIMES else Reason.NOT_A_NUMBER
            raise refusal(
                reason, f"{place} has {key} {shown(value)}, not a finite number", topic, "Send a number in its place"
            )
    if fields.get("bver", 0) > VERSION:
        raise _unread(f"{place} is of version {fields['bver']}, the newest that is known is {VERSION}", topic)


def _value(fields: dict[str, Any], base: dict[str, Any], place: str, topic: str) -> tuple[float | None, bool]:
    """The number of a record, None where its value is of another kind; and whether it has a sum instead of a value."""
    kinds = [kind for kind in _KINDS if kind in fields]
    if len(kinds) > 1:
        raise _unread(f"{place} has two values, {kinds[0]} and {kinds[1]}", topic)
    if not kinds and "bv" not in base:
        if "s" in fields or "bs" in base:
            return None, True
        raise _unread(f"{place} has no value", topic)
    if kinds and kinds != ["v"]:
        return None, False
    return finite(float(base.get("bv", 0)) + float(fields.get("v", 0))), False


def _stream(record: _Record, prefix: str, topic: str) -> str:
    """The address of the sensor: the record's name, without a last part that only says what is measured."""
    name, owner = record.name, prefix[:-1]
    if not _NAME.fullmatch(name):
        mend = "Use letters, digits and - : . / _, and begin with a letter or digit (RFC 8428 section 4.5.1)"
        raise refusal(Reason.WRONG_NAME, f"{record.place} has the name {name[:80]!r}", topic, mend)
    if name != owner and not name.startswith(prefix):
        mend = "Publish it on the topic of its own site, or mend prefix in wallclime.toml"
        raise refusal(
            Reason.WRONG_NAME, f"{record.place} speaks for {shown(name)}, not for {shown(prefix)}", topic, mend
        )
    last = _LAST.search(name, len(owner))
    return name[: last.start()] if last and last[1].lower() in _WORDS else name


def _time(seconds: float, topic: str, moment: Moment) -> tuple[int, Origin]:
    offset = round(min(max(seconds, -_LATEST), _LATEST) * SECOND)
    if seconds >= RELATIVE:
        return offset, check_stamp(offset, seconds, topic, moment)
    t = arrival_of(topic, moment) + offset
    return t, check_stamp(t, seconds, topic, moment) if offset else LIVE


def _unread(what: str, topic: str) -> PayloadError:
    return refusal(Reason.UNREADABLE, what, topic, "Send SenML as RFC 8428 has it")
