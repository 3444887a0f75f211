"""The air of a room changed: heated, cooled, dried, moistened, aired."""

import inspect
import warnings

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

with warnings.catch_warnings():  # what a third party's import has to say is not ours to fail by
    warnings.simplefilter("ignore")
    import psychrolib

from monitor.climate import room_air
from monitor.climate.air import dew_point_c, humidity_ratio_g_kg
from monitor.climate.room_air import (
    ChangedAir,
    dry_air_kg,
    heated_or_cooled,
    humidity_ratio_after_g_kg,
    moistened,
    moisture_load_kg_h,
    water_in_air_kg,
    with_water_added,
)

psychrolib.SetUnitSystem(psychrolib.SI)

TEMPERATURES = st.floats(-40.0, 60.0)
HUMIDITIES = st.floats(0.0, 100.0)
PRESSURES = st.floats(70_000.0, 110_000.0)

LOAD = {"inside_c": 20.0, "inside_pct": 50.0, "outside_c": 0.0, "outside_pct": 80.0, "volume_m3": 50.0}
LOAD |= {"air_changes_1_h": 0.5, "released_kg_h": 0.02, "pressure_pa": 95_000.0}
AFTER = {"hours": 2.0, "start_g_kg": 5.0, "outside_g_kg": 3.0, "air_changes_1_h": 0.5, "air_kg": 60.0}
AFTER |= {"released_kg_h": 0.1}
CALLS = [
    (heated_or_cooled, {"t_c": 20.0, "rh_pct": 50.0, "to_c": 5.0, "pressure_pa": 95_000.0}),
    (moistened, {"t_c": 20.0, "rh_pct": 50.0, "by_g_kg": 9.0, "pressure_pa": 95_000.0}),
    (with_water_added, {"t_c": 20.0, "rh_pct": 50.0, "water_kg": 0.5, "volume_m3": 50.0, "pressure_pa": 95_000.0}),
    (dry_air_kg, {"t_c": 20.0, "rh_pct": 50.0, "volume_m3": 50.0, "pressure_pa": 95_000.0}),
    (water_in_air_kg, {"t_c": 20.0, "rh_pct": 50.0, "volume_m3": 50.0}),
    (moisture_load_kg_h, LOAD),
    (humidity_ratio_after_g_kg, AFTER),
]
EACH_FUNCTION = pytest.mark.parametrize(("function", "arguments"), CALLS, ids=[f.__name__ for f, _ in CALLS])
EACH_ARGUMENT = pytest.mark.parametrize(
    ("function", "arguments", "name"),
    [(function, arguments, name) for function, arguments in CALLS for name in arguments],
    ids=[f"{function.__name__}-{name}" for function, arguments in CALLS for name in arguments],
)


def _numbers(result):
    return tuple(result) if isinstance(result, ChangedAir) else (result,)


def test_no_public_function_is_left_out_of_the_table():
    own = {
        function
        for _, function in inspect.getmembers(room_air, inspect.isfunction)
        if function.__module__ == room_air.__name__ and not function.__name__.startswith("_")
    }
    assert own == {function for function, _ in CALLS}
    assert all(set(arguments) == set(inspect.signature(function).parameters) for function, arguments in CALLS)


@EACH_FUNCTION
def test_floats_in_give_floats_out(function, arguments):
    assert all(type(number) is float for number in _numbers(function(**arguments)))


@EACH_ARGUMENT
def test_arrays_broadcast_against_floats(function, arguments, name):
    widened = function(**(arguments | {name: np.full((3, 2), arguments[name])}))
    for wide, number in zip(_numbers(widened), _numbers(function(**arguments)), strict=True):
        np.testing.assert_array_equal(wide, np.full((3, 2), number))


@EACH_ARGUMENT
def test_nan_passes_through_and_leaves_its_neighbour_alone(function, arguments, name):
    found = _numbers(function(**(arguments | {name: np.array([np.nan, arguments[name]])})))
    for pair, number in zip(found, _numbers(function(**arguments)), strict=True):
        assert np.isnan(pair[0])
        assert pair[1] == number


def test_air_cooled_below_its_dew_point_is_saturated_and_the_rest_drops_out():
    # psychrolib 2.5.0 (ASHRAE 2017 eqs 5, 6, 20): humidity ratio at 20 degC and 50 %, less that of saturation at 5 degC
    before = psychrolib.GetHumRatioFromRelHum(20.0, 0.5, 101_325.0)
    after = psychrolib.GetSatHumRatio(5.0, 101_325.0)
    cooled = heated_or_cooled(20.0, 50.0, 5.0)
    assert cooled.rh_pct == 100.0
    assert cooled.condensed_g_kg == pytest.approx(1000.0 * (before - after), rel=1e-6)


def test_nothing_drops_out_at_or_above_the_dew_point():
    dew = dew_point_c(20.0, 50.0)
    assert heated_or_cooled(20.0, 50.0, dew + 1e-6).condensed_g_kg == 0.0
    assert heated_or_cooled(20.0, 50.0, dew - 1e-3).condensed_g_kg > 0.0
    assert heated_or_cooled(20.0, 100.0, 20.0) == ChangedAir(100.0, 0.0)


def test_drying_takes_out_and_moistening_adds_what_it_says():
    # by hand: 7.262 g/kg at 20 degC and 50 % (psychrolib 2.5.0), 14.696 g/kg saturated; 2 g/kg less is
    # 5.262 g/kg: p = 101325 x 5.262 / (621.945 + 5.262) = 850.1 Pa of 2338.8 Pa = 36.35 %
    assert moistened(20.0, 50.0, -2.0).rh_pct == pytest.approx(36.35, abs=0.01)
    assert moistened(20.0, 50.0, 2.0).rh_pct == pytest.approx(63.57, abs=0.01)
    assert moistened(20.0, 50.0, 10.0).rh_pct == 100.0
    saturated = 1000.0 * psychrolib.GetHumRatioFromRelHum(20.0, 1.0, 101_325.0)
    assert moistened(20.0, 50.0, 10.0).condensed_g_kg == pytest.approx(17.2617 - saturated, abs=1e-3)


def test_water_added_to_a_room_is_water_added_to_each_kilogram_of_its_dry_air():
    # 0.1296 kg takes 50 m3 at 20 degC from 35 to 50 % by vapour density (psychrolib 2.5.0). Here the air that this
    # vapour displaces takes its share along: 1.17 kPa of 101.3 kPa, 1.2 % of the 15 % gained.
    assert with_water_added(20.0, 35.0, 0.1296, 50.0).rh_pct == pytest.approx(50.0 - 0.012 * 15.0, abs=0.01)
    by_g_kg = 1000.0 * 0.1296 / dry_air_kg(20.0, 35.0, 50.0)
    assert with_water_added(20.0, 35.0, 0.1296, 50.0) == moistened(20.0, 35.0, by_g_kg)


def test_dry_air_of_a_room_is_its_volume_over_the_specific_volume():
    # psychrolib 2.5.0: 0.84017 m3/kg at 20 degC and 50 %, 101 325 Pa
    volume = psychrolib.GetMoistAirVolume(20.0, psychrolib.GetHumRatioFromRelHum(20.0, 0.5, 101_325.0), 101_325.0)
    assert dry_air_kg(20.0, 50.0, 50.0) == pytest.approx(50.0 / volume, rel=2e-6)


def test_water_given_off_in_the_room_lessens_the_load():
    assert moisture_load_kg_h(**LOAD) == pytest.approx(
        moisture_load_kg_h(**(LOAD | {"released_kg_h": 0.0})) - LOAD["released_kg_h"], rel=1e-12
    )


def test_a_closed_room_keeps_all_that_is_given_off():
    # hand arithmetic: 0.1 kg/h for 2 h into 60 kg of dry air is 3.333 g/kg on top of 5
    closed = humidity_ratio_after_g_kg(**(AFTER | {"air_changes_1_h": 0.0}))
    assert closed == pytest.approx(5.0 + 200.0 / 60.0, rel=1e-12)
    nearly = humidity_ratio_after_g_kg(**(AFTER | {"air_changes_1_h": 1e-9}))
    assert nearly == pytest.approx(closed, rel=1e-6)


def test_a_room_aired_for_long_settles_at_outside_plus_what_is_given_off():
    # hand arithmetic: G / (n m) = 0.1 / (0.5 x 60) = 3.333 g/kg on top of the 3 g/kg outside
    assert humidity_ratio_after_g_kg(**(AFTER | {"hours": 1000.0})) == pytest.approx(3.0 + 100.0 / 30.0, rel=1e-12)
    assert humidity_ratio_after_g_kg(**(AFTER | {"hours": 0.0})) == 5.0


def test_the_steady_load_given_off_holds_the_room_where_it_is():
    load = moisture_load_kg_h(**(LOAD | {"released_kg_h": 0.0}))
    inside = humidity_ratio_g_kg(20.0, 50.0, 95_000.0)
    after = humidity_ratio_after_g_kg(
        np.array([0.0, 1.0, 24.0]),
        start_g_kg=inside,
        outside_g_kg=humidity_ratio_g_kg(0.0, 80.0, 95_000.0),
        air_changes_1_h=0.5,
        air_kg=dry_air_kg(20.0, 50.0, 50.0, 95_000.0),
        released_kg_h=load,
    )
    np.testing.assert_allclose(after, inside, rtol=1e-12)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: heated_or_cooled(20.0, 50.0, 90.0), "t_c 90 is outside -40 to 85"),
        (lambda: heated_or_cooled(20.0, 101.0, 25.0), "rh_pct 101 is outside 0 to 100"),
        (lambda: heated_or_cooled(20.0, 50.0, 25.0, 1013.0), "pressure_pa 1013 is outside 20000 to 180000"),
        (lambda: moistened(20.0, 0.0, -2.5), "humidity ratio after the change -2.5 is outside 0 to 10000"),
        (lambda: with_water_added(20.0, 50.0, 0.1, 0.0), "volume_m3 0 is outside 0.001 to 1000000"),
        (lambda: dry_air_kg(20.0, 50.0, -50.0), "volume_m3 -50 is outside 0.001 to 1000000"),
        (lambda: water_in_air_kg(20.0, 50.0, np.inf), "volume_m3 inf is outside 0.001 to 1000000"),
        (lambda: moisture_load_kg_h(**(LOAD | {"air_changes_1_h": -0.5})), "air_changes_1_h -0.5 is outside 0 to 100"),
        (lambda: moisture_load_kg_h(**(LOAD | {"released_kg_h": 2e3})), "released_kg_h 2000 is outside -1000 to 1000"),
        (lambda: humidity_ratio_after_g_kg(**(AFTER | {"hours": -1.0})), "hours -1 is outside 0 to 100000"),
        (lambda: humidity_ratio_after_g_kg(**(AFTER | {"start_g_kg": -1.0})), "start_g_kg -1 is outside 0 to 10000"),
        (
            lambda: humidity_ratio_after_g_kg(**(AFTER | {"outside_g_kg": -1.0})),
            "outside_g_kg -1 is outside 0 to 10000",
        ),
        (lambda: humidity_ratio_after_g_kg(**(AFTER | {"air_kg": 0.0})), "air_kg 0 is outside 0.001 to 1000000"),
        (
            lambda: humidity_ratio_after_g_kg(**(AFTER | {"released_kg_h": -2e3})),
            "released_kg_h -2000 is outside -1000 to 1000",
        ),
        (
            lambda: humidity_ratio_after_g_kg(**(AFTER | {"air_changes_1_h": 101.0})),
            "air_changes_1_h 101 is outside 0 to 100",
        ),
    ],
)
def test_a_value_outside_its_range_is_named(call, message):
    with pytest.raises(ValueError) as caught:
        call()
    assert str(caught.value) == message


@given(t=TEMPERATURES, rh=HUMIDITIES, warmer_by=st.floats(0.0, 25.0), pressure=PRESSURES)
@example(t=20.0, rh=100.0, warmer_by=0.0, pressure=101_325.0)
def test_heating_keeps_the_water_of_each_kilogram_of_dry_air(t, rh, warmer_by, pressure):
    heated = heated_or_cooled(t, rh, t + warmer_by, pressure)
    before = humidity_ratio_g_kg(t, rh, pressure)
    assert heated.condensed_g_kg == pytest.approx(0.0, abs=1e-9 * before)
    assert heated.rh_pct <= rh * (1.0 + 1e-9) + 1e-12
    assert humidity_ratio_g_kg(t + warmer_by, heated.rh_pct, pressure) == pytest.approx(before, rel=1e-9, abs=1e-12)


@given(t=TEMPERATURES, rh=HUMIDITIES, to=TEMPERATURES, pressure=PRESSURES)
def test_what_stays_and_what_drops_out_is_what_there_was(t, rh, to, pressure):
    changed = heated_or_cooled(t, rh, to, pressure)
    stayed = humidity_ratio_g_kg(to, changed.rh_pct, pressure)
    before = humidity_ratio_g_kg(t, rh, pressure)
    assert stayed + changed.condensed_g_kg == pytest.approx(before, rel=1e-9, abs=1e-12)
    assert changed.condensed_g_kg >= 0.0


@given(t=TEMPERATURES, rh=st.floats(1.0, 100.0), warmer_by=st.floats(0.0, 25.0))
def test_heating_and_cooling_back_returns(t, rh, warmer_by):
    there = heated_or_cooled(t, rh, t + warmer_by)
    assert heated_or_cooled(t + warmer_by, there.rh_pct, t).rh_pct == pytest.approx(rh, rel=1e-9)


@given(t=TEMPERATURES, rh=HUMIDITIES, share=st.floats(0.0, 1.0), volume=st.floats(1.0, 5000.0), pressure=PRESSURES)
def test_drying_and_moistening_back_returns(t, rh, share, volume, pressure):
    out_g_kg = share * humidity_ratio_g_kg(t, rh, pressure)
    dried = moistened(t, rh, -out_g_kg, pressure)
    assert moistened(t, dried.rh_pct, out_g_kg, pressure).rh_pct == pytest.approx(rh, rel=1e-9, abs=1e-9)
    out_kg = out_g_kg * dry_air_kg(t, rh, volume, pressure) / 1000.0 * (1.0 - 1e-9)
    assert with_water_added(t, rh, -out_kg, volume, pressure).rh_pct == pytest.approx(dried.rh_pct, abs=1e-6)
