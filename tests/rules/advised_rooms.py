"""Invented rooms that ask for advice, and moist air by other formulas than the program's, for arithmetic by hand."""

from math import exp

import numpy as np

from monitor.basis.times import HOUR, MINUTE
from monitor.config.profile import Band
from monitor.rules.target import Measured, Situation
from monitor.rules.trend import Recent

NOW = 1_767_600_000_000  # 2026-01-05T08:00Z
BAND = Band(humidity=(35.0, 65.0), temperature=((60 - 32) / 1.8, (85 - 32) / 1.8))


def room(t_c, rh_pct, *, u_t=1.0, u_rh=5.0, band=BAND, **known):
    """A room at `t_c` and `rh_pct` (None: not heard) with the uncertainties of a maker's statement."""
    temperature = None if t_c is None else Measured(t_c, u_t)
    humidity = None if rh_pct is None else Measured(rh_pct, u_rh)
    return Situation(as_of=NOW, band=band, temperature=temperature, humidity=humidity, **known)


def band(low, high):
    """The usual temperatures and another band of humidity."""
    return Band(humidity=(low, high), temperature=BAND.temperature)


def line(last, per_h, *, hours=6, every=15 * MINUTE, wobble=0.0):
    """Readings on a line that ends at `last` now, every second one off by `wobble` either way."""
    t = np.arange(NOW - hours * HOUR, NOW, every, dtype=np.int64)
    sign = np.where(np.arange(len(t)) % 2 == 0, 1.0, -1.0)
    return Recent(t, last + per_h * (t - NOW) / HOUR + wobble * sign)


def psat(t_c):
    """Saturation over water, WMO-No. 8 (Magnus), within 0.2 % of ASHRAE from 0 to 35 degC. [Pa]"""
    return 611.2 * exp(17.62 * t_c / (243.12 + t_c))


def iso_psat(t_c):
    """Saturation by ISO 13788:2012 Annex E, above 0 degC. [Pa]"""
    return 610.5 * exp(17.269 * t_c / (237.3 + t_c))


def grams_m3(t_c, rh_pct):
    """Vapour in a cubic metre: ideal gas, 461.52 J/(kg K)."""
    return 1000 * rh_pct / 100 * psat(t_c) / (461.52 * (t_c + 273.15))


def ratio(t_c, rh_pct):
    """Humidity ratio, ASHRAE Fundamentals 2017 ch. 1 eq. 20. [kg/kg]"""
    p = rh_pct / 100 * psat(t_c)
    return 0.621945 * p / (101_325 - p)


def dry_air(t_c, rh_pct):
    """Dry air in a cubic metre, ASHRAE Fundamentals 2017 ch. 1 eq. 26. [kg]"""
    return 101_325 / (287.042 * (t_c + 273.15) * (1 + 1.607858 * ratio(t_c, rh_pct)))
