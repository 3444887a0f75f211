"""Boards: the moisture they settle at, and how far that moves a row of them.

All functions take floats, or arrays that broadcast, and give floats for floats and arrays for arrays; NaN in gives NaN
out. A value outside its range raises ValueError that names it. Moisture content is in % of the dry mass (EN 322).

These are moistures that boards would settle at if the air stayed as it is, for days (one board in air) to weeks (a
stack); `lag` says how fast. Figures marked *from memory* were recalled, not read.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.units import FloatOrArray
from monitor.climate.ranges import Numbers, as_given, within

Core = Literal["HDF", "plywood", "solid wood", "PVC or mineral"]
Spread = Literal["low", "central", "high"]
Row = Literal["free", "pinned"]
_SPREADS: tuple[Spread, ...] = ("low", "central", "high")

TEMPERATURE_RANGE_C = (-20.0, 60.0)  # [degC]
RH_RANGE_PCT = (0.0, 100.0)  # [%]
LENGTH_RANGE_M = (0.0, 100.0)  # [m]
GAP_RANGE_M = (0.0, 1.0)  # [m]
MOISTURE_RANGE_PCT = (0.0, 100.0)  # [% of dry mass]

# Moisture of particleboard and MDF at a humidity, as a range: EWPAA, Facts about Particleboard and MDF, p. 37.
# The first point is dry by definition; the last carries the slope between 75 and 90 %RH on (ours, no published source).
_PANEL_RH_PCT = np.array([0.0, 30.0, 45.0, 65.0, 75.0, 90.0, 100.0])
_PANEL_LOW_PCT = np.array([0.0, 6.0, 7.0, 9.0, 10.0, 15.0, 15.0 + 10.0 / 3.0])
_PANEL_HIGH_PCT = np.array([0.0, 8.0, 9.0, 11.0, 12.0, 16.0, 16.0 + 8.0 / 3.0])
_PANEL_PCT = {"low": _PANEL_LOW_PCT, "central": (_PANEL_LOW_PCT + _PANEL_HIGH_PCT) / 2.0, "high": _PANEL_HIGH_PCT}

# How far a board grows along its length [mm per m per 1 % moisture content], (low, high); a panel grows alike in both
# directions of its plane
_MOVEMENT = {
    "HDF": (0.25, 0.33),  # EWPAA p. 37: 1 mm/m from 9 to 12 %, 1 mm/m from 12 to 16 %
    "plywood": (0.07, 0.13),  # APA, performancepanels.com: 0.2 % from dry to fibre saturation; 0.2 mm/m per 10 %RH
    "solid wood": (0.03, 0.13),  # along the grain: 0.1 (from memory) to 0.4 % (Encyclopaedia Britannica) over 30 %
}
# Solid wood across the grain, from dry to fibre saturation at 30 %: 2.1 % radially (the least) to 12.7 % tangentially
# (the most of the North American woods), Wood Handbook FPL-GTR-282 table 4-3, from memory
_ACROSS_THE_GRAIN = (0.7, 4.2)
# Linear thermal expansion [mm/(m K)]: cement 10e-6/K to rigid PVC 4.5e-5/degF, tables of coefficients and data sheets
_THERMAL_MM_M_K = (0.010, 0.081)

ADSORPTION_TO_DESORPTION = 0.80  # moisture of wood coming from dry / from wet, near room temperature; from memory [1]
_RH_STEP_PCT, _T_STEP_K = 0.05, 0.05


class Range(NamedTuple, Generic[FloatOrArray]):
    """What the low and the high figure of the trade give."""

    low: FloatOrArray
    high: FloatOrArray


def solid_wood_emc_pct(t_c: FloatOrArray, rh_pct: FloatOrArray) -> FloatOrArray:
    """Moisture at which solid wood is in balance with the air: for planks of other cores an *index* of the climate.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -20 to 60. [degC]
    rh_pct : float or array
        Relative humidity, 0 to 100. [%]

    Returns
    -------
    float or array
        Broadcast shape. [% of dry mass]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    Hailwood and Horrobin (1946) as in USDA Wood Handbook FPL-GTR-282 (2021), eq. 4-5 in degC. The printed table covers
    30 degF (-1.1 degC) and up and 5 to 95 %RH; outside that this is the equation carried on. Against sorption data
    it is within 0.13 % on average and 0.9 % at most (Simpson 1971). It stands between wood that came from dry and wood
    that came from wet: see `hysteresis_band_pct`.
    """
    t, h = np.broadcast_arrays(
        within("t_c", t_c, *TEMPERATURE_RANGE_C), within("rh_pct", rh_pct, *RH_RANGE_PCT) / 100.0
    )
    w = 349.0 + t * (1.29 + t * 0.0135)
    k = 0.805 + t * (0.000736 - t * 0.00000273)
    k1 = 6.27 - t * (0.00938 + t * 0.000303)
    k2 = 1.91 + t * (0.0407 - t * 0.000293)
    kh = k * h
    bound = (k1 * kh + 2.0 * k1 * k2 * kh**2) / (1.0 + k1 * kh + k1 * k2 * kh**2)
    return as_given(1800.0 / w * (kh / (1.0 - kh) + bound), t_c)


def _pieces(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Of each piece its begin and width in x, the same in y, and the slopes at its ends: weighted harmonic means, which
    keep a cubic through rising points rising (Fritsch and Butland 1984)."""
    width, rise = np.diff(x), np.diff(y)
    ahead, behind, chord = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1], rise / width
    inner = (ahead + behind) / (ahead / chord[:-1] + behind / chord[1:])
    return np.stack((x[:-1], width, y[:-1], rise, np.append(chord[0], inner), np.append(inner, chord[-1])))


_PANEL_PIECES = {name: _pieces(_PANEL_RH_PCT, moisture) for name, moisture in _PANEL_PCT.items()}


def panel_emc_pct(rh_pct: FloatOrArray, spread: Spread = "central") -> FloatOrArray:
    """Moisture at which an MDF or HDF panel is in balance with the air at room temperature.

    Parameters
    ----------
    rh_pct : float or array
        Relative humidity, 0 to 100. [%]
    spread : "low", "central" or "high"
        Which edge of the published range, or its middle.

    Returns
    -------
    float or array
        Shape of `rh_pct`; rises with it. [% of dry mass]

    Raises
    ------
    ValueError
        If a humidity lies outside its range or there is no such spread.

    Notes
    -----
    EWPAA, Facts about Particleboard and MDF, p. 37, at 30, 45, 65, 75 and 90 %RH: 6-8, 7-9, 9-11, 10-12 and 15-16 %,
    joined by a monotone cubic. Nothing is published there below 30 or above 90 %RH: below, it runs to dry at 0 %RH,
    above, on at the slope of 75 to 90. The source gives the ranges as a general guide; mdf-info.eu has a rise of 5 %
    from 35 to 85 %RH, these curves 6.1 to 6.7. MDF lies below particleboard, and oil-treated hardboard 2 to 4 % below
    "low" (FPL, from memory), so HDF tends to "low". Hysteresis, as in solid wood, is part of the range.
    """
    if spread not in _SPREADS:
        raise ValueError(f"there is no spread {spread!r}: use 'low', 'central' or 'high'")
    rh = within("rh_pct", rh_pct, *RH_RANGE_PCT)
    piece = np.searchsorted(_PANEL_RH_PCT[1:-1], rh, side="right")
    begin, width, low, rise, first, last = _PANEL_PIECES[spread].take(piece, axis=1)
    s = (rh - begin) / width
    bend = width * (first * (1.0 - s) - last * s) + rise * (2.0 * s - 1.0)
    return as_given(low + s * rise + s * (1.0 - s) * bend, rh_pct)


def hysteresis_band_pct(emc_pct: FloatOrArray) -> Range[FloatOrArray]:
    """Where solid wood may really stand at `emc_pct`: low when it came from dry, high when it came from wet.

    Parameters
    ----------
    emc_pct : float or array
        Moisture from `solid_wood_emc_pct`, 0 to 100. [% of dry mass]

    Returns
    -------
    Range
        Shape of `emc_pct`. [% of dry mass]

    Raises
    ------
    ValueError
        If a moisture lies outside its range.

    Notes
    -----
    Moisture from dry is 0.80 of that from wet, and the equation stands half way between the two: both from memory
    (Wood Handbook ch. 4; Stamm 1964), unconfirmed.
    """
    emc = within("emc_pct", emc_pct, *MOISTURE_RANGE_PCT)
    wet = 2.0 * emc / (1.0 + ADSORPTION_TO_DESORPTION)
    return Range(as_given(ADSORPTION_TO_DESORPTION * wet, emc_pct), as_given(wet, emc_pct))


def moves_with_moisture(core: Core) -> bool:
    """Whether `core` takes up moisture and grows. Raises ValueError when there is no such core."""
    if core != "PVC or mineral" and core not in _MOVEMENT:
        raise ValueError(f"there is no core {core!r}: use one of 'HDF', 'plywood', 'solid wood', 'PVC or mineral'")
    return core in _MOVEMENT


def _moving(core: Core, *, across: bool = False) -> tuple[float, float]:
    if not moves_with_moisture(core):
        raise ValueError("a core of PVC or mineral does not move with moisture: use thermal_movement_mm")
    return _ACROSS_THE_GRAIN if across and core == "solid wood" else _MOVEMENT[core]


def equilibrium_pct(core: Core, t_c: FloatOrArray, rh_pct: FloatOrArray, spread: Spread = "central") -> FloatOrArray:
    """Moisture at which a board of this core is in balance with the air.

    Parameters
    ----------
    core : "HDF", "plywood" or "solid wood"
        What the plank is made of.
    t_c : float or array
        Air temperature, -20 to 60; for HDF no effect is published. [degC]
    rh_pct : float or array
        Relative humidity, 0 to 100. [%]
    spread : "low", "central" or "high"
        Edge or middle of what is known: the published range of a panel, the hysteresis band of wood and plywood.

    Returns
    -------
    float or array
        Broadcast shape. [% of dry mass]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the core does not take up moisture.

    Notes
    -----
    HDF: `panel_emc_pct`. Solid wood: `solid_wood_emc_pct`. Plywood as solid wood; hot pressing makes it lower (Wood
    Handbook FPL-GTR-190, ch. 13), so it tends to "low".
    """
    _moving(core)
    if core == "HDF":
        panel = np.asarray(panel_emc_pct(rh_pct, spread))
        return as_given(panel + 0.0 * within("t_c", t_c, *TEMPERATURE_RANGE_C), t_c)
    wood = solid_wood_emc_pct(t_c, rh_pct)
    if spread == "central":
        return wood
    band = hysteresis_band_pct(wood)
    return band.low if spread == "low" else band.high


def equilibrium_uncertainty_pct(
    core: Core, t_c: FloatOrArray, rh_pct: FloatOrArray, u_t_k: Numbers, u_rh_pct: Numbers
) -> FloatOrArray:
    """What the sensor's uncertainty leaves open in `equilibrium_pct` (central), before the spread of the boards.

    Parameters
    ----------
    core : "HDF", "plywood" or "solid wood"
        What the plank is made of.
    t_c : float or array
        Air temperature, -20 to 60. [degC]
    rh_pct : float or array
        Relative humidity, 0 to 100. [%]
    u_t_k : float or array
        Uncertainty of the temperature, 0 to 20. [K]
    u_rh_pct : float or array
        Uncertainty of the humidity, 0 to 50, at the same coverage as `u_t_k`. [%RH]

    Returns
    -------
    float or array
        Broadcast shape, at the same coverage. [% of dry mass]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the core does not take up moisture.

    Notes
    -----
    GUM (JCGM 100:2008) eq. 10, the two taken as independent; slopes by differences of 0.1 %RH and 0.1 K, one-sided
    at the ends of the range.
    """
    u_t, u_rh = within("u_t_k", u_t_k, 0.0, 20.0), within("u_rh_pct", u_rh_pct, 0.0, 50.0)
    t, rh = np.broadcast_arrays(within("t_c", t_c, *TEMPERATURE_RANGE_C), within("rh_pct", rh_pct, *RH_RANGE_PCT))
    by_t = _slope(lambda x: equilibrium_pct(core, x, rh), t, _T_STEP_K, TEMPERATURE_RANGE_C)
    by_rh = _slope(lambda x: equilibrium_pct(core, t, x), rh, _RH_STEP_PCT, RH_RANGE_PCT)
    return as_given(np.hypot(by_t * u_t, by_rh * u_rh), t_c)


def _slope(
    of: Callable[[NDArray[np.float64]], Numbers], at: NDArray[np.float64], step: float, limits: tuple[float, float]
) -> NDArray[np.float64]:
    below, above = np.maximum(at - step, limits[0]), np.minimum(at + step, limits[1])
    slope: NDArray[np.float64] = (np.asarray(of(above)) - np.asarray(of(below))) / (above - below)
    return slope


def equilibrium_rh_pct(core: Core, t_c: FloatOrArray, mc_pct: FloatOrArray, spread: Spread = "central") -> FloatOrArray:
    """Relative humidity at which a board of this core would settle at `mc_pct`: the inverse of `equilibrium_pct`.

    Parameters
    ----------
    core : "HDF", "plywood" or "solid wood"
        What the plank is made of.
    t_c : float or array
        Air temperature, -20 to 60. [degC]
    mc_pct : float or array
        Moisture content, 0 to 100. [% of dry mass]
    spread : "low", "central" or "high"
        As in `equilibrium_pct`.

    Returns
    -------
    float or array
        Broadcast shape; inf where even saturated air does not bring the board so far. [%]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the core does not take up moisture.

    Notes
    -----
    Bisection, to better than 1e-9 %RH.
    """
    t, moisture = np.broadcast_arrays(
        within("t_c", t_c, *TEMPERATURE_RANGE_C), within("mc_pct", mc_pct, *MOISTURE_RANGE_PCT)
    )
    low, high = np.zeros(t.shape), np.full(t.shape, RH_RANGE_PCT[1])
    wettest = np.asarray(equilibrium_pct(core, t, high, spread))
    for _ in range(40):
        middle = (low + high) / 2.0
        below = np.asarray(equilibrium_pct(core, t, middle, spread)) < moisture
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    rh = np.where(moisture > wettest, np.inf, (low + high) / 2.0)
    return as_given(np.where(np.isnan(t + moisture), np.nan, rh), t_c)


def movement_mm(
    core: Core, length_m: FloatOrArray, mc_from_pct: FloatOrArray, mc_to_pct: FloatOrArray, *, across: bool = False
) -> Range[FloatOrArray]:
    """How far a board, or a row of them, grows between two moistures; negative when it shrinks.

    Parameters
    ----------
    core : "HDF", "plywood" or "solid wood"
        What the planks are made of.
    length_m : float or array
        Length of the board or row, 0 to 100. [m]
    mc_from_pct : float or array
        Moisture content before, 0 to 100. [% of dry mass]
    mc_to_pct : float or array
        Moisture content after, 0 to 100. [% of dry mass]
    across : bool
        Across the boards, `length_m` being the sum of their widths; only solid wood moves otherwise so.

    Returns
    -------
    Range
        By the low and by the high coefficient; broadcast shape. [mm]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the core does not move with moisture.

    Notes
    -----
    HDF 0.25 to 0.33 mm/m per 1 % (EWPAA p. 37; 0.3 by a panel maker); mdf-info.eu has 0.5, which is not in the range.
    Plywood 0.07 to 0.13 (APA); solid wood, along the grain, 0.03 (from memory) to 0.13 (Britannica), across it 0.7 to
    4.2 (Wood Handbook table 4-3, from memory).
    """
    coefficients = _moving(core, across=across)
    length = within("length_m", length_m, *LENGTH_RANGE_M)
    before = within("mc_from_pct", mc_from_pct, *MOISTURE_RANGE_PCT)
    growth = length * (within("mc_to_pct", mc_to_pct, *MOISTURE_RANGE_PCT) - before)
    low, high = (as_given(coefficient * growth, length_m) for coefficient in coefficients)
    return Range(low, high)


def _room_mm(gap_m: Numbers, row: Row) -> NDArray[np.float64]:
    """What a row may grow: both gaps when it is free to slide, one when something pins it at the other end."""
    if row not in ("free", "pinned"):
        raise ValueError(f"there is no row {row!r}: use 'free' or 'pinned'")
    return within("gap_m", gap_m, *GAP_RANGE_M) * (2000.0 if row == "free" else 1000.0)


def closing_rh_pct(
    core: Core,
    length_m: FloatOrArray,
    gap_m: Numbers,
    t_c: Numbers,
    rh_pct: Numbers,
    row: Row = "free",
    *,
    across: bool = False,
) -> Range[FloatOrArray]:
    """The humidity at which the gap at the ends of a row would close, if it lasted until the boards have settled.

    Parameters
    ----------
    core : "HDF", "plywood" or "solid wood"
        What the planks are made of.
    length_m : float or array
        Length of the row, more than 0 and up to 100. [m]
    gap_m : float or array
        Gap left at each end, 0 to 1. [m]
    t_c : float or array
        Air temperature, -20 to 60. [degC]
    rh_pct : float or array
        Humidity that the boards were in balance with when the gap was left, 0 to 100. [%]
    row : "free" or "pinned"
        Free to slide, so that both gaps serve; or held at one end, so that one gap takes all.
    across : bool
        Across the boards, as in `movement_mm`.

    Returns
    -------
    Range
        The lowest and the highest humidity over all that is known of the boards; inf where the gap never closes. [%]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the core does not move with moisture.

    Notes
    -----
    `equilibrium_pct` and `movement_mm`, over their low, central and high figures.
    """
    lengths = within("length_m", length_m, *LENGTH_RANGE_M)
    if np.any(lengths == 0.0):
        raise ValueError("length_m 0 has no row in it")
    least, most = _moving(core, across=across)
    room = _room_mm(gap_m, row)
    shape = np.broadcast(lengths, room, t_c, rh_pct).shape
    t, rh = np.broadcast_to(t_c, shape).astype(np.float64), np.broadcast_to(rh_pct, shape).astype(np.float64)
    found = []
    for spread in _SPREADS:
        start = np.asarray(equilibrium_pct(core, t, rh, spread))
        for coefficient in (least, most):
            moisture = np.minimum(start + room / (coefficient * lengths), MOISTURE_RANGE_PCT[1])
            found.append(np.asarray(equilibrium_rh_pct(core, t, moisture, spread)))
    return Range(as_given(np.min(found, axis=0), length_m), as_given(np.max(found, axis=0), length_m))


def joint_opening_mm(
    core: Core, length_m: FloatOrArray, mc_from_pct: FloatOrArray, mc_to_pct: FloatOrArray, joints: int
) -> Range[FloatOrArray]:
    """How far joints may open when a row that cannot slide dries: low when all share it, high when one takes all.

    Parameters
    ----------
    core : "HDF", "plywood" or "solid wood"
        What the planks are made of.
    length_m : float or array
        Length of the row, 0 to 100. [m]
    mc_from_pct : float or array
        Moisture content before, 0 to 100. [% of dry mass]
    mc_to_pct : float or array
        Moisture content after, 0 to 100. [% of dry mass]
    joints : int
        End joints in the row, at least 1.

    Returns
    -------
    Range
        At one joint; 0 when the row grows. Broadcast shape. [mm]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the core does not move with moisture.

    Notes
    -----
    Geometry on `movement_mm`; which of the two it will be is not known (common practice, no published source).
    """
    if joints < 1:
        raise ValueError(f"joints {joints} is less than 1")
    movement = movement_mm(core, length_m, mc_from_pct, mc_to_pct)
    shared = np.maximum(-np.asarray(movement.low), 0.0) / joints
    return Range(as_given(shared, length_m), as_given(np.maximum(-np.asarray(movement.high), 0.0), length_m))


def thermal_movement_mm(length_m: FloatOrArray, t_from_c: FloatOrArray, t_to_c: FloatOrArray) -> Range[FloatOrArray]:
    """How far a row with a core of PVC or mineral grows between two temperatures; negative when it cools.

    Parameters
    ----------
    length_m : float or array
        Length of the row, 0 to 100. [m]
    t_from_c : float or array
        Temperature before, -20 to 60. [degC]
    t_to_c : float or array
        Temperature after, -20 to 60. [degC]

    Returns
    -------
    Range
        By the low and by the high coefficient; broadcast shape. [mm]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    0.010 mm/(m K) for mineral (cement in tables of linear expansion coefficients) to 0.081 for rigid PVC (4.5e-5 per
    degF on the data sheet of a PVC board): eight times apart, so ask which of the two it is.
    """
    before = within("t_from_c", t_from_c, *TEMPERATURE_RANGE_C)
    warming = within("length_m", length_m, *LENGTH_RANGE_M) * (within("t_to_c", t_to_c, *TEMPERATURE_RANGE_C) - before)
    low, high = (as_given(coefficient * warming, length_m) for coefficient in _THERMAL_MM_M_K)
    return Range(low, high)
