import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.climate.surface import (
    condenses,
    critical_surface_temperature_c,
    f_rsi_needed,
    favours_mould,
    humidity_class,
    iso_saturation_pressure_pa,
    iso_saturation_temperature_c,
    surface_humidity_pct,
    surface_temperature_c,
    temperature_factor,
    temperature_factor_of_wall,
    vapour_excess_limit_pa,
    vapour_excess_pa,
)


@pytest.mark.parametrize(
    ("t", "pressure"), [(-20.0, 103.24), (-5.0, 401.74), (5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3)]
)
def test_saturation_agrees_with_the_steam_table(t, pressure):
    # ASHRAE Handbook, Fundamentals (SI) 2017 ch. 1 Table 3, as read in psychrolib's tests. The standard's formula is
    # lower by design, 0.06 to 0.18 % above 0 degC, 0.5 % at -20 degC; ice for water would miss by 5 % at -5 degC.
    assert iso_saturation_pressure_pa(t) == pytest.approx(pressure, rel=0.002 if t > -10 else 0.005)


def test_saturation_at_freezing_is_the_standards_own_and_does_not_jump():
    # ISO 13788:2012 Annex E: 610.5 Pa at 0 degC by both branches.
    assert iso_saturation_pressure_pa(0.0) == 610.5
    assert iso_saturation_pressure_pa(-1e-9) == pytest.approx(610.5, rel=1e-9)


def test_saturation_at_20_degc_is_the_figure_that_worked_examples_use():
    # 2337 Pa in the repository pachi/condensaciones and in ISO 13788 examples, printed without decimals.
    assert iso_saturation_pressure_pa(20.0) == pytest.approx(2337.0, abs=0.5)


@given(t=st.floats(-40, 85))
def test_saturation_temperature_is_the_inverse_of_saturation_pressure(t):
    assert iso_saturation_temperature_c(iso_saturation_pressure_pa(t)) == pytest.approx(t, abs=1e-9)


@pytest.mark.parametrize(
    ("indoor", "rh", "surface", "expected"),
    [(20.0, 50.0, 12.6, 80.15), (21.0, 45.0, 14.0, 70.02), (22.0, 60.0, 16.0, 87.26), (20.0, 60.0, 12.0, 100.05)],
)
def test_surface_humidity_agrees_with_another_saturation_formula(indoor, rh, surface, expected):
    # psychrolib 2.5.0 (Hyland and Wexler). 0.1: both pressures of the ratio are off the same way.
    assert surface_humidity_pct(indoor, rh, surface) == pytest.approx(expected, abs=0.1)


def test_mould_needs_12_point_6_degrees_at_20_degc_and_50_pct():
    # DIN 4108-2 climate, 12.6 degC printed at deceuninck.de and wohnbar.de.
    assert critical_surface_temperature_c(20.0, 50.0) == pytest.approx(12.6, abs=0.05)


def test_the_dew_point_is_9_point_3_degrees_at_20_degc_and_50_pct():
    # deceuninck.de, printed to 0.1.
    assert critical_surface_temperature_c(20.0, 50.0, 100.0) == pytest.approx(9.3, abs=0.05)


def test_the_factor_needed_in_the_german_climate_is_0_70():
    # DIN 4108-2: 20 degC, 50 %, -5 degC outside, fRsi >= 0.70 (bauko.info), two digits of 0.705.
    assert f_rsi_needed(20.0, -5.0, 50.0) == pytest.approx(0.70, abs=0.006)


@pytest.mark.parametrize(("rh", "factor"), [(55.0, 0.60574531), (75.0, 0.930793648), (20.0, -0.36882331)])
def test_the_factor_needed_agrees_with_another_implementation(rh, factor):
    # pachi/condensaciones test_comprobaciones.py, 20 degC inside, 5 outside, psat(20) = 2337 where the formula gives
    # 2336.95: 1e-4.
    assert f_rsi_needed(20.0, 5.0, rh) == pytest.approx(factor, abs=1e-4)


def test_a_plain_walls_factor_from_its_resistances():
    # BS 5250 worked example at reuven.tools: 1 - 0.13 / 2.5 = 0.948.
    assert temperature_factor_of_wall(0.13, 2.5) == pytest.approx(0.948, abs=0.0005)


def test_a_surface_lies_between_outdoors_and_the_room_by_its_factor():
    # Hand: -5 + 0.7 x 25 = 12.5.
    assert surface_temperature_c(20.0, -5.0, 0.7) == pytest.approx(12.5, abs=1e-12)
    assert surface_temperature_c(20.0, -5.0, 0.0) == -5.0
    assert surface_temperature_c(20.0, -5.0, 1.0) == 20.0


def test_very_dry_air_needs_no_warmer_a_surface_than_outdoors():
    assert f_rsi_needed(5.0, -5.0, 0.1) < -3.0


@given(indoor=st.floats(10, 40), fall=st.floats(1, 40), factor=st.floats(0, 1))
def test_the_factor_seen_is_the_factor_put_in(indoor, fall, factor):
    surface = surface_temperature_c(indoor, indoor - fall, factor)
    assert temperature_factor(surface, indoor, indoor - fall) == pytest.approx(factor, abs=1e-9)


@given(indoor=st.floats(5, 40), rh=st.floats(5, 100), limit=st.floats(50, 100))
def test_at_its_critical_temperature_a_surface_is_at_the_limit(indoor, rh, limit):
    critical = critical_surface_temperature_c(indoor, rh, limit)
    assert surface_humidity_pct(indoor, rh, critical) == pytest.approx(limit, rel=1e-9)


@given(indoor=st.floats(5, 40), rh=st.floats(1, 100), surface=st.floats(-10, 40), colder=st.floats(0.01, 10))
def test_a_colder_surface_is_damper(indoor, rh, surface, colder):
    assert surface_humidity_pct(indoor, rh, surface - colder) > surface_humidity_pct(indoor, rh, surface)


def test_the_room_itself_is_a_surface_as_damp_as_the_air():
    assert surface_humidity_pct(21.0, 47.0, 21.0) == pytest.approx(47.0, abs=1e-12)


def test_exactly_80_pct_is_no_mould_and_exactly_100_pct_is_condensation():
    assert favours_mould(20.0, np.array([79.0, 80.0, 80.1]), 20.0).tolist() == [False, False, True]
    assert condenses(20.0, np.array([99.9, 100.0]), 20.0).tolist() == [False, True]


def test_what_is_unknown_neither_condenses_nor_favours_mould():
    assert not condenses(20.0, float("nan"), 5.0)
    assert not favours_mould(float("nan"), 60.0, 5.0)


def test_vapour_excess_is_the_difference_of_two_vapour_pressures():
    # Hand with ISO 13788's figures: 0.5 x 2337 - 0.8 x 610.5 = 680.1 Pa.
    assert vapour_excess_pa(20.0, 50.0, 0.0, 80.0) == pytest.approx(680.1, abs=0.3)


@pytest.mark.parametrize(("number", "limit"), [(1, 270.0), (2, 540.0), (3, 810.0), (4, 1080.0), (5, np.inf)])
def test_the_humidity_classes_end_at_the_standards_pressures(number, limit):
    # ISO 13788:2012 Annex A, values as in pachi/condensaciones; the fall to 0 at 20 degC from memory.
    assert vapour_excess_limit_pa(number, -5.0) == limit
    assert vapour_excess_limit_pa(number, 0.0) == limit
    assert vapour_excess_limit_pa(number, 10.0) == limit / 2.0
    assert vapour_excess_limit_pa(number, 20.0) == 0.0
    assert vapour_excess_limit_pa(number, 28.0) == 0.0


def test_a_building_has_the_first_class_whose_limit_holds_its_excess():
    excess = np.array([-50.0, 270.0, 270.1, 680.1, 1080.0, 1081.0, np.nan])
    assert humidity_class(excess, 0.0)[:-1].tolist() == [1.0, 1.0, 2.0, 3.0, 4.0, 5.0]
    assert np.isnan(humidity_class(excess, 0.0)[-1])
    assert humidity_class(300.0, 10.0) == 3.0, "at 10 degC the limits are half as high"


def test_from_20_degc_up_there_is_no_humidity_class():
    assert np.isnan(humidity_class(100.0, 20.0))
    assert np.isnan(humidity_class(-100.0, 25.0))


def test_floats_give_floats_and_arrays_arrays():
    assert isinstance(surface_humidity_pct(20.0, 50.0, 12.0), float)
    assert isinstance(f_rsi_needed(20.0, -5.0, 50.0), float)
    assert isinstance(humidity_class(100.0, 5.0), float)
    assert f_rsi_needed(np.array([20.0, 22.0]), np.array([[-5.0], [0.0]]), 50.0).shape == (2, 2)


def test_nan_passes_through():
    nan = float("nan")
    for result in (
        iso_saturation_pressure_pa(nan),
        iso_saturation_temperature_c(nan),
        surface_temperature_c(nan, -5.0, 0.7),
        surface_humidity_pct(20.0, nan, 12.0),
        critical_surface_temperature_c(20.0, nan),
        f_rsi_needed(20.0, nan, 50.0),
        temperature_factor(nan, 20.0, -5.0),
        temperature_factor_of_wall(nan, 2.0),
        vapour_excess_pa(20.0, 50.0, nan, 80.0),
        vapour_excess_limit_pa(3, nan),
    ):
        assert np.isnan(result)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: iso_saturation_pressure_pa(-41.0), "t_c -41 is outside -40 to 85"),
        (lambda: iso_saturation_temperature_c(0.0), "vapour_pa 0 is outside 0.001 to 200000"),
        (lambda: surface_temperature_c(20.0, -5.0, 1.1), "f_rsi 1.1 is outside 0 to 1"),
        (lambda: surface_temperature_c(90.0, -5.0, 0.7), "indoor_c 90 is outside -40 to 85"),
        (lambda: temperature_factor(12.0, -5.0, -5.0), "indoor_c -5 is not above outdoor_c -5"),
        (lambda: temperature_factor(99.0, 20.0, -5.0), "surface_c 99 is outside -40 to 85"),
        (lambda: f_rsi_needed(20.0, 25.0, 50.0), "indoor_c 20 is not above outdoor_c 25"),
        (lambda: f_rsi_needed(20.0, -5.0, 0.0), "rh_pct 0 is outside 0.1 to 100"),
        (lambda: critical_surface_temperature_c(20.0, 50.0, 49.0), "limit_pct 49 is outside 50 to 100"),
        (lambda: temperature_factor_of_wall(0.13, 0.0), "total_m2k_w 0 is outside 0.01 to 100"),
        (lambda: temperature_factor_of_wall(-0.1, 2.0), "surface_m2k_w -0.1 is outside 0 to 10"),
        (lambda: surface_humidity_pct(20.0, 50.0, -41.0), "surface_c -41 is outside -40 to 85"),
        (lambda: surface_humidity_pct(86.0, 50.0, 12.0), "indoor_c 86 is outside -40 to 85"),
        (lambda: surface_humidity_pct(20.0, 100.5, 12.0), "rh_pct 100.5 is outside 0 to 100"),
        (lambda: vapour_excess_pa(20.0, 50.0, 0.0, 101.0), "outdoor_rh_pct 101 is outside 0 to 100"),
        (lambda: vapour_excess_limit_pa(6, 0.0), "humidity_class 6 is outside 1 to 5"),
        (lambda: vapour_excess_limit_pa(3, -41.0), "outdoor_c -41 is outside -40 to 85"),
        (lambda: humidity_class(1e5, 0.0), "excess_pa 100000 is outside -20000 to 20000"),
    ],
)
def test_a_value_out_of_range_is_named(call, message):
    with pytest.raises(ValueError, match=f"^{re.escape(message)}$"):
        call()
