"""Hand readings against sensors, and sensors that move away from each other, on rows made by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Quantity
from monitor.rules.hand import Said, drift, held_against, said_at
from monitor.rules.trend import Recent

T0 = 1_767_571_200_000  # 2026-01-05T00:00Z, a UTC midnight [ms]
HUMIDITY = Quantity.AIR_HUMIDITY


def test_uncertainties_add_as_squares_and_exactly_their_sum_agrees():
    # 3-4-5: U 4 of the sensor and 3 of the hand instrument
    found = held_against(Said(45.0, 3.0), {"shelf": Said(50.0, 4.0), "door": Said(39.9, 4.0)})
    assert [(one.sensor, one.combined) for one in found] == [("door", 5.0), ("shelf", 5.0)]
    assert [(one.verdict, round(one.difference, 9)) for one in found] == [("differs", -5.1), ("agrees", 5.0)]


def test_a_sensor_says_its_last_reading_while_it_speaks():
    channel = Recent(np.array([T0, T0 + HOUR]), np.array([40.0, 50.0]))
    hold = 30 * MINUTE
    times = (T0 - 1, T0, T0 + hold - 1, T0 + hold, T0 + HOUR)
    assert [said_at(channel, hold, at) for at in times] == [None, 40.0, 40.0, None, 50.0]


def weeks(days: int, per_day: float = 0.0, *, level: float = 45.0, wobble: float = 0.0) -> Recent:
    """A reading an hour; the days' course is 5 % up and down, the sensor moves `per_day`."""
    t = T0 + np.arange(days * 24, dtype=np.int64) * HOUR
    day = (t - T0) // DAY
    value = level + 5.0 * np.sin(2 * np.pi * (t % DAY) / DAY) + per_day * day + wobble * np.where(day % 2 == 0, 1, -1)
    return Recent(t, value)


def moved(one: Recent, other: Recent, combined: float = 7.0):
    return drift(HUMIDITY, ("door", one), ("boxes", other), combined, T0 + 60 * DAY)


def test_a_sensor_that_gains_seven_hundredths_a_day_has_moved_2_1_in_30_days():
    found = moved(weeks(30, 0.07), weeks(30, level=46.0))
    assert found is not None
    assert (found.sensor, found.neighbour, found.days) == ("door", "boxes", 30)
    assert found.by.middle == pytest.approx(30 * 0.07)
    assert not found.beyond


def test_beyond_is_more_than_the_combined_uncertainty():
    found = [moved(weeks(30, 0.1), weeks(30), combined) for combined in (2.9, 3.1)]
    assert [one.beyond for one in found if one] == [True, False]


def test_two_weeks_are_enough_and_a_day_less_is_not():
    assert moved(weeks(14, 0.1), weeks(14)) is not None
    assert moved(weeks(13, 0.1), weeks(13)) is None


def test_sensors_that_only_stand_apart_have_not_moved():
    assert moved(weeks(30, wobble=0.3), weeks(30, level=50.0)) is None


def test_a_day_in_which_both_spoke_for_less_than_six_hours_is_left_out():
    whole = weeks(20, 0.1)
    few = whole.t % DAY < 5 * HOUR
    assert moved(Recent(whole.t[few], whole.value[few]), weeks(20)) is None


@given(st.floats(-0.5, 0.5), st.floats(-20, 20))
def test_seen_from_the_other_side_a_drift_is_the_same_with_its_sign_turned(rate, level):
    there, back = moved(weeks(15, rate), weeks(15, level=level)), moved(weeks(15, level=level), weeks(15, rate))
    assert (there is None) == (back is None)
    if there and back:
        assert back.by.middle == pytest.approx(-there.by.middle, abs=1e-9)
