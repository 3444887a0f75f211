from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.basis.times import HOUR, MINUTE, zone_of
from monitor.climate.air import humidity_ratio_g_kg
from monitor.intake import room
from monitor.intake.room import STEP, Conditions, Room

START = 1_767_595_200_000  # 2026-01-05T06:40:00Z
UTC = zone_of("UTC")


def room_with(conditions=lambda _after: Conditions(), *, seed=1):
    return Room(START, seed=seed, zone=UTC, conditions=conditions)


def test_no_water_is_lost_or_made_in_a_closed_room(monkeypatch):
    monkeypatch.setattr(room, "_AIR_CHANGES_1_H", 0.0)
    # moistened at the start, so that it does not begin dry; cooling for hours, so that water moves about
    closed = room_with(lambda after: Conditions(heated=after == 0, moistened=after == 0))
    closed.at(START + 2 * STEP)
    before, air = closed.water_kg(), closed.air
    after = closed.at(START + 12 * HOUR)
    assert closed.water_kg() == pytest.approx(before, abs=1e-9)
    assert after.t_c < air.t_c - 3


def test_a_closed_room_gains_the_water_of_its_humidifier_even_where_it_condenses(monkeypatch):
    monkeypatch.setattr(room, "_AIR_CHANGES_1_H", 0.0)
    monkeypatch.setattr(room, "_HUMIDIFIER_PCT", (200.0, 200.0))  # never off
    closed = room_with()
    before = closed.water_kg()
    assert closed.at(START + 24 * HOUR).rh_pct == pytest.approx(100.0)
    assert closed.water_kg() - before == pytest.approx(24 * 0.45, abs=1e-9)  # 0.45 kg/h


def test_an_open_door_exchanges_the_air_not_the_walls():
    wide_open = room_with(lambda after: Conditions(open=after >= HOUR, moistened=after < HOUR))
    wide_open.at(START + HOUR)
    inside = wide_open.ratio_g_kg
    wide_open.at(START + 2 * HOUR)
    outside = humidity_ratio_g_kg(1.0 - 3.0, 100.0)  # the weather's mean and its dew point, drift left out
    assert wide_open.ratio_g_kg - outside < (inside - outside) / 2
    assert wide_open.at(START + 2 * HOUR).t_c > 10


def test_between_two_minutes_the_air_is_between_theirs():
    warming = room_with(lambda after: Conditions(heated=after > 0))
    before, between, after = (warming.at(START + round(at * MINUTE)) for at in (5, 5.25, 6))
    assert between.t_c == pytest.approx(before.t_c + (after.t_c - before.t_c) / 4)
    assert between.rh_pct == pytest.approx(before.rh_pct + (after.rh_pct - before.rh_pct) / 4)


def test_the_weather_of_a_seed_is_the_same_and_of_another_is_another():
    one, same, other = (room_with(seed=seed).at(START + 6 * HOUR) for seed in (1, 1, 2))
    assert one == same != other


def test_the_heating_goes_on_and_off():
    heated = room_with()
    temperatures = [heated.at(START + 6 * HOUR + k * MINUTE).t_c for k in range(120)]
    rising = [after > before for before, after in pairwise(temperatures)]
    turns = sum(now != then for now, then in pairwise(rising))
    assert 4 <= turns <= 60
    assert 20.0 - 0.5 < min(temperatures) < max(temperatures) < 21.0 + 0.5


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.tuples(st.booleans(), st.booleans(), st.booleans()), min_size=8, max_size=8), st.integers(0, 1 << 32)
)
def test_whatever_holds_the_air_stays_physical(hours, seed):
    disturbed = room_with(lambda after: Conditions(*hours[min(after // HOUR, 7)]), seed=seed)
    for k in range(8 * 12):
        air = disturbed.at(START + k * 5 * MINUTE)
        assert -5 < air.t_c < 30
        assert 0 < air.rh_pct <= 100
        assert disturbed.surface_pct > 0
        assert disturbed.ratio_g_kg <= humidity_ratio_g_kg(disturbed.air.t_c, 100.0) + 1e-9
