"""One channel's readings, judged: which are usable, which are suspect, which prove nothing because the sensor is stuck.

Figures of a profile's [quality] table; flags in the words of QARTOD (IOC Manuals and Guides 54): fail, suspect, pass.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import MINUTE
from monitor.basis.units import to_base
from monitor.basis.values import AIR, OriginKind, Quantity, Series
from monitor.config.profile import Quality

Times = NDArray[np.int64]
Values = NDArray[np.float64]
Mask = NDArray[np.bool_]

ORIGINS = tuple(OriginKind)
FAR = np.int64(2**62)  # later than any time [ms]


@dataclass(frozen=True, slots=True)
class Channel:
    """Usable readings of one channel in order of time. `value` in degC or %RH, `origin` an index into ORIGINS."""

    t: Times
    value: Values
    flat: Mask
    suspect: Mask
    origin: NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Reach:
    """How far the flags of readings before a midnight look past it: nothing after `until` changes them.

    `open`: the sensor has not yet said anything that settles it, so its next reading may.
    """

    until: int
    open: bool


@dataclass(frozen=True, slots=True)
class _Usable:
    """The usable readings of one channel, and at which of them it said something new."""

    t: Times
    value: Values
    origin: NDArray[np.int8]
    news: NDArray[np.int64]

    def runs(self) -> tuple[Times, Times]:
        """First and last time of each run of readings unchanged as sent."""
        if not len(self.t):
            return self.t, self.t
        first = np.concatenate(([0], self.news))
        last = np.concatenate((self.news, [len(self.t)])) - 1
        return self.t[first], self.t[last]

    def count(self, first: int, last: int) -> int:
        """How many readings lie in [first, last]."""
        return int(np.searchsorted(self.t, last, "right") - np.searchsorted(self.t, first, "left"))


def _usable(series: Series, quantity: Quantity) -> _Usable:
    """Readings inside the gross range, in degC or %RH; outside is flag 4, which silences."""
    value = series.value
    if any(unit not in ("degC", "%") for unit in series.units):
        value = value.copy()
        for code, unit in enumerate(series.units):
            here = series.unit == code
            value[here] = to_base(value[here], unit)
    humid = quantity is Quantity.AIR_HUMIDITY
    good = (value >= 0.0) & (value <= 105.0) if humid else (value >= -40.0) & (value < 85.0)
    sent, sent_in = series.value[good], series.unit[good]
    news = np.flatnonzero((sent[1:] != sent[:-1]) | (sent_in[1:] != sent_in[:-1])) + 1
    kinds = np.array([ORIGINS.index(origin.kind) for origin in series.origins] or [0], np.int8)
    return _Usable(series.t[good], value[good], kinds[series.origin[good]], news)


class Window:
    """The readings that one sensor sent in a stretch of time, and what is to be said of them.

    `series` has an item for each air channel that the sensor has, even if it was silent here.
    """

    def __init__(self, stream: str, series: Mapping[Quantity, Series], hold: int, quality: Quality) -> None:
        self.stream, self.hold, self.quality = stream, hold, quality
        self.usable = {quantity: _usable(readings, quantity) for quantity, readings in series.items()}
        humid = Quantity.AIR_HUMIDITY in series
        self.governing = Quantity.AIR_HUMIDITY if humid else Quantity.AIR_TEMPERATURE
        self.stretches = self._flat_stretches()

    def channels(self) -> dict[Quantity, Channel]:
        """The usable readings of each channel with their flags."""
        return {q: _channel(u, q, self.stretches[q], self.hold, self.quality) for q, u in self.usable.items()}

    def _flat_stretches(self) -> dict[Quantity, list[tuple[int, int]]]:
        """Per channel the stretches [first, last] of readings that prove nothing in band. [ms]"""
        least, enough = self.quality.flat_together, self.quality.flat_together_readings
        found: dict[Quantity, list[tuple[int, int]]] = {quantity: [] for quantity in self.usable}
        if len(self.usable) == len(AIR):
            long = {q: _longer(u, least) for q, u in self.usable.items()}
            for a, b in long[Quantity.AIR_TEMPERATURE]:
                for c, d in long[Quantity.AIR_HUMIDITY]:
                    first, last = max(a, c), min(b, d)
                    if last - first >= least and all(u.count(first, last) >= enough for u in self.usable.values()):
                        for stretches in found.values():
                            stretches.append((first, last))
        found[self.governing] += _longer(self.usable[self.governing], self.quality.flat_alone)
        return found

    def reach(self, midnight: int) -> Reach:
        """When the flags of the readings before `midnight` are settled.

        A run of unchanged readings that is alive at midnight may turn out to be a stuck sensor's until its governing
        channel changes, or goes on so long that what follows midnight confirms it alone. A spike needs the next one.
        """
        governing = self.usable[self.governing]
        at = int(np.searchsorted(governing.t, midnight, "left"))
        if at == 0:
            return Reach(midnight, False)
        news = int(np.searchsorted(governing.news, at, "left"))
        settling = [governing.t[governing.news[news]]] if news < len(governing.news) else []
        confirmed = int(np.searchsorted(governing.t, self._confirmed_from(midnight), "left"))
        settling += [governing.t[confirmed]] if confirmed < len(governing.t) else []
        if not settling:
            flat = any(first < midnight <= last for found in self.stretches.values() for first, last in found)
            last = max(int(usable.t[-1]) for usable in self.usable.values() if len(usable.t))
            return Reach(last if flat else midnight + self.hold, True)
        return Reach(max(midnight + self.hold, int(min(settling))), False)

    def _confirmed_from(self, since: int) -> int:
        """From when on a run alive at `since` is a stuck sensor's by its readings after `since` alone."""
        needed = since + self.quality.flat_alone
        for usable in self.usable.values():
            eighth = int(np.searchsorted(usable.t, since, "left")) + self.quality.flat_together_readings - 1
            needed = max(needed, int(usable.t[eighth]) if eighth < len(usable.t) else int(FAR))
        return needed

    def settled_before(self, at: int) -> bool:
        """Whether the flags of readings from `at` on can be told without anything earlier than what is here."""
        governing = self.usable[self.governing]
        need = int(np.searchsorted(governing.t, at, "left"))
        if need == len(governing.t) or (len(governing.news) and governing.news[0] <= need):
            return True
        if need == 0:
            return False
        long = governing.t[need - 1] - governing.t[0] >= self.quality.flat_alone
        enough = self.quality.flat_together_readings
        return bool(long) and all(int(np.searchsorted(u.t, at, "left")) >= enough for u in self.usable.values())


def _longer(usable: _Usable, least: int) -> list[tuple[int, int]]:
    first, last = usable.runs()
    return [(int(first[k]), int(last[k])) for k in np.flatnonzero(last - first >= least)]


def _channel(
    usable: _Usable, quantity: Quantity, stretches: list[tuple[int, int]], hold: int, quality: Quality
) -> Channel:
    flat = np.zeros(len(usable.t), np.bool_)
    for first, last in stretches:
        flat[np.searchsorted(usable.t, first, "left") : np.searchsorted(usable.t, last, "right")] = True
    suspect = _suspect(usable.t, usable.value, quantity, hold, quality)
    value = usable.value
    if quantity is Quantity.AIR_HUMIDITY:
        suspect |= value > 100.0
        value = np.minimum(value, 100.0)
    return Channel(usable.t, value, flat, suspect, usable.origin)


def _suspect(t: Times, value: Values, quantity: Quantity, hold: int, quality: Quality) -> Mask:
    """Spike and rate, each only between readings no further apart than the hold: after a silence nothing is compared.

    The rate's step is at least a minute, so that the resolution of a sensor that sends every second is no rate.
    """
    humid = quantity is Quantity.AIR_HUMIDITY
    spike = quality.spike_humidity if humid else quality.spike_temperature
    rate = quality.rate_humidity if humid else quality.rate_temperature
    flagged = np.zeros(len(t), np.bool_)
    if len(t) < 2:
        return flagged
    step = np.diff(t)
    near = step <= hold
    change = np.diff(value)
    flagged[1:] |= near & (np.abs(change) > rate * np.maximum(step, MINUTE) / MINUTE)
    flagged[1:-1] |= near[:-1] & near[1:] & (np.abs(change[:-1] - change[1:]) / 2 > spike)
    return flagged
