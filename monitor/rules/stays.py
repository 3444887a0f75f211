"""Where each sensor was and is, as the sensors' log says."""

from __future__ import annotations

from collections.abc import Iterable
from shlex import quote
from typing import Literal, NamedTuple

from monitor.basis.errors import RecordError
from monitor.basis.times import rfc3339
from monitor.basis.values import Entry, Kind

Role = Literal["air", "box", "surface"]


class Stay(NamedTuple):
    """A sensor at a place for [start, end); `end` None while it is there. `role` is what it hears there."""

    sensor: str
    place: str
    start: int
    end: int | None
    role: Role = "air"

    def covers(self, at: int) -> bool:
        """Whether the sensor is there at the instant `at`. [ms]"""
        return self.start <= at and (self.end is None or at < self.end)


def stays_of(entries: Iterable[Entry]) -> tuple[Stay, ...]:
    """Where each sensor was, from the assignment entries in the order of writing.

    A stay that adjoins or overlaps one of the same sensor at the same place extends it; a release ends the open one.
    Raises RecordError where a sensor would be at two places at once.
    """
    of_sensor: dict[str, list[Stay]] = {}
    for entry in entries:
        if entry.kind is not Kind.ASSIGNMENT:
            continue
        body = entry.body
        stays = of_sensor.get(body["sensor"], [])
        if "released" in body:
            of_sensor[body["sensor"]] = [_released(stay, body["released"]) for stay in stays]
        else:
            new = Stay(body["sensor"], body["place"], body["from"], body["to"], body.get("role", "air"))
            of_sensor[body["sensor"]] = _joined(stays, new)
    every = [stay for stays in of_sensor.values() for stay in stays]
    return tuple(sorted(every, key=in_order))


def in_order(stay: Stay) -> tuple[int, str, str]:
    """By which stays are sorted."""
    return stay.start, stay.sensor, stay.place


def _released(stay: Stay, at: int) -> Stay:
    here = stay.start < at and (stay.end is None or stay.end > at)
    return stay._replace(end=at) if here else stay


def _meets(a: Stay, b: Stay) -> bool:
    return (b.end is None or a.start <= b.end) and (a.end is None or b.start <= a.end)


def _overlaps(a: Stay, b: Stay) -> bool:
    return (b.end is None or a.start < b.end) and (a.end is None or b.start < a.end)


def _joined(stays: list[Stay], new: Stay) -> list[Stay]:
    """The stays of one sensor with a new one."""
    others = []
    for stay in stays:
        if not _meets(stay, new):
            others.append(stay)
        elif (stay.place, stay.role) == (new.place, new.role):
            end = None if stay.end is None or new.end is None else max(stay.end, new.end)
            new = new._replace(start=min(stay.start, new.start), end=end)
        elif _overlaps(stay, new):
            until = "now" if stay.end is None else rfc3339(stay.end)
            raise RecordError(
                f"{new.sensor} is at {stay.place!r} from {rfc3339(stay.start)} to {until}",
                where=f"assignment to {new.place!r}",
                mend=f"Release it first: wallclime sensor release {quote(new.sensor)} --at TIME",
            )
        else:
            others.append(stay)
    return [*others, new]
