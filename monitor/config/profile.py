"""A profile: what one kind of plank asks of the room and the wall."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

InstrumentLevel = Literal["maker", "side by side", "salt", "laboratory"]


@dataclass(frozen=True, slots=True)
class Band:
    """Inclusive limits. `humidity` in %RH, `temperature` in degC, each (low, high)."""

    humidity: tuple[float, float]
    temperature: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Acclimation:
    """The clock's rule. [ms]"""

    required: int
    reset_after_out: int
    reset_after_unknown: int
    settle: int


@dataclass(frozen=True, slots=True)
class Quality:
    """When a reading is suspect or proves nothing. Figures ours, no published source."""

    spike_temperature: float  # [K]
    spike_humidity: float  # [%RH]
    rate_temperature: float  # [K/min]
    rate_humidity: float  # [%RH/min]
    flat_together: int  # both air channels unchanged at least this long [ms] ...
    flat_together_readings: int  # ... with at least so many readings of each
    flat_alone: int  # the one channel unchanged at least this long [ms]


@dataclass(frozen=True, slots=True)
class Wall:
    """What the wall must be. Lengths in m; `extra` a share, 0.10 for 10 %."""

    max_length: float
    max_height: float
    flatness: float  # over 10 ft
    edge_gap: float
    extra: float
    stagger_least: float
    stagger_usual: tuple[float, float]


@dataclass(frozen=True, slots=True)
class ReadinessRule:
    """What readiness asks beyond the clock."""

    instrument: InstrumentLevel
    box_core_within: float  # of the room's trailing 24 h mean [K]


@dataclass(frozen=True, slots=True)
class Profile:
    """A checked profile. `text` is the file as it was read, `sha256` its hash in hex, `sources` figure -> its source."""

    name: str
    band: Band
    life: Band
    acclimation: Acclimation
    quality: Quality
    wall: Wall
    readiness: ReadinessRule
    boxes: str
    place: str
    text: str
    sha256: str
    sources: Mapping[str, str]
