"""Forty invented walls in three invented buildings: their lists, their sensors of three kinds, their air of a winter.

Each building has a gateway of its own kind: mill house sends JSON with a time, weir court a bare number on a topic
each, tannery row SenML packs. Two walls of a flat's lobby share its one sensor; a yard's serves a whole building.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from invented_wall import ms
from processes import Message

from monitor.basis.times import HOUR, MINUTE, SECOND, rfc3339

ZONE = "America/New_York"
FLATS = {"mill house": 7, "weir court": 7, "tannery row": 6}  # of two walls each: forty
KIND = {"mill house": "mill", "weir court": "weir", "tannery row": "tannery"}  # the first level of their topics
SOURCES = """
[[source]]
topic = "mill/{sensor}/climate"
format = "json"
temperature = { at = "/t", unit = "degC" }
humidity = { at = "/rh", unit = "%" }
time = { at = "/time", as = "rfc3339" }

[[source]]
topic = "weir/{sensor}/temperature"
format = "number"
quantity = "air_temperature"
unit = "degF"

[[source]]
topic = "weir/{sensor}/humidity"
format = "number"
quantity = "air_humidity"
unit = "%"

[[source]]
topic = "{house}/gateway"
format = "senml"
prefix = "{house}/"
"""


class Place(NamedTuple):
    """Where a sensor hangs: its name, its building and the name of the place; flat 0 is the yard."""

    sensor: str
    building: str
    flat: int

    @property
    def name(self) -> str:
        return f"{self.building} {self.flat} lobby" if self.flat else f"{self.building} yard"

    @property
    def topic(self) -> str:
        root = KIND[self.building]
        return {"mill": f"mill/{self.sensor}/climate", "weir": f"weir/{self.sensor}/humidity"}.get(
            root, f"tannery/{self.sensor}"
        )


PLACES = tuple(
    Place(f"{KIND[building]}-{flat}" if flat else f"{KIND[building]}-yard", building, flat)
    for building, flats in FLATS.items()
    for flat in range(flats + 1)
)


def wall_list() -> str:
    """The manager's spreadsheet of walls, as it saves it."""
    rows = ["Name,Building,Length,Height,Openings,Wall place,Outdoor place,Up since"]
    for building, flats in FLATS.items():
        for flat in range(1, flats + 1):
            for side, length in (("north", 11 + flat % 4), ("south", 9 + flat % 3)):
                door = '"door 36 in x 80 in"' if side == "north" else ""
                rows.append(
                    f"{building} {flat} {side},{building},{length} ft,8 ft,{door},{building} {flat} lobby,"
                    f"{building} yard,2026-05-12"
                )
    return "\n".join(rows) + "\n"


def sensor_list() -> str:
    """The manager's list of sensors; what has no name for the broker's topics in it is left to `sensor seen`."""
    rows = ["sensor;topic;place;hold"]
    for place in PLACES:
        rows.append(f"{place.sensor};{place.topic};{place.name};{'13 h' if place.building == 'weir court' else '2 h'}")
    return "\n".join(rows) + "\n"


# --- the air ------------------------------------------------------------------------------------------------------

HAPPENED: Sequence[tuple[str, str, tuple[int, ...], str, str]] = (  # building, what, flats, from, to
    ("tannery row", "gateway out", (0, 1, 2, 3, 4, 5, 6), "2027-01-09T10:00", "2027-01-09T16:00"),
    ("tannery row", "dry winter", (1, 2, 3, 4, 5, 6), "2027-01-04T20:00", "2027-03-01T00:00"),
    ("mill house", "heating out", (1, 2, 3, 4, 5, 6, 7), "2027-01-06T17:00", "2027-01-07T15:00"),
    ("weir court", "burst pipe", (3,), "2027-01-08T04:00", "2027-01-08T20:00"),
)


def happens(place: Place, t: int) -> str:
    """What goes on there, "" where nothing does. [ms]"""
    for building, what, flats, start, end in HAPPENED:
        if building == place.building and place.flat in flats and ms(start) <= t < ms(end):
            return what
    return ""


def air(place: Place, t: int) -> tuple[float, float]:
    """degC and %RH: it wanders a little, and never stands still. [ms]"""
    k, what = t // (10 * MINUTE), happens(place, t)
    temperature, humidity = 20.5 + 0.1 * (k % 7) + 0.1 * place.flat, 42.0 + 0.2 * (k % 5) + 0.5 * place.flat
    if place.flat == 0:
        return temperature - 22.0, 78.0 + 0.3 * (k % 5)
    if what == "dry winter":
        by_day = 12 <= (t // HOUR - 5) % 24 < 20
        return temperature, (29.0 if by_day else 33.5) + 0.2 * (k % 5)
    if what == "heating out":
        gone = (t - ms("2027-01-06T17:00")) / HOUR
        return max(3.0, temperature - 1.4 * gone) + 0.05 * (k % 7), humidity + 0.4 * min(gone, 12.0)
    if what == "burst pipe":
        return temperature - 1.0, 93.0 + 0.2 * (k % 5)
    return temperature, humidity


def stamped(start: int, end: int, step: int) -> Iterator[Message]:
    """What mill house and tannery row send in [start, end): their messages carry their times. [ms]"""
    for t in range(start, end, step):
        for place in PLACES:
            if place.building == "mill house":
                temperature, humidity = air(place, t)
                said = {"t": round(temperature, 2), "rh": round(humidity, 2), "time": rfc3339(t)}
                yield f"mill/{place.sensor}/climate", json.dumps(said)
        pack = list(_pack(t))
        if pack:
            yield "tannery/gateway", json.dumps(pack)


def _pack(t: int) -> Iterator[dict[str, object]]:
    first = {"bn": "tannery/", "bt": t / SECOND}
    for place in PLACES:
        if place.building == "tannery row" and happens(place, t) != "gateway out":
            temperature, humidity = air(place, t)
            yield {**first, "n": f"{place.sensor}/temperature", "u": "Cel", "v": round(temperature, 2)}
            yield {"n": f"{place.sensor}/humidity", "u": "%RH", "v": round(humidity, 2)}
            first = {}


def bare(t: int) -> Iterator[Message]:
    """What weir court sends at an instant: numbers, whose time is that of their arrival. [ms]"""
    for place in PLACES:
        if place.building == "weir court":
            temperature, humidity = air(place, t)
            yield f"weir/{place.sensor}/temperature", f"{32 + 1.8 * temperature:.1f}"
            yield f"weir/{place.sensor}/humidity", f"{humidity:.1f}"
