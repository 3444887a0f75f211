"""Checks of instruments: fits by hand, and which check holds when."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY
from monitor.basis.values import Quantity
from monitor.rules.instrument import Check, Point, corrections, fit, in_force

RH, T = Quantity.AIR_HUMIDITY, Quantity.AIR_TEMPERATURE


def check(at: int, until: int, offset: float, *, as_found: bool = False, quantity: Quantity = RH) -> Check:
    return Check(quantity, "salt", at, until, 1.0, offset, 2.0, as_found)


def test_one_point_gives_an_offset_and_leaves_half_of_the_makers_statement_in_the_uncertainty():
    # salt NaCl at 22 degC: OIML R 121 (1996) table 1 has 75.5 at 20 and 75.3 at 25 degC; 75.4 between, U 0.3
    found = fit(RH, [Point(76.1, 75.4, 0.3)])
    assert (found.slope, found.basis) == (1.0, "offset")
    assert found.offset == pytest.approx(-0.7)
    # 0.3^2 + 0 + 1.0^2 + (5/2)^2 = 0.09 + 1 + 6.25 = 7.34; its root 2.709
    assert found.uncertainty == pytest.approx(math.sqrt(7.34))


def test_two_salts_give_a_line_through_both():
    # reads 35.0 at 33.1 and 77.0 at 75.5: slope 42.4 / 42.0, offset 33.1 - 35.0 x 42.4 / 42.0
    found = fit(RH, [Point(35.0, 33.1, 0.3), Point(77.0, 75.5, 0.3)])
    assert found.basis == "line"
    assert found.slope == pytest.approx(42.4 / 42.0)
    assert found.offset == pytest.approx(33.1 - 35.0 * 42.4 / 42.0)
    assert found.uncertainty == pytest.approx(math.sqrt(0.3**2 + 1.0**2))  # no scatter about a line through two points


def test_references_20_percent_apart_make_a_line_and_nearer_ones_an_offset():
    assert fit(RH, [Point(40.0, 40.0, 0.3), Point(60.0, 60.0, 0.3)]).basis == "line"
    assert fit(RH, [Point(40.0, 40.0, 0.3), Point(59.9, 59.9, 0.3)]).basis == "offset"
    assert fit(T, [Point(20.0, 20.0, 0.1), Point(25.0, 25.0, 0.1)]).basis == "line"


def test_scatter_about_the_fit_is_counted_twice_over():
    # three offsets 1.0, 2.0, 3.0 at nearly one reference: mean 2, residuals -1, 0, 1, s^2 = 2/2, twice s = 2
    found = fit(T, [Point(20.0, 21.0, 0.1), Point(20.0, 22.0, 0.1), Point(20.0, 23.0, 0.1)])
    assert found.offset == pytest.approx(2.0)
    assert found.uncertainty == pytest.approx(math.sqrt(0.1**2 + 2.0**2 + 0.2**2 + 0.5**2))


def test_without_a_comparison_there_is_no_check():
    with pytest.raises(RecordError) as error:
        fit(RH, [])
    assert str(error.value) == "sensor check: nothing was compared. Give --read and what it was compared with"


def test_readings_that_do_not_follow_the_references_are_a_broken_sensor():
    with pytest.raises(RecordError) as error:
        fit(RH, [Point(50.0, 33.1, 0.3), Point(52.0, 75.5, 0.3)])
    assert str(error.value) == (
        "sensor check: the readings do not follow the references (slope 21.20). "
        "Check that each --read stands with its own reference; a sensor like this is broken"
    )


def test_the_last_check_before_a_reading_holds_until_it_runs_out():
    early, late = check(0, 10 * DAY, 1.0), check(5 * DAY, 20 * DAY, 2.0)
    held = [in_force([early, late], RH, at * DAY) for at in (-1, 0, 4, 5, 19, 20)]
    assert held == [None, early, early, late, late, None]


def test_a_sensor_left_as_it_was_is_spoken_for_before_its_check_too():
    found = check(5 * DAY, 20 * DAY, 2.0, as_found=True)
    assert in_force([found], RH, 0) is found
    assert in_force([found], T, 0) is None
    assert in_force([check(0, DAY, 1.0), found], RH, DAY // 2) == check(0, DAY, 1.0)


def test_each_reading_gets_the_correction_of_its_own_time():
    t = np.array([0, DAY, 2 * DAY, 3 * DAY], np.int64)
    found = corrections([check(DAY, 3 * DAY, -1.5)], RH, 5.0, t)
    assert found.offset.tolist() == [0.0, -1.5, -1.5, 0.0]
    assert found.uncertainty.tolist() == [5.0, 2.0, 2.0, 5.0]


checks = st.lists(
    st.builds(
        lambda at, length, offset, as_found: check(at, at + length, offset, as_found=as_found),
        st.integers(0, 50), st.integers(1, 30), st.floats(-3, 3), st.booleans(),
    ),
    max_size=5, unique_by=lambda one: one.at,
)  # fmt: skip


@given(checks, st.lists(st.integers(-10, 90), unique=True).map(sorted))
def test_all_readings_at_once_are_corrected_as_each_would_be_alone(some, times):
    t = np.array(times, np.int64)
    found = corrections(some, RH, 5.0, t)
    for k, at in enumerate(times):
        one = in_force(some, RH, at)
        assert found.offset[k] == (0.0 if one is None else one.offset)
        assert found.uncertainty[k] == (5.0 if one is None else one.uncertainty)
