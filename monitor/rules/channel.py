"""One channel's readings, judged: which are usable, which are suspect, which prove nothing because the sensor is stuck.

Figures of a profile's [quality] table; flags in the words of QARTOD (IOC Manuals and Guides 54): fail, suspect, pass.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import MINUTE
from monitor.basis.units import to_base
from monitor.basis.values import AIR, OriginKind, Quantity, Series
from monitor.config.profile import Quality
from monitor.rules.frame import Sensor
from monitor.rules.instrument import corrections

Times = NDArray[np.int64]
Values = NDArray[np.float64]
Mask = NDArray[np.bool_]

ORIGINS = tuple(OriginKind)
FAR = 2**62  # later than any time [ms]


class Channel(NamedTuple):
    """Usable readings of one channel in order of time, calibrated. `value` in degC or %RH, `origin` indexes ORIGINS."""

    t: Times
    value: Values
    flat: Mask
    suspect: Mask
    origin: NDArray[np.int8]
    uncertainty: Values  # expanded, at the reading's time

    def part(self, first: int, last: int) -> Channel:
        """The readings of numbers [first, last)."""
        return Channel(
            self.t[first:last],
            self.value[first:last],
            self.flat[first:last],
            self.suspect[first:last],
            self.origin[first:last],
            self.uncertainty[first:last],
        )


def joined(parts: Sequence[Channel]) -> Channel:
    """Parts of one channel, one after the other."""
    return Channel(*(np.concatenate(said) for said in zip(*parts, strict=True)))


class Reach(NamedTuple):
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
        first, last = self.t[self.news], self.t[self.news - 1]
        return np.concatenate((self.t[:1], first)), np.concatenate((last, self.t[-1:]))

    def count(self, first: int, last: int) -> int:
        """How many readings lie in [first, last]."""
        return int(np.searchsorted(self.t, last, "right") - np.searchsorted(self.t, first, "left"))

    def until(self, at: int) -> int:
        """How many readings were before `at`: the number of the first one from then on."""
        return int(np.searchsorted(self.t, at, "left"))

    def time(self, number: int) -> int:
        """When a reading was taken; FAR for one that has not come, -FAR for one before the first."""
        return int(self.t[number]) if 0 <= number < len(self.t) else FAR if number >= 0 else -FAR

    def start_of_run(self, number: int) -> int:
        """The number of the reading that began the run of reading `number`; 0 may only look like it."""
        earlier = int(np.searchsorted(self.news, number, "right"))
        return int(self.news[earlier - 1]) if earlier else 0

    def end_of_run(self, number: int) -> int:
        """The number of the first reading from `number` on that says something new: there the run before it ends."""
        later = int(np.searchsorted(self.news, number, "left"))
        return int(self.news[later]) if later < len(self.news) else len(self.t)


def _in_gross_range(value: Values, quantity: Quantity) -> Mask:
    humid = quantity is Quantity.AIR_HUMIDITY
    return (value >= 0.0) & (value <= 105.0) if humid else (value >= -40.0) & (value < 85.0)


def is_usable(value: Values, unit: str, quantity: Quantity) -> Mask:
    """Which values as sent are inside the gross range; all of a quantity that is not the air's, in whatever unit."""
    return _in_gross_range(to_base(value, unit), quantity) if quantity in AIR else np.ones(len(value), np.bool_)


def _usable(series: Series, quantity: Quantity) -> _Usable:
    """Readings inside the gross range, in degC or %RH; outside is flag 4, which silences."""
    value = series.value
    if any(unit not in ("degC", "%") for unit in series.units):
        value = value.copy()
        for code, unit in enumerate(series.units):
            here = series.unit == code
            value[here] = to_base(value[here], unit)
    in_range = _in_gross_range(value, quantity)
    good = slice(None) if in_range.all() else in_range  # of which nothing is copied
    sent, sent_in = series.value[good], series.unit[good]
    told = sent[1:] != sent[:-1]
    if len(series.units) > 1:
        told |= sent_in[1:] != sent_in[:-1]
    kinds = np.array([ORIGINS.index(origin.kind) for origin in series.origins] or [0], np.int8)
    return _Usable(series.t[good], value[good], kinds[series.origin[good]], told.nonzero()[0] + 1)


class Window:
    """The readings that one sensor sent in a stretch of time, and what is to be said of them.

    `series` has an item for each air channel that the sensor has, even if it was silent here.
    """

    def __init__(self, stream: str, series: Mapping[Quantity, Series], hold: int, quality: Quality) -> None:
        self.stream, self.hold, self.quality = stream, hold, quality
        self.usable = {quantity: _usable(readings, quantity) for quantity, readings in series.items()}
        humid = Quantity.AIR_HUMIDITY in series
        self.governing = Quantity.AIR_HUMIDITY if humid else Quantity.AIR_TEMPERATURE
        runs = {quantity: usable.runs() for quantity, usable in self.usable.items()}
        self.long = {quantity: _longer(of, quality.flat_together) for quantity, of in runs.items()}
        self.stretches = self._flat_stretches(_longer(runs[self.governing], quality.flat_alone))

    def channels(self) -> dict[Quantity, Channel]:
        """The usable readings of each channel with their flags."""
        return {q: _channel(u, q, self.stretches[q], self.hold, self.quality) for q, u in self.usable.items()}

    def _flat_stretches(self, alone: list[tuple[int, int]]) -> dict[Quantity, list[tuple[int, int]]]:
        """Per channel the stretches [first, last] of readings that prove nothing in band, with those `alone`. [ms]"""
        found: dict[Quantity, list[tuple[int, int]]] = {quantity: [] for quantity in self.usable}
        if len(self.usable) == len(AIR):
            for a, b in self.long[Quantity.AIR_TEMPERATURE]:
                for c, d in self.long[Quantity.AIR_HUMIDITY]:
                    first, last = max(a, c), min(b, d)
                    if self._stuck_together(first, last):
                        for stretches in found.values():
                            stretches.append((first, last))
        found[self.governing] += alone
        return found

    def _stuck_together(self, first: int, last: int) -> bool:
        """Whether [first, last] is enough for the rule of both channels, if both stand still in it."""
        enough = self.quality.flat_together_readings
        return last - first >= self.quality.flat_together and all(
            usable.count(first, last) >= enough for usable in self.usable.values()
        )

    def reach(self, midnight: int) -> Reach:
        """When the flags of the readings before `midnight` are settled.

        A run of unchanged readings that is alive at midnight may turn out to be a stuck sensor's until it is known
        where it ends, or until what follows midnight confirms it alone. A spike needs the next reading.
        """
        settled = max(self._alone_ends(midnight), self._together_ends(midnight), self._silent_ends(midnight))
        if settled < FAR:
            return Reach(max(midnight + self.hold, settled), False)
        alive = max(usable.time(usable.until(midnight) - 1) for usable in self.usable.values())
        flat = any(first < midnight and last >= alive for found in self.stretches.values() for first, last in found)
        newest = max(usable.time(len(usable.t) - 1) for usable in self.usable.values())
        return Reach(newest if flat else midnight + self.hold, True)

    def _alone_ends(self, midnight: int) -> int:
        """When it is settled what the rule of one channel says of readings before midnight; FAR while it is not."""
        governing = self.usable[self.governing]
        number = governing.until(midnight)
        if number == 0:
            return midnight
        confirmed = governing.until(midnight + self.quality.flat_alone)
        return governing.time(min(governing.end_of_run(number), confirmed))

    def _together_ends(self, midnight: int) -> int:
        """The same of the rule of both channels.

        The stretch that both share ends with the run that ends first. Which that is, is known when the other channel
        has spoken again after it, or at once where what they share until then is too short.
        """
        channels = list(self.usable.values())
        numbers = [usable.until(midnight) for usable in channels]
        if len(channels) < len(AIR) or not any(numbers):
            return midnight
        starts = [u.start_of_run(number - 1) for u, number in zip(channels, numbers, strict=True)]
        shared = max(u.time(start) if start > 0 else -FAR for u, start in zip(channels, starts, strict=True))
        settled = self._confirmed_together(midnight)
        for one, number, other in zip(channels, numbers, reversed(channels), strict=True):
            news = one.end_of_run(number)
            last = one.time(news - 1)
            long = shared == -FAR or self._stuck_together(shared, last)
            settled = min(settled, max(one.time(news), other.time(other.until(last)) if long else -FAR))
        return settled

    def _silent_ends(self, midnight: int) -> int:
        """When it is settled what a channel that is silent over midnight shared with runs of the other that ended.

        If it comes back as it went, it stood still all along.
        """
        settled = midnight
        for one, (quantity, other) in zip(self.usable.values(), reversed(self.usable.items()), strict=True):
            number = one.until(midnight)
            start = one.start_of_run(number - 1)
            began = one.time(start) if start > 0 else -FAR
            silent, alive = one.time(number - 1), other.time(other.until(midnight) - 1)
            for first, last in self.long[quantity]:
                if silent < last < alive and self._stuck_together(max(began, first), last):
                    settled = max(settled, one.time(number))
        return settled

    def _confirmed_together(self, midnight: int) -> int:
        """When a run of both that is alive at midnight is a stuck sensor's by what follows midnight alone."""
        enough = self.quality.flat_together_readings
        needed = max(u.time(u.until(midnight) + enough - 1) for u in self.usable.values())
        needed = max(needed, midnight + self.quality.flat_together)
        return max(u.time(u.until(needed)) for u in self.usable.values())

    def settled_before(self, at: int) -> bool:
        """Whether the flags of readings from `at` on can be told without anything earlier than what is here."""
        starts = self._alive(at)
        governing = self.usable[self.governing]
        start = starts.get(self.governing)
        before = governing.time(governing.until(at) - 1)
        if start == 0 and before - governing.time(0) < self.quality.flat_alone:
            return False
        if len(starts) < len(AIR):  # who is silent may come back as it went: then it stood still with the other's run
            return self.governing in starts or 0 not in starts.values()
        firsts = {q: self.usable[q].time(number) for q, number in starts.items()}
        shared = max(firsts.values())
        exact = any(number > 0 and firsts[q] == shared for q, number in starts.items())
        return exact or self._stuck_together(shared, min(u.time(u.until(at) - 1) for u in self.usable.values()))

    def rests_on(self, start: int) -> int:
        """The earliest time from which a reading has a say in what is heard from `start` on."""
        at = start - self.hold
        if not self.settled_before(at):
            return 0
        before = [self.usable[q].time(max(number - 1, 0)) for q, number in self._alive(at).items()]
        return min(start - 2 * self.hold, *before) if before else start - 2 * self.hold

    def _alive(self, at: int) -> dict[Quantity, int]:
        """Of each channel that speaks from `at` on, the reading that began the run of its first one."""
        numbers = {q: usable.until(at) for q, usable in self.usable.items()}
        return {q: self.usable[q].start_of_run(n) for q, n in numbers.items() if n < len(self.usable[q].t)}


def _longer(runs: tuple[Times, Times], least: int) -> list[tuple[int, int]]:
    first, last = runs
    long = last - first >= least
    return list(zip(first[long].tolist(), last[long].tolist(), strict=True))


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
    return Channel(usable.t, value, flat, suspect, usable.origin, np.zeros(len(usable.t)))


def plain(series: Series, quantity: Quantity) -> Channel:
    """A channel that is heard beside the air: its usable readings; none counts as suspect or stuck."""
    usable = _usable(series, quantity)
    none = np.zeros(len(usable.t), np.bool_)
    return Channel(usable.t, usable.value, none, none, usable.origin, np.zeros(len(usable.t)))


def as_claimed(series: Series, quantity: Quantity, sensor: Sensor) -> Series:
    """The readings with the units that they were sent in after all; what was kept stays as it was sent."""
    if not sensor.claims:
        return series
    unit, units = series.unit, series.units
    for claim in sensor.claims:
        here = (series.t >= claim.start) & (series.t < claim.end)
        if claim.quantity is quantity and here.any():
            units = units if claim.unit in units else (*units, claim.unit)
            unit = np.where(here, np.int16(units.index(claim.unit)), unit)
    return replace(series, unit=unit, units=units)


def calibrated(channel: Channel, quantity: Quantity, sensor: Sensor) -> Channel:
    """A channel with each reading corrected by the check in force at its time, and the uncertainty that is left."""
    stated = sensor.uncertainty.get(quantity, sensor.uncertainty[Quantity.AIR_TEMPERATURE])
    found = corrections(sensor.checks, quantity, stated, channel.t)
    value = found.slope * channel.value + found.offset
    if quantity is Quantity.AIR_HUMIDITY:
        value = value.clip(0.0, 100.0)
    return channel._replace(value=value, uncertainty=found.uncertainty)


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
    change = value[1:] - value[:-1]
    if np.abs(change).max() <= min(rate * MINUTE / MINUTE, spike):  # as nearly always: no step is large enough
        return flagged
    fast = np.flatnonzero(np.abs(change) > rate / 2) + 1  # half of it: what is no more is under any step's limit
    step = t[fast] - t[fast - 1]
    flagged[fast] = (step <= hold) & (np.abs(change[fast - 1]) > rate * np.maximum(step, MINUTE) / MINUTE)
    sharp = np.flatnonzero(np.abs(change[:-1] - change[1:]) / 2 > spike) + 1
    flagged[sharp] |= (t[sharp] - t[sharp - 1] <= hold) & (t[sharp + 1] - t[sharp] <= hold)
    return flagged
