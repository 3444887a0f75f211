"""Mould on a surface, hour by hour: the growth index of the VTT model.

The index runs from 0 (none) over 1 (begins, under the microscope), 3 (visible, below 10 % of the surface) and 4 (10 to
50 %) to 6 (all of it). Hukka and Viitanen (1999), Wood Sci. Technol. 33:475-485; classes Ojanen et al. (2010),
Buildings XI. Neither original was read: the constants are those on which three public implementations agree.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.climate.ranges import Numbers, within

Sensitivity = Literal["very sensitive", "sensitive", "medium resistant", "resistant"]
Hours = NDArray[np.float64]

TEMPERATURE_RANGE_C = (-40.0, 85.0)  # [degC]
_HOURS_PER_WEEK = 168.0
_SOON_H, _LATER_H = 6, 24  # dry spells: the index falls for 6 h, rests until 24 h, then falls slowly
_SOON_PER_H, _LATER_PER_H = 0.032 / 24.0, 0.016 / 24.0  # published per day


class _Class(NamedTuple):
    """How readily a material grows mould: growth below and from index 1, the ceiling's A, B, C, least humidity."""

    below_1: float
    from_1: float
    a: float
    b: float
    c: float
    least_rh_pct: float


_CLASSES: dict[str, _Class] = {
    "very sensitive": _Class(1.0, 2.0, 1.0, 7.0, 2.0, 80.0),  # pine sapwood
    "sensitive": _Class(0.578, 0.386, 0.3, 6.0, 1.0, 80.0),  # glued wood boards, paper-faced products, spruce
    "medium resistant": _Class(0.072, 0.097, 0.0, 5.0, 1.5, 85.0),  # concrete, mineral wool
    "resistant": _Class(0.033, 0.014, 0.0, 3.0, 1.0, 85.0),  # glass, metal
}


class MouldState(NamedTuple):
    """Where the index stands: plain numbers, to be kept between calls.

    `level` is the index, 0 to 6; `dry_h` the hours since the surface last favoured growth; `unknown_h` the hours so far
    without a value.
    """

    level: float = 0.0
    dry_h: int = 0
    unknown_h: int = 0


def critical_humidity_pct(t_c: Numbers, sensitivity: Sensitivity = "sensitive") -> Hours:
    """Least humidity at a surface at which mould grows on it.

    Parameters
    ----------
    t_c : float or array
        Surface, -40 to 85; growth needs more than 0 and less than 50. [degC]
    sensitivity : "very sensitive", "sensitive", "medium resistant" or "resistant"
        Class of the material.

    Returns
    -------
    array
        Shape of `t_c`. [%]

    Raises
    ------
    ValueError
        If a temperature lies outside its range or there is no such class.

    Notes
    -----
    -0.00267 T^3 + 0.160 T^2 - 3.13 T + 100 up to 20 degC, never below 80 (85 for the resistant classes), 80 (85) above.
    """
    least = _class_of(sensitivity).least_rh_pct
    t = within("t_c", t_c, *TEMPERATURE_RANGE_C)
    cubic = 100.0 + t * (-3.13 + t * (0.160 - t * 0.00267))
    return np.where(t > 20.0, least, np.maximum(cubic, least))


def weeks_to_start(t_c: Numbers, rh_pct: Numbers, *, spruce: bool = False, kiln_dried: bool = False) -> Hours:
    """Weeks at a constant climate until growth begins (index 1) on pine sapwood.

    Parameters
    ----------
    t_c : float or array
        Surface, more than 0, up to 50. [degC]
    rh_pct : float or array
        Humidity at the surface, 1 to 100. [%]
    spruce : bool
        Spruce instead of pine.
    kiln_dried : bool
        The original kiln-dried surface instead of a resawn one: faster.

    Returns
    -------
    array
        Broadcast shape. [weeks]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    exp(-0.68 ln T - 13.9 ln RH + 0.14 W - 0.33 SQ + 66.02). W = SQ = 0 for all but wood.
    """
    ln_t, ln_rh = np.log(within("t_c", t_c, 1e-300, 50.0)), np.log(within("rh_pct", rh_pct, 1.0, 100.0))
    weeks: Hours = np.exp(-0.68 * ln_t - 13.9 * ln_rh + 0.14 * spruce - 0.33 * kiln_dried + 66.02)
    return weeks


def mould_index(
    t_c: Numbers,
    rh_pct: Numbers,
    state: MouldState = MouldState(),  # noqa: B008  a NamedTuple can't be changed
    *,
    sensitivity: Sensitivity = "sensitive",
    decline: float = 1.0,
    spruce: bool = False,
    kiln_dried: bool = False,
) -> tuple[Hours, MouldState]:
    """The mould index after each hour, and the state to go on from.

    Parameters
    ----------
    t_c : float or array of one dimension
        Mean temperature of the surface over each hour, -40 to 85. [degC]
    rh_pct : float or array of the length of `t_c`
        Mean humidity at the surface over each hour, at least 0; above 100, which is condensation, counts as 100. [%]
    state : MouldState
        Where the hours before left it; a surface without mould by default.
    sensitivity : "very sensitive", "sensitive", "medium resistant" or "resistant"
        Class of the material; painted plasterboard and HDF are taken as "sensitive" (ours, no published source).
    decline : float
        How fast the index falls in dry spells, 0 to 1: 1 for pine, 0.5, 0.25 or 0.1 for other materials. [1]
    spruce : bool
        Spruce instead of pine.
    kiln_dried : bool
        The original kiln-dried surface instead of a resawn one.

    Returns
    -------
    array of one dimension, MouldState
        The index after each hour, NaN for an hour without a value, which leaves the index and the dry spell as they
        are; and the state after the last. Splitting the hours anywhere changes nothing at all.

    Raises
    ------
    ValueError
        If a value lies outside its range, the lengths differ or there is no such class.

    Notes
    -----
    Growth dM/dt = k1 k2 / (7 tm) a day, k1 by the class and by whether M is below 1, k2 = 1 - exp(2.3 (M - Mmax));
    dry spells -0.032 a day for 6 h, 0 until 24 h, then -0.016 a day, counted anew after each hour of growth.
    """
    kind = _class_of(sensitivity)
    within("decline", decline, 0.0, 1.0)
    t = np.atleast_1d(within("t_c", t_c, *TEMPERATURE_RANGE_C))
    rh = np.minimum(np.atleast_1d(within("rh_pct", rh_pct, 0.0, np.inf)), 100.0)
    if t.ndim != 1 or t.shape != rh.shape:
        raise ValueError(f"t_c of shape {t.shape} and rh_pct of shape {rh.shape} are not two equal rows of hours")
    critical = critical_humidity_pct(t, sensitivity)
    grows = (t > 0.0) & (t < 50.0) & (rh >= critical) & (critical < 100.0)
    q = (critical - rh)[grows] / (critical[grows] - 100.0)
    ceiling, pace = np.zeros(t.shape), np.zeros(t.shape)
    ceiling[grows] = kind.a + q * (kind.b - q * kind.c)
    pace[grows] = 1.0 / (_HOURS_PER_WEEK * weeks_to_start(t[grows], rh[grows], spruce=spruce, kiln_dried=kiln_dried))
    known = np.flatnonzero(~np.isnan(t + rh))
    turns = np.flatnonzero(np.diff(grows[known])) + 1
    index = np.full(t.shape, np.nan)
    for spell in np.split(known, turns):
        if not len(spell):  # not one hour is known
            break
        if grows[spell[0]]:
            index[spell] = _grown(state.level, kind, ceiling[spell].tolist(), pace[spell].tolist())
            state = state._replace(level=float(index[spell[-1]]), dry_h=0)
        else:
            index[spell] = _dried(state, decline, len(spell))
            state = state._replace(level=float(index[spell[-1]]), dry_h=state.dry_h + len(spell))
    return index, state._replace(unknown_h=state.unknown_h + len(t) - len(known))


def _class_of(sensitivity: str) -> _Class:
    if sensitivity not in _CLASSES:
        raise ValueError(f"there is no sensitivity {sensitivity!r}: use one of {', '.join(map(repr, _CLASSES))}")
    return _CLASSES[sensitivity]


def _grown(index: float, kind: _Class, ceiling: Sequence[float], pace: Sequence[float]) -> list[float]:
    """The index after each of these hours of growth."""
    found = []
    for highest, per_h in zip(ceiling, pace, strict=True):
        slowing = max(1.0 - math.exp(2.3 * (index - highest)), 0.0)
        index += (kind.below_1 if index < 1.0 else kind.from_1) * slowing * per_h
        found.append(index)
    return found


def _dried(state: MouldState, decline: float, hours: int) -> Hours:
    """The index after each of these dry hours: once at 0 it stays there."""
    dry_h = state.dry_h + np.arange(1, hours + 1)
    fall = np.where(dry_h <= _SOON_H, _SOON_PER_H, np.where(dry_h <= _LATER_H, 0.0, _LATER_PER_H))
    level = np.subtract.accumulate(np.append(state.level, decline * fall))  # one hour after the other
    return np.maximum(level[1:], 0.0)
