"""Sensors held against each other and against hand readings: who agrees, and who moves away from a neighbour.

Uncertainties are expanded (k = 2) and added as squares, in the manner of the GUM (JCGM 100:2008).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Quantity
from monitor.rules.trend import Recent, Slope, theil_sen

HAND = {Quantity.AIR_TEMPERATURE: 0.5, Quantity.AIR_HUMIDITY: 2.0}  # U of a hand instrument; ours [K, %RH]
LEAST_DAYS = 14  # with readings of both; ours: fewer tell the weather from a drift too badly
LEAST_HOURS = 6  # of a day, that both spoke in; ours
HAIR = 1e-9  # [K, %RH]


class Said(NamedTuple):
    """What a sensor said at one time, and its expanded uncertainty. degC and K, or %RH."""

    value: float
    uncertainty: float


class Compared(NamedTuple):
    """A hand reading beside a sensor's: the sensor minus the hand, and the combined expanded uncertainty."""

    sensor: str
    difference: float
    combined: float

    @property
    def verdict(self) -> Literal["agrees", "differs"]:
        """Whether the difference is within the combined uncertainty; exactly that is within."""
        return "agrees" if abs(self.difference) <= self.combined + HAIR else "differs"


def held_against(hand: Said, sensors: Mapping[str, Said]) -> tuple[Compared, ...]:
    """A hand reading against each sensor that spoke at its time, in order of name."""
    return tuple(
        Compared(name, said.value - hand.value, math.hypot(said.uncertainty, hand.uncertainty))
        for name, said in sorted(sensors.items())
    )


def said_at(channel: Recent, hold: int, at: int) -> float | None:
    """What a channel, in order of time, says at `at`: its last reading by then, while it speaks; else None. [ms]"""
    last = int(np.searchsorted(channel.t, at, "right")) - 1
    return float(channel.value[last]) if last >= 0 and at < channel.t[last] + hold else None


class Drift(NamedTuple):
    """`sensor` has moved away from `neighbour` over `days`, both at one place; `by`: how far, with its interval.

    `combined`: the two sensors' expanded uncertainty. K or %RH.
    """

    sensor: str
    neighbour: str
    quantity: Quantity
    days: int
    by: Slope
    combined: float

    @property
    def beyond(self) -> bool:
        """Whether it has moved further than the two sensors' uncertainty explains."""
        return abs(self.by.middle) > self.combined


def drift(
    quantity: Quantity, one: tuple[str, Recent], other: tuple[str, Recent], combined: float, as_of: int
) -> Drift | None:
    """How far `one` has moved from `other` by the Theil-Sen slope of their daily mean differences before `as_of`.

    None unless they share 14 days at least and the slope's whole interval (95 %) lies on one side of zero. [ms]
    """
    days, differences = _daily(one[1], other[1], as_of)
    if len(days) < LEAST_DAYS:
        return None
    slope = theil_sen(days.astype(np.float64), differences)
    if slope.low <= 0.0 <= slope.high:
        return None
    length = int(days[-1] - days[0]) + 1
    return Drift(one[0], other[0], quantity, length, Slope(*(length * rate for rate in slope)), combined)


def _daily(one: Recent, other: Recent, as_of: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """UTC days, from 1970, in which both spoke in 6 h at least, and the mean difference over those hours."""
    hours_a, means_a = _hourly(one, as_of)
    hours_b, means_b = _hourly(other, as_of)
    hours, in_a, in_b = np.intersect1d(hours_a, hours_b, assume_unique=True, return_indices=True)
    days, where, count = np.unique(hours * HOUR // DAY, return_inverse=True, return_counts=True)
    total = np.bincount(where, means_a[in_a] - means_b[in_b], len(days))
    enough = count >= LEAST_HOURS
    return days[enough], total[enough] / count[enough]


def _hourly(channel: Recent, as_of: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Hours from 1970 with a reading, and their means."""
    kept = (channel.t < as_of) & np.isfinite(channel.value)
    hours, where, count = np.unique(channel.t[kept] // HOUR, return_inverse=True, return_counts=True)
    return hours, np.bincount(where, channel.value[kept], len(hours)) / count
