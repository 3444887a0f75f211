"""Saturated vapour over water and over ice: Hyland and Wexler (1983).

Floats or arrays; a float gives a float, NaN gives NaN, a value outside its range raises ValueError that names it.
Equation numbers: ASHRAE Handbook, Fundamentals (SI), 2017, chapter 1.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from monitor.basis.units import ZERO_CELSIUS_IN_KELVIN, FloatOrArray
from monitor.climate.ranges import as_given, within

Surface = Literal["water", "ice"]

RANGE_C = {"water": (-60.0, 200.0), "ice": (-100.0, 0.01)}  # [degC]

# ln p = c0/T + c1 + c2 T + c3 T^2 + c4 T^3 + c5 T^4 + c6 ln T, p in Pa, T in K
_COEFFICIENTS = {
    "water": (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673),  # eq. 6
    "ice": (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019),  # eq. 5
}


def _range_c(over: Surface) -> tuple[float, float]:
    if over not in RANGE_C:
        raise ValueError(f"there is no saturation over {over!r}: use 'water' or 'ice'")
    return RANGE_C[over]


def _ln_saturation(kelvin: NDArray[np.float64], over: Surface) -> NDArray[np.float64]:
    c0, c1, c2, c3, c4, c5, c6 = _COEFFICIENTS[over]
    return c0 / kelvin + c1 + kelvin * (c2 + kelvin * (c3 + kelvin * (c4 + kelvin * c5))) + c6 * np.log(kelvin)


def _ln_saturation_slope(kelvin: NDArray[np.float64], over: Surface) -> NDArray[np.float64]:
    c0, _, c2, c3, c4, c5, c6 = _COEFFICIENTS[over]
    return -c0 / kelvin**2 + c2 + kelvin * (2 * c3 + kelvin * (3 * c4 + kelvin * 4 * c5)) + c6 / kelvin


def saturation_pressure_pa(t_c: FloatOrArray, over: Surface = "water") -> FloatOrArray:
    """Vapour pressure of water in equilibrium with a plane surface of water or ice.

    Parameters
    ----------
    t_c : float or array
        Temperature, -60 to 200 over water, -100 to 0.01 over ice. [degC]
    over : "water" or "ice"
        The surface; "water" below 0 is supercooled water.

    Returns
    -------
    float or array
        Shape of `t_c`. [Pa]

    Raises
    ------
    ValueError
        If a temperature lies outside the range of its surface, or there is no such surface.

    Notes
    -----
    Eqs 6 (water) and 5 (ice). Eq. 6 is published for 0 to 200 degC; below 0 it is carried on, and lies above Murphy and
    Koop (2005) eq. 10 by 0.1 % at -20, 0.7 % at -40 and 4.8 % at -60 degC.
    """
    t = within("t_c", t_c, *_range_c(over))
    return as_given(np.exp(_ln_saturation(t + ZERO_CELSIUS_IN_KELVIN, over)), t_c)


def saturation_temperature_c(vapour_pa: FloatOrArray, over: Surface = "water") -> FloatOrArray:
    """Temperature at which `vapour_pa` saturates over water or ice: the inverse of `saturation_pressure_pa`.

    Parameters
    ----------
    vapour_pa : float or array
        Vapour pressure, 0 to 200 000. [Pa]
    over : "water" or "ice"
        The surface.

    Returns
    -------
    float or array
        Shape of `vapour_pa`; NaN where no temperature of the surface's range (-60 to 200 over water, -100 to 0.01 over
        ice) has this pressure. Solved to better than 1e-6 K. [degC]

    Raises
    ------
    ValueError
        If a pressure lies outside its range, or there is no such surface.

    Notes
    -----
    Newton's method on ln p of eqs 5 and 6, started from the Magnus form 611.2 exp(17.62 t / (243.12 + t)) of
    WMO-No. 8; five steps leave less than 1e-9 K over both ranges.
    """
    vapour = within("vapour_pa", vapour_pa, 0.0, 200_000.0)
    lowest, highest = saturation_pressure_pa(np.array(_range_c(over)), over)
    ln_p = np.log(np.where((vapour >= lowest) & (vapour <= highest), vapour, np.nan))
    magnus = (ln_p - np.log(611.2)) / 17.62
    kelvin = ZERO_CELSIUS_IN_KELVIN + 243.12 * magnus / (1.0 - magnus)
    for _ in range(5):
        kelvin = kelvin - (_ln_saturation(kelvin, over) - ln_p) / _ln_saturation_slope(kelvin, over)
    return as_given(kelvin - ZERO_CELSIUS_IN_KELVIN, vapour_pa)
