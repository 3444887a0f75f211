"""The trend of a quantity over the last hours; people read "if this goes on"."""

from __future__ import annotations

import math
from functools import cache
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import HOUR, MINUTE

# Ours, no published source: the day's course bends in more than a few hours, and readings minutes apart repeat each
# other, which would make the interval too narrow; so the medians of quarters of an hour are what the line goes through.
SPAN = 6 * HOUR
QUARTER = 15 * MINUTE
LEAST_QUARTERS = 8
NEWEST_WITHIN = HOUR
_FEW = 64  # points of which the pairs are remembered: those of an hour, of quarters, of a month's days


class Recent(NamedTuple):
    """Readings of one quantity, in any order: `t` [ms], `value` [degC or %RH], of one length."""

    t: NDArray[np.int64]
    value: NDArray[np.float64]


class Slope(NamedTuple):
    """A slope and the ends of its confidence interval. [unit of y per unit of x]"""

    middle: float
    low: float
    high: float


class Reach(NamedTuple):
    """When a limit is reached if this goes on: at the soonest and at the latest, from now. [ms]"""

    soonest: int
    latest: int


def theil_sen(x: NDArray[np.float64], y: NDArray[np.float64], confidence: float = 0.95) -> Slope:
    """The median of the slopes between all pairs of points, and its confidence interval.

    `x` and `y` of shape (n,), n >= 2, `x` rising. Raises ValueError for other shapes, an `x` that does not rise, or a
    confidence that is not between 0 and 1. Points are taken as independent. Sen (1968), J. Am. Stat. Assoc. 63,
    1379: the interval by Kendall's statistic, eq. 2.6 with its correction for ties in `y`, as a normal variate.
    """
    if x.ndim != 1 or x.shape != y.shape or len(x) < 2:
        raise ValueError(f"x of shape {x.shape} and y of shape {y.shape} are not two equal rows of at least 2")
    if not (np.diff(x) > 0).all():
        raise ValueError("x does not rise")
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence {confidence:g} is not between 0 and 1")
    slopes = np.sort(_slopes(x, y))
    away = NormalDist().inv_cdf(0.5 + confidence / 2.0) * _kendall_sigma(y)
    low = max(round((len(slopes) - away) / 2.0) - 1, 0)
    high = min(round((len(slopes) + away) / 2.0), len(slopes) - 1)
    middle = (slopes[(len(slopes) - 1) // 2] + slopes[len(slopes) // 2]) / 2.0
    return Slope(float(middle), float(slopes[low]), float(slopes[high]))


def median_slope(x: NDArray[np.float64], y: NDArray[np.float64]) -> float:
    """The middle of `theil_sen`, digit for digit, of points that are known to be right. [unit of y per unit of x]"""
    slopes = _slopes(x, y)
    low, high = (len(slopes) - 1) // 2, len(slopes) // 2
    slopes.partition((low, high))
    return float((slopes[low] + slopes[high]) / 2.0)


def _slopes(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Between all pairs of points."""
    first, second = _pairs(len(x)) if len(x) <= _FEW else np.triu_indices(len(x), 1)
    return np.asarray((y[second] - y[first]) / (x[second] - x[first]))


@cache
def _pairs(count: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The numbers of the first and the second of every pair of few points."""
    return np.triu_indices(count, 1)


def _kendall_sigma(y: NDArray[np.float64]) -> float:
    """Standard deviation of Kendall's statistic where `x` has no ties: Sen (1968) eq. 2.6."""
    ties = np.unique(y, return_counts=True)[1]
    whole, tied = (float((k * (k - 1) * (2 * k + 5)).sum()) for k in (np.array([len(y)]), ties))
    return math.sqrt((whole - tied) / 18.0)


def recent_slope(recent: Recent | None, as_of: int) -> Slope | None:
    """The slope of the last 6 h before `as_of` [ms], per hour; None where too little was heard, or nothing lately."""
    if recent is None:
        return None
    heard = (recent.t < as_of) & (recent.t >= as_of - SPAN) & np.isfinite(recent.value)
    t, value = recent.t[heard], recent.value[heard]
    quarter = (t - as_of) // QUARTER
    if len(np.unique(quarter)) < LEAST_QUARTERS or as_of - t.max() > NEWEST_WITHIN:
        return None
    return theil_sen(_medians(quarter, (t - as_of) / HOUR), _medians(quarter, value))


def _medians(group: NDArray[np.int64], value: NDArray[np.float64]) -> NDArray[np.float64]:
    """The median of each group's values, in order of the groups."""
    order = np.lexsort((value, group))
    group, value = group[order], value[order]
    first = np.flatnonzero(np.concatenate(([True], group[1:] != group[:-1])))
    count = np.diff(np.append(first, len(group)))
    low, high = value[first + (count - 1) // 2], value[first + count // 2]
    return np.asarray(np.where(count % 2 == 1, low, (low + high) / 2.0))


def reached(slope: Slope | None, value: float, limit: float, within: int) -> Reach | None:
    """When `value` reaches `limit` at `slope` [per hour]; None unless its whole interval gets there `within` [ms]."""
    if slope is None or value == limit:
        return None
    way = limit - value
    if min(slope.low / way, slope.high / way) <= 0.0:
        return None
    soonest, latest = sorted((HOUR * (way / slope.low), HOUR * (way / slope.high)))
    return Reach(round(soonest), round(latest)) if latest <= within else None
