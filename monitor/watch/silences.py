"""Silences: of a sensor, from a reading to the next, longer than it speaks for; of the daemon that was to hear them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from monitor.basis.times import MINUTE
from monitor.rules.frame import Stay
from monitor.watch.desk import Desk

AWAY_AFTER = 2 * MINUTE  # a daemon that has not said so for longer was not there [ms]


def away(desk: Desk) -> tuple[tuple[int, int], ...]:
    """When no daemon was there to hear, between the first time that one was and now. [ms]"""
    absences = []
    heard_to: int | None = None
    for start, last in [*desk.store.awake(), (desk.clock.now(), desk.clock.now())]:
        if heard_to is not None and start - heard_to > AWAY_AFTER:
            absences.append((heard_to, start))
        heard_to = last if heard_to is None else max(heard_to, last)
    return tuple(absences)


def silences(desk: Desk, start: int, end: int) -> Iterator[tuple[str, int, int]]:
    """Each silence in [start, end) of a sensor while it was at a place: stream, from when to when, cut at the two. [ms]

    One that is not longer yet than the sensor's hold, as far as is known now, is left to be found later.
    """
    sensors, now = desk.book.sensors(), desk.clock.now()
    for stay in desk.book.stays():
        begin, until = max(start, stay.start), min(end, now if stay.end is None else stay.end)
        if begin < until and stay.sensor in sensors:
            sensor = sensors[stay.sensor]
            for a, b in _silences(desk, sensor.stream, sensor.hold, stay, begin, until, now):
                yield sensor.stream, a, b


def _silences(
    desk: Desk, stream: str, hold: int, stay: Stay, begin: int, until: int, now: int
) -> Iterator[tuple[int, int]]:
    # What is not looked at, before and after, counts as one reading just outside.
    first = begin if begin == stay.start else begin - hold
    last = until if until == stay.end else min(until + hold, now)
    spoken = desk.store.spoken(stream, first, last)
    edges = np.concatenate([[first], spoken, [max(last, until)]])
    for place in np.flatnonzero(np.diff(edges) > hold):
        a, b = max(int(edges[place]), begin), min(int(edges[place + 1]), until)
        if a < b:
            yield a, b
