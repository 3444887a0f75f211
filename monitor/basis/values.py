"""The values that pass between the rooms. Frozen: what was read stays as it was read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray


class Quantity(StrEnum):
    """What a channel measures."""

    AIR_TEMPERATURE = "air_temperature"
    AIR_HUMIDITY = "air_humidity"
    SURFACE_TEMPERATURE = "surface_temperature"
    BOX_TEMPERATURE = "box_temperature"
    WALL_MOISTURE = "wall_moisture"
    BATTERY = "battery"  # of the sensor itself, what is left of it: kept, and judged by nobody but the alarm


AIR = (Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY)
ASIDE = (Quantity.SURFACE_TEMPERATURE, Quantity.BOX_TEMPERATURE)  # heard beside the air of a room


class OriginKind(StrEnum):
    """How a reading came to us."""

    LIVE = "live"
    BACK_FILL = "back-fill"
    FILE = "file"
    HAND = "hand"
    SIMULATED = "simulated"


class Origin(NamedTuple):
    """Where readings came from: the kind and, for a file, its SHA-256 in hex (else "")."""

    kind: OriginKind
    detail: str = ""


LIVE = Origin(OriginKind.LIVE)
BACK_FILL = Origin(OriginKind.BACK_FILL)
SIMULATED = Origin(OriginKind.SIMULATED)


class Reading(NamedTuple):
    """One reading as sent.

    `stream` is the address of the sensor it belongs to: the topic it was heard on (for a bare number a topic, with the
    level of the quantity left out), or "file:" and the sensor's name. `t` and `arrival` are UTC ms; `value` is finite,
    in `unit` as sent (the spelling of `units.unit_of`).
    """

    stream: str
    quantity: Quantity
    t: int
    value: float
    unit: str
    arrival: int
    origin: Origin


class Refused(NamedTuple):
    """Bytes that did not become a reading: kept in quarantine under `reason`, never thrown away."""

    topic: str
    reason: str
    detail: str
    raw: bytes
    arrival: int


@dataclass(frozen=True, slots=True)
class Series:
    """The kept readings of one channel, in order of time, none twice.

    `t` int64 [ms], `value` float64 as sent, `unit` and `origin` small integers into `units` and `origins`; all of one
    length.
    """

    t: NDArray[np.int64]
    value: NDArray[np.float64]
    unit: NDArray[np.int16]
    origin: NDArray[np.int32]
    units: tuple[str, ...] = ()
    origins: tuple[Origin, ...] = ()

    def __len__(self) -> int:
        return len(self.t)


def empty_series() -> Series:
    """A channel that has said nothing."""
    return Series(np.empty(0, np.int64), np.empty(0), np.empty(0, np.int16), np.empty(0, np.int32))


class Kind(StrEnum):
    """What an entry of the condition log speaks of."""

    JOB = "job"
    PROFILE = "profile"
    SENSOR = "sensor"
    ASSIGNMENT = "assignment"
    CHECK = "instrument check"
    UNIT = "unit"
    CLOCK = "clock step"
    TROUBLE = "trouble"
    IMPORT = "import"
    DELIVER = "deliver"
    INSTALL = "install"
    READING = "reading"
    NOTE = "note"
    CORRECTION = "correction"
    COMPLETION = "completion"
    COMPLETION_REVISED = "completion revised"
    CLOSE = "close"
    SUITABILITY = "suitability"
    TAKE_OFF = "take-off"
    SITE_CHECK = "site check"
    WALL_MOISTURE = "wall moisture"
    CARE = "care"
    INSPECTION = "inspection"
    EVENT = "event"
    CAUSE = "cause"
    PHOTO = "photo"
    DOCUMENT = "document"
    RESTORED = "restored"
    HOLD = "hold"
    FORGOTTEN = "forgotten"
    ERASED = "erased"
    THINNED = "thinned"
    KEY = "key"
    WITNESS = "witness"
    BUILDING = "building"
    ALARM = "alarm"
    ALARM_SETTINGS = "alarm settings"


PROGRAM = "wallclime"  # who claims an entry that the program itself writes
SENSORS_CHAIN = ""  # the chain of the sensors, which belong to no job; every other chain carries its job's name
FILE_ADDRESS = "file:"  # begins the address of a sensor that is known from files alone; no topic makes such


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry about to be written: `at` the time spoken of, `who` claims it, `body` JSON-safe, `corrects` a number."""

    kind: Kind
    at: int
    who: str
    body: Mapping[str, Any] = field(default_factory=dict)
    corrects: int | None = None


class Entry(NamedTuple):
    """An entry as it stands in the log. `number` counts from 1 in its chain; `salt` and `link` bind it (see seal)."""

    chain: str
    number: int
    kind: Kind
    at: int
    entered: int
    who: str
    body: Mapping[str, Any]
    corrects: int | None
    salt: bytes
    link: bytes
