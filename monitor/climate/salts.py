"""Saturated salt solutions: humidities that a sensor can be checked against with a jar, a salt and some water.

Use, after OIML R 121 sections 4 to 7: a sealed vessel held within 0.1 K, analytical-grade salt in distilled water as a
slush with 30 to 90 % of the solid undissolved, and time to settle. Values hold at about 101 325 Pa.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Generic, NamedTuple

import numpy as np

from monitor.basis.units import FloatOrArray
from monitor.climate.ranges import as_given, within

_STEP_C = 5.0  # between the temperatures at which an uncertainty is published [K]


class Salt(NamedTuple):
    """A salt's curve and how well it is known."""

    coefficients: tuple[float, ...]  # of 1, t, t^2, t^3: relative humidity [%] of t [degC]
    from_c: float  # where `uncertainty_pct` begins [degC]
    uncertainty_pct: tuple[float, ...]  # expanded, k = 2, every 5 K from `from_c` on [%]

    @property
    def range_c(self) -> tuple[float, float]:
        """First and last temperature that the reference covers. [degC]"""
        return self.from_c, self.from_c + _STEP_C * (len(self.uncertainty_pct) - 1)


# Curves: Greenspan, J. Res. NBS 81A (1977) 89-96, read in public code; that of Mg(NO3)2 from memory. Copies give the
# second term of LiCl and K2CO3 with the wrong sign: only with those below do they meet OIML R 121. Uncertainties:
# OIML R 121 (1996) table 1; it leaves out Mg(NO3)2, for which they are Greenspan's, from memory. LiCl begins at 25 degC
# because below it the literature spreads over 11.1 to 14.3 % (OIML R 121, notes 3 to 6 of table 1).
SALTS: Mapping[str, Salt] = MappingProxyType({
    "LiCl": Salt((11.2323, 0.00824245, -2.1489e-4), 25.0, (0.3, 0.3, 0.3)),
    "MgCl2": Salt((33.6686, -0.00797397, -1.08988e-3), 10.0, (0.3, 0.3, 0.2, 0.2, 0.2, 0.2)),
    "K2CO3": Salt((43.1315, 0.00147523), 10.0, (0.4, 0.4, 0.4, 0.4, 0.5)),
    "Mg(NO3)2": Salt((60.3514, -0.298153), 10.0, (0.33, 0.27, 0.23, 0.22, 0.24, 0.29)),
    "NaCl": Salt((75.5164, 0.0398321, -2.65459e-3, 2.848e-5), 10.0, (0.3, 0.2, 0.2, 0.2, 0.2, 0.2)),
    "KCl": Salt((88.6190, -0.193340, 8.99706e-4), 10.0, (0.4, 0.4, 0.3, 0.3, 0.3, 0.3)),
    "K2SO4": Salt((98.7792, -0.0590502), 10.0, (0.8, 0.7, 0.6, 0.5, 0.4, 0.4)),
})  # fmt: skip


class FixedPoint(NamedTuple, Generic[FloatOrArray]):
    """Relative humidity over a saturated solution and its expanded uncertainty (k = 2), both over water. [%]"""

    rh_pct: FloatOrArray
    uncertainty_pct: FloatOrArray


def fixed_point(salt: str, t_c: FloatOrArray) -> FixedPoint[FloatOrArray]:
    """Relative humidity in a sealed vessel over a saturated solution of `salt`.

    Parameters
    ----------
    salt : str
        One of `SALTS`, as written there.
    t_c : float or array
        Temperature of the solution, within the salt's `range_c`: 10 to 35, but K2CO3 to 30 and LiCl from 25. [degC]

    Returns
    -------
    FixedPoint of float or array
        Shape of `t_c`; the uncertainty is interpolated between the published temperatures; NaN where `t_c` is.

    Raises
    ------
    ValueError
        If there is no such salt, or a temperature lies outside its range.

    Notes
    -----
    Greenspan (1977) and OIML R 121 (1996) table 1; see `SALTS`.
    """
    if salt not in SALTS:
        raise ValueError(f"there is no fixed point of {salt!r}: use one of {', '.join(SALTS)}")
    chosen = SALTS[salt]
    t = within(f"t_c of {salt}", t_c, *chosen.range_c)
    rh = np.asarray(np.polynomial.polynomial.polyval(t, chosen.coefficients), dtype=np.float64)
    stations = chosen.from_c + _STEP_C * np.arange(len(chosen.uncertainty_pct))
    return FixedPoint(as_given(rh, t_c), as_given(np.interp(t, stations, chosen.uncertainty_pct), t_c))
