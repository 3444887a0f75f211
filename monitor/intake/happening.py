"""What can befall an invented room, its sensors or their gateway, as people write it: "door at 30 h for 90 min"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple

from monitor.basis.errors import RecordError
from monitor.basis.times import HOUR, MINUTE
from monitor.basis.units import parse_duration


class Name(StrEnum):
    """An event's name. Those from STUCK on befall one sensor, those before it all."""

    DOOR = "door"
    DRY = "dry"
    HEATING_FAILURE = "heating-failure"
    OUTAGE = "outage"
    BACK_FILL = "back-fill"
    STUCK = "stuck"
    DRIFT = "drift"
    CLOCK_AHEAD = "clock-ahead"
    CLOCK_UNSET = "clock-unset"


OF_ONE_SENSOR = (Name.STUCK, Name.DRIFT, Name.CLOCK_AHEAD, Name.CLOCK_UNSET)
LASTS = {
    Name.DOOR: 90 * MINUTE,
    Name.DRY: 24 * HOUR,
    Name.HEATING_FAILURE: 12 * HOUR,
    Name.OUTAGE: 2 * HOUR,
    Name.BACK_FILL: 2 * HOUR,
    Name.STUCK: 10 * HOUR,
    Name.DRIFT: 48 * HOUR,
    Name.CLOCK_AHEAD: 2 * HOUR,
    Name.CLOCK_UNSET: 2 * HOUR,
}  # unless a length is given [ms]

_FORM = re.compile(r"(?P<name>\S+) at (?P<at>.+?)(?: for (?P<lasts>.+?))?(?: on (?P<sensor>.+))?")


class Event(NamedTuple):
    """What happens in [at, end), both from the start of the readings [ms]; `sensor` where it befalls one only."""

    name: Name
    at: int
    end: int
    sensor: str | None = None


def parse_event(text: str, sensors: Sequence[str], *, where: str = "--event") -> Event:
    """ "door at 30 h", "heating-failure at 40 h for 6 h", "stuck at 20 h on SENSOR", which is the first by default.

    Raises RecordError for a name or sensor that is unknown, QuantityError for a duration that can't be read.
    """
    found = _FORM.fullmatch(" ".join(text.split()))
    if found is None:
        mend = 'Write it like "door at 30 h" or "heating-failure at 40 h for 6 h"'
        raise RecordError(f"{text!r} is not an event", where=where, mend=mend)
    if found["name"] not in list(Name):
        raise RecordError(f"there is no event {found['name']!r}", where=where, mend=f"Use one of {', '.join(Name)}")
    name = Name(found["name"])
    at = parse_duration(found["at"], where=where)
    lasts = LASTS[name] if found["lasts"] is None else parse_duration(found["lasts"], where=where)
    return Event(name, at, at + lasts, _sensor(name, found["sensor"], sensors, where))


def _sensor(name: Name, given: str | None, sensors: Sequence[str], where: str) -> str | None:
    if name not in OF_ONE_SENSOR:
        if given is not None:
            what = f"{name.value!r} befalls no single sensor"
            raise RecordError(what, where=where, mend=f'Leave out "on {given}"')
        return None
    if given is not None and given not in sensors:
        mend = f"Use one of {', '.join(sensors)}, or add --sensor {given}"
        raise RecordError(f"there is no sensor {given!r} in the invented room", where=where, mend=mend)
    return given or sensors[0]


def happening(events: Sequence[Event], name: Name, after: int, sensor: str | None = None) -> Event | None:
    """The event of this name, and for this sensor, that is on at `after` from the start [ms]; None if there is none."""
    for event in events:
        if event.name is name and event.at <= after < event.end and event.sensor in (None, sensor):
            return event
    return None
