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
from monitor.rules.timeline import Span, Timeline, Voices, put_in, timeline


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
        return np.flatnonzero(np.diff(self.start // DAY, prepend=-1))


def _spoken(voices: Voices) -> Values:
    """The mean of those who speak and are not stuck, an interval; NaN where there is none."""
    live = voices.speaking & ~voices.flat
    if len(live) == 1:
        return np.where(live[0], voices.value[0], np.nan)
    count = live.sum(axis=0)
    total = sum(np.where(live, voices.value, 0.0), np.zeros(len(count)))  # one row after the other, however many
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def hours_of(line: Timeline, cut: int | None = None) -> Hours:
    """The hour means of every quantity of a time line; an hour that has `cut` in it counts as two. [ms]"""
    first, last = int(line.edges[0]), int(line.edges[-1])
    whole = np.arange(first // HOUR * HOUR + HOUR, last, HOUR, dtype=np.int64)
    if cut is not None and first < cut < last:
        whole, _ = put_in(whole, np.array([cut], np.int64))
    edges, interval = put_in(line.edges, whole)
    start = np.append(first, whole)
    begins, length, spans = np.searchsorted(edges, start), np.diff(edges), np.diff(start, append=last)
    mean, known = {}, {}
    for quantity, voices in line.voices.items():
        value = _spoken(voices)[interval[:-1]]
        heard = ~np.isnan(value)
        total = value * length.astype(np.float64)
        known[quantity] = spans
        if not heard.all():
            known[quantity] = np.add.reduceat(np.where(heard, length, 0), begins)
            total = np.where(heard, total, 0.0)
        total = np.add.reduceat(total, begins) + 0.0  # no hour is at -0.0
        mean[quantity] = np.where(known[quantity] > 0, total / np.maximum(known[quantity], 1), np.nan)
    return Hours(start, np.append(start[1:], last), mean, known)


def hours_heard(
    spans: Sequence[Span],
    channels: Mapping[tuple[str, Quantity], Channel],
    window: tuple[int, int],
    quantity: Quantity,
    cut: int | None = None,
) -> Values:
    """The hour means of one quantity over `window`, NaN where nobody speaks of it; cut as by `hours_of`."""
    return hours_of(timeline(spans, channels, window, (), (quantity,)), cut).mean[quantity]
