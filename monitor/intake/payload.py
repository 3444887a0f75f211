"""A message, read strictly: its numbers and its time, or the one reason why it can't become readings."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any, NamedTuple, NoReturn

from monitor.basis.errors import PayloadError
from monitor.basis.times import EARLIEST, MINUTE, SECOND, ms_of
from monitor.basis.values import BACK_FILL, LIVE, SIMULATED, Origin, Quantity, Reading
from monitor.config.settings import Source, TimeForm
from monitor.intake.pointer import MISSING, parse_pointer, resolve
from monitor.intake.topics import address, compile_topic

LARGEST = 65_536  # of a payload that is looked at; a reading takes some hundred bytes [bytes]
AHEAD = 120 * SECOND  # a stamp further ahead of the clock is refused [ms]
LIVE_WITHIN = 10 * MINUTE  # a stamp further behind its arrival is back-fill [ms]

# RFC 3339 section 5.6; the seconds, and the colon of the offset, may be missing as ISO 8601 allows
_RFC3339 = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2}(?::\d{2})?)(?:[.,](\d{1,9}))?(?:([Zz])|([+-]\d{2}):?(\d{2}))", re.ASCII
)
_NAIVE = re.compile(r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}[0-9:.,]*", re.ASCII)
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)


class Reason(StrEnum):
    """Why a message went to quarantine."""

    TOO_LARGE = "too-large"
    UNREADABLE = "unreadable"
    NO_SOURCE = "no-source"
    NO_QUANTITY = "no-quantity"
    NOT_A_NUMBER = "not-a-number"
    TIME_UNKNOWN = "time-unknown"
    TIME_AHEAD = "time-ahead"
    TIME_BEFORE_2000 = "time-before-2000"
    TOO_OLD = "too-old"
    CLOCK_UNSET = "clock-unset"


class Moment(NamedTuple):
    """What is known of the time at which a message came. Times in UTC ms.

    `arrival` when it was read from the link, `now` the clock when it is judged; `trusted_live` whether the backlog is
    over; `retained` the MQTT flag; `newest` the newest arrival ever kept; `back_fill` the oldest age of a stamp. [ms]
    """

    arrival: int
    now: int
    trusted_live: bool
    retained: bool
    newest: int | None
    back_fill: int


@dataclass(frozen=True, slots=True)
class _Channel:
    quantity: Quantity
    at: str
    tokens: tuple[str, ...]
    unit: str


class Decoder:
    """A source, compiled once: topics, pointers and units. Raises SettingsError where they are not well formed."""

    def __init__(self, source: Source) -> None:
        self.topic = compile_topic(source.topic, where=f"source {source.topic!r}, topic")
        self._where = f"source {source.topic!r}"
        self._stream = source.stream
        self._channels = tuple(
            _Channel(quantity, field.at, parse_pointer(field.at, where=f"{self._where}, {quantity}"), field.unit)
            for quantity, field in source.fields.items()
        )
        self._read = _json if source.format == "json" else _number
        self._time_at = source.time_at
        self._time_tokens = parse_pointer(source.time_at or "", where=f"{self._where}, time")
        self._time_form = source.time_form
        address(source.stream, dict.fromkeys(self.topic.pattern.groupindex, "x"), where=f"{self._where}, stream")

    def stream_of(self, topic: str) -> str | None:
        """The address of the sensor that speaks on `topic`, or None where the source does not cover it."""
        names = self.topic.match(topic)
        return None if names is None else address(self._stream, names)

    def decode(self, stream: str, topic: str, payload: bytes, moment: Moment) -> list[Reading]:
        """The readings of one message, at least one. Raises PayloadError, and nothing else."""
        document = self._read(topic, payload)
        values = [(c, _value(document, c, topic)) for c in self._channels]
        found = [(channel, value) for channel, value in values if value is not None]
        if not found:
            places = ", ".join(repr(channel.at) for channel in self._channels)
            _refuse(Reason.NO_QUANTITY, f"there is no value at {places}", topic, "Check the pointers of its source")
        t, origin = self._time(document, topic, moment)
        if isinstance(document, dict) and document.get("simulated") is True:
            origin = SIMULATED
        return [Reading(stream, c.quantity, t, value, c.unit, moment.arrival, origin) for c, value in found]

    def _time(self, document: Any, topic: str, moment: Moment) -> tuple[int, Origin]:
        if self._time_at is None:
            return _arrival(topic, moment), LIVE
        stamp = resolve(document, self._time_tokens)
        if stamp is MISSING or stamp is None:
            _refuse(
                Reason.TIME_UNKNOWN,
                f"there is no time at {self._time_at!r}",
                topic,
                "Check `time` of its source in wallclime.toml",
            )
        t = _stamped(stamp, self._time_form, topic)
        _check_stamp(t, stamp, topic, moment)
        return t, LIVE if t >= moment.arrival - LIVE_WITHIN else BACK_FILL


def decode(
    source: Source,
    topic: str,
    payload: bytes,
    *,
    arrival: int,
    trusted_live: bool,
    retained: bool,
    now: int,
    back_fill: int,
    newest: int | None,
) -> list[Reading]:
    """The readings of one message of `source`, at least one; times in UTC ms, `back_fill` in ms (see `Moment`).

    Raises PayloadError, whose `reason` is one of `Reason`, and SettingsError for a source that is not well formed.
    """
    decoder = Decoder(source)
    stream = decoder.stream_of(topic)
    if stream is None:
        refuse_unknown(topic)
    return decoder.decode(stream, topic, payload, Moment(arrival, now, trusted_live, retained, newest, back_fill))


def refuse_unknown(topic: str) -> NoReturn:
    """Raise the PayloadError of a message that no source covers."""
    _refuse(
        Reason.NO_SOURCE,
        "no source of wallclime.toml covers this topic",
        topic,
        "Add a source; or the broker still serves an earlier setting, then take another client_id",
    )


def _refuse(reason: Reason, what: str, topic: str, mend: str) -> NoReturn:
    raise PayloadError(what, where=_shown(topic), mend=mend, reason=reason)


def _shown(value: object) -> str:
    """The value as it can stand in a message: one line, printable, short."""
    if isinstance(value, dict | list):
        return "an object" if isinstance(value, dict) else "a list"
    text = value if isinstance(value, str) and value.isprintable() else repr(value)
    return text if len(text) <= 80 else f"{text[:77]}..."


def _text(topic: str, payload: bytes) -> str:
    if len(payload) > LARGEST:
        _refuse(Reason.TOO_LARGE, f"{len(payload)} bytes, the most is {LARGEST}", topic, "Send one reading a message")
    if not payload:
        _refuse(Reason.UNREADABLE, "the message is empty", topic, "Nothing to do if a retained message was deleted")
    try:
        return payload.decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        _refuse(Reason.UNREADABLE, f"byte {exc.start} is not UTF-8", topic, "Send text in UTF-8")


class _RefusedJSONError(ValueError):
    """JSON that the standard library would let pass."""


def _object(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        keys = [key for key, _ in pairs]
        raise _RefusedJSONError(f"the key {_shown(next(key for key in keys if keys.count(key) > 1))} stands twice")
    return made


def _constant(name: str) -> NoReturn:
    raise _RefusedJSONError(f"{name} is not JSON")


_JSON = json.JSONDecoder(object_pairs_hook=_object, parse_constant=_constant)


def _json(topic: str, payload: bytes) -> Any:
    text = _text(topic, payload)
    try:
        return _JSON.decode(text)
    except json.JSONDecodeError as exc:
        what = f"not JSON: {exc.msg} at character {exc.pos + 1}"
    except RecursionError:
        what = "nested too deeply"
    except _RefusedJSONError as exc:
        what = str(exc)
    except ValueError:
        what = "a number has too many digits"
    _refuse(Reason.UNREADABLE, what, topic, "Send one JSON object (RFC 8259)")


def _number(topic: str, payload: bytes) -> float:
    text = _text(topic, payload).strip()
    if not _NUMBER.fullmatch(text):
        mend = "Send a plain number with a decimal point"
        _refuse(Reason.NOT_A_NUMBER, f"{_shown(text)} is not a number", topic, mend)
    return float(text)


def _value(document: Any, channel: _Channel, topic: str) -> float | None:
    """The number that `channel` points at; None where there is none, or null. Text and true/false are no numbers."""
    value = resolve(document, channel.tokens)
    if value is MISSING or value is None:
        return None
    if type(value) is float and math.isfinite(value):
        return value
    if type(value) is int and abs(value) < 1 << 1023:
        return float(value)
    what = f"{channel.quantity} is {_shown(value)}"
    if isinstance(value, str):
        _refuse(Reason.NOT_A_NUMBER, f"{what}, a text", topic, "Send the number without quotes")
    _refuse(Reason.NOT_A_NUMBER, f"{what}, not a finite number", topic, "Send a number, or null for no reading")


def _arrival(topic: str, moment: Moment) -> int:
    """The arrival as the time of an unstamped message, where it may be trusted."""
    if moment.retained or not moment.trusted_live:
        why = "the broker had kept it (retained)" if moment.retained else "it may have waited at the broker"
        mend = "Send the time with the reading, and name its place as `time` of its source"
        _refuse(Reason.TIME_UNKNOWN, f"it carries no time, and {why}", topic, mend)
    if moment.arrival < EARLIEST or (moment.newest is not None and moment.now < moment.newest):
        what = "it carries no time, and the computer's clock is behind the readings already kept"
        _refuse(Reason.CLOCK_UNSET, what, topic, "Set the computer's clock")
    return moment.arrival


def _stamped(stamp: Any, form: TimeForm, topic: str) -> int:
    """The payload's own time. [UTC ms]"""
    if form == "rfc3339":
        return _written_time(stamp, topic)
    if type(stamp) is int:
        return stamp * SECOND if form == "seconds" else stamp
    if type(stamp) is float and abs(stamp) < 1e300:
        return round(stamp * SECOND if form == "seconds" else stamp)
    what = f"the time {_shown(stamp)} is not a number of {form}"
    _refuse(Reason.TIME_UNKNOWN, what, topic, "Check `time` of its source in wallclime.toml")


def _written_time(stamp: Any, topic: str) -> int:
    found = _RFC3339.fullmatch(stamp) if isinstance(stamp, str) else None
    if found is None:
        naive = isinstance(stamp, str) and _NAIVE.fullmatch(stamp)
        what = f"the time {_shown(stamp)} {'has no offset' if naive else 'is not RFC 3339'}"
        _refuse(Reason.TIME_UNKNOWN, what, topic, "Send it like 2026-01-05T06:40:00Z, or check `time` of its source")
    date, clock, fraction, utc, hours, minutes = found.groups()
    try:
        moment = datetime.fromisoformat(f"{date}T{clock}{'+00:00' if utc else f'{hours}:{minutes}'}")
    except ValueError:
        what = f"the time {_shown(stamp)} is not in the calendar"
        _refuse(Reason.TIME_UNKNOWN, what, topic, "Send it like 2026-01-05T06:40:00Z")
    return ms_of(moment) + int(((fraction or "") + "000")[:3])


def _check_stamp(t: int, stamp: Any, topic: str, moment: Moment) -> None:
    if t < EARLIEST:
        mend = "Set the sensor's clock, or check `time` of its source"
        _refuse(Reason.TIME_BEFORE_2000, f"its time {_shown(stamp)} is before 2000", topic, mend)
    if t > moment.now + AHEAD:
        what = f"its time {_shown(stamp)} is more than 120 s ahead of the clock"
        _refuse(Reason.TIME_AHEAD, what, topic, "Set the sensor's clock, or check `time` of its source")
    if t < moment.now - moment.back_fill:
        what = f"its time {_shown(stamp)} is older than readings are taken from the broker"
        _refuse(Reason.TOO_OLD, what, topic, "Raise back_fill in wallclime.toml, or import the sensor's file")
