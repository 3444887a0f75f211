"""Means by the clock hour: what boards, boxes and surfaces are moved by. They lag by hours to weeks, so no finer.

An hour's mean is taken over the time in which somebody spoke and was not stuck; of an hour without that nothing is
known. Hours are those of UTC, so a day has 24 whole ones wherever a history is cut at midnights.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Quantity
from monitor.rules.channel import Channel, Times, Values
from monitor.rules.timeline import Span, Timeline, Voices, newest, put_in, timeline


class Hours(NamedTuple):
    """Adjoining hours, the first and the last perhaps cut short. `mean` in degC or %RH, NaN where nobody spoke.

    `known` is how much of the hour the mean stands on. [ms]
    """

    start: Times
    end: Times
    mean: Mapping[Quantity, Values]
    known: Mapping[Quantity, Times]

    def days(self) -> NDArray[np.int64]:
        """The number of the first hour of each UTC day."""
        day = self.start // DAY
        return np.append(0, np.flatnonzero(day[1:] > day[:-1]) + 1)


def _spoken(voices: Voices) -> Values:
    """The mean of those who speak and are not stuck, an interval; NaN where there is none."""
    if len(voices.value) == 1:
        return np.where(voices.flat[0], np.nan, voices.value[0]) if voices.flat.any() else voices.value[0]
    live = voices.speaking & ~voices.flat
    count = live.sum(axis=0)
    total = sum(np.where(live, voices.value, 0.0), np.zeros(len(count)))  # one row after the other, however many
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _starts(window: tuple[int, int], cut: int | None) -> Times:
    """Where the hours of a window begin. [ms]"""
    first, last = window
    start = np.append(first, np.arange(first // HOUR * HOUR + HOUR, last, HOUR, dtype=np.int64))
    if cut is not None and first < cut < last and cut % HOUR:
        start = np.sort(np.append(start, cut))
    return start


def hours_of(line: Timeline, cut: int | None = None) -> Hours:
    """The hour means of every quantity of a time line; an hour that has `cut` in it counts as two. [ms]"""
    last = int(line.edges[-1])
    start = _starts((int(line.edges[0]), last), cut)
    end = np.append(start[1:], last)
    edges, interval = line.edges, None
    begins = np.searchsorted(edges, start)
    if (edges[begins] != start).any():
        edges, at = put_in(edges, start)
        interval = newest(len(line.edges), at)[:-1]
        begins = np.searchsorted(edges, start)
    gaps, whole = np.diff(edges), end - start
    length, weighed = gaps.astype(np.float64), gaps.view(np.float64)  # new memory would take longer than the sums
    mean, known = {}, {}
    for quantity, voices in line.voices.items():
        value = _spoken(voices)
        if interval is not None:
            value = value[interval]
        total, known[quantity] = np.add.reduceat(np.multiply(value, length, out=weighed), begins), whole
        if np.isnan(total).any():
            silent = np.isnan(value)
            total = np.add.reduceat(np.where(silent, 0.0, weighed), begins)
            known[quantity] = np.add.reduceat(np.where(silent, 0.0, length), begins).astype(np.int64)
        total += 0.0  # never -0.0
        mean[quantity] = np.where(known[quantity] > 0, total / np.maximum(known[quantity], 1), np.nan)
    return Hours(start, end, mean, known)


def hours_heard(
    spans: Sequence[Span],
    channels: Mapping[tuple[str, Quantity], Channel],
    window: tuple[int, int],
    quantity: Quantity,
    cut: int | None = None,
) -> Values:
    """The hour means of one quantity over `window`, NaN where nobody speaks of it; cut as by `hours_of`."""
    if not any((span.sensor.name, quantity) in channels for span in spans):
        return np.full(len(_starts(window, cut)), np.nan)
    return hours_of(timeline(spans, channels, window, (), (quantity,)), cut).mean[quantity]
