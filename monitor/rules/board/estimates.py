"""What is computed of boards, boxes and the wall's skin as of an instant. Estimates, each with its bounds; no gate but
that of the box core.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import rfc3339

DISAGREE_K = 2.0  # a sensor in the boxes this far outside the estimate is told [K]

_COUNTS = ("day", "elapsed", "known", "in_band", "damp", "wet")
FIGURES = (
    "t_low", "t_mean", "t_high", "rh_low", "rh_mean", "rh_high",
    "board_low", "board", "board_high", "grown_least", "grown", "grown_most", "too_dry", "too_damp",
    "skin_t_low", "skin_rh_mean", "mould",
)  # fmt: skip

# `day` counts from 1970-01-01; elapsed, known, in_band in ms; hours above 80 % (damp) and at 100 % (wet) at the skin.
# Of the air the lowest and the highest hour's mean and the day's; board: moisture at the day's end, lowest, central,
# highest of nine, and what each gained since the installation; too_dry, too_damp: see BoardDays. NaN: not known.
# degC, %RH, % of dry mass. Four bytes each: a few parts in ten million are lost.
DAYS = np.dtype([*((name, "<i4") for name in _COUNTS), *((name, "<f4") for name in FIGURES)])
Days = NDArray[np.void]


def unpacked(kept: bytes) -> Days:
    """The rows that `days.packed_days` wrote, one after the other."""
    return np.frombuffer(kept, DAYS)


class Bounds(NamedTuple):
    """Lowest, central, highest."""

    low: float
    central: float
    high: float

    def to_json(self) -> list[float]:
        """In that order."""
        return [self.low, self.central, self.high]


class Extreme(NamedTuple):
    """The day on which the boards had gained least, or most, and their gain then. [ms, % of dry mass]"""

    day: int
    gained: Bounds

    def to_json(self) -> dict[str, Any]:
        """The day's start and the gain."""
        return {"day": rfc3339(self.day), "gained_pct": self.gained.to_json()}


class BoardReading(NamedTuple):
    """The planks on the wall, by nine bodies: moisture at the installation, now, and what they gained between.

    `measured`: whether somebody measured the moisture they came with; else it is that of the profile's `came_at`.
    `sensor`: what the sensors' uncertainty leaves open besides. `driest`, `dampest`: of the days so far.
    [% of dry mass]
    """

    since: int
    came: Bounds
    now: Bounds
    gained: Bounds
    measured: bool
    sensor: float
    driest: Extreme | None = None
    dampest: Extreme | None = None

    def to_json(self) -> dict[str, Any]:
        """RFC 3339, % of dry mass."""
        return {
            "since": rfc3339(self.since),
            "came_with_pct": self.came.to_json(),
            "came_with_measured": self.measured,
            "now_pct": self.now.to_json(),
            "gained_pct": self.gained.to_json(),
            "sensor_uncertainty_pct": self.sensor,
            "driest": None if self.driest is None else self.driest.to_json(),
            "dampest": None if self.dampest is None else self.dampest.to_json(),
        }


class CoreReading(NamedTuple):
    """The core of a delivery's boxes: `low` to `high` estimated (None: nobody said how they lie), `measured` in them.

    `room` is the room's trailing 24 h mean; `within` since when the core has been near it. [degC, ms]
    `stays`: what it stays at where a cold floor keeps it from the room [degC]; `shared`: whether several lots lay where
    the sensor was put in.
    """

    low: float | None
    high: float | None
    measured: float | None
    room: float | None
    within: int | None
    stays: float | None = None
    shared: bool = False

    @property
    def disagree(self) -> float:
        """How far what was measured is outside the estimate, 0 where that is not more than 2 K. [K]"""
        if self.measured is None or self.low is None or self.high is None:
            return 0.0
        far = max(self.low - self.measured, self.measured - self.high, 0.0)
        return far if far > DISAGREE_K else 0.0

    def to_json(self) -> dict[str, Any]:
        """degC, RFC 3339."""
        return {
            "estimated": None if self.low is None else [self.low, self.high],
            "measured": self.measured,
            "room_24h_mean": self.room,
            "within_since": None if self.within is None else rfc3339(self.within),
            "disagree_k": self.disagree,
        }


class SkinReading(NamedTuple):
    """The wall's surface. `coldest` [degC] and `humid` [%] of the last day, `month` the mean humidity of 30 days.

    `damp_h`, `wet_h`: hours above 80 % and with condensation in all; `mould` the growth index, 0 to 6.
    """

    coldest: float | None
    humid: float | None
    month: float | None
    damp_h: int
    wet_h: int
    mould: float
    unknown_h: int

    def to_json(self) -> dict[str, Any]:
        """degC, %, hours."""
        return {
            "coldest_last_day": self.coldest,
            "humidity_last_day": self.humid,
            "humidity_30_days": self.month,
            "above_80_h": self.damp_h,
            "condensing_h": self.wet_h,
            "mould_index": self.mould,
            "unknown_h": self.unknown_h,
        }
