"""Segments: readings to their one canonical form and back, and what is refused."""

import json
import math
import struct
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.basis.segment import (
    MAGIC,
    content_hash,
    decode,
    decode_strictly,
    encode,
    from_readings,
    ms_of_day,
    only,
    readings_of,
    series_of,
)
from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import BACK_FILL, LIVE, Origin, OriginKind, Quantity, Reading

MIDNIGHT = 1_767_571_200_000  # 2026-01-05T00:00Z
AIR_C, AIR_RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY


def reading(t: int, value: float, quantity: Quantity = AIR_RH, unit: str = "%", lag: int = 0, origin: Origin = LIVE):
    return Reading("hall", quantity, MIDNIGHT + t, value, unit, MIDNIGHT + t + lag, origin)


def bytes_of(*readings: Reading) -> bytes:
    return encode(from_readings("hall", MIDNIGHT, readings))


def header_of(data: bytes) -> dict:
    return json.loads(data[len(MAGIC) :].split(b"\n", 1)[0])


values = st.floats(allow_nan=False, allow_infinity=False) | st.decimals(-100, 200, places=2).map(float)
origins = st.sampled_from([LIVE, BACK_FILL, Origin(OriginKind.FILE, "ab" * 32)])
days = st.lists(
    st.builds(
        reading,
        t=st.integers(0, DAY - 1),
        value=values,
        quantity=st.sampled_from(Quantity),
        unit=st.sampled_from(["%", "degC", "degF"]),
        lag=st.integers(-(2**40), 2**40) | st.sampled_from([0, 1000]),
        origin=origins,
    ),
    max_size=30,
    unique_by=lambda one: (one.quantity, one.t),
)


def same(a: Reading, b: Reading) -> bool:
    return a == b and math.copysign(1, a.value) == math.copysign(1, b.value)


# --- to bytes and back ------------------------------------------------------------------------------------------------


@given(days, st.randoms(use_true_random=False))
def test_every_reading_comes_back_as_it_was_whatever_the_order(readings, chance):
    shuffled = list(readings)
    chance.shuffle(shuffled)
    data = bytes_of(*readings)
    assert bytes_of(*shuffled) == data
    back = readings_of(decode_strictly(data))
    assert len(back) == len(readings)
    assert all(map(same, back, sorted(readings, key=lambda one: (one.t, one.quantity, one.unit))))


def test_a_small_segment_written_out_by_hand():
    # t: 60 s and 120 s -> 60, then +60; lag 0, 0; origin 0, 0; mask 1, then +0; 45.5 and 45.4 -> 455, then -1.
    # zigzag doubles them: 120, 120; 0, 0; 0, 0; 2, 0; 910 = 0x38e -> 8e 07; -1 -> 1. 120 = 0x78.
    header = (
        b'{"channels":[{"count":2,"decimals":1,"quantity":"air_humidity","unit":"%"}],"day":"2026-01-05",'
        b'"lag_tick":1000,"origins":[["live",""]],"rows":2,"stream":"hall","t_tick":1000}'
    )
    body = bytes.fromhex("7878 0000 0000 0200 8e0701".replace(" ", ""))
    assert bytes_of(reading(MINUTE, 45.5), reading(2 * MINUTE, 45.4)) == MAGIC + header + b"\n" + body


def test_a_day_without_readings_is_a_segment_too():
    assert readings_of(decode_strictly(bytes_of())) == []


def test_a_message_with_two_quantities_is_one_row():
    data = bytes_of(reading(0, 45.0), reading(0, 20.0, AIR_C, "degC"), reading(1, 20.0, AIR_C, "degC"))
    assert header_of(data)["rows"] == 2


def test_a_value_that_no_decimals_express_stays_a_double():
    data = bytes_of(reading(0, 45.0), reading(1, 0.1 + 0.2))
    assert header_of(data)["channels"][0]["decimals"] is None
    assert data.endswith(struct.pack(">dd", 45.0, 0.1 + 0.2))


def test_minus_zero_stays_minus_zero():
    (back,) = readings_of(decode(bytes_of(reading(0, -0.0))))
    assert math.copysign(1, back.value) == -1


@pytest.mark.parametrize(
    ("value", "decimals"), [(45.0, 0), (45.5, 1), (21.123456789012, 12), (2.0**53, None), (2.0**53 - 1, 0)]
)
def test_the_decimals_are_the_least_that_do(value, decimals):
    assert header_of(bytes_of(reading(0, value)))["channels"][0]["decimals"] == decimals


def test_whole_seconds_are_counted_in_seconds():
    assert header_of(bytes_of(reading(MINUTE, 45.0, lag=7)))["t_tick"] == 1000
    assert header_of(bytes_of(reading(MINUTE, 45.0, lag=7)))["lag_tick"] == 1


def test_one_channel_alone_can_be_shown():
    day = from_readings("hall", MIDNIGHT, [reading(0, 45.0), reading(0, 20.0, AIR_C, "degC", origin=BACK_FILL)])
    assert encode(only(day, AIR_RH)) == bytes_of(reading(0, 45.0))


def test_the_content_hash_is_that_of_the_bytes():
    # SHA-256 of "abc": FIPS 180-2, appendix B.1
    assert content_hash(b"abc").hex() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_segments_become_a_series_in_order_of_time():
    late = from_readings("hall", MIDNIGHT, [reading(5, 46.0, unit="1", origin=BACK_FILL)])
    day = from_readings("hall", MIDNIGHT, [reading(9, 47.0), reading(0, 45.0), reading(0, 20.0, AIR_C, "degC")])
    series = series_of([day, late], AIR_RH)
    assert series.t.tolist() == [MIDNIGHT, MIDNIGHT + 5, MIDNIGHT + 9]
    assert series.value.tolist() == [45.0, 46.0, 47.0]
    assert [series.units[one] for one in series.unit] == ["%", "1", "%"]
    assert [series.origins[one] for one in series.origin] == [LIVE, BACK_FILL, LIVE]
    assert len(series_of([day, late], Quantity.WALL_MOISTURE)) == 0


def test_a_day_is_read_as_its_midnight():
    assert ms_of_day("2026-01-05") == MIDNIGHT
    with pytest.raises(ValueError):
        ms_of_day("2026-01-05T00:00")


# --- what is refused --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "readings",
    [
        [reading(5, 1.0), reading(5, 2.0)],
        [reading(5, 1.0), reading(5, 1.0, unit="1")],
        [reading(5, math.nan)],
        [reading(5, math.inf)],
        [reading(5, 1.0, lag=2**53)],
    ],
)
def test_what_is_no_kept_reading_is_refused(readings):
    with pytest.raises(ValueError):
        bytes_of(*readings)


@pytest.mark.parametrize("t", [-1, DAY])
def test_a_reading_of_another_day_is_refused(t):
    with pytest.raises(ValueError, match="another sensor or another day"):
        bytes_of(reading(t, 45.0))


def test_the_same_time_in_two_segments_is_no_series():
    day = from_readings("hall", MIDNIGHT, [reading(5, 45.0)])
    with pytest.raises(ValueError, match="same time"):
        series_of([day, day], AIR_RH)


def test_a_segment_whose_columns_repeat_is_refused():
    day = from_readings("hall", MIDNIGHT, [reading(5, 45.0)])
    later = day.columns[0]._replace(t=np.array([MIDNIGHT + 6]))
    with pytest.raises(ValueError, match="stands there twice"):
        encode(replace(day, columns=(day.columns[0], later)))


WHOLE = bytes_of(
    *(reading(k * 61_007, 45.0 + k % 7 / 10, lag=k % 45) for k in range(40)),
    *(reading(k * 61_007, 20.0 + k % 5 / 10, AIR_C, "degC", k % 45) for k in range(40)),
    reading(DAY - 1, 0.1 + 0.2, Quantity.WALL_MOISTURE),
)


@given(st.integers(0, len(WHOLE) - 1), st.integers(1, 255))
def test_a_changed_byte_gives_other_readings_or_none(place, change):
    changed = bytearray(WHOLE)
    changed[place] ^= change
    try:
        other = decode_strictly(bytes(changed))
    except ValueError:
        return
    assert encode(other) == bytes(changed)
    assert other.stream != "hall" or readings_of(other) != readings_of(decode(WHOLE))


@given(st.integers(0, len(WHOLE) - 1))
def test_a_segment_cut_short_is_refused(end):
    with pytest.raises(ValueError):
        decode_strictly(WHOLE[:end])


headers = st.fixed_dictionaries(
    {},
    optional={
        key: st.sampled_from(
            [-1, 0, 1, 2**70, 10**9, True, None, "x", 1.5, [], [[]], [{}], {}, [["live", ""]], "2026-01-05"]
        )
        for key in ("rows", "t_tick", "lag_tick", "origins", "channels", "day", "stream")
    },
)


@given(headers, st.binary(max_size=20))
@example({"channels": [{"decimals": 10**9, "count": 0, "unit": "%", "quantity": "air_humidity"}]}, b"")
@example({"channels": [{"decimals": None, "count": 2**60, "unit": "%", "quantity": "air_humidity"}]}, b"")
@example({"stream": "\ud800"}, b"")
def test_a_strange_header_is_refused_and_nothing_else_happens(change, body):
    header = {
        "stream": "hall",
        "day": "2026-01-05",
        "rows": 0,
        "t_tick": 1,
        "lag_tick": 1,
        "origins": [],
        "channels": [],
    }
    data = MAGIC + json.dumps(header | change).encode() + b"\n" + body
    with pytest.raises(ValueError):
        decode_strictly(data)


@given(st.binary(max_size=60))
def test_any_bytes_are_refused_and_nothing_else_happens(junk):
    for data in (junk, MAGIC + junk, MAGIC + b"[" * 5000):
        with pytest.raises(ValueError):
            decode_strictly(data)


def test_a_segment_that_is_too_long_is_refused(monkeypatch):
    monkeypatch.setattr("monitor.basis.segment.MAX_BYTES", 1000)
    with pytest.raises(ValueError, match="too long"):
        decode_strictly(bytes(1001))
