"""Moist air: what temperature, relative humidity and pressure say about the water in it.

All functions take floats, or arrays that broadcast, and give a float for floats and an array for arrays; NaN in gives
NaN out. A value outside its range raises ValueError that names it. Air is taken as an ideal gas: against real moist air
the humidity ratio is 0.4 to 0.6 % low, the dew point within 0.02 K.

Relative humidity is always over liquid water, below 0 degC too, as humidity sensors report it (WMO convention). Ranges:
air temperature -40 to 85 degC (what the gross range lets pass), relative humidity 0 to 100 %, pressure 20 000 to
180 000 Pa.

Equation numbers: ASHRAE Handbook, Fundamentals (SI), 2017, chapter 1.
"""

from __future__ import annotations

import numpy as np

from monitor.basis.units import ZERO_CELSIUS_IN_KELVIN, FloatOrArray
from monitor.climate.ranges import Numbers, as_given, within
from monitor.climate.saturation import saturation_pressure_pa, saturation_temperature_c

SEA_LEVEL_PA = 101_325.0  # standard atmosphere, eq. 3 at 0 m [Pa]
AIR_RANGE_C = (-40.0, 85.0)  # [degC]
RH_RANGE_PCT = (0.0, 100.0)  # [%]
PRESSURE_RANGE_PA = (20_000.0, 180_000.0)  # 11 000 m to -5000 m, eq. 3 [Pa]
RATIO_RANGE_G_KG = (0.0, 10_000.0)  # [g/kg dry air]
MASS_RATIO = 0.621945  # molar mass of water / dry air, eq. 20; 1 / 1.607858 of eq. 26 [1]
DRY_AIR_GAS_CONSTANT = 287.042  # eq. 26 [J/(kg K)]
VAPOUR_GAS_CONSTANT = DRY_AIR_GAS_CONSTANT / MASS_RATIO  # 461.52 [J/(kg K)]


def vapour_pressure_pa(t_c: FloatOrArray, rh_pct: FloatOrArray) -> FloatOrArray:
    """Pressure of the water vapour in air.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]

    Returns
    -------
    float or array
        Broadcast shape. [Pa]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    The definition of relative humidity, eq. 12, with saturation over water at every temperature (WMO-No. 8).
    """
    t, rh = within("t_c", t_c, *AIR_RANGE_C), within("rh_pct", rh_pct, *RH_RANGE_PCT)
    return as_given(rh / 100.0 * saturation_pressure_pa(t), t_c)


def dew_point_c(t_c: FloatOrArray, rh_pct: FloatOrArray) -> FloatOrArray:
    """Temperature at which this air, cooled at constant pressure, is saturated over liquid water.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]

    Returns
    -------
    float or array
        Broadcast shape; never above `t_c`; NaN where it would lie below -60, as for 0 %. [degC]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    Eq. 6 inverted, below 0 degC too: a surface below 0 degC that carries ice meets `frost_point_c` first.
    """
    dew = saturation_temperature_c(vapour_pressure_pa(t_c, rh_pct), "water")
    return as_given(np.minimum(dew, t_c), t_c)


def frost_point_c(t_c: FloatOrArray, rh_pct: FloatOrArray) -> FloatOrArray:
    """Temperature at which this air, cooled at constant pressure, is saturated over ice.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]

    Returns
    -------
    float or array
        Broadcast shape; NaN where it would lie above 0.01 (there is no ice) or below -100. Above the dew point, and in
        freezing air near 100 % above `t_c` too. [degC]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    Eq. 5 inverted at the vapour pressure of eq. 6.
    """
    return saturation_temperature_c(vapour_pressure_pa(t_c, rh_pct), "ice")


def humidity_ratio_of_vapour_g_kg(vapour_pa: FloatOrArray, pressure_pa: Numbers = SEA_LEVEL_PA) -> FloatOrArray:
    """Mass of water vapour for each kg of dry air, from the vapour pressure.

    Parameters
    ----------
    vapour_pa : float or array
        Vapour pressure, 0 to less than `pressure_pa`. [Pa]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    float or array
        Broadcast shape. [g/kg dry air]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the vapour pressure is not below the air's.

    Notes
    -----
    Eq. 20.
    """
    pressure = within("pressure_pa", pressure_pa, *PRESSURE_RANGE_PA)
    vapour, pressure = np.broadcast_arrays(within("vapour_pa", vapour_pa, 0.0, PRESSURE_RANGE_PA[1]), pressure)
    boiling = vapour >= pressure
    if boiling.any():
        raise ValueError(
            f"vapour pressure {vapour[boiling][0]:.10g} Pa is not below the air's {pressure[boiling][0]:.10g} Pa"
        )
    return as_given(1000.0 * MASS_RATIO * vapour / (pressure - vapour), vapour_pa)


def humidity_ratio_g_kg(t_c: FloatOrArray, rh_pct: FloatOrArray, pressure_pa: Numbers = SEA_LEVEL_PA) -> FloatOrArray:
    """Mass of water vapour for each kg of dry air.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    float or array
        Broadcast shape. [g/kg dry air]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the water would boil at this pressure.

    Notes
    -----
    Eqs 6, 12 and 20.
    """
    return humidity_ratio_of_vapour_g_kg(vapour_pressure_pa(t_c, rh_pct), pressure_pa)


def absolute_humidity_g_m3(t_c: FloatOrArray, rh_pct: FloatOrArray) -> FloatOrArray:
    """Mass of water vapour in each cubic metre of air; it does not depend on the air's pressure.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]

    Returns
    -------
    float or array
        Broadcast shape. [g/m3]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    Ideal gas: p / (461.52 T), from the constants of eqs 20 and 26.
    """
    kelvin = np.asarray(t_c, dtype=np.float64) + ZERO_CELSIUS_IN_KELVIN
    return as_given(1000.0 * vapour_pressure_pa(t_c, rh_pct) / (VAPOUR_GAS_CONSTANT * kelvin), t_c)


def enthalpy_kj_kg(t_c: FloatOrArray, rh_pct: FloatOrArray, pressure_pa: Numbers = SEA_LEVEL_PA) -> FloatOrArray:
    """Enthalpy of moist air for each kg of dry air, zero for dry air and liquid water at 0 degC.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    float or array
        Broadcast shape. [kJ/kg dry air]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the water would boil at this pressure.

    Notes
    -----
    Eq. 30.
    """
    ratio, t = humidity_ratio_g_kg(t_c, rh_pct, pressure_pa) / 1000.0, np.asarray(t_c, dtype=np.float64)
    return as_given(1.006 * t + ratio * (2501.0 + 1.86 * t), t_c)


def specific_volume_m3_kg(t_c: FloatOrArray, rh_pct: FloatOrArray, pressure_pa: Numbers = SEA_LEVEL_PA) -> FloatOrArray:
    """Volume of moist air that holds 1 kg of dry air.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    float or array
        Broadcast shape. [m3/kg dry air]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the water would boil at this pressure.

    Notes
    -----
    Eq. 26.
    """
    ratio = humidity_ratio_g_kg(t_c, rh_pct, pressure_pa) / 1000.0
    kelvin = np.asarray(t_c, dtype=np.float64) + ZERO_CELSIUS_IN_KELVIN
    return as_given(DRY_AIR_GAS_CONSTANT * kelvin * (1.0 + ratio / MASS_RATIO) / np.asarray(pressure_pa), t_c)


def density_kg_m3(t_c: FloatOrArray, rh_pct: FloatOrArray, pressure_pa: Numbers = SEA_LEVEL_PA) -> FloatOrArray:
    """Mass of moist air, its vapour included, in each cubic metre.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    float or array
        Broadcast shape. [kg/m3]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the water would boil at this pressure.

    Notes
    -----
    Eq. 11.
    """
    ratio = humidity_ratio_g_kg(t_c, rh_pct, pressure_pa) / 1000.0
    return as_given((1.0 + ratio) / np.asarray(specific_volume_m3_kg(t_c, rh_pct, pressure_pa)), t_c)


def altitude_pressure_pa(altitude_m: FloatOrArray) -> FloatOrArray:
    """Pressure of the standard atmosphere at an altitude.

    Parameters
    ----------
    altitude_m : float or array
        Height above sea level, -5000 to 11 000. [m]

    Returns
    -------
    float or array
        Shape of `altitude_m`. [Pa]

    Raises
    ------
    ValueError
        If an altitude lies outside its range.

    Notes
    -----
    Eq. 3.
    """
    altitude = within("altitude_m", altitude_m, -5000.0, 11_000.0)
    return as_given(SEA_LEVEL_PA * (1.0 - 2.25577e-5 * altitude) ** 5.2559, altitude_m)


def wet_bulb_c(t_c: FloatOrArray, rh_pct: FloatOrArray, pressure_pa: Numbers = SEA_LEVEL_PA) -> FloatOrArray:
    """Thermodynamic wet-bulb temperature over liquid water: what water reaches as this air evaporates it.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    float or array
        Broadcast shape; never above `t_c`, never below the dew point. Solved to better than 1e-6 K. [degC]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the water would boil at this pressure.

    Notes
    -----
    Eq. 33 by bisection. Below 0 degC the bulb is taken as wet with supercooled water, not as iced (eq. 35), so that
    each state has one answer.
    """
    ratio = np.asarray(humidity_ratio_g_kg(t_c, rh_pct, pressure_pa)) / 1000.0
    t = np.asarray(t_c, dtype=np.float64)
    low, high = np.full(ratio.shape, -60.0), np.broadcast_to(t, ratio.shape)
    for _ in range(50):
        bulb = (low + high) / 2.0
        saturation = saturation_pressure_pa(bulb)
        # eq. 33 multiplied by the pressure of the dry air, so that a bulb too hot for this pressure does no harm
        evaporated = (2501.0 - 2.326 * bulb) * MASS_RATIO * saturation
        balance = (ratio * (2501.0 + 1.86 * t - 4.186 * bulb) + 1.006 * (t - bulb)) * (pressure_pa - saturation)
        low, high = np.where(balance > evaporated, bulb, low), np.where(balance > evaporated, high, bulb)
    return as_given(np.where(np.isnan(ratio), np.nan, high), t_c)


def rh_from_vapour_pressure_pct(t_c: FloatOrArray, vapour_pa: FloatOrArray) -> FloatOrArray:
    """Relative humidity of air at `t_c` that holds vapour of `vapour_pa`.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    vapour_pa : float or array
        Vapour pressure, 0 to saturation over water at `t_c`. [Pa]

    Returns
    -------
    float or array
        Broadcast shape, 0 to 100 over water. [%]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the air can't hold so much.

    Notes
    -----
    Eq. 12. An excess of up to 1e-9 of saturation is rounding, and 100 %.
    """
    t, vapour = within("t_c", t_c, *AIR_RANGE_C), within("vapour_pa", vapour_pa, 0.0, PRESSURE_RANGE_PA[1])
    rh = 100.0 * vapour / saturation_pressure_pa(t)
    return as_given(np.minimum(within("relative humidity", rh, 0.0, 100.0 * (1.0 + 1e-9)), 100.0), t_c)


def rh_from_dew_point_pct(t_c: FloatOrArray, dew_c: FloatOrArray) -> FloatOrArray:
    """Relative humidity of air at `t_c` with the dew point `dew_c`.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    dew_c : float or array
        Dew point over water, -60 to `t_c`. [degC]

    Returns
    -------
    float or array
        Broadcast shape, 0 to 100 over water. [%]

    Raises
    ------
    ValueError
        If a value lies outside its range, or a dew point above the air temperature.

    Notes
    -----
    Eqs 6 and 12. For a frost point, go by `saturation_pressure_pa(frost, "ice")` and `rh_from_vapour_pressure_pct`.
    """
    dew = within("dew_c", dew_c, -60.0, AIR_RANGE_C[1])
    return rh_from_vapour_pressure_pct(t_c, as_given(saturation_pressure_pa(dew), dew_c))


def rh_from_humidity_ratio_pct(
    t_c: FloatOrArray, ratio_g_kg: FloatOrArray, pressure_pa: Numbers = SEA_LEVEL_PA
) -> FloatOrArray:
    """Relative humidity of air at `t_c` that holds `ratio_g_kg` of water for each kg of dry air.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    ratio_g_kg : float or array
        Humidity ratio, 0 to saturation at `t_c`, at most 10 000. [g/kg dry air]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    float or array
        Broadcast shape, 0 to 100 over water. [%]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the air can't hold so much.

    Notes
    -----
    Eq. 20 solved for the vapour pressure, and eq. 12.
    """
    ratio = within("ratio_g_kg", ratio_g_kg, *RATIO_RANGE_G_KG) / 1000.0
    pressure = within("pressure_pa", pressure_pa, *PRESSURE_RANGE_PA)
    return rh_from_vapour_pressure_pct(t_c, as_given(pressure * ratio / (MASS_RATIO + ratio), ratio_g_kg))
