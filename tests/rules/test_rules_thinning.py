"""What is left of a thinned day."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.basis.segment import from_readings, readings_of
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import LIVE, Quantity, Reading
from monitor.rules.thinning import left_of

T = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]


def left(*readings: tuple[int, float], quantity=Quantity.AIR_HUMIDITY, unit="%", each: int = HOUR) -> list[tuple]:
    every = [Reading("hall", quantity, T + t * MINUTE, value, unit, T + DAY, LIVE) for t, value in readings]
    return [((one.t - T) // MINUTE, one.value) for one in readings_of(left_of(from_readings("hall", T, every), each))]


def test_first_lowest_highest_and_last_of_a_stretch_are_left():
    day = [(0, 50.0), (5, 52.0), (10, 61.0), (15, 53.0), (20, 44.0), (25, 51.0), (55, 50.5)]
    assert left(*day) == [(0, 50.0), (10, 61.0), (20, 44.0), (55, 50.5)]


def test_stretches_begin_at_midnight_and_the_next_has_its_own():
    rising = [(t, 40.0 + t / 10) for t in (0, 10, 20, 59, 60, 70, 80)]
    assert [t for t, _ in left(*rising)] == [0, 59, 60, 80]


def test_an_unusable_value_is_no_extreme():
    # The gross range is 0 to 105 %RH, -40 to below 85 degC; exactly 85 is a probe's power-on value.
    assert left((0, 50.0), (1, 200.0), (2, 60.0), (3, -9.0), (4, 55.0)) == [(0, 50.0), (2, 60.0), (4, 55.0)]
    cold = [(0, 20.0), (1, 85.0), (2, 22.0), (3, -127.0), (4, 21.0)]
    assert left(*cold, quantity=Quantity.AIR_TEMPERATURE, unit="degC") == [(0, 20.0), (2, 22.0), (4, 21.0)]


def test_the_ends_of_a_stretch_are_left_even_if_unusable_with_the_first_and_last_usable_ones():
    assert left((0, 200.0), (1, 50.0), (2, 51.0), (3, 52.0), (4, 300.0)) == [
        (0, 200.0), (1, 50.0), (3, 52.0), (4, 300.0),
    ]  # fmt: skip


def test_a_fahrenheit_sensor_is_judged_in_its_own_unit():
    assert left((0, 70.0), (1, 95.0), (2, 60.0), (3, 71.0), quantity=Quantity.AIR_TEMPERATURE, unit="degF") == [
        (0, 70.0), (1, 95.0), (2, 60.0), (3, 71.0),
    ]  # fmt: skip


def test_a_quantity_without_a_range_is_all_usable():
    assert left((0, 3.0), (1, 900.0), (2, 4.0), (3, 5.0), quantity=Quantity.BATTERY, unit="%") == [
        (0, 3.0), (1, 900.0), (3, 5.0),
    ]  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(
    st.dictionaries(st.integers(0, 1439), st.integers(0, 1200), min_size=1, max_size=80),
    st.integers(1, 24 * 60),
)
def test_extremes_stand_no_silence_grows_past_a_stretch_and_again_is_the_same(day, each):
    every = sorted((t, value / 10) for t, value in day.items())
    found = left(*every, each=each * MINUTE)
    usable = [value for _, value in every if value <= 105.0]
    assert set(found) <= set(every)
    assert (found[0], found[-1]) == (every[0], every[-1])
    if usable:
        kept = [value for _, value in found if value <= 105.0]
        assert (min(kept), max(kept)) == (min(usable), max(usable))
    longest = max((b[0] - a[0] for a, b in pairwise(every)), default=0)
    assert all(b[0] - a[0] <= max(longest, each) for a, b in pairwise(found))
    assert left(*found, each=each * MINUTE) == found
