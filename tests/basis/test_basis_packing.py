"""Packed segments: the canonical bytes come back, and what is broken is refused."""

import random
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.packing import _DICTIONARY, decode_packed, pack, unpack
from monitor.basis.segment import MAGIC, MAX_BYTES, Column, Segment, decode, encode, from_readings
from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import BACK_FILL, LIVE, Origin, OriginKind, Quantity, Reading

MIDNIGHT = 1_767_571_200_000  # 2026-01-05T00:00Z
AIR_C, AIR_RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY


def reading(t: int, value: float, quantity: Quantity = AIR_RH, unit: str = "%", lag: int = 0, origin: Origin = LIVE):
    return Reading("hall", quantity, MIDNIGHT + t, value, unit, MIDNIGHT + t + lag, origin)


def bytes_of(*readings: Reading) -> bytes:
    return encode(from_readings("hall", MIDNIGHT, readings))


days = st.lists(
    st.builds(
        reading,
        t=st.integers(0, DAY - 1),
        value=st.floats(allow_nan=False, allow_infinity=False) | st.decimals(-100, 200, places=2).map(float),
        quantity=st.sampled_from(Quantity),
        unit=st.sampled_from(["%", "degC", "degF"]),
        lag=st.integers(-(2**40), 2**40) | st.sampled_from([0, 1000]),
        origin=st.sampled_from([LIVE, BACK_FILL, Origin(OriginKind.FILE, "ab" * 32)]),
    ),
    max_size=30,
    unique_by=lambda one: (one.quantity, one.t),
)


def same(a: Segment, b: Segment) -> bool:
    def plain(one: Segment):
        return [(c.quantity, c.unit, *(getattr(c, n).tobytes() for n in _ARRAYS)) for c in one.columns]

    return (a.stream, a.day, a.origins, plain(a)) == (b.stream, b.day, b.origins, plain(b))


_ARRAYS = ("t", "value", "arrival", "origin")


@given(days)
def test_the_canonical_bytes_come_back_and_so_do_the_readings(readings):
    data = bytes_of(*readings)
    assert unpack(pack(data)) == data
    assert same(decode_packed(pack(data)), decode(data))


def test_what_was_packed_by_earlier_versions_is_read_still():
    data = bytes_of(*minutes(1, 45, jitter=0))
    assert unpack(zlib.compress(data, 9)) == data
    assert same(decode_packed(zlib.compress(data, 9)), decode(data))


def test_what_is_deflated_is_the_header_then_first_bytes_of_the_numbers_then_second_ones():
    # As in test_a_small_segment_written_out_by_hand: 78 78, 00 00, 00 00, 02 00, 8e 07 and 01, in tenths 455 and -1.
    data = bytes_of(reading(MINUTE, 45.5), reading(2 * MINUTE, 45.4))
    begin = data[: data.index(b"\n", len(MAGIC)) + 1]
    packed = pack(data)
    text = zlib.decompressobj(-15, _DICTIONARY).decompress(packed[5:])
    assert text == begin + bytes.fromhex("7878 0000 0000 0200 8e01 07".replace(" ", ""))
    assert packed[:5] == b"\x02" + zlib.crc32(text).to_bytes(4, "big")


# --- size


def minutes(stamp_ms: int, lag_ms: int, jitter: int = 1000) -> list[Reading]:
    """A day of a quiet room once a minute, values to 0.1: a daily swing, a heater's cycle and a slow drift."""
    chance, found, drift = random.Random(7), [], 0.0
    for minute in range(1440):
        drift += chance.gauss(0, 0.01)
        phase = minute / 720 * np.pi
        degrees = 20 + 0.8 * np.sin(phase) + 0.3 * np.sin(48 * phase) + drift
        t = minute * MINUTE + chance.randrange(0, jitter // stamp_ms + 1) * stamp_ms
        lag = chance.randrange(0, lag_ms + 1)
        found.append(reading(t, round(degrees, 1), AIR_C, "degC", lag))
        found.append(reading(t, round(65 - degrees, 1), AIR_RH, "%", lag))
    return found


# Ours, above what they take: ms of jitter up to a second alone have log2(1000) bits a message, 0.62 bytes a value.
@pytest.mark.parametrize(
    ("stamp_ms", "lag_ms", "limit"), [(1000, 0, 0.35), (1000, 45, 0.75), (1, 0, 0.95), (1, 45, 1.3)]
)
def test_packed_minutes_take_few_bytes_a_value(stamp_ms, lag_ms, limit):
    readings = minutes(stamp_ms, lag_ms)
    assert len(pack(bytes_of(*readings))) / len(readings) <= limit


def test_a_packed_day_takes_fewer_bytes_than_zlib_alone():
    data = bytes_of(*minutes(1, 45))
    assert len(pack(data)) < 0.8 * len(zlib.compress(data, 9))


# --- what is refused

PACKED = pack(bytes_of(*minutes(1, 45)[:40], reading(DAY - 1, 0.1 + 0.2, Quantity.WALL_MOISTURE)))


@pytest.mark.parametrize("read", [unpack, decode_packed])
@given(place=st.integers(0, len(PACKED) - 1), change=st.integers(1, 255))
def test_one_changed_byte_gives_the_same_or_nothing(read, place, change):
    changed = bytearray(PACKED)
    changed[place] ^= change
    try:
        found = read(bytes(changed))
    except ValueError:
        return
    assert found == read(PACKED) if read is unpack else same(found, read(PACKED))  # a bit that only fills up a byte


@pytest.mark.parametrize("read", [unpack, decode_packed])
@given(end=st.integers(0, len(PACKED) - 1))
def test_what_is_cut_short_is_refused(read, end):
    with pytest.raises(ValueError):
        read(PACKED[:end])


@pytest.mark.parametrize("read", [unpack, decode_packed])
@given(st.binary(max_size=60))
def test_any_bytes_are_refused_and_nothing_else_happens(read, junk):
    for data in (junk, b"\x02" + junk):
        with pytest.raises(ValueError):
            read(data)


@pytest.mark.parametrize(
    "header",
    [
        b"[]",
        b"{}",
        b'{"channels":[],"rows":1e300,"t_tick":1,"lag_tick":1}',
        b'{"channels":[],"rows":1000000000000000000,"t_tick":1,"lag_tick":1}',
        b'{"channels":[],"rows":0,"t_tick":1,"lag_tick":1,"day":"2026-01-05","origins":[[]],"stream":"hall"}',
        b'{"channels":[],"rows":2,"t_tick":1,"lag_tick":1,"day":"2026-01-05","origins":[],"stream":"hall"}',
        b'{"channels":[],"rows":2,"t_tick":1,"lag_tick":1,"day":"2026-01-05","origins":[["live",""]]}',
    ],
)
def test_a_strange_header_with_a_check_sum_that_holds_is_refused(header):
    text = MAGIC + header + b"\n" + bytes(8)
    deflated = zlib.compressobj(9, zlib.DEFLATED, -15)
    whole = b"\x02" + zlib.crc32(text).to_bytes(4, "big") + deflated.compress(text) + deflated.flush()
    with pytest.raises(ValueError):
        decode_packed(whole)


@pytest.mark.parametrize("begin", [b"", b"\x02" + bytes(4)])
def test_what_grows_without_end_is_refused(monkeypatch, begin):
    monkeypatch.setattr("monitor.basis.segment.MAX_BYTES", 1000)
    grown = zlib.compress(bytes(1001)) if not begin else begin + zlib.compress(bytes(1001), wbits=-15)
    with pytest.raises(ValueError, match="cut short or too large"):
        unpack(grown)


def test_a_day_of_five_quantities_ten_times_a_second_can_be_unpacked():
    t = np.arange(0, DAY, 100, dtype=np.int64)[:200_000]
    none = np.zeros(len(t), np.int64)
    columns = tuple(
        Column(quantity, "1", MIDNIGHT + t, np.arange(len(t)) % 97 / 10, MIDNIGHT + t, none)
        for quantity in list(Quantity)[:5]
    )
    data = encode(Segment("hall", MIDNIGHT, (LIVE,), columns))
    assert len(data) < MAX_BYTES
    assert unpack(pack(data)) == data
