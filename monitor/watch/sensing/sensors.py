"""Sensors: heard, named, brought to a place, taken away."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from monitor.basis.errors import PayloadError, RecordError
from monitor.basis.times import DAY, SECOND, rfc3339, zone_of
from monitor.basis.units import to_base
from monitor.basis.values import AIR, FILE_ADDRESS, SENSORS_CHAIN, Draft, Entry, Kind, Quantity
from monitor.config.settings import Field, Source
from monitor.intake.hold import propose_hold
from monitor.intake.plain import look, stamp_at
from monitor.intake.topics import compile_topic, stream_of_topic
from monitor.keep.rows import Heard
from monitor.rules.frame import effective, sensors_of
from monitor.rules.stays import stays_of
from monitor.watch.book import as_if
from monitor.watch.desk import Desk
from monitor.watch.job.jobs import checked_name, given_reason, past
from monitor.watch.judging import note_all_completions
from monitor.watch.service.awake import latest

MAKER = {Quantity.AIR_TEMPERATURE: 1.0, Quantity.AIR_HUMIDITY: 5.0}  # U of a maker's statement [K, %RH]
MOST_UNCERTAIN = 50.0  # a larger U is a slip of the pen; figure ours [K, %RH]
LONGEST_HOLD = 7 * DAY  # and so is a longer hold; figure ours [ms]
RECENT = 7 * DAY  # how far back a hold is proposed from [ms]


class Seen(NamedTuple):
    """A sensor that was heard: where it is, and how it speaks.

    `interval` is its usual one [ms], None before two readings; `battery` what was left of it last [%], None where it
    does not say; `payload` the last one, of a sensor without a name and while the daemon runs; `read_as` how it is
    read; `stamped` whether its source says that it carries a time.
    """

    heard: Heard
    place: str | None
    proposed_hold: int
    interval: int | None
    battery: float | None
    topic: str
    payload: str
    read_as: str
    stamped: bool | None


def file_stream(name: str) -> str:
    """The address of a sensor that is known from files alone."""
    return f"{FILE_ADDRESS}{name}"


def sensor_draft(
    desk: Desk, name: str, stream: str, hold: int, uncertainty: Mapping[Quantity, float], who: str
) -> Draft:
    """The entry that says what a sensor is."""
    body = {
        "name": name,
        "stream": stream,
        "hold_ms": hold,
        "uncertainty": {quantity.value: u for quantity, u in uncertainty.items()},
        "check": "maker",
    }
    return Draft(Kind.SENSOR, desk.clock.now(), who, body)


def add_sensor(
    desk: Desk, name: str, topic: str, *, hold: int | None, uncertainty: Mapping[Quantity, float], who: str
) -> tuple[Entry, bool]:
    """Name the sensor that is heard on `topic`; its hold is the one given or, else, proposed from what was heard.

    Answers the entry and whether the hold was proposed. Raises RecordError.
    """
    checked_name(name, "sensor add")
    for quantity, u in uncertainty.items():
        if not 0 < u <= MOST_UNCERTAIN:
            raise RecordError(
                f"{u:g} is not above 0 and at most {MOST_UNCERTAIN:g}",
                where=f"uncertainty of {quantity.value}",
                mend="Take it from the maker's data sheet; 5 % and 1 K by default",
            )
    stream = stream_of(desk, name, topic)
    chosen = proposed_hold(desk, stream) if hold is None else checked_hold(hold)

    def new(entries: Sequence[Entry]) -> None:
        if name in sensors_of(entries):
            raise RecordError("it is in the log already", where=f"sensor {name}", mend="Choose another name")

    draft = sensor_draft(desk, name, stream, chosen, uncertainty, who)
    desk.store.name_sensor(stream, name)
    return desk.store.append(SENSORS_CHAIN, [draft], check=new)[0], hold is None


def sends(desk: Desk, name: str, units: Mapping[Quantity, str], who: str) -> None:
    """Say of a sensor that is new that it sends other units than it is taken to, from its first reading on."""
    stream = desk.book.sensors()[name].stream
    for quantity, unit in units.items():
        bounds = desk.store.bounds(stream, quantity)
        start = desk.clock.now() if bounds is None else bounds[0]
        claim_unit(
            desk, name, quantity, unit, start=start, end=None, reason="said when it was added", who=who, still=True
        )


def checked_hold(hold: int) -> int:
    """A hold that somebody gave. Raises RecordError when a sensor can't have it. [ms]"""
    if not SECOND <= hold <= LONGEST_HOLD:
        raise RecordError(
            "a reading can't speak for so long or so short a time", where="--hold", mend='Give "1 s" to "7 d"'
        )
    return hold


def proposed_hold(desk: Desk, stream: str) -> int:
    """The hold that the newest intervals of a stream suggest; 30 min for one that was not heard yet. [ms]"""
    longest = max(propose_hold(np.diff(_newest_times(desk, stream, quantity))) for quantity in AIR)
    return max(longest, propose_hold(()))


def _newest_times(desk: Desk, stream: str, quantity: Quantity) -> NDArray[np.int64]:
    """The times of the newest readings of a channel. [ms]"""
    bounds = desk.store.bounds(stream, quantity)
    if bounds is None:
        return np.empty(0, np.int64)
    return desk.store.series(stream, quantity, bounds[1] - RECENT).t


def assign_sensor(desk: Desk, name: str, place: str, *, at: int | None, facts: Mapping[str, Any], who: str) -> Entry:
    """Say that a sensor is at a place from `at` (now) on. Raises RecordError when it is elsewhere then."""
    start = past(desk, at, "sensor assign")
    checked_name(place, "--place")
    known(desk, name)
    body = {"sensor": name, "place": place, "from": start, "to": None, **facts}
    draft = Draft(Kind.ASSIGNMENT, start, who, body)
    entry = desk.store.append(SENSORS_CHAIN, [draft], check=lambda entries: fits(draft, entries))[0]
    note_all_completions(desk, desk.book.sensors()[name].stream)
    return entry


def fits(draft: Draft, entries: Sequence[Entry]) -> None:
    """Raises RecordError when, with this assignment, a sensor would be at two places at once."""
    stays_of(as_if(entries, SENSORS_CHAIN, [draft]))


def stream_of(desk: Desk, name: str, topic: str) -> str:
    """The address of what is heard on `topic`; `topic` may be that address itself, once it was heard."""
    if any(heard.stream == topic for heard in desk.store.heard()):
        return topic
    stream = stream_of_topic(desk.settings.sources, topic)
    if stream is None or {"+", "#"} & set(topic):  # a filter is not a topic: nothing is ever heard on it
        raise RecordError(
            f"no source in wallclime.toml hears the topic {topic!r}",
            where=f"sensor {name}",
            mend="Give the topic as wallclime sensor seen shows it, or add a [[source]]",
        )
    return stream


def release_sensor(desk: Desk, name: str, *, at: int | None, who: str) -> Entry:
    """Say that a sensor leaves its place at `at` (now). Raises RecordError when it is nowhere then."""
    end = past(desk, at, "sensor release")
    known(desk, name)

    def somewhere(entries: Sequence[Entry]) -> None:
        here = [s for s in stays_of(effective(entries)) if s.sensor == name and s.start < end]
        if not any(stay.end is None or stay.end > end for stay in here):
            raise RecordError(
                f"it is at no place at {rfc3339(end)}",
                where=f"sensor {name}",
                mend="wallclime sensor seen shows where each sensor is",
            )

    draft = Draft(Kind.ASSIGNMENT, end, who, {"sensor": name, "released": end})
    entry = desk.store.append(SENSORS_CHAIN, [draft], check=somewhere)[0]
    note_all_completions(desk, desk.book.sensors()[name].stream)
    return entry


def claim_unit(
    desk: Desk,
    name: str,
    quantity: Quantity,
    unit: str,
    *,
    start: int,
    end: int | None,
    reason: str,
    who: str,
    still: bool = False,
) -> Entry:
    """Say that a sensor's readings in [start, end) are in another unit than was thought; none of them is changed. [ms]

    `end` None is now; `still`: it goes on sending that unit, without an end. Raises RecordError.
    """
    known(desk, name)
    until = None if still else past(desk, end, "--to")
    if until is None:
        past(desk, start, "--from")
    elif not start < until:
        raise RecordError("the end is not after the start", where="sensor unit", mend="Check --from and --to")
    body = {"sensor": name, "quantity": quantity.value, "unit": unit, "from": start, "to": until, "reason": reason}
    entry = desk.store.append(SENSORS_CHAIN, [Draft(Kind.UNIT, start, who, body)])[0]
    note_all_completions(desk, desk.book.sensors()[name].stream)
    return entry


def never_heard(desk: Desk, name: str) -> list[str]:
    """What to mind of a sensor that was named and never heard: its topic may be misspelt."""
    stream = desk.book.sensors()[name].stream
    if any(heard.stream == stream and heard.readings for heard in desk.store.heard()):
        return []
    return [f"nothing was heard on {stream} so far; what is heard shows: wallclime sensor seen"]


def zone_at(desk: Desk, place: str) -> ZoneInfo:
    """The zone of the jobs at a place, if they have one and the same; else UTC."""
    zones = {desk.book.job(name).zone for name in desk.book.names() if place in desk.book.places(name)}
    return zone_of(zones.pop() if len(zones) == 1 else "UTC")


def zone_of_sensor(desk: Desk, name: str) -> ZoneInfo:
    """The zone of the jobs at the place where a sensor was assigned last, if they have one and the same; else UTC."""
    stays = [stay for stay in desk.book.stays() if stay.sensor == name]
    return zone_at(desk, stays[-1].place) if stays else zone_of("UTC")


def withdraw_entry(desk: Desk, number: int, *, reason: str, who: str) -> Entry:
    """Say that an assignment, a check or a unit was entered wrongly; the entry stays in the log.

    Raises RecordError when there is no such entry, or when without it a sensor would be at two places.
    """
    standing = {entry.number: entry for entry in effective(desk.book.entries(SENSORS_CHAIN))}
    entry = standing.get(number)
    if entry is None or entry.kind not in (Kind.ASSIGNMENT, Kind.CHECK, Kind.UNIT):
        raise RecordError(
            f"there is no assignment, check or unit of number {number}",
            where="sensor withdraw",
            mend="See wallclime sensor log",
        )
    body = {"withdrawn": True, "reason": given_reason(reason, "sensor withdraw")}
    draft = Draft(Kind.CORRECTION, desk.clock.now(), who, body, corrects=number)
    added = desk.store.append(SENSORS_CHAIN, [draft], check=lambda entries: fits(draft, entries))[0]
    note_all_completions(desk, desk.book.sensors()[entry.body["sensor"]].stream)
    return added


def known(desk: Desk, name: str) -> None:
    """Raises RecordError when there is no sensor `name`."""
    if name not in desk.book.sensors():
        raise RecordError(
            "there is no such sensor", where=f"sensor {name}", mend="wallclime sensor seen shows those that were heard"
        )


def seen(desk: Desk) -> list[Seen]:
    """Every sensor that was heard or named: where it is, how often it speaks, how what it sends is read."""
    now = desk.clock.now()
    places = {s.sensor: s.place for s in desk.book.stays() if s.covers(now)}
    said = latest(desk)
    return [_seen(desk, heard, places.get(heard.name or ""), said) for heard in desk.store.heard()]


def _seen(desk: Desk, heard: Heard, place: str | None, latest: Mapping[str, Sequence[str]]) -> Seen:
    topic, payload = latest.get(heard.stream, ("", ""))
    source = next(
        (s for s in desk.settings.sources if compile_topic(s.topic).match(topic or heard.stream) is not None), None
    )
    plain = source is not None and source.format == "plain"
    times = max((_newest_times(desk, heard.stream, quantity) for quantity in AIR), key=len)
    return Seen(
        heard=heard,
        place=place,
        proposed_hold=proposed_hold(desk, heard.stream),
        battery=battery(desk, heard.stream),
        interval=int(np.median(np.diff(times))) if len(times) > 1 else None,
        topic=topic,
        payload=payload,
        read_as="" if source is None else _read_plain(topic, payload) if plain else _read_as(source),
        stamped=None if source is None or (plain and not payload) else _stamped(source, payload),
    )


def battery(desk: Desk, stream: str) -> float | None:
    """What was left of the battery of the sensor at `stream` when it said so last, None where it never did. [%]"""
    bounds = desk.store.bounds(stream, Quantity.BATTERY)
    if bounds is None:
        return None
    series = desk.store.series(stream, Quantity.BATTERY, bounds[1])
    return to_base(float(series.value[-1]), series.units[series.unit[-1]])


def _stamped(source: Source, payload: str) -> bool:
    """Whether the messages of a source carry a time; of plain JSON whether this one does."""
    if source.format == "plain":
        return stamp_at(_document(payload)) is not None
    return source.format == "senml" or source.time_at is not None


def _read_plain(topic: str, payload: str) -> str:
    """How a message of plain JSON is read, in words; "" where it is cut short, or came under other sources."""
    document = _document(payload)
    if document is None:
        return ""
    try:
        spots = look(document, topic)
    except PayloadError:
        return ""
    fields = {quantity: Field(spot.at, spot.unit) for quantity, spot in spots.items()}
    return _read_as(Source(topic, "plain", fields, topic, time_at=stamp_at(document)))


def _document(payload: str) -> Any:
    try:
        return json.loads(payload)
    except ValueError:
        return None


def _read_as(source: Source) -> str:
    """How a source is read, in words."""
    if source.format == "senml":
        return "SenML"
    fields = ", ".join(
        f"{quantity.value.replace('_', ' ')} {'at ' + repr(field.at) if field.at else 'the number'} in {field.unit}"
        for quantity, field in source.fields.items()
    )
    time = "of arrival" if source.time_at is None else f"at {source.time_at!r}"
    return f"{source.format}: {fields}; time {time}"
