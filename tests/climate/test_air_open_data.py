"""Moist air against measured weather: typical-year files that pvlib 0.16.1 ships, air, dew point and RH in each row.

12839.tm2 (TMY2, NREL), 723170TYA.CSV and 703165TY.csv (TMY3, NREL), read where pvlib is installed, not copied.
"""

import importlib.util
from pathlib import Path

import numpy as np

from monitor.climate.air import dew_point_c, humidity_ratio_g_kg, humidity_ratio_of_vapour_g_kg
from monitor.climate.saturation import saturation_pressure_pa, saturation_temperature_c

HALF_TENTH = 0.05  # temperatures are printed to 0.1 degC
HALF_PERCENT = 0.5  # relative humidity is printed to 1 %


def _file(name):
    found = importlib.util.find_spec("pvlib")
    assert found is not None, "pvlib is not installed: pip install pvlib==0.16.1"
    assert found.origin is not None
    path = Path(found.origin).parent / "data" / name
    assert path.is_file(), f"this pvlib ships no data/{name}: pip install pvlib==0.16.1"
    return path


def _tmy2(name):
    """Air temperature, dew point [degC], relative humidity [%], pressure [Pa]; columns as in the TMY2 manual."""
    rows = _file(name).read_text(encoding="ascii").splitlines()[1:]
    cells = [(int(r[67:71]), int(r[73:77]), int(r[79:82]), int(r[84:88])) for r in rows]
    t, dew, rh, pressure = np.array(cells, dtype=float).T
    return t / 10.0, dew / 10.0, rh, pressure * 100.0


def _tmy3(name):
    """The same of a TMY3 file, by the names of its columns."""
    with _file(name).open(encoding="ascii") as lines:
        next(lines)
        names = next(lines).strip().split(",")
        columns = [names.index(c) for c in ("Dry-bulb (C)", "Dew-point (C)", "RHum (%)", "Pressure (mbar)")]
        t, dew, rh, pressure = np.loadtxt(lines, delimiter=",", usecols=columns).T
    return t, dew, rh, pressure * 100.0


def _beyond_rounding(t, dew, rh):
    """How far the printed dew point lies outside all that the printed air temperature and RH can round from. [K]"""
    driest, dampest = np.maximum(rh - HALF_PERCENT, 0.1), np.minimum(rh + HALF_PERCENT, 100.0)
    low = dew_point_c(t - HALF_TENTH, driest) - HALF_TENTH
    high = dew_point_c(t + HALF_TENTH, dampest) + HALF_TENTH
    return np.maximum(np.maximum(low - dew, dew - high), 0.0)


def test_dew_points_of_a_warm_damp_year_come_back_from_temperature_and_humidity():
    # Rounding of the three printed values (0.05 K, 0.5 %, 0.05 K) must explain 99 of 100 hours. Those who made the file
    # had another formula for saturation, which moves a dew point by some hundredths of a kelvin (0.04 K between common
    # ones, 5 to 35 degC): 0.1 K beyond rounding must explain every hour. -5 to 26 degC dew point, 20 to 100 %.
    t, dew, rh, _ = _tmy2("12839.tm2")
    assert t.size == 8760
    beyond = _beyond_rounding(t, dew, rh)
    assert np.mean(beyond == 0.0) > 0.99
    assert beyond.max() < 0.1
    assert abs(np.mean(dew_point_c(t, rh) - dew)) < 0.01


def test_humidity_ratio_is_the_same_by_humidity_and_by_dew_point_at_the_pressure_of_each_hour():
    # At 34 degC and a dew point of 26 rounding makes up 0.16 (RH) + 0.06 (air) + 0.07 g/kg (dew point); another formula
    # for saturation, 0.1 K of dew point as above, 0.13 g/kg more.
    t, dew, rh, pressure = _tmy2("12839.tm2")
    by_humidity = humidity_ratio_g_kg(t, rh, pressure)
    by_dew = humidity_ratio_of_vapour_g_kg(saturation_pressure_pa(dew), pressure)
    assert np.abs(by_humidity - by_dew).max() < 0.42
    assert abs(np.mean(by_humidity - by_dew)) < 0.01


def test_dew_points_of_a_year_with_frost_come_back_where_the_row_agrees_with_itself():
    # In a TMY3 file gaps of RH and of dew point are filled apart from each other, so some rows contradict themselves by
    # kelvins; they are few. In the rest rounding must explain the dew point, below 0 degC too: RH and dew point of this
    # file are over water.
    t, dew, rh, _ = _tmy3("723170TYA.CSV")
    assert t.size == 8760
    beyond = _beyond_rounding(t, dew, rh)
    assert np.mean(beyond == 0.0) > 0.91
    assert np.mean(beyond < 0.1) > 0.94
    assert abs(np.median(dew_point_c(t, rh) - dew)) < 0.05
    frost = t < 0.0
    assert frost.sum() > 700
    assert abs(np.median(dew_point_c(t[frost], rh[frost]) - dew[frost])) < 0.05


def test_a_station_that_reports_over_ice_in_frost_comes_back_over_ice_and_not_over_water():
    # In this file the column of dew points below 0 degC is the frost point, and RH is over ice. So it checks the ice
    # side: rounding alone (0.5 %, and 0.05 K of both temperatures) explains 99 of 100 of its hours of frost over ice,
    # and next to none over water.
    t, frost, rh, _ = _tmy3("703165TY.csv")
    t, frost, rh = (values[t < -HALF_TENTH] for values in (t, frost, rh))
    assert t.size > 1500

    def explained(over):
        low = saturation_pressure_pa(frost - HALF_TENTH, over) / saturation_pressure_pa(t + HALF_TENTH, over)
        high = saturation_pressure_pa(frost + HALF_TENTH, over) / saturation_pressure_pa(t - HALF_TENTH, over)
        return np.mean((100.0 * low - HALF_PERCENT <= rh) & (rh <= 100.0 * high + HALF_PERCENT))

    assert explained("ice") > 0.99
    assert explained("water") < 0.1
    back = saturation_temperature_c(rh / 100.0 * saturation_pressure_pa(t, "ice"), "ice")
    assert abs(np.median(back - frost)) < 0.05
