"""Instruments: what a check of a sensor found, and which check holds at a reading's time.

A check gives a correction (true = slope x read + offset) and the expanded uncertainty (k = 2) that is left. In the
manner of the GUM (JCGM 100:2008) contributions are added as squares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.basis.values import Quantity
from monitor.config.profile import InstrumentLevel

LEVELS: tuple[InstrumentLevel, ...] = ("maker", "side by side", "salt", "laboratory")  # each worth more than the last
MAKER = {
    Quantity.AIR_TEMPERATURE: 1.0,
    Quantity.AIR_HUMIDITY: 5.0,
}  # U that a maker's statement backs [K, %RH]
REPEAT = {Quantity.AIR_TEMPERATURE: 0.2, Quantity.AIR_HUMIDITY: 1.0}  # what a cheap sensor repeats to; ours [K, %RH]
SPREAD = {Quantity.AIR_TEMPERATURE: 5.0, Quantity.AIR_HUMIDITY: 20.0}  # references so far apart make a line

MAKER_ACCEPTED = 365 * DAY  # how long a maker's statement is accepted; ours, no published source [ms]

Basis = Literal["offset", "line"]


class Point(NamedTuple):
    """One comparison: what the sensor read, what was true, and the expanded uncertainty of that. degC or %RH."""

    read: float
    reference: float
    uncertainty: float


class Fit(NamedTuple):
    """The correction that the points suggest, and the expanded uncertainty that is left."""

    slope: float
    offset: float
    uncertainty: float
    basis: Basis


class Check(NamedTuple):
    """A check of one quantity of a sensor, in force from `at` to `until`. [ms]

    `as_found`: the sensor had been left as it was, so the check speaks for the time before it too, if no other does.
    """

    quantity: Quantity
    level: InstrumentLevel
    at: int
    until: int
    slope: float
    offset: float
    uncertainty: float
    as_found: bool

    def key(self, midnight: int) -> list[object]:
        """What of it the readings before `midnight` depend on. [ms]"""
        until = min(self.until, midnight)
        return [self.quantity.value, self.at, until, self.slope, self.offset, self.uncertainty, self.as_found]


class Corrections(NamedTuple):
    """For each reading of a channel: the correction and the expanded uncertainty."""

    slope: NDArray[np.float64]
    offset: NDArray[np.float64]
    uncertainty: NDArray[np.float64]


def fit(quantity: Quantity, points: Sequence[Point]) -> Fit:
    """The correction from one or more comparisons.

    One point, or several close together, give an offset; points at least 20 %RH or 5 K apart a line (least squares).
    What is left: the worst reference, twice the scatter of the points about the fit, and what the sensor repeats to.
    One place of comparison says little of the rest of the range: then half of a maker's statement is added.
    Raises RecordError without a point, or when the readings do not rise with the references.
    """
    if not points:
        raise RecordError(
            "nothing was compared", where="sensor check", mend="Give --read and what it was compared with"
        )
    read = np.array([point.read for point in points])
    true = np.array([point.reference for point in points])
    worst = max(point.uncertainty for point in points)
    wide = float(np.ptp(true)) >= SPREAD[quantity]
    if wide:
        slope, offset = (float(c) for c in np.polyfit(read, true, 1))
        if not 0.5 <= slope <= 2.0:
            raise RecordError(
                f"the readings do not follow the references (slope {slope:.2f})",
                where="sensor check",
                mend="Check that each --read stands with its own reference; a sensor like this is broken",
            )
    else:
        slope, offset = 1.0, float(np.mean(true - read))
    left = true - (slope * read + offset)
    freedom = max(len(points) - (2 if wide else 1), 1)
    scatter = 2.0 * math.sqrt(float(np.sum(left**2)) / freedom)
    elsewhere = 0.0 if wide else MAKER[quantity] / 2
    return Fit(
        slope,
        offset,
        math.sqrt(worst**2 + scatter**2 + REPEAT[quantity] ** 2 + elsewhere**2),
        "line" if wide else "offset",
    )


def in_force(checks: Sequence[Check], quantity: Quantity, at: int) -> Check | None:
    """The check that holds at `at`: the last one before it that is still valid, else the next as-found one."""
    own = [check for check in checks if check.quantity is quantity]
    before = [check for check in own if check.at <= at < check.until]
    if before:
        return max(before, key=lambda check: check.at)
    after = [check for check in own if check.at > at and check.as_found]
    return min(after, key=lambda check: check.at, default=None)


def turns(checks: Sequence[Check], quantity: Quantity) -> list[int]:
    """When the check that holds may be another one from then on. [ms]"""
    return sorted({at for check in checks if check.quantity is quantity for at in (check.at, check.until)})


def corrections(checks: Sequence[Check], quantity: Quantity, stated: float, t: NDArray[np.int64]) -> Corrections:
    """What to do to each reading of a channel at times `t`; `stated` is the uncertainty where no check holds."""
    found = Corrections(np.ones(len(t)), np.zeros(len(t)), np.full(len(t), stated))
    own = [check for check in checks if check.quantity is quantity]
    if not own:
        return found
    changes = turns(own, quantity)
    for start, end in zip([None, *changes], [*changes, None], strict=True):
        first = 0 if start is None else int(np.searchsorted(t, start, "left"))
        last = len(t) if end is None else int(np.searchsorted(t, end, "left"))
        holds = in_force(own, quantity, int(t[first])) if first < last else None
        if holds is not None:
            found.slope[first:last] = holds.slope
            found.offset[first:last] = holds.offset
            found.uncertainty[first:last] = holds.uncertainty
    return found
