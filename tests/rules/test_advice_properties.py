"""Advice on any air: never away from the band, never over what the wall bears, never a negative amount; cautions."""

import math

import pytest
from advised_rooms import NOW, room
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.climate.air import SEA_LEVEL_PA
from monitor.climate.room_air import heated_or_cooled
from monitor.climate.surface import surface_humidity_pct, surface_temperature_c
from monitor.config.profile import Band
from monitor.rules.advice import advice
from monitor.rules.cautions import CAUTIONS, HEATING, Caution
from monitor.rules.target import Measured, Situation, side_of, target, water

TINY = 1e-6


def pairs(low, high):
    return st.lists(st.floats(low, high), min_size=2, max_size=2, unique=True).map(lambda two: tuple(sorted(two)))


def known(low, high):
    return st.one_of(st.none(), st.floats(low, high))


situations = st.builds(
    Situation,
    as_of=st.just(NOW),
    band=st.builds(Band, humidity=pairs(0.0, 100.0), temperature=pairs(-5.0, 45.0)),
    temperature=st.builds(Measured, st.floats(-30.0, 50.0), st.floats(0.0, 5.0)),
    humidity=st.builds(Measured, st.floats(0.0, 105.0), st.floats(0.0, 10.0)),
    phase=st.sampled_from(["before", "during", "after"]),
    outdoor_c=known(-40.0, 45.0),
    outdoor_pct=known(0.0, 105.0),
    f_rsi=known(0.0, 1.0),
    volume_m3=known(1.0, 500.0),
    air_changes_1_h=known(0.0, 10.0),
    boards_kg=known(0.0, 2000.0),
    core=st.sampled_from(["HDF", "plywood", "solid wood", "PVC or mineral"]),
    boxes_c=st.one_of(st.none(), pairs(-20.0, 40.0)),
    pressure_pa=st.floats(70_000.0, SEA_LEVEL_PA),
)


def away(value, limits):
    """How far outside. 0 inside."""
    return max(limits[0] - value, value - limits[1], 0.0)


@settings(deadline=None)
@given(situation=situations)
def test_the_temperature_advised_is_in_band_and_the_nearest_where_it_already_is(situation):
    now, limits, aim = situation.temperature.value, situation.band.temperature, target(situation)
    assert away(aim.temperature_c, limits) <= TINY
    if not side_of(now, limits):
        assert aim.temperature_c == now


@settings(deadline=None)
@given(situation=situations)
def test_water_moves_the_air_towards_the_band_and_never_across_it(situation):
    aim, limits = target(situation), situation.band.humidity
    assert away(aim.humidity_pct, limits) <= away(aim.left_alone_pct, limits) + TINY
    if "moisten" in aim.moves:
        assert aim.left_alone_pct < limits[0]
        assert aim.humidity_pct <= limits[1] + TINY
    if "dry" in aim.moves:
        assert aim.humidity_pct >= limits[0] - TINY


@settings(deadline=None)
@given(situation=situations)
def test_without_a_move_no_water_and_no_heat_is_moved(situation):
    aim = target(situation)
    if not {"moisten", "dry"} & set(aim.moves):
        assert aim.humidity_pct == pytest.approx(aim.left_alone_pct, abs=TINY)
        assert aim.instead_c is None
    if not {"heat", "cool"} & set(aim.moves):
        assert aim.temperature_c == situation.temperature.value
    assert not {"moisten", "dry"} <= set(aim.moves)
    assert not {"heat", "cool"} <= set(aim.moves)


def at_the_wall(situation, t_c, rh_pct):
    return surface_humidity_pct(t_c, rh_pct, surface_temperature_c(t_c, situation.outdoor_c, situation.factor))


@settings(deadline=None)
@given(situation=situations)
def test_no_water_is_added_past_80_percent_at_the_wall(situation):
    aim = target(situation)
    if situation.outdoor_c is not None and "moisten" in aim.moves:
        assert at_the_wall(situation, aim.temperature_c, aim.humidity_pct) <= 80.0 + TINY


@settings(deadline=None)
@given(situation=situations)
def test_drying_ends_under_80_percent_at_the_wall_or_at_the_end_of_the_band(situation):
    aim = target(situation)
    if situation.outdoor_c is not None and "dry" in aim.moves:
        low = situation.band.humidity[0]
        wet = at_the_wall(situation, aim.temperature_c, aim.humidity_pct) > 80.0 + TINY
        assert aim.humidity_pct == pytest.approx(low) if wet else aim.humidity_pct >= low - TINY


@settings(deadline=None)
@given(situation=situations)
def test_the_other_temperature_does_what_it_promises_inside_the_band(situation):
    aim = target(situation)
    if aim.instead_c is not None:
        there = heated_or_cooled(situation.temperature.value, aim.left_alone_pct, aim.instead_c, situation.pressure_pa)
        assert there.rh_pct == pytest.approx(aim.humidity_pct, abs=1e-3)
        assert away(aim.instead_c, situation.band.temperature) <= TINY
        assert away(aim.humidity_pct, situation.band.humidity) <= TINY
        if situation.outdoor_c is not None:
            assert at_the_wall(situation, aim.instead_c, aim.humidity_pct) <= 80.0 + TINY


@settings(deadline=None)
@given(situation=situations)
def test_amounts_are_finite_and_litres_never_negative(situation):
    found = advice(situation)
    assert all(math.isfinite(value) for value in found.amounts.values())
    assert all(value >= 0.0 for name, value in found.amounts.items() if name.endswith("_l"))
    litres = water(situation, target(situation))
    assert {"once_l", "daily_l", "boards_l"} & set(found.amounts) == {
        name
        for name, value in (("once_l", litres.once), ("daily_l", litres.daily), ("boards_l", litres.boards))
        if value is not None
    }


@settings(deadline=None)
@given(situation=situations)
def test_units_change_the_words_and_nothing_else(situation):
    si, us = advice(situation, "si"), advice(situation, "us")
    assert (si.moves, si.amounts, si.cautions, si.wait) == (us.moves, us.amounts, us.cautions, us.wait)
    assert len(si.sentences) == len(us.sentences)
    assert not any(
        "degC" in sentence or "litre" in sentence or " m3" in sentence
        for sentence in us.sentences
        if "Give" not in sentence
    )
    for sentence in (*si.sentences, *us.sentences):
        assert sentence.endswith(".")
        assert "nan" not in sentence
        assert "inf" not in sentence


@settings(deadline=None)
@given(situation=situations)
def test_whoever_is_told_to_heat_or_to_run_a_device_is_told_what_can_hurt(situation):
    found = advice(situation)
    told, moves = set(found.cautions), set(found.moves)
    assert (told >= set(HEATING)) or "heat" not in moves
    assert (Caution.HUMIDIFIER in told) == ("moisten" in moves)
    assert (Caution.DEHUMIDIFIER in told) == ("dry" in moves)
    assert (Caution.LOCAL_CODE in told) == bool(told)


# --- the catalogue --------------------------------------------------------------------------------------


def test_every_caution_has_a_text_and_a_source():
    assert set(CAUTIONS) == set(Caution)
    for text, source in CAUTIONS.values():
        assert text.endswith(".")
        assert source


def test_propane_burns_to_water_as_the_caution_says():
    # C3H8 + 5 O2 -> 3 CO2 + 4 H2O; molar masses of the IUPAC standard atomic weights: C 12.011, H 1.008, O 15.999
    propane, steam = 3 * 12.011 + 8 * 1.008, 2 * 1.008 + 15.999
    assert (
        f"about {4 * steam / propane:.1f} kg of water into the room for each kg of propane"
        in CAUTIONS[Caution.HEATER_FUEL].text
    )


@pytest.mark.parametrize(
    ("caution", "words"),
    [
        (Caution.HEATER_FUEL, ("carbon monoxide", "fire", "electric or vented")),
        (Caution.HEATER_ALARM, ("carbon monoxide alarm",)),
        (Caution.HEATER_UNATTENDED, ("unattended", "overnight")),
        (Caution.HEATER_PLACE, ("away from boxes", "vapours")),
        (Caution.PIPES, ("Pipes freeze before planks mind",)),
        (Caution.HUMIDIFIER, ("Mould",)),
        (Caution.DEHUMIDIFIER, ("drain", "circuit")),
        (Caution.LOCAL_CODE, ("Local code", "licensed")),
        (Caution.SALT, ("sealed vessel", "hours to settle", "do not wet the sensor", "food and children")),
    ],
)
def test_each_caution_says_what_it_is_for(caution, words):
    assert all(word in CAUTIONS[caution].text for word in words)


def test_a_room_without_a_temperature_has_no_target():
    with pytest.raises(ValueError) as error:
        target(room(None, 50.0))
    assert str(error.value) == "a room without a temperature has no target"


def test_a_value_outside_what_air_can_be_is_refused_by_name():
    with pytest.raises(ValueError) as error:
        advice(room(120.0, 50.0))
    assert str(error.value) == "t_c 120 is outside -40 to 85"
