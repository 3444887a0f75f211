"""A list of sensors, as a spreadsheet saves it: each named, and brought to its place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import NamedTuple

from monitor.basis.errors import Fault, RecordError
from monitor.basis.times import parse_time, rfc3339
from monitor.basis.units import parse_duration
from monitor.config.joblist import read_rows
from monitor.watch.desk import Desk
from monitor.watch.job.jobs import checked_name, past
from monitor.watch.job.openings import each_of
from monitor.watch.sensing.sensors import (
    MAKER,
    add_sensor,
    assign_sensor,
    checked_hold,
    release_sensor,
    stream_of,
    zone_at,
)

COLUMNS = ("sensor", "topic", "place", "since", "hold", "near")


class Listed(NamedTuple):
    """A row: `since` as it is written, `hold` [ms]; None or "" where nothing is said."""

    where: str
    sensor: str
    topic: str
    place: str
    since: str | None = None
    hold: int | None = None
    near: str = ""


@dataclass(slots=True)
class Done:
    """Who was added, who was brought to a place, each move in words, and how many stood so already."""

    added: list[str] = field(default_factory=list)
    brought: list[str] = field(default_factory=list)
    moved: list[str] = field(default_factory=list)
    stayed: int = 0


def read_sensors(path: Path) -> list[Listed]:
    """The sensors of a list. Raises RecordError with every fault."""
    rows = read_rows(path, COLUMNS)
    missing = [
        Fault(f"no {key} is given", row.where, "Fill in that column")
        for row in rows
        for key in ("sensor", "topic", "place")
        if key not in row.cells
    ]
    if missing:
        raise RecordError.of(missing)
    found = each_of([(row.where, partial(_listed, row.where, row.cells)) for row in rows])
    names = [one.sensor for one in found]
    twice = [
        Fault(f"{one.sensor!r} is listed twice", one.where, "Keep one row a sensor")
        for number, one in enumerate(found)
        if one.sensor in names[:number]
    ]
    if twice:
        raise RecordError.of(twice)
    return found


def _listed(where: str, cells: dict[str, str]) -> Listed:
    hold = None if "hold" not in cells else checked_hold(parse_duration(cells["hold"], where="hold"))
    return Listed(
        where, cells["sensor"], cells["topic"], cells["place"], cells.get("since"), hold, cells.get("near", "")
    )


def take_in(desk: Desk, listed: Sequence[Listed], *, who: str) -> Done:
    """Name those that are new and bring each to its place; what is so already is left as it is.

    All are looked over first. Raises RecordError with every fault: then nothing was done.
    """
    streams = each_of([(one.where, partial(_looked_over, desk, one)) for one in listed])
    _check_apart(listed, streams)
    done = Done()
    for one in listed:
        if one.sensor not in desk.book.sensors():
            add_sensor(desk, one.sensor, one.topic, hold=one.hold, uncertainty=MAKER, who=who)
            done.added.append(one.sensor)
        _bring(desk, one, done, who)
    return done


def _check_apart(listed: Sequence[Listed], streams: Sequence[str]) -> None:
    """Raise RecordError where two rows are of one device."""
    first = {stream: one for one, stream in reversed(list(zip(listed, streams, strict=True)))}
    twice = [
        Fault(f"{one.topic!r} is that of {first[stream].sensor!r} too", one.where, "Give each device one row")
        for one, stream in zip(listed, streams, strict=True)
        if first[stream] is not one
    ]
    if twice:
        raise RecordError.of(twice)


def _looked_over(desk: Desk, one: Listed) -> str:
    """The address of a row's sensor. Raises RecordError."""
    checked_name(one.sensor, "sensor")
    checked_name(one.place, "place")
    _check_free(desk, one, _since(desk, one))
    stream, known = stream_of(desk, one.sensor, one.topic), desk.book.sensors().get(one.sensor)
    called = next((name for name, sensor in desk.book.sensors().items() if sensor.stream == stream), one.sensor)
    if known is not None and known.stream != stream:
        mend = "Give the new device a name of its own, and release the old one: wallclime sensor release"
        raise RecordError(f"it is the sensor at {known.stream!r} by the log", where=f"sensor {one.sensor}", mend=mend)
    if called != one.sensor:
        what = f"{stream!r} is called {called!r} already"
        raise RecordError(what, where=f"sensor {one.sensor}", mend=f"Use the name {called!r}")
    return stream


def _since(desk: Desk, one: Listed) -> int:
    at = None if one.since is None else parse_time(one.since, zone_at(desk, one.place), where="since")
    return past(desk, at, "since")


def _check_free(desk: Desk, one: Listed, since: int) -> None:
    """Raise RecordError where the sensor can't come to its place then, for it was elsewhere later than that."""
    stays = [stay for stay in desk.book.stays() if stay.sensor == one.sensor]
    if any(stay.end is None and stay.place == one.place for stay in stays):
        return
    for stay in stays:
        did, at = ("came to", stay.start) if stay.end is None else ("left", stay.end)
        if since < at or since == stay.start:
            what = f"it {did} {stay.place!r} at {rfc3339(at)}"
            raise RecordError(what, where=f"sensor {one.sensor}", mend="Give a later time as its since")


def _bring(desk: Desk, one: Listed, done: Done, who: str) -> None:
    since = _since(desk, one)
    here = [stay for stay in desk.book.stays() if stay.sensor == one.sensor and stay.end is None]
    if any(stay.place == one.place for stay in here):
        done.stayed += 1
        return
    for stay in here:
        release_sensor(desk, one.sensor, at=since, who=who)
        done.moved.append(f"{one.sensor} from {stay.place!r} to {one.place!r}")
    assign_sensor(desk, one.sensor, one.place, at=since, facts={"near": one.near} if one.near else {}, who=who)
    done.brought.append(one.sensor)
