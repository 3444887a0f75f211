"""What is left of a thinned day: enough that its extremes stand, and that a sensor which spoke is still known to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.segment import Column, Segment
from monitor.basis.times import DAY, ms_of
from monitor.basis.values import Entry, Kind
from monitor.rules.channel import is_usable
from monitor.rules.stays import Stay


class ThinnedDays(NamedTuple):
    """Days of a sensor, by their UTC midnights [ms], on which of each stretch of `each` [ms] some readings are left."""

    sensor: str
    each: int
    days: tuple[int, ...]


def thinned_days(sensor_log: Iterable[Entry], stays: Sequence[Stay], start: int, end: int) -> tuple[ThinnedDays, ...]:
    """The days in [start, end) that were thinned of sensors while they stood where `stays` say, by sensor. [ms]

    Of a day that was thinned twice the last entry stands.
    """
    each = {
        (entry.body["sensor"], day): entry.body["each_ms"]
        for entry in sensor_log
        if entry.kind is Kind.THINNED
        for day in sorted({_midnight(one["day"]) for one in entry.body["days"]})
        if any(_hears(stay, entry.body["sensor"], max(day, start), min(day + DAY, end)) for stay in stays)
    }
    of: dict[tuple[str, int], list[int]] = {}
    for (sensor, day), length in sorted(each.items()):
        of.setdefault((sensor, length), []).append(day)
    return tuple(ThinnedDays(*which, tuple(days)) for which, days in sorted(of.items()))


def _midnight(day: str) -> int:
    return ms_of(datetime.fromisoformat(day).replace(tzinfo=UTC))


def _hears(stay: Stay, sensor: str, start: int, end: int) -> bool:
    """Whether the sensor stands there at any time of [start, end). [ms]"""
    return stay.sensor == sensor and max(stay.start, start) < min(end, stay.end or end)


def left_of(segment: Segment, each: int) -> Segment:
    """What is left of a day: of each stretch of `each` ms since its midnight the first, lowest, highest, last reading.

    Of each quantity and unit by itself. First and last are of all readings, and of the usable ones; lowest and highest
    of the usable ones. Between two that are left no silence is longer than it was, or than `each`.
    """
    return replace(segment, columns=tuple(_left(column, segment.day, each) for column in segment.columns))


def _left(column: Column, day: int, each: int) -> Column:
    order = np.argsort(column.t, kind="stable")
    good = order[is_usable(column.value[order], column.unit, column.quantity)]
    by_value = good[np.argsort(column.value[good], kind="stable")]
    chosen = [_ends(some, (column.t[some] - day) // each) for some in (order, good, by_value)]
    places = np.sort(np.unique(np.concatenate(chosen)))
    parts = {name: getattr(column, name)[places] for name in ("t", "value", "arrival", "origin")}
    return column._replace(**parts)


def _ends(places: NDArray[np.intp], stretch: NDArray[np.int64]) -> NDArray[np.intp]:
    """The first and the last of `places` in each stretch."""
    _, first = np.unique(stretch, return_index=True)
    _, last = np.unique(stretch[::-1], return_index=True)
    return np.concatenate((places[first], places[::-1][last]))
