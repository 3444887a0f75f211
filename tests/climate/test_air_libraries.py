"""Moist air against two independent libraries (psychrolib 2.5.0, CoolProp 8.0.0) and a formula for supercooled water.

psychrolib takes the same ASHRAE equations, so it must agree to rounding; CoolProp treats moist air as a real gas, so it
agrees only within the bands given beside each check: the differences found between the two libraries themselves over
0 to 50 degC, 5 to 95 % and 101 325 Pa.
"""

import warnings

import numpy as np
import pytest

with warnings.catch_warnings():  # what a third party's import has to say is not ours to fail by
    warnings.simplefilter("ignore")
    import psychrolib
    from CoolProp.CoolProp import HAPropsSI, PropsSI

from monitor.climate.air import (
    absolute_humidity_g_m3,
    density_kg_m3,
    dew_point_c,
    enthalpy_kj_kg,
    frost_point_c,
    humidity_ratio_g_kg,
    rh_from_dew_point_pct,
    rh_from_humidity_ratio_pct,
    rh_from_vapour_pressure_pct,
    specific_volume_m3_kg,
    vapour_pressure_pa,
    wet_bulb_c,
)
from monitor.climate.saturation import saturation_pressure_pa

psychrolib.SetUnitSystem(psychrolib.SI)

GRID = [(float(t), float(rh)) for t in range(1, 50, 8) for rh in (5, 20, 35, 50, 65, 80, 95)]
PRESSURES = [101_325.0, 83_000.0]


@pytest.mark.parametrize("pressure", PRESSURES)
def test_all_quantities_agree_with_psychrolib_to_rounding(pressure):
    # psychrolib 2.5.0, ASHRAE 2017 SI. 2e-6: its constants and these are the same figures; only 1.607858 is 1/0.621945
    # rounded (1 ppm).
    for t, rh in GRID:
        ratio = psychrolib.GetHumRatioFromRelHum(t, rh / 100.0, pressure)
        volume = psychrolib.GetMoistAirVolume(t, ratio, pressure)
        assert vapour_pressure_pa(t, rh) == pytest.approx(psychrolib.GetVapPresFromRelHum(t, rh / 100.0), rel=1e-9)
        assert humidity_ratio_g_kg(t, rh, pressure) == pytest.approx(1000.0 * ratio, rel=1e-9)
        assert specific_volume_m3_kg(t, rh, pressure) == pytest.approx(volume, rel=2e-6)
        assert density_kg_m3(t, rh, pressure) == pytest.approx(
            psychrolib.GetMoistAirDensity(t, ratio, pressure), rel=2e-6
        )
        assert enthalpy_kj_kg(t, rh, pressure) == pytest.approx(
            psychrolib.GetMoistAirEnthalpy(t, ratio) / 1000.0, rel=1e-9
        )
        assert absolute_humidity_g_m3(t, rh) == pytest.approx(1000.0 * ratio / volume, rel=2e-6)


def test_dew_point_and_wet_bulb_agree_with_psychrolib_within_its_solver():
    # psychrolib 2.5.0 stops its searches at 0.001 K. Below 0 degC it goes over to ice: only states above are compared.
    for t, rh in GRID:
        dew = psychrolib.GetTDewPointFromRelHum(t, rh / 100.0)
        if dew > 0.1:
            assert dew_point_c(t, rh) == pytest.approx(dew, abs=0.002)
        bulb = psychrolib.GetTWetBulbFromRelHum(t, rh / 100.0, 101_325.0)
        if bulb > 0.1:
            assert wet_bulb_c(t, rh) == pytest.approx(bulb, abs=0.002)


def test_frost_point_agrees_with_psychrolib_within_its_solver():
    # below 0 degC psychrolib's dew point is the frost point
    for t, rh in [(1.0, 35.0), (11.0, 20.0), (21.0, 5.0), (0.5, 90.0)]:
        frost = psychrolib.GetTDewPointFromRelHum(t, rh / 100.0)
        assert frost < 0.0
        assert frost_point_c(t, rh) == pytest.approx(frost, abs=0.002)


def test_the_inverses_agree_with_psychrolib():
    for t, rh in GRID:
        ratio = psychrolib.GetHumRatioFromRelHum(t, rh / 100.0, 95_000.0)
        vapour = psychrolib.GetVapPresFromRelHum(t, rh / 100.0)
        assert rh_from_humidity_ratio_pct(t, 1000.0 * ratio, 95_000.0) == pytest.approx(rh, rel=1e-9)
        assert rh_from_vapour_pressure_pct(t, vapour) == pytest.approx(rh, rel=1e-9)
        dew = t - 0.9
        expected = 100.0 * psychrolib.GetRelHumFromTDewPoint(t, dew)
        assert rh_from_dew_point_pct(t, dew) == pytest.approx(expected, rel=1e-9)


def test_over_ice_saturation_agrees_with_psychrolib():
    for t in np.arange(-100.0, 0.0, 7.0):
        expected = psychrolib.GetSatVapPres(float(t))
        assert saturation_pressure_pa(float(t), "ice") == pytest.approx(expected, rel=1e-9)


def test_over_water_saturation_agrees_with_steam_properties():
    # CoolProp 8.0.0, IAPWS-95: 93 to 225 ppm above Hyland-Wexler over 0 to 50 degC, so 300 ppm
    for t in (0.5, 10.0, 20.0, 30.0, 40.0, 50.0):
        assert saturation_pressure_pa(t) == pytest.approx(PropsSI("P", "T", t + 273.15, "Q", 0, "Water"), rel=3e-4)


def test_over_supercooled_water_saturation_agrees_with_murphy_and_koop():
    # Murphy and Koop (2005), Q. J. R. Meteorol. Soc. 131, 1539, eq. 10, 123 to 332 K. Hyland-Wexler is carried on below
    # 0 degC here: what that costs is what the docstring says.
    def murphy_koop(kelvin):
        ln = np.log(kelvin)
        bend = np.tanh(0.0415 * (kelvin - 218.8)) * (53.878 - 1331.22 / kelvin - 9.44523 * ln + 0.014025 * kelvin)
        return np.exp(54.842763 - 6763.22 / kelvin - 4.210 * ln + 0.000367 * kelvin + bend)

    above = {t: saturation_pressure_pa(t) / murphy_koop(t + 273.15) - 1.0 for t in (0.0, -20.0, -40.0, -60.0)}
    assert above[0.0] == pytest.approx(0.0, abs=1e-5)
    assert above[-20.0] == pytest.approx(0.001, abs=2e-4)
    assert above[-40.0] == pytest.approx(0.007, abs=5e-4)
    assert above[-60.0] == pytest.approx(0.048, abs=1e-3)


def test_real_moist_air_lies_within_the_agreed_bands():
    # CoolProp 8.0.0 HAPropsSI against these ideal-gas equations, largest difference found: humidity ratio and absolute
    # humidity 0.62 %, dew point above 0 degC 0.019 K, density 0.061 %, specific volume 0.060 %, wet bulb 0.025 K,
    # enthalpy 1.06 kJ/kg (at 50 degC and 95 %; 0.07 at 20 degC and 50 %)
    for t, rh in GRID:
        state = ("T", t + 273.15, "P", 101_325.0, "R", rh / 100.0)
        ratio = HAPropsSI("W", *state)
        assert humidity_ratio_g_kg(t, rh) == pytest.approx(1000.0 * ratio, rel=0.0065)
        assert specific_volume_m3_kg(t, rh) == pytest.approx(HAPropsSI("Vda", *state), rel=6.5e-4)
        assert density_kg_m3(t, rh) == pytest.approx(1.0 / HAPropsSI("Vha", *state), rel=6.5e-4)
        assert absolute_humidity_g_m3(t, rh) == pytest.approx(1000.0 * ratio / HAPropsSI("Vda", *state), rel=0.0065)
        assert enthalpy_kj_kg(t, rh) == pytest.approx(HAPropsSI("Hda", *state) / 1000.0, abs=1.1)
        dew, bulb = HAPropsSI("Tdp", *state) - 273.15, HAPropsSI("Twb", *state) - 273.15
        if dew > 0.1:
            assert dew_point_c(t, rh) == pytest.approx(dew, abs=0.02)
        if bulb > 0.1:
            assert wet_bulb_c(t, rh) == pytest.approx(bulb, abs=0.026)
    assert enthalpy_kj_kg(20.0, 50.0) == pytest.approx(
        HAPropsSI("Hda", "T", 293.15, "P", 101_325.0, "R", 0.5) / 1000.0, abs=0.08
    )


def test_frost_point_lies_within_the_agreed_band_of_real_moist_air():
    # CoolProp 8.0.0: 0.012 K
    for t, rh in [(1.0, 35.0), (11.0, 20.0), (21.0, 5.0)]:
        found = HAPropsSI("Tdp", "T", t + 273.15, "P", 101_325.0, "R", rh / 100.0) - 273.15
        assert found < 0.0
        assert frost_point_c(t, rh) == pytest.approx(found, abs=0.015)
