"""A message, read strictly: its numbers and its time, or the one reason why it can't become readings."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple, NoReturn

from monitor.basis.times import SECOND, ms_of
from monitor.basis.values import LIVE, SIMULATED, Origin, Quantity, Reading
from monitor.config.settings import Source, TimeForm
from monitor.intake import plain, senml
from monitor.intake.moment import AHEAD as AHEAD
from monitor.intake.moment import Moment, arrival_of, check_stamp
from monitor.intake.pointer import MISSING, parse_pointer, resolve
from monitor.intake.refusal import Reason, finite, refusal, shown
from monitor.intake.topics import address, compile_topic

LARGEST = 65_536  # of a payload that is looked at; a reading takes some hundred bytes [bytes]

# RFC 3339 section 5.6; the seconds, and the colon of the offset, may be missing as ISO 8601 allows
_RFC3339 = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2}(?::\d{2})?)(?:[.,](\d{1,9}))?(?:([Zz])|([+-]\d{2}):?(\d{2}))", re.ASCII
)
_NAIVE = re.compile(r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}[0-9:.,]*", re.ASCII)
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)


class _Channel(NamedTuple):
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
        self._senml = source.format == "senml"
        self.plain = source.format == "plain"
        self._read = _number if source.format == "number" else _json
        self._time_at = source.time_at
        self._time_tokens = parse_pointer(source.time_at or "", where=f"{self._where}, time")
        self._time_form = source.time_form
        address(source.stream, dict.fromkeys(self.topic.pattern.groupindex, "x"), where=f"{self._where}, stream")

    def stream_of(self, topic: str) -> str | None:
        """The address of the sensor that speaks on `topic`, or None where the source does not cover it.

        Of SenML what the addresses begin with; raises PayloadError where the topic's levels make no such beginning.
        """
        names = self.topic.match(topic)
        if names is None:
            return None
        if self._senml:
            senml.check_levels(self._stream, names, topic)
        return address(self._stream, names)

    def decode(self, stream: str, topic: str, payload: bytes, moment: Moment) -> list[Reading]:
        """The readings of one message, at least one. Raises PayloadError, and nothing else."""
        document = self._read(topic, payload)
        if self._senml:
            return senml.read(document, stream, topic, moment)
        if self.plain:
            return plain.read(document, stream, topic, moment)
        values = [(c, _value(document, c, topic)) for c in self._channels]
        found = [(channel, value) for channel, value in values if value is not None]
        if not found:
            places = ", ".join(repr(channel.at) for channel in self._channels)
            raise refusal(
                Reason.NO_QUANTITY, f"there is no value at {places}", topic, "Check the pointers of its source"
            )
        t, origin = self._time(document, topic, moment)
        if isinstance(document, dict) and document.get("simulated") is True:
            origin = SIMULATED
        return [Reading(stream, c.quantity, t, value, c.unit, moment.arrival, origin) for c, value in found]

    def _time(self, document: Any, topic: str, moment: Moment) -> tuple[int, Origin]:
        if self._time_at is None:
            return arrival_of(topic, moment), LIVE
        stamp = resolve(document, self._time_tokens)
        if stamp is MISSING or stamp is None:
            raise refusal(
                Reason.TIME_UNKNOWN,
                f"there is no time at {self._time_at!r}",
                topic,
                "Check `time` of its source in wallclime.toml",
            )
        t = _stamped(stamp, self._time_form, topic)
        return t, check_stamp(t, stamp, topic, moment)


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
    raise refusal(
        Reason.NO_SOURCE,
        "no source of wallclime.toml covers this topic",
        topic,
        "Add a source; or the broker still serves an earlier setting, then take another client_id",
    )


def _text(topic: str, payload: bytes) -> str:
    if len(payload) > LARGEST:
        raise refusal(
            Reason.TOO_LARGE, f"{len(payload)} bytes, the most is {LARGEST}", topic, "Send one reading a message"
        )
    if not payload:
        raise refusal(
            Reason.UNREADABLE, "the message is empty", topic, "Nothing to do if a retained message was deleted"
        )
    try:
        return payload.decode().removeprefix("\ufeff")
    except UnicodeDecodeError as exc:
        what = f"byte {exc.start} is not UTF-8"
        raise refusal(Reason.UNREADABLE, what, topic, "Send text in UTF-8") from exc


class _RefusedJSONError(ValueError):
    """JSON that the standard library would let pass."""


def _object(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        keys = [key for key, _ in pairs]
        raise _RefusedJSONError(f"the key {shown(next(key for key in keys if keys.count(key) > 1))} stands twice")
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
    raise refusal(Reason.UNREADABLE, what, topic, "Send one JSON object (RFC 8259)")


def _number(topic: str, payload: bytes) -> float:
    text = _text(topic, payload).strip()
    if not _NUMBER.fullmatch(text):
        mend = "Send a plain number with a decimal point"
        raise refusal(Reason.NOT_A_NUMBER, f"{shown(text)} is not a number", topic, mend)
    return float(text)


def _value(document: Any, channel: _Channel, topic: str) -> float | None:
    """The number that `channel` points at; None where there is none, or null. Text and true/false are no numbers."""
    value = resolve(document, channel.tokens)
    if value is MISSING or value is None:
        return None
    number = finite(value)
    if number is not None:
        return number
    what = f"{channel.quantity} is {shown(value)}"
    if isinstance(value, str):
        raise refusal(Reason.NOT_A_NUMBER, f"{what}, a text", topic, "Send the number without quotes")
    raise refusal(Reason.NOT_A_NUMBER, f"{what}, not a finite number", topic, "Send a number, or null for no reading")


def _stamped(stamp: Any, form: TimeForm, topic: str) -> int:
    """The payload's own time. [UTC ms]"""
    if form == "rfc3339":
        return _written_time(stamp, topic)
    if type(stamp) is int:
        return stamp * SECOND if form == "seconds" else stamp
    if type(stamp) is float and abs(stamp) < 1e300:
        return round(stamp * SECOND if form == "seconds" else stamp)
    what = f"the time {shown(stamp)} is not a number of {form}"
    raise refusal(Reason.TIME_UNKNOWN, what, topic, "Check `time` of its source in wallclime.toml")


def _written_time(stamp: Any, topic: str) -> int:
    found = _RFC3339.fullmatch(stamp) if isinstance(stamp, str) else None
    if found is None:
        naive = isinstance(stamp, str) and _NAIVE.fullmatch(stamp)
        what = f"the time {shown(stamp)} {'has no offset' if naive else 'is not RFC 3339'}"
        raise refusal(
            Reason.TIME_UNKNOWN, what, topic, "Send it like 2026-01-05T06:40:00Z, or check `time` of its source"
        )
    date, clock, fraction, utc, hours, minutes = found.groups()
    try:
        moment = datetime.fromisoformat(f"{date}T{clock}{'+00:00' if utc else f'{hours}:{minutes}'}")
    except ValueError as exc:
        what = f"the time {shown(stamp)} is not in the calendar"
        raise refusal(Reason.TIME_UNKNOWN, what, topic, "Send it like 2026-01-05T06:40:00Z") from exc
    return ms_of(moment) + int(((fraction or "") + "000")[:3])
