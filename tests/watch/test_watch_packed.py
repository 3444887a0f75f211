"""A packed series is the series to the last bit, and takes little room."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.values import BACK_FILL, LIVE, Origin, OriginKind, Series, empty_series
from monitor.watch.service.packed import packed

FILE = Origin(OriginKind.FILE, "0" * 64)
FIELDS = ("t", "value", "unit", "origin")
_STEPS = st.one_of(st.just(60_000), st.integers(59_900, 60_100), st.integers(1, 10**12))
_DECIMALS = st.integers(-(10**6), 10**6).flatmap(lambda n: st.sampled_from([n / 10**k for k in range(7)]))
_LONG = st.lists(_DECIMALS, min_size=50, max_size=120)
_VALUES = st.one_of(_DECIMALS, st.sampled_from([-0.0, 0.0, 5e-324, 1e300]), st.floats(allow_nan=False, width=64))


@st.composite
def all_series(draw: st.DrawFn) -> Series:
    """Any series that the store may answer."""
    values = draw(st.one_of(st.lists(_DECIMALS, max_size=40), _LONG, st.lists(_VALUES, max_size=40)))
    some = {"min_size": len(values), "max_size": len(values)}
    steps = draw(st.lists(_STEPS, **some))
    of_units, of_origins = draw(st.integers(1, 3)), draw(st.integers(1, 3))
    return Series(
        draw(st.integers(0, 10**13)) + np.cumsum(np.array(steps, np.int64)),
        np.array(values, np.float64),
        np.array(draw(st.lists(st.integers(0, of_units - 1), **some)), np.int16),
        np.array(draw(st.lists(st.integers(0, of_origins - 1), **some)), np.int32),
        ("degC", "degF", "K")[:of_units],
        (LIVE, BACK_FILL, FILE)[:of_origins],
    )


def bits(series: Series) -> list[tuple[str, bytes]]:
    """Type and bytes of every array."""
    return [(getattr(series, name).dtype.str, getattr(series, name).tobytes()) for name in FIELDS]


def minutes(count: int, values: np.ndarray) -> Series:
    """A reading a minute, all of one unit and origin."""
    t = 1_700_000_000_000 + 60_000 * np.arange(count, dtype=np.int64)
    return Series(t, values, np.zeros(count, np.int16), np.zeros(count, np.int32), ("degC",), (LIVE,))


@given(all_series())
def test_a_series_comes_back_to_the_last_bit(series: Series) -> None:
    kept = packed(series)
    back = kept.series()
    assert bits(back) == bits(series)
    assert (back.units, back.origins, len(kept)) == (series.units, series.origins, len(series))
    assert not len(series) or kept.last == series.t[-1]


def test_a_channel_that_said_nothing_comes_back() -> None:
    assert bits(packed(empty_series()).series()) == bits(empty_series())


def test_a_zero_below_zero_stays_one() -> None:
    assert np.signbit(packed(minutes(3, np.array([1.5, -0.0, 2.0]))).series().value).tolist() == [False, True, False]


def test_tenths_that_wander_take_less_than_half_a_byte_each_and_equal_steps_none() -> None:
    kept = packed(minutes(1680, np.round(20 + 5 * np.sin(np.arange(1680) / 229), 1)))  # a night and a day
    assert isinstance(kept.value, bytes)
    assert len(kept.value) < 1680 / 2
    assert kept.steps == 60_000


def test_a_gap_takes_no_wider_steps() -> None:
    series = minutes(1680, np.arange(1680.0))
    series.t[1:] += 5
    series.t[800:] += 86_400_000
    kept = packed(series)
    assert isinstance(kept.steps, bytes)
    assert len(kept.steps) < 100
    assert bits(kept.series()) == bits(series)


def test_what_is_kept_holds_no_array_of_the_series() -> None:
    series = minutes(3, np.array([0.1, np.pi, 1 / 3]))
    assert not np.shares_memory(packed(series).value, series.value)


@pytest.mark.parametrize(("late", "shared"), [(0, True), (1, False)])
def test_equal_times_of_two_channels_are_kept_once(late: int, shared: bool) -> None:
    one, other = (minutes(5, np.arange(5.0)) for _ in range(2))
    one.t[3] += 7
    other.t[3] += 7 + late
    beside = packed(other).beside(packed_one := packed(one))
    assert (beside.steps is packed_one.steps) is shared
    assert bits(beside.series()) == bits(other)
