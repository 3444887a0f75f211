"""Long series made short enough to draw, without losing an extreme."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray


def thin(t: NDArray[np.int64], value: NDArray[np.float64], most: int) -> NDArray[np.intp]:
    """Indices of at most `most` (4 or more) points, in order: first, lowest, highest and last of equal lengths of time.

    `t` [ms] ascending and `value` of one length, no NaN. All points are kept where there are no more than `most`.
    """
    if len(t) <= most:
        return np.arange(len(t))
    edges = np.linspace(float(t[0]), float(t[-1]), most // 4 + 1)[1:-1]
    bounds = [0, *np.searchsorted(t, edges).tolist(), len(t)]
    kept: set[int] = set()
    for first, end in pairwise(bounds):
        if first < end:
            part = value[first:end]
            kept.update((first, first + int(part.argmin()), first + int(part.argmax()), end - 1))
    return np.array(sorted(kept), np.intp)


def merged(intervals: Iterable[tuple[int, int]], nearer_than: int) -> tuple[tuple[int, int], ...]:
    """Ordered intervals with those less than `nearer_than` apart drawn as one: none is lost. [ms]"""
    found: list[tuple[int, int]] = []
    for start, end in intervals:
        if found and start - found[-1][1] < nearer_than:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((start, end))
    return tuple(found)


def line_starts(t: NDArray[np.int64], kept: NDArray[np.intp], hold: int) -> NDArray[np.bool_]:
    """Whether the line starts anew at each of the `kept` points: a silence longer than `hold` came before it. [ms]"""
    stretch = np.concatenate(([0], np.cumsum(np.diff(t) > hold)))[kept]
    return np.diff(stretch, prepend=-1) > 0
