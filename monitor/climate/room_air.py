"""The air of a room changed: heated, cooled, dried, moistened, aired; and the water that this takes.

Only the air is counted. Boards, paint and plaster hold far more water than the air does and give it off or take it up
for days: 1 % of moisture content in 390 kg (dry) of boards, 60 m2 of 8 mm, is 3.9 kg, where the air of 50 m3 changes by
0.13 kg from 35 to 50 % at 20 degC. A humidifier or dryer sized for the air alone is too small while boards adjust.

Floats or arrays that broadcast, ranges and sources as in `monitor.climate.air`; a value outside its range raises
ValueError that names it.
"""

from __future__ import annotations

from typing import Generic, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.units import FloatOrArray
from monitor.climate.air import (
    RATIO_RANGE_G_KG,
    SEA_LEVEL_PA,
    absolute_humidity_g_m3,
    humidity_ratio_g_kg,
    rh_from_humidity_ratio_pct,
    specific_volume_m3_kg,
)
from monitor.climate.ranges import Numbers, as_given, within

VOLUME_RANGE_M3 = (0.001, 1e6)  # [m3]
AIR_CHANGES_RANGE_1_H = (0.0, 100.0)  # [1/h]
WATER_RANGE_KG_H = (-1000.0, 1000.0)  # [kg/h]


class ChangedAir(NamedTuple, Generic[FloatOrArray]):
    """Air after a change: its relative humidity over water [%], and the water that dropped out [g/kg dry air]."""

    rh_pct: FloatOrArray
    condensed_g_kg: FloatOrArray


def _holding(t_c: FloatOrArray, ratio_g_kg: NDArray[np.float64], pressure_pa: Numbers) -> ChangedAir[FloatOrArray]:
    """Air at `t_c` given `ratio_g_kg` of water: what it can't hold drops out. [degC, g/kg dry air, Pa]"""
    t = np.asarray(t_c, dtype=np.float64)
    full = humidity_ratio_g_kg(t, np.full_like(t, 100.0), pressure_pa)
    excess = np.maximum(ratio_g_kg - full, 0.0)
    rh = rh_from_humidity_ratio_pct(t, np.minimum(ratio_g_kg, full), pressure_pa)
    return ChangedAir(as_given(np.where(ratio_g_kg >= full, 100.0, rh), t_c), as_given(excess, t_c))


def heated_or_cooled(
    t_c: FloatOrArray, rh_pct: FloatOrArray, to_c: FloatOrArray, pressure_pa: Numbers = SEA_LEVEL_PA
) -> ChangedAir[FloatOrArray]:
    """Air brought to another temperature with its water kept; below its dew point it ends at 100 %, the rest drops out.

    Parameters
    ----------
    t_c, to_c : float or array
        Air temperature before and after, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water before, 0 to 100. [%]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000; it bears on the condensed water only. [Pa]

    Returns
    -------
    ChangedAir of float or array
        Broadcast shape.

    Raises
    ------
    ValueError
        If a value lies outside its range, or the water would boil at this pressure.

    Notes
    -----
    The humidity ratio is conserved: ASHRAE Fundamentals 2017 chapter 1, sensible heating and cooling.
    """
    return _holding(to_c, np.asarray(humidity_ratio_g_kg(t_c, rh_pct, pressure_pa)), pressure_pa)


def moistened(
    t_c: FloatOrArray, rh_pct: FloatOrArray, by_g_kg: FloatOrArray, pressure_pa: Numbers = SEA_LEVEL_PA
) -> ChangedAir[FloatOrArray]:
    """Air with water added (or, below zero, taken out) at an unchanged temperature.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water before, 0 to 100. [%]
    by_g_kg : float or array
        Water added, at least minus what the air holds; negative dries. [g/kg dry air]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    ChangedAir of float or array
        Broadcast shape.

    Raises
    ------
    ValueError
        If a value lies outside its range, or more water is taken out than the air holds.

    Notes
    -----
    Balance of water over dry air, which is conserved.
    """
    before = humidity_ratio_g_kg(t_c, rh_pct, pressure_pa)
    after = within("humidity ratio after the change", before + np.asarray(by_g_kg), *RATIO_RANGE_G_KG)
    return _holding(t_c, after, pressure_pa)


def dry_air_kg(
    t_c: FloatOrArray, rh_pct: FloatOrArray, volume_m3: Numbers, pressure_pa: Numbers = SEA_LEVEL_PA
) -> FloatOrArray:
    """Mass of the dry air in a room.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]
    volume_m3 : float or array
        Volume of the room's air, 0.001 to 1 000 000. [m3]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    float or array
        Broadcast shape. [kg]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the water would boil at this pressure.

    Notes
    -----
    Volume over specific volume, ASHRAE Fundamentals 2017 chapter 1 eq. 26.
    """
    volume = within("volume_m3", volume_m3, *VOLUME_RANGE_M3)
    return as_given(volume / np.asarray(specific_volume_m3_kg(t_c, rh_pct, pressure_pa)), t_c)


def water_in_air_kg(t_c: FloatOrArray, rh_pct: FloatOrArray, volume_m3: Numbers) -> FloatOrArray:
    """Mass of the water vapour in a room's air; the difference of two states is the water to add or take out.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water, 0 to 100. [%]
    volume_m3 : float or array
        Volume of the room's air, 0.001 to 1 000 000. [m3]

    Returns
    -------
    float or array
        Broadcast shape. [kg]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    Volume times absolute humidity.
    """
    volume = within("volume_m3", volume_m3, *VOLUME_RANGE_M3)
    return as_given(volume * absolute_humidity_g_m3(t_c, rh_pct) / 1000.0, t_c)


def with_water_added(
    t_c: FloatOrArray,
    rh_pct: FloatOrArray,
    water_kg: FloatOrArray,
    volume_m3: Numbers,
    pressure_pa: Numbers = SEA_LEVEL_PA,
) -> ChangedAir[FloatOrArray]:
    """A closed room's air with so many kg of water added (or, below zero, taken out) at an unchanged temperature.

    Parameters
    ----------
    t_c : float or array
        Air temperature, -40 to 85. [degC]
    rh_pct : float or array
        Relative humidity over water before, 0 to 100. [%]
    water_kg : float or array
        Water added, at least minus what the air holds; negative dries. [kg]
    volume_m3 : float or array
        Volume of the room's air, 0.001 to 1 000 000. [m3]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    ChangedAir of float or array
        Broadcast shape.

    Raises
    ------
    ValueError
        If a value lies outside its range, or more water is taken out than the air holds.

    Notes
    -----
    `moistened` by the water over the room's dry air. The difference of two `water_in_air_kg` is smaller than that water
    by the vapour's share of the pressure, 1 to 2 % in a living room: so much leaves with the air that it displaces.
    """
    by_g_kg = 1000.0 * np.asarray(water_kg) / np.asarray(dry_air_kg(t_c, rh_pct, volume_m3, pressure_pa))
    return moistened(t_c, rh_pct, as_given(by_g_kg, t_c), pressure_pa)


def moisture_load_kg_h(
    *,
    inside_c: FloatOrArray,
    inside_pct: FloatOrArray,
    outside_c: FloatOrArray,
    outside_pct: FloatOrArray,
    volume_m3: Numbers,
    air_changes_1_h: Numbers,
    released_kg_h: Numbers = 0.0,
    pressure_pa: Numbers = SEA_LEVEL_PA,
) -> FloatOrArray:
    """Water that must be added each hour to hold a room at its humidity; below zero, taken out.

    Parameters
    ----------
    inside_c, outside_c : float or array
        Air temperature inside and outside, -40 to 85. [degC]
    inside_pct, outside_pct : float or array
        Relative humidity over water inside and outside, 0 to 100. [%]
    volume_m3 : float or array
        Volume of the room's air, 0.001 to 1 000 000. [m3]
    air_changes_1_h : float or array
        Room volumes of air exchanged with outside each hour, at the state inside, 0 to 100. [1/h]
    released_kg_h : float or array
        Water given off in the room by people, boards, plaster; negative where it is taken up, -1000 to 1000. [kg/h]
    pressure_pa : float or array
        Pressure of the air, 20 000 to 180 000. [Pa]

    Returns
    -------
    float or array
        Broadcast shape. [kg/h]

    Raises
    ------
    ValueError
        If a value lies outside its range, or the water would boil at this pressure.

    Notes
    -----
    H = n V / v (Wi - Wo) - S: ASHRAE Handbook, HVAC Systems and Equipment, humidifiers.
    """
    changes = within("air_changes_1_h", air_changes_1_h, *AIR_CHANGES_RANGE_1_H)
    dry_air_kg_h = changes * dry_air_kg(inside_c, inside_pct, volume_m3, pressure_pa)
    inside = humidity_ratio_g_kg(inside_c, inside_pct, pressure_pa)
    outside = humidity_ratio_g_kg(outside_c, outside_pct, pressure_pa)
    released = within("released_kg_h", released_kg_h, *WATER_RANGE_KG_H)
    return as_given(dry_air_kg_h * (inside - outside) / 1000.0 - released, inside_c)


def humidity_ratio_after_g_kg(
    hours: FloatOrArray,
    *,
    start_g_kg: Numbers,
    outside_g_kg: Numbers,
    air_changes_1_h: Numbers,
    air_kg: Numbers,
    released_kg_h: Numbers = 0.0,
) -> FloatOrArray:
    """Humidity ratio of a well-mixed room's air after a time of airing and of water given off at a steady rate.

    Parameters
    ----------
    hours : float or array
        Time since the start, 0 to 100 000. [h]
    start_g_kg, outside_g_kg : float or array
        Humidity ratio of the room at the start and of the air outside, 0 to 10 000. [g/kg dry air]
    air_changes_1_h : float or array
        Room volumes of air exchanged with outside each hour, 0 to 100; at 0 the room is closed. [1/h]
    air_kg : float or array
        Mass of the dry air in the room, see `dry_air_kg`, 0.001 to 1 000 000. [kg]
    released_kg_h : float or array
        Water given off in the room (a humidifier), negative where it is taken out (a dryer), -1000 to 1000. [kg/h]

    Returns
    -------
    float or array
        Broadcast shape. It is a balance: it knows no saturation, and a dryer stronger than the airing takes it below
        zero. [g/kg dry air]

    Raises
    ------
    ValueError
        If a value lies outside its range.

    Notes
    -----
    W(t) = Wo + (W0 - Wo) exp(-n t) + G / (n m) (1 - exp(-n t)), which solves the balance of one well-mixed zone,
    dW/dt = n (Wo - W) + G / m.
    """
    elapsed = within("hours", hours, 0.0, 100_000.0)
    aired = elapsed * within("air_changes_1_h", air_changes_1_h, *AIR_CHANGES_RANGE_1_H)
    start = within("start_g_kg", start_g_kg, *RATIO_RANGE_G_KG)
    outside = within("outside_g_kg", outside_g_kg, *RATIO_RANGE_G_KG)
    released = within("released_kg_h", released_kg_h, *WATER_RANGE_KG_H) * elapsed
    # (1 - exp(-x)) / x of what was released is still there; all of it in a closed room, where x is 0
    kept = np.where(aired > 0, -np.expm1(-aired) / np.where(aired > 0, aired, 1.0), 1.0)
    gained = 1000.0 * released * kept / within("air_kg", air_kg, 0.001, 1e6)
    return as_given(outside + (start - outside) * np.exp(-aired) + gained, hours)
