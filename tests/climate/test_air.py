"""Moist air: what holds for every input, which values are refused, shapes and NaN."""

import inspect

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.climate import air, saturation
from monitor.climate.air import (
    absolute_humidity_g_m3,
    altitude_pressure_pa,
    density_kg_m3,
    dew_point_c,
    enthalpy_kj_kg,
    frost_point_c,
    humidity_ratio_g_kg,
    humidity_ratio_of_vapour_g_kg,
    rh_from_dew_point_pct,
    rh_from_humidity_ratio_pct,
    rh_from_vapour_pressure_pct,
    specific_volume_m3_kg,
    vapour_pressure_pa,
    wet_bulb_c,
)
from monitor.climate.saturation import saturation_pressure_pa, saturation_temperature_c

TEMPERATURES = st.floats(-40.0, 85.0)
HUMIDITIES = st.floats(0.0, 100.0)
PRESSURES = st.floats(70_000.0, 110_000.0)

# every public function, with arguments that all broadcast
CALLS = [
    (saturation_pressure_pa, (20.0,)),
    (saturation_temperature_c, (1200.0,)),
    (vapour_pressure_pa, (20.0, 50.0)),
    (dew_point_c, (20.0, 50.0)),
    (frost_point_c, (-5.0, 50.0)),
    (humidity_ratio_of_vapour_g_kg, (1200.0, 95_000.0)),
    (humidity_ratio_g_kg, (20.0, 50.0, 95_000.0)),
    (absolute_humidity_g_m3, (20.0, 50.0)),
    (enthalpy_kj_kg, (20.0, 50.0, 95_000.0)),
    (specific_volume_m3_kg, (20.0, 50.0, 95_000.0)),
    (density_kg_m3, (20.0, 50.0, 95_000.0)),
    (altitude_pressure_pa, (500.0,)),
    (wet_bulb_c, (20.0, 50.0, 95_000.0)),
    (rh_from_vapour_pressure_pct, (20.0, 1200.0)),
    (rh_from_dew_point_pct, (20.0, 9.0)),
    (rh_from_humidity_ratio_pct, (20.0, 7.0, 95_000.0)),
]
EACH_FUNCTION = pytest.mark.parametrize(("function", "arguments"), CALLS, ids=[f.__name__ for f, _ in CALLS])
EACH_ARGUMENT = pytest.mark.parametrize(
    ("function", "arguments", "place"),
    [(function, arguments, place) for function, arguments in CALLS for place in range(len(arguments))],
)


def test_no_public_function_is_left_out_of_the_table():
    own = {
        function
        for room in (air, saturation)
        for _, function in inspect.getmembers(room, inspect.isfunction)
        if function.__module__ == room.__name__ and not function.__name__.startswith("_")
    }
    assert own == {function for function, _ in CALLS}


@EACH_FUNCTION
def test_a_float_in_gives_a_float_out(function, arguments):
    assert type(function(*arguments)) is float


@EACH_ARGUMENT
def test_arrays_broadcast_against_floats(function, arguments, place):
    value = function(*arguments)
    widened = [np.full((3, 2), a) if i == place else a for i, a in enumerate(arguments)]
    result = function(*widened)
    assert isinstance(result, np.ndarray)
    assert result.shape == (3, 2)
    np.testing.assert_array_equal(result, np.full((3, 2), value))


@EACH_ARGUMENT
def test_nan_passes_through_and_leaves_its_neighbour_alone(function, arguments, place):
    with_nan = [np.array([np.nan, a]) if i == place else a for i, a in enumerate(arguments)]
    first, second = function(*with_nan)
    assert np.isnan(first)
    assert second == function(*arguments)
    alone = [np.nan if i == place else a for i, a in enumerate(arguments)]
    assert np.isnan(function(*alone))


@EACH_FUNCTION
def test_the_arguments_are_not_written_to(function, arguments):
    arrays = [np.full(3, a) for a in arguments]
    function(*arrays)
    for array, value in zip(arrays, arguments, strict=True):
        np.testing.assert_array_equal(array, np.full(3, value))


@EACH_FUNCTION
def test_an_empty_array_gives_an_empty_array(function, arguments):
    assert function(*[np.empty(0) for _ in arguments]).shape == (0,)


T_C = "t_c {} is outside -40 to 85"
RH = "rh_pct {} is outside 0 to 100"
PRESSURE = "pressure_pa {} is outside 20000 to 180000"


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: saturation_pressure_pa(-60.1), "t_c -60.1 is outside -60 to 200"),
        (lambda: saturation_pressure_pa(200.1), "t_c 200.1 is outside -60 to 200"),
        (lambda: saturation_pressure_pa(-100.5, "ice"), "t_c -100.5 is outside -100 to 0.01"),
        (lambda: saturation_pressure_pa(0.02, "ice"), "t_c 0.02 is outside -100 to 0.01"),
        (lambda: saturation_pressure_pa(5.0, "snow"), "there is no saturation over 'snow': use 'water' or 'ice'"),
        (lambda: saturation_temperature_c(5.0, "snow"), "there is no saturation over 'snow': use 'water' or 'ice'"),
        (lambda: saturation_temperature_c(-1.0), "vapour_pa -1 is outside 0 to 200000"),
        (lambda: vapour_pressure_pa(-40.01, 50.0), T_C.format(-40.01)),
        (lambda: vapour_pressure_pa(85.01, 50.0), T_C.format(85.01)),
        (lambda: vapour_pressure_pa(20.0, -0.5), RH.format(-0.5)),
        (lambda: vapour_pressure_pa(20.0, 100.1), RH.format(100.1)),
        (lambda: vapour_pressure_pa(20.0, np.inf), RH.format("inf")),
        (lambda: vapour_pressure_pa(np.array([1.0, np.nan, 99.0, 98.0]), 50.0), T_C.format(99)),
        (lambda: dew_point_c(20.0, 101.0), RH.format(101)),
        (lambda: frost_point_c(-50.0, 50.0), T_C.format(-50)),
        (lambda: humidity_ratio_of_vapour_g_kg(-1.0), "vapour_pa -1 is outside 0 to 180000"),
        (lambda: humidity_ratio_of_vapour_g_kg(1000.0, 101.325), PRESSURE.format(101.325)),
        (
            lambda: humidity_ratio_of_vapour_g_kg(np.array([900.0, 30_000.0]), 30_000.0),
            "vapour pressure 30000 Pa is not below the air's 30000 Pa",
        ),
        (lambda: humidity_ratio_g_kg(20.0, 50.0, 200_000.0), PRESSURE.format(200000)),
        (lambda: absolute_humidity_g_m3(20.0, 150.0), RH.format(150)),
        (lambda: enthalpy_kj_kg(90.0, 50.0), T_C.format(90)),
        (lambda: specific_volume_m3_kg(20.0, 50.0, 1013.0), PRESSURE.format(1013)),
        (lambda: density_kg_m3(20.0, 50.0, 19_999.0), PRESSURE.format(19999)),
        (lambda: altitude_pressure_pa(12_000.0), "altitude_m 12000 is outside -5000 to 11000"),
        (lambda: wet_bulb_c(20.0, 50.0, 1.0), PRESSURE.format(1)),
        (lambda: rh_from_vapour_pressure_pct(120.0, 50.0), T_C.format(120)),
        (lambda: rh_from_vapour_pressure_pct(20.0, -3.0), "vapour_pa -3 is outside 0 to 180000"),
        (lambda: rh_from_dew_point_pct(20.0, -61.0), "dew_c -61 is outside -60 to 85"),
        (lambda: rh_from_humidity_ratio_pct(20.0, -1.0), "ratio_g_kg -1 is outside 0 to 10000"),
        (lambda: rh_from_humidity_ratio_pct(20.0, 5.0, 1.0), PRESSURE.format(1)),
    ],
)
def test_a_value_outside_its_range_is_named(call, message):
    with pytest.raises(ValueError) as caught:
        call()
    assert str(caught.value) == message


@pytest.mark.parametrize(
    "call",
    [
        lambda: rh_from_dew_point_pct(20.0, 20.1),
        lambda: rh_from_vapour_pressure_pct(20.0, 2400.0),
        lambda: rh_from_humidity_ratio_pct(20.0, 15.0),
    ],
)
def test_air_that_would_hold_more_than_it_can_is_refused(call):
    with pytest.raises(ValueError, match=r"^relative humidity 10\d\.\d+ is outside 0 to 100\.0000001$"):
        call()


def test_the_ends_of_the_ranges_are_within():
    assert vapour_pressure_pa(-40.0, 0.0) == 0.0
    assert vapour_pressure_pa(85.0, 100.0) == saturation_pressure_pa(85.0)
    assert altitude_pressure_pa(11_000.0) > 20_000.0
    assert altitude_pressure_pa(-5_000.0) < 180_000.0


def test_bone_dry_air_has_no_dew_point_no_frost_point_and_no_warning():
    assert np.isnan(dew_point_c(20.0, 0.0))
    assert np.isnan(frost_point_c(20.0, 0.0))
    assert humidity_ratio_g_kg(20.0, 0.0) == 0.0


def test_warm_damp_air_has_no_frost_point():
    # its vapour pressure is above that of the triple point, 611.657 Pa: it meets dew first
    assert np.isnan(frost_point_c(20.0, 50.0))


def test_saturated_freezing_air_has_a_frost_point_above_its_temperature():
    # at -5 degC saturation over water is 4.9 % above that over ice (psychrolib 2.5.0 against eq. 6 carried on)
    ratio = saturation_pressure_pa(-5.0) / saturation_pressure_pa(-5.0, "ice")
    assert ratio == pytest.approx(1.049, abs=0.002)
    assert frost_point_c(-5.0, 100.0) > -5.0
    assert dew_point_c(-5.0, 100.0) == pytest.approx(-5.0, abs=1e-9)


def test_the_two_surfaces_meet_at_the_triple_point():
    # triple point of water: 0.01 degC, 611.657 Pa (Guildner et al. 1976)
    assert saturation_pressure_pa(0.01) == pytest.approx(611.657, rel=3e-4)
    assert saturation_pressure_pa(0.01, "ice") == pytest.approx(saturation_pressure_pa(0.01), rel=1e-4)


@pytest.mark.parametrize(("over", "low", "high"), [("water", -60.0, 115.0), ("ice", -100.0, 0.01)])
def test_saturation_temperature_undoes_saturation_pressure_to_a_millionth_of_a_kelvin(over, low, high):
    t = np.linspace(low, high, 20_001)
    back = saturation_temperature_c(saturation_pressure_pa(t, over), over)
    np.testing.assert_allclose(back, t, rtol=0, atol=1e-9)


def test_dew_point_of_saturated_air_is_not_above_its_temperature_by_rounding_either():
    t = np.linspace(-40.0, 85.0, 10_001)
    dew = dew_point_c(t, 100.0)
    assert np.all(dew <= t)
    np.testing.assert_allclose(dew, t, rtol=0, atol=1e-9)


@given(t=TEMPERATURES, rh=HUMIDITIES)
@example(t=-40.0, rh=100.0)
@example(t=85.0, rh=100.0)
@example(t=20.0, rh=100.0)
@example(t=20.0, rh=5e-324)
def test_dew_point_is_never_above_the_air_temperature(t, rh):
    dew = dew_point_c(t, rh)
    assert np.isnan(dew) or dew <= t
    assert not np.isnan(dew) or vapour_pressure_pa(t, rh) <= saturation_pressure_pa(-60.0)


@given(t=TEMPERATURES, rh=HUMIDITIES, pressure=PRESSURES)
def test_wet_bulb_lies_between_dew_point_and_air_temperature(t, rh, pressure):
    bulb = wet_bulb_c(t, rh, pressure)
    assert bulb <= t
    assert not bulb < dew_point_c(t, rh) - 1e-6


@given(t=TEMPERATURES, rh=st.floats(0.1, 100.0))
def test_frost_point_is_not_below_dew_point(t, rh):
    frost, dew = frost_point_c(t, rh), dew_point_c(t, rh)
    assert np.isnan(frost) or np.isnan(dew) or frost >= dew - 1e-6 or dew > 0.0


@given(t=TEMPERATURES, dry=HUMIDITIES, wet=HUMIDITIES)
def test_wetter_air_never_has_a_lower_dew_point(t, dry, wet):
    low, high = sorted((dry, wet))
    assert not dew_point_c(t, high) < dew_point_c(t, low) - 1e-9


@given(t=TEMPERATURES, rh=HUMIDITIES, pressure=PRESSURES)
def test_relative_humidity_comes_back_from_everything_made_of_it(t, rh, pressure):
    assert rh_from_vapour_pressure_pct(t, vapour_pressure_pa(t, rh)) == pytest.approx(rh, rel=1e-9, abs=1e-9)
    ratio = humidity_ratio_g_kg(t, rh, pressure)
    assert rh_from_humidity_ratio_pct(t, ratio, pressure) == pytest.approx(rh, rel=1e-9, abs=1e-9)
    dew = dew_point_c(t, rh)
    assert np.isnan(dew) or rh_from_dew_point_pct(t, dew) == pytest.approx(rh, rel=1e-7)


@given(t=TEMPERATURES, rh=HUMIDITIES, pressure=PRESSURES)
def test_mass_per_volume_is_mass_per_dry_air_over_its_volume(t, rh, pressure):
    volume, ratio = specific_volume_m3_kg(t, rh, pressure), humidity_ratio_g_kg(t, rh, pressure)
    assert ratio / volume == pytest.approx(absolute_humidity_g_m3(t, rh), rel=1e-9, abs=1e-12)
    assert (1.0 + ratio / 1000.0) / volume == pytest.approx(density_kg_m3(t, rh, pressure), rel=1e-12)


@given(state=st.lists(st.tuples(TEMPERATURES, HUMIDITIES), min_size=1, max_size=5))
def test_an_array_is_its_values_one_by_one(state):
    t, rh = np.array(state).T
    for function in (dew_point_c, frost_point_c, wet_bulb_c, enthalpy_kj_kg):
        singly = [function(float(a), float(b)) for a, b in state]
        np.testing.assert_allclose(function(t, rh), singly, rtol=0, atol=1e-9)
