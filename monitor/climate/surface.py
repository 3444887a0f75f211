"""The wall's surface: how humid the air is at its skin, whether water condenses there. Mould by the hour is in `mould`.

All functions take floats, or arrays that broadcast, and give floats for floats and arrays for arrays; NaN in gives NaN
out. A value outside its range raises ValueError that names it. Figures marked *from memory* were recalled, not read.

All follows ISO 13788:2012, with that standard's own saturation formula: 0.06 to 0.18 % below Hyland and Wexler from 0
to 50 degC; below 0 degC over ice, where sensors report humidity over water.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from monitor.basis.units import FloatOrArray
from monitor.climate.ranges import Numbers, as_given, within

TEMPERATURE_RANGE_C = (-40.0, 85.0)  # [degC]
RH_RANGE_PCT = (0.0, 100.0)  # [%]
MOULD_LIMIT_PCT = 80.0  # humidity at the surface above which mould is taken to grow, ISO 13788:2012 s. 5 [%]
CONDENSATION_LIMIT_PCT = 100.0  # [%]
FROST_PA = 610.5  # saturation at 0 degC, ISO 13788:2012 Annex E [Pa]
_PRESSURE_RANGE_PA = (1e-3, 200_000.0)  # [Pa]
_WATER, _ICE = (17.269, 237.3), (21.875, 265.5)  # ISO 13788:2012 eqs E.7 to E.10, ([1], [degC])
_EXCESS_LIMIT_PA = np.array([270.0, 540.0, 810.0, 1080.0, np.inf])  # upper limits of classes 1 to 5 at 0 degC [Pa]


def iso_saturation_pressure_pa(t_c: FloatOrArray) -> FloatOrArray:
    """Saturation pressure by the formula of ISO 13788: over water from 0 degC up, over ice below.

    Parameters
    ----------
    t_c : float or array
        Temperature, -40 to 85. [degC]

    Returns
    -------
    float or array
        Shape of `t_c`. [Pa]

    Raises
    ------
    ValueError
        If a temperature lies outside its range.

    Notes
    -----
    ISO 13788:2012 Annex E: 610.5 exp(17.269 t / (237.3 + t)), and with 21.875 and 265.5 below 0 degC.
    """
    return as_given(_saturation("t_c", t_c), t_c)


def _saturation(name: str, t_c: Numbers) -> NDArray[np.float64]:
    t = within(name, t_c, *TEMPERATURE_RANGE_C)
    a, b = (np.where(t < 0.0, ice, water) for ice, water in zip(_ICE, _WATER, strict=True))
    pressure: NDArray[np.float64] = FROST_PA * np.exp(a * t / (b + t))
    return pressure


def iso_saturation_temperature_c(vapour_pa: FloatOrArray) -> FloatOrArray:
    """Temperature at which a vapour pressure saturates: the inverse of `iso_saturation_pressure_pa`.

    Parameters
    ----------
    vapour_pa : float or array
        Vapour pressure, 0.001 to 200 000. [Pa]

    Returns
    -------
    float or array
        Shape of `vapour_pa`. [degC]

    Raises
    ------
    ValueError
        If a pressure lies outside its range.

    Notes
    -----
    ISO 13788:2012 Annex E.
    """
    pressure = within("vapour_pa", vapour_pa, *_PRESSURE_RANGE_PA)
    a, b = (np.where(pressure < FROST_PA, ice, water) for ice, water in zip(_ICE, _WATER, strict=True))
    ln = np.log(pressure / FROST_PA)
    return as_given(b * ln / (a - ln), vapour_pa)


def surface_temperature_c(indoor_c: FloatOrArray, outdoor_c: FloatOrArray, f_rsi: Numbers) -> FloatOrArray:
    """Temperature of a wall's inner surface at steady state.

    Parameters
    ----------
    indoor_c : float or array
        Room air, -40 to 85. [degC]
    outdoor_c : float or array
        Outdoor air, -40 to 85. [degC]
    f_rsi : float or array
        Temperature factor of the surface, 0 (as outdoors) to 1 (as the room). [1]

    Returns
    -------
    float or array
        Broadcast shape. [degC]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    ISO 13788:2012 s. 3: fRsi = (tsi - te) / (ti - te).
    """
    outdoor = within("outdoor_c", outdoor_c, *TEMPERATURE_RANGE_C)
    difference = within("indoor_c", indoor_c, *TEMPERATURE_RANGE_C) - outdoor
    return as_given(outdoor + within("f_rsi", f_rsi, 0.0, 1.0) * difference, indoor_c)


def temperature_factor(surface_c: FloatOrArray, indoor_c: FloatOrArray, outdoor_c: FloatOrArray) -> FloatOrArray:
    """The temperature factor fRsi that a surface shows.

    Parameters
    ----------
    surface_c : float or array
        Inner surface, -40 to 85. [degC]
    indoor_c : float or array
        Room air, -40 to 85, above `outdoor_c`. [degC]
    outdoor_c : float or array
        Outdoor air, -40 to 85. [degC]

    Returns
    -------
    float or array
        Broadcast shape; 0 as cold as outdoors, 1 as warm as the room. [1]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the room is not warmer than outdoors.

    Notes
    -----
    ISO 13788:2012 s. 3. One reading shows it only at steady state: use means over days of cold weather.
    """
    return as_given(_factor(within("surface_c", surface_c, *TEMPERATURE_RANGE_C), indoor_c, outdoor_c), surface_c)


def _factor(surface: NDArray[np.float64], indoor_c: Numbers, outdoor_c: Numbers) -> NDArray[np.float64]:
    indoor = within("indoor_c", indoor_c, *TEMPERATURE_RANGE_C)
    indoor, outdoor = np.broadcast_arrays(indoor, within("outdoor_c", outdoor_c, *TEMPERATURE_RANGE_C))
    colder = indoor <= outdoor
    if colder.any():
        raise ValueError(f"indoor_c {indoor[colder][0]:.10g} is not above outdoor_c {outdoor[colder][0]:.10g}")
    factor: NDArray[np.float64] = (surface - outdoor) / (indoor - outdoor)
    return factor


def temperature_factor_of_wall(surface_m2k_w: FloatOrArray, total_m2k_w: FloatOrArray) -> FloatOrArray:
    """The temperature factor fRsi of a plain wall, from its thermal resistances.

    Parameters
    ----------
    surface_m2k_w : float or array
        Resistance of the inner surface, 0 to 10: 0.13, or 0.25 for a check against mould. [m2 K/W]
    total_m2k_w : float or array
        Resistance from air to air, 0.01 to 100. [m2 K/W]

    Returns
    -------
    float or array
        Broadcast shape. [1]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    1 - Rsi / Rtot, ISO 13788:2012; resistances of surfaces ISO 6946. Corners and fixings are colder.
    """
    total = within("total_m2k_w", total_m2k_w, 0.01, 100.0)
    return as_given(1.0 - within("surface_m2k_w", surface_m2k_w, 0.0, 10.0) / total, surface_m2k_w)


def surface_humidity_pct(indoor_c: FloatOrArray, rh_pct: FloatOrArray, surface_c: Numbers) -> FloatOrArray:
    """Relative humidity of the room's air where it touches a surface.

    Parameters
    ----------
    indoor_c : float or array
        Room air, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity of the room air, 0 to 100. [%]
    surface_c : float or array
        Surface, -40 to 85. [degC]

    Returns
    -------
    float or array
        Broadcast shape; not cut off: 100 and above is condensation. [%]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    ISO 13788:2012 s. 5: the vapour pressure is that of the room.
    """
    vapour = within("rh_pct", rh_pct, *RH_RANGE_PCT) * _saturation("indoor_c", indoor_c)
    return as_given(vapour / _saturation("surface_c", surface_c), indoor_c)


def condenses(indoor_c: FloatOrArray, rh_pct: FloatOrArray, surface_c: Numbers) -> NDArray[np.bool_]:
    """Whether water condenses on a surface: `surface_humidity_pct` is 100 or more.

    NaN, which is unknown, gives False. Arguments and errors of `surface_humidity_pct`; ISO 13788:2012 s. 5.
    """
    return np.asarray(surface_humidity_pct(indoor_c, rh_pct, surface_c)) >= CONDENSATION_LIMIT_PCT


def favours_mould(indoor_c: FloatOrArray, rh_pct: FloatOrArray, surface_c: Numbers) -> NDArray[np.bool_]:
    """Whether a surface is damp enough for mould: `surface_humidity_pct` is above 80; asked of a month's mean.

    NaN, which is unknown, gives False. Arguments and errors of `surface_humidity_pct`; ISO 13788:2012 s. 5.
    """
    return np.asarray(surface_humidity_pct(indoor_c, rh_pct, surface_c)) > MOULD_LIMIT_PCT


def critical_surface_temperature_c(
    indoor_c: FloatOrArray, rh_pct: FloatOrArray, limit_pct: Numbers = MOULD_LIMIT_PCT
) -> FloatOrArray:
    """Surface temperature at which the room's air reaches `limit_pct`: 80 for mould, 100 for the dew point.

    Parameters
    ----------
    indoor_c : float or array
        Room air, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity of the room air, 0.1 to 100. [%]
    limit_pct : float or array
        Humidity at the surface, 50 to 100. [%]

    Returns
    -------
    float or array
        Broadcast shape. [degC]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    ISO 13788:2012 s. 5: psat(tsi) = pi / 0.8.
    """
    vapour = within("rh_pct", rh_pct, 0.1, 100.0) * _saturation("indoor_c", indoor_c)
    return as_given(iso_saturation_temperature_c(vapour / within("limit_pct", limit_pct, 50.0, 100.0)), indoor_c)


def f_rsi_needed(
    indoor_c: FloatOrArray, outdoor_c: FloatOrArray, rh_pct: Numbers, limit_pct: Numbers = MOULD_LIMIT_PCT
) -> FloatOrArray:
    """The least temperature factor at which a surface stays at or below `limit_pct`.

    Parameters
    ----------
    indoor_c : float or array
        Room air, -40 to 85, above `outdoor_c`. [degC]
    outdoor_c : float or array
        Outdoor air, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity of the room air, 0.1 to 100. [%]
    limit_pct : float or array
        Humidity at the surface, 50 to 100. [%]

    Returns
    -------
    float or array
        Broadcast shape; below 0 where any surface will do, above 1 where none will. [1]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the room is not warmer than outdoors.

    Notes
    -----
    ISO 13788:2012 s. 5: fRsi,min = (tsi,min - te) / (ti - te).
    """
    critical = critical_surface_temperature_c(np.asarray(indoor_c), np.asarray(rh_pct), limit_pct)
    return as_given(_factor(np.asarray(critical), indoor_c, outdoor_c), indoor_c)


def vapour_excess_pa(
    indoor_c: FloatOrArray, rh_pct: FloatOrArray, outdoor_c: FloatOrArray, outdoor_rh_pct: FloatOrArray
) -> FloatOrArray:
    """By how much the room's vapour pressure is above that of the air outdoors: the moisture that people bring in.

    Parameters
    ----------
    indoor_c : float or array
        Room air, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity of the room air, 0 to 100. [%]
    outdoor_c : float or array
        Outdoor air, -40 to 85. [degC]
    outdoor_rh_pct : float or array
        Relative humidity outdoors, 0 to 100. [%]

    Returns
    -------
    float or array
        Broadcast shape; negative where the room is drier. [Pa]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    ISO 13788:2012 s. 4. Humidity outdoors below 0 degC is taken over ice, as the standard's formula has it.
    """
    inside = within("rh_pct", rh_pct, *RH_RANGE_PCT) * _saturation("indoor_c", indoor_c)
    outside = within("outdoor_rh_pct", outdoor_rh_pct, *RH_RANGE_PCT) * _saturation("outdoor_c", outdoor_c)
    return as_given((inside - outside) / 100.0, indoor_c)


def vapour_excess_limit_pa(humidity_class: int, outdoor_c: FloatOrArray) -> FloatOrArray:
    """Upper limit of an internal humidity class.

    Parameters
    ----------
    humidity_class : int
        1 (stores) to 5 (kitchens, pools).
    outdoor_c : float or array
        Outdoor air, -40 to 85; a month's mean. [degC]

    Returns
    -------
    float or array
        Shape of `outdoor_c`; inf for class 5 below 20 degC, 0 for all from 20 degC up. [Pa]

    Raises
    ------
    ValueError
        If there is no such class or a temperature lies outside its range.

    Notes
    -----
    ISO 13788:2012 Annex A: 270, 540, 810, 1080 Pa up to 0 degC, falling linearly to 0 at 20 degC (the fall from
    memory).
    """
    if humidity_class not in (1, 2, 3, 4, 5):
        raise ValueError(f"humidity_class {humidity_class} is outside 1 to 5")
    outdoor = within("outdoor_c", outdoor_c, *TEMPERATURE_RANGE_C)
    left = np.clip((20.0 - outdoor) / 20.0, 0.0, 1.0)
    limit = np.where(left == 0.0, 0.0, _EXCESS_LIMIT_PA[humidity_class - 1] * np.where(left == 0.0, 1.0, left))
    return as_given(limit, outdoor_c)


def humidity_class(excess_pa: FloatOrArray, outdoor_c: FloatOrArray) -> FloatOrArray:
    """The internal humidity class of a building: the first whose limit holds `excess_pa`.

    Parameters
    ----------
    excess_pa : float or array
        Vapour pressure of the room above that outdoors, -20 000 to 20 000. [Pa]
    outdoor_c : float or array
        Outdoor air, -40 to 85; a month's mean. [degC]

    Returns
    -------
    float or array
        1 to 5; NaN from 20 degC up, where the classes meet. Broadcast shape.

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    ISO 13788:2012 Annex A.
    """
    excess, outdoor = np.broadcast_arrays(
        within("excess_pa", excess_pa, -20_000.0, 20_000.0), within("outdoor_c", outdoor_c, *TEMPERATURE_RANGE_C)
    )
    passed = np.sum([excess > np.asarray(vapour_excess_limit_pa(number, outdoor)) for number in (1, 2, 3, 4)], axis=0)
    unknown = np.isnan(excess) | np.isnan(outdoor) | (outdoor >= 20.0)
    return as_given(np.where(unknown, np.nan, 1.0 + passed), excess_pa)
