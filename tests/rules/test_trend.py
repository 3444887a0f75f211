"""The trend of the last hours: Theil-Sen, and when a limit is reached if this goes on."""

import numpy as np
import pytest
from advised_rooms import NOW, line
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes

from monitor.basis.times import HOUR, MINUTE
from monitor.rules.phrases import time_span
from monitor.rules.trend import Reach, Recent, Slope, reached, recent_slope, theil_sen


def test_a_slope_worked_by_hand():
    # The pairs of (0, 0), (1, 2), (2, 1), (3, 5) have the slopes 2, 1/2, 5/3, -1, 3/2, 4; in order -1, 1/2, 3/2, 5/3,
    # 2, 4: the median is (3/2 + 5/3) / 2 = 19/12. Sen (1968) eq. 2.6: variance 4 x 3 x 13 / 18 = 8.667, sigma 2.944.
    # 50 % confidence: z = 0.6745, z sigma = 1.986; (6 - 1.986) / 2 = 2.0 and (6 + 1.986) / 2 = 4.0: the 2nd slope and
    # the 5th (the bounds are the M1-th and the (M2 + 1)-th).
    slope = theil_sen(np.array([0.0, 1, 2, 3]), np.array([0.0, 2, 1, 5]), 0.5)
    assert slope == pytest.approx((19 / 12, 1 / 2, 2.0))


def test_one_wild_reading_does_not_turn_the_slope():
    x = np.arange(12.0)
    y = 2.0 * x
    y[5] = 500.0
    assert theil_sen(x, y) == pytest.approx((2.0, 2.0, 2.0))


rows = st.lists(
    st.tuples(st.floats(0.01, 5.0), st.one_of(st.floats(-50, 50), st.integers(0, 4))), min_size=2, max_size=30
)


@settings(deadline=None)
@given(rows=rows, confidence=st.sampled_from([0.5, 0.9, 0.95, 0.99]))
def test_slope_and_interval_are_those_of_scipy_with_ties_too(rows, confidence):
    # scipy.stats.theilslopes (its `alpha` is the confidence): an independent implementation of Sen (1968)
    x, y = np.cumsum([step for step, _ in rows]), np.array([float(value) for _, value in rows])
    expected = theilslopes(y, x, alpha=confidence)
    assert theil_sen(x, y, confidence) == pytest.approx(
        (expected.slope, expected.low_slope, expected.high_slope), rel=1e-9, abs=1e-9
    )


@pytest.mark.parametrize(
    ("x", "y", "confidence", "message"),
    [
        ([1.0], [1.0], 0.95, "x of shape (1,) and y of shape (1,) are not two equal rows of at least 2"),
        ([1.0, 2.0], [1.0], 0.95, "x of shape (2,) and y of shape (1,) are not two equal rows of at least 2"),
        (
            [[1.0, 2.0]],
            [[1.0, 2.0]],
            0.95,
            "x of shape (1, 2) and y of shape (1, 2) are not two equal rows of at least 2",
        ),
        ([1.0, 1.0], [1.0, 2.0], 0.95, "x does not rise"),
        ([1.0, 2.0], [1.0, 2.0], 1.0, "confidence 1 is not between 0 and 1"),
        ([1.0, 2.0], [1.0, 2.0], 0.0, "confidence 0 is not between 0 and 1"),
    ],
)
def test_what_has_no_slope_is_refused(x, y, confidence, message):
    with pytest.raises(ValueError) as error:
        theil_sen(np.array(x), np.array(y), confidence)
    assert str(error.value) == message


# --- the last hours -----------------------------------------------------------------------------------


def test_the_last_six_hours_give_the_slope_per_hour():
    assert recent_slope(line(50.0, 1.5), NOW) == pytest.approx((1.5, 1.5, 1.5))


def test_readings_before_the_six_hours_and_from_now_on_are_left_out():
    steady = line(50.0, 1.5)
    recent = Recent(steady.t, steady.value + np.random.default_rng(5).normal(0.0, 1.0, len(steady.t)))
    other = np.array([NOW - 7 * HOUR, NOW - 6 * HOUR - 1, NOW, NOW + HOUR], dtype=np.int64)
    mixed = Recent(np.append(recent.t, other), np.append(recent.value, [900.0] * 4))
    assert recent_slope(mixed, NOW) == recent_slope(recent, NOW)


def test_the_order_of_the_readings_is_no_matter_and_nan_is_no_reading():
    recent = line(50.0, 1.5, every=MINUTE, wobble=0.3)
    order = np.random.default_rng(1).permutation(len(recent.t))
    shuffled = Recent(np.append(recent.t[order], NOW - HOUR), np.append(recent.value[order], np.nan))
    assert recent_slope(shuffled, NOW) == recent_slope(recent, NOW)


def test_readings_of_a_quarter_of_an_hour_count_as_their_median():
    # 360 readings a minute apart, scattered about a line, less 60 of them here and there: scipy's slope through the
    # medians of the quarters, which begin on the quarter
    steady, any_of = line(50.0, 0.5, every=MINUTE), np.random.default_rng(3)
    kept = np.sort(any_of.choice(360, 300, replace=False))
    recent = Recent(steady.t[kept], steady.value[kept] + any_of.normal(0.0, 1.0, 300))
    quarters = [kept // 15 == quarter for quarter in range(24)]
    medians = [np.median(recent.value[quarter]) for quarter in quarters]
    hours = [np.median((recent.t[quarter] - NOW) / HOUR) for quarter in quarters]
    expected = theilslopes(medians, hours, alpha=0.95)
    assert recent_slope(recent, NOW) == pytest.approx(
        (expected.slope, expected.low_slope, expected.high_slope), abs=1e-6
    )


def test_too_little_heard_or_nothing_lately_is_no_trend():
    recent = line(50.0, 1.5, hours=2)
    assert recent_slope(recent, NOW) is not None
    assert recent_slope(Recent(recent.t[1:], recent.value[1:]), NOW) is None
    late = line(50.0, 1.5, hours=5)
    assert recent_slope(Recent(late.t[:-3], late.value[:-3]), NOW) is not None
    assert recent_slope(Recent(late.t[:-4], late.value[:-4]), NOW) is None
    assert recent_slope(Recent(late.t[:0], late.value[:0]), NOW) is None
    assert recent_slope(None, NOW) is None


# --- if this goes on ------------------------------------------------------------------------------------


def test_a_limit_is_reached_at_the_fast_and_at_the_slow_end_of_the_interval():
    # 5 to go: at 4 an hour 1 h 15 min, at 2 an hour 2 h 30 min
    assert reached(Slope(3.0, 2.0, 4.0), 30.0, 35.0, 3 * HOUR) == Reach(75 * MINUTE, 150 * MINUTE)
    assert reached(Slope(-3.0, -4.0, -2.0), 70.0, 65.0, 3 * HOUR) == Reach(75 * MINUTE, 150 * MINUTE)


def test_exactly_within_the_time_is_within():
    assert reached(Slope(2.0, 2.0, 2.0), 31.0, 35.0, 2 * HOUR) == Reach(2 * HOUR, 2 * HOUR)
    assert reached(Slope(2.0, 2.0, 2.0), 31.0, 35.0, 2 * HOUR - 1) is None
    assert reached(Slope(2.0, 1.0, 4.0), 31.0, 35.0, 2 * HOUR) is None


@pytest.mark.parametrize(
    ("slope", "value"),
    [
        (Slope(3.0, -0.1, 4.0), 30.0),  # perhaps not at all
        (Slope(3.0, 0.0, 4.0), 30.0),  # perhaps never
        (Slope(-3.0, -4.0, -2.0), 30.0),  # away from it
        (Slope(3.0, 2.0, 4.0), 40.0),  # away from it, above
        (Slope(3.0, 2.0, 4.0), 35.0),  # it is there
        (None, 30.0),
    ],
)
def test_a_limit_that_may_not_be_reached_is_not_promised(slope, value):
    assert reached(slope, value, 35.0, 3 * HOUR) is None


def test_times_are_widened_to_whole_minutes():
    assert time_span(Reach(40 * MINUTE + 59_999, 70 * MINUTE + 1)) == "40 min to 1 h 11 min"
    assert time_span(Reach(HOUR, HOUR)) == "about 1 h"
    assert time_span(Reach(59_999, 5 * MINUTE)) == "at most 5 min"
