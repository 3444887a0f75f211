"""Silences: of a sensor, from a reading to the next, longer than it speaks for; of the daemon that was to hear them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from monitor.basis.times import MINUTE
from monitor.config.shares import narrowed
from monitor.intake.topics import filters_of_stream
from monitor.rules.frame import Frame
from monitor.rules.stays import Stay
from monitor.watch.desk import Desk

AWAY_AFTER = 2 * MINUTE  # a daemon that has not said so for longer was not there [ms]


def away(desk: Desk, topics: Iterable[Sequence[str]] = ()) -> tuple[tuple[int, int], ...]:
    """When no daemon was there to hear, between the first time that one was and now. [ms]

    Of several daemons that each hear a part: when none was there for one of `topics`, each a list of filters; without
    any, when none was there that hears anything.
    """
    spans, now = desk.store.awake(), desk.clock.now()
    if all(hears is None for _, _, hears in spans):
        return _absences([(start, last) for start, last, _ in spans], now)
    of_each = [
        [(start, last) for start, last, hears in spans if hears is None or narrowed(hears, filters)]
        for filters in list(topics) or [["#"]]
    ]
    return _joined(span for one in of_each for span in _absences(one, now))


def away_of(desk: Desk, frame: Frame) -> tuple[tuple[int, int], ...]:
    """When no daemon was there to hear one of the sensors of a job. [ms]"""
    heard = (filters_of_stream(desk.settings.sources, sensor.stream) for sensor in frame.sensors.values())
    return away(desk, [filters for filters in heard if filters])


def _absences(spans: Sequence[tuple[int, int]], now: int) -> tuple[tuple[int, int], ...]:
    absences = []
    heard_to: int | None = None
    for start, last in [*spans, (now, now)]:
        if heard_to is not None and start - heard_to > AWAY_AFTER:
            absences.append((heard_to, start))
        heard_to = last if heard_to is None else max(heard_to, last)
    return tuple(absences)


def _joined(spans: Iterable[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """Spans that overlap made one."""
    joined: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1]:
            joined[-1] = joined[-1][0], max(end, joined[-1][1])
        else:
            joined.append((start, end))
    return tuple(joined)


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
