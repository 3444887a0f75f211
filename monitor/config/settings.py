"""wallclime.toml: where the record is kept, which broker is heard and how its payloads are read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from monitor.basis.values import Quantity

TimeForm = Literal["rfc3339", "seconds", "milliseconds"]


@dataclass(frozen=True, slots=True)
class Field:
    """Where a quantity stands in a payload: `at` an RFC 6901 pointer ("" for a bare number), `unit` as `units.unit_of` spells it."""

    at: str
    unit: str


@dataclass(frozen=True, slots=True)
class Source:
    """One kind of message. `topic` has named levels in braces: home/{sensor}/climate.

    `stream` is the address of the sensor built from the same names: the whole topic by default for "json", the topic
    without its last level for "number" (so that two bare-number topics of one device are one sensor).
    """

    topic: str
    format: Literal["json", "number"]
    fields: Mapping[Quantity, Field]
    stream: str
    time_at: str | None = None
    time_form: TimeForm = "rfc3339"


@dataclass(frozen=True, slots=True)
class Broker:
    """The MQTT broker. `password` comes from $WALLCLIME_BROKER_PASSWORD or a file and is never printed."""

    host: str
    port: int
    client_id: str
    user: str | None
    password: str | None
    keepalive: int  # [ms]


@dataclass(frozen=True, slots=True)
class Service:
    """The daemon's intervals. [ms] `batch` in messages."""

    judge_every: int
    linger: int
    batch: int
    back_fill: int  # how old a live stamp may be before it is called back-fill and refused


@dataclass(frozen=True, slots=True)
class Logging:
    """How the daemon logs."""

    level: Literal["debug", "info", "warning", "error"]
    format: Literal["text", "json"]


@dataclass(frozen=True, slots=True)
class Settings:
    """All of wallclime.toml, checked. `home` is the folder it stands in."""

    home: Path
    store_url: str
    broker: Broker
    sources: tuple[Source, ...]
    service: Service
    log: Logging
