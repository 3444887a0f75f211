"""What is left of a thinned day: enough that its extremes stand, and that a sensor which spoke is still known to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from monitor.basis.segment import Column, Segment
from monitor.rules.channel import is_usable


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
    return replace(column, **parts)


def _ends(places: NDArray[np.intp], stretch: NDArray[np.int64]) -> NDArray[np.intp]:
    """The first and the last of `places` in each stretch."""
    _, first = np.unique(stretch, return_index=True)
    _, last = np.unique(stretch[::-1], return_index=True)
    return np.concatenate((places[first], places[::-1][last]))
