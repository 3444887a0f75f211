"""A segment: one sensor's readings of one UTC day, as bytes that are the same whatever order they came in.

    wallclime-segment 1 <LF>  header, JSON <LF>  numbers  doubles

The header has the keys `stream`, `day` (2026-01-05), `rows`, `t_tick` and `lag_tick` (1000 where all times, or all
lags, are whole seconds, else 1) [ms], `origins` (pairs of kind and detail, in order) and `channels` (in order of
quantity and unit): `quantity`, `unit`, `count` and `decimals` (null where the values stand as doubles). It is RFC 8785,
which for such keys and whole numbers is what `json` writes.

A *row* is a time, an arrival and an origin; the channels that spoke with these are the bits of its mask, the first
channel the lowest. Rows stand in order of time, arrival, origin. The numbers are these columns one after the other: t
since the day's midnight / t_tick; lag = (arrival - t) / lag_tick; index of the origin; mask; then of each channel with
decimals the values x 10^decimals. In each column stands the first number, then the differences; each number n as
zigzag (2n, or -2n - 1 below zero) in base 128, lowest seven bits first, the high bit set on all bytes but the last.
Of each channel without decimals follow its values as big-endian IEEE 754 doubles.

`decimals` is the least number for which every value v of the channel is exactly the double nearest to a whole number
below 2^53 divided by 10^decimals. The content hash is SHA-256 over all of it; `packing` is for keeping only.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import DAY, SECOND, ms_of, rfc3339
from monitor.basis.values import Origin, OriginKind, Quantity, Reading, Series, empty_series

MAGIC = b"wallclime-segment 1\n"
MAX_BYTES = 64 * 1024 * 1024  # of one segment: a sensor with five quantities ten times a second [bytes]
_MAX_HEADER = 1024 * 1024  # [bytes]
_MOST_DECIMALS = 15  # a double has no more that are sure
_SAFE = 2**53
_YEAR_10000 = 253_402_300_800_000  # no calendar goes further [ms]

STRANGE = (ArithmeticError, AttributeError, IndexError, KeyError, RecursionError, TypeError)  # a header raises besides

Ints = NDArray[np.int64]


class Column(NamedTuple):
    """The readings of one quantity in one unit: `t` and `arrival` [ms], `value` as sent, `origin` an index."""

    quantity: Quantity
    unit: str
    t: Ints
    value: NDArray[np.float64]
    arrival: Ints
    origin: Ints


@dataclass(frozen=True, slots=True)
class Segment:
    """The readings of the sensor at `stream` from the UTC midnight `day` [ms] to the next."""

    stream: str
    day: int
    origins: tuple[Origin, ...]
    columns: tuple[Column, ...]

    def __len__(self) -> int:
        return sum(len(column.t) for column in self.columns)


def from_readings(stream: str, day: int, readings: Iterable[Reading]) -> Segment:
    """The readings of `stream` in the day that begins at `day`, in any order. Raises ValueError for any other."""
    rows = list(readings)
    if any(one.stream != stream or not day <= one.t < day + DAY for one in rows):
        raise ValueError("a reading of another sensor or another day")
    origins = {one.origin: 0 for one in rows}
    index = {origin: place for place, origin in enumerate(origins)}
    columns = []
    for quantity, unit in dict.fromkeys((one.quantity, one.unit) for one in rows):
        some = [one for one in rows if (one.quantity, one.unit) == (quantity, unit)]
        columns.append(
            Column(
                quantity,
                unit,
                np.array([one.t for one in some], np.int64),
                np.array([one.value for one in some], np.float64),
                np.array([one.arrival for one in some], np.int64),
                np.array([index[one.origin] for one in some], np.int64),
            )
        )
    return Segment(stream, day, tuple(origins), tuple(columns))


def readings_of(segment: Segment) -> list[Reading]:
    """The readings, in order of time, quantity and unit."""
    found = [
        Reading(segment.stream, column.quantity, t, value, column.unit, arrival, segment.origins[origin])
        for column in segment.columns
        for t, value, arrival, origin in zip(
            column.t.tolist(), column.value.tolist(), column.arrival.tolist(), column.origin.tolist(), strict=True
        )
    ]
    return sorted(found, key=lambda one: (one.t, one.quantity, one.unit))


def only(segment: Segment, quantity: Quantity) -> Segment:
    """The readings of one quantity alone: what is shown when the others are withheld."""
    return replace(segment, columns=tuple(column for column in segment.columns if column.quantity == quantity))


def minus(kept: Segment, others: Iterable[Segment]) -> Segment:
    """The readings of `kept` that none of `others` has: a channel has one reading at a time."""
    columns, others = [], list(others)
    for column in kept.columns:
        known = [one.t for segment in others for one in segment.columns if one.quantity == column.quantity]
        new = ~np.isin(column.t, np.concatenate(known)) if known else np.ones(len(column.t), np.bool_)
        parts = {name: getattr(column, name)[new] for name in ("t", "value", "arrival", "origin")}
        columns.append(column._replace(**parts))
    return replace(kept, columns=tuple(columns))


def joined(segments: Sequence[Segment]) -> Segment:
    """Segments of one sensor and day, of which no two have a reading in common, as one."""
    first = segments[0]
    origins = tuple(dict.fromkeys(origin for one in segments for origin in one.origins))
    found: dict[tuple[Quantity, str], list[Column]] = {}
    for one in segments:
        place = np.array([origins.index(origin) for origin in one.origins], np.int64)
        for column in one.columns:
            moved = column._replace(origin=place[column.origin])
            found.setdefault((column.quantity, column.unit), []).append(moved)
    columns = [
        Column(*of, *(np.concatenate([getattr(c, name) for c in some]) for name in ("t", "value", "arrival", "origin")))
        for of, some in found.items()
    ]
    return Segment(first.stream, first.day, origins, tuple(columns))


def series_of(segments: Iterable[Segment], quantity: Quantity) -> Series:
    """The readings of one quantity of all `segments` together. Raises ValueError where two have the same time."""
    found = [(one, column) for one in segments for column in one.columns if column.quantity == quantity]
    if not found:
        return empty_series()
    units = tuple(dict.fromkeys(column.unit for _, column in found))
    origins = tuple(dict.fromkeys(origin for one, _ in found for origin in one.origins))
    t = np.concatenate([column.t for _, column in found])
    order = np.argsort(t, kind="stable")
    if np.any(np.diff(t[order]) == 0):
        raise ValueError("two readings of one channel at the same time")
    return Series(
        t[order],
        np.concatenate([column.value for _, column in found])[order],
        np.concatenate([np.full(len(column.t), units.index(column.unit), np.int16) for _, column in found])[order],
        np.concatenate(
            [
                np.array([origins.index(origin) for origin in one.origins], np.int32)[column.origin]
                for one, column in found
            ]
        )[order],
        units,
        origins,
    )


# --- to bytes ---------------------------------------------------------------------------------------------------------


def encode(segment: Segment) -> bytes:
    """The canonical bytes. Raises ValueError for two readings of a quantity at a time, NaN, and times of other days."""
    origins, columns = _in_order(segment)
    rows, places = _rows(columns)
    t, arrival, origin = rows
    mask = np.zeros(len(t), np.int64)
    for bit, place in enumerate(places):
        mask[place] |= 1 << bit
    since, lag = t - segment.day, arrival - t
    t_tick, lag_tick = _tick(since), _tick(lag)
    values = [scaled(column.value) for column in columns]
    header = {
        "stream": segment.stream,
        "day": rfc3339(segment.day)[:10],
        "rows": len(t),
        "t_tick": t_tick,
        "lag_tick": lag_tick,
        "origins": [[one.kind.value, one.detail] for one in origins],
        "channels": [
            {"quantity": column.quantity.value, "unit": column.unit, "count": len(column.t), "decimals": decimals}
            for column, (decimals, _) in zip(columns, values, strict=True)
        ],
    }
    numbers = [since // t_tick, lag // lag_tick, origin, mask]
    numbers += [whole for decimals, whole in values if decimals is not None]
    doubles = [c.value.astype(">f8").tobytes() for c, (d, _) in zip(columns, values, strict=True) if d is None]
    deltas = np.concatenate([np.diff(one, prepend=0) for one in numbers])
    return b"".join([MAGIC, _json(header), b"\n", varints(deltas), *doubles])


def _json(header: dict[str, Any]) -> bytes:
    return json.dumps(header, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def _in_order(segment: Segment) -> tuple[list[Origin], list[Column]]:
    """Origins and columns that have readings, in the one order there is."""
    columns = sorted((c for c in segment.columns if len(c.t)), key=lambda c: (c.quantity.value, c.unit))
    if len(columns) > 32 or any(_names(a) == _names(b) for a, b in pairwise(columns)):
        raise ValueError("a channel of a segment stands there twice, or there are too many")
    used = {int(place) for column in columns for place in np.unique(column.origin)}
    origins = sorted((segment.origins[place] for place in used), key=lambda one: (one.kind.value, one.detail))
    moved = np.array([origins.index(one) if one in origins else -1 for one in segment.origins], np.int64)
    ordered = [_by_time(column, moved) for column in columns]
    for quantity in {column.quantity for column in ordered}:
        t = np.sort(np.concatenate([column.t for column in ordered if column.quantity == quantity]))
        if np.any(np.diff(t) == 0) or t[0] < segment.day or t[-1] >= segment.day + DAY:
            raise ValueError("two readings of one channel at the same time, or one of another day")
    return origins, ordered


def _names(column: Column) -> tuple[str, str]:
    return column.quantity.value, column.unit


def _by_time(column: Column, moved: Ints) -> Column:
    order = np.argsort(column.t, kind="stable")
    value = column.value[order]
    if not np.all(np.isfinite(value)) or np.any((column.arrival < 0) | (column.arrival >= _YEAR_10000)):
        raise ValueError("a value or an arrival that is no number")
    return column._replace(
        t=column.t[order], value=value, arrival=column.arrival[order], origin=moved[column.origin[order]]
    )


def _rows(columns: Sequence[Column]) -> tuple[Ints, list[Ints]]:
    """Time, arrival and origin of every row, 3 x rows, and the rows that each column speaks in."""
    if not columns:
        return np.zeros((3, 0), np.int64), []
    every = np.concatenate([np.stack([c.t, c.arrival, c.origin]) for c in columns], axis=1)
    order = np.lexsort(every[::-1])
    ordered = every[:, order]
    new = np.ones(ordered.shape[1], bool)
    new[1:] = np.any(np.diff(ordered, axis=1) != 0, axis=0)
    place = np.empty(len(order), np.int64)
    place[order] = np.cumsum(new) - 1
    return ordered[:, new], np.split(place, np.cumsum([len(c.t) for c in columns])[:-1])


def _tick(times: Ints) -> int:
    return SECOND if not np.any(times % SECOND) else 1


def scaled(value: NDArray[np.float64]) -> tuple[int | None, Ints]:
    """The decimals of a column and its whole numbers; (None, nothing) where it has to stay as it is."""
    for decimals in range(_MOST_DECIMALS + 1):
        near = np.rint(value * 10**decimals)
        if np.any(np.abs(near) >= _SAFE):
            break
        whole = near.astype(np.int64)
        if np.array_equal((whole / 10**decimals).view(np.int64), value.view(np.int64)):  # -0.0 is not 0.0
            return decimals, whole
    return None, np.empty(0, np.int64)


def varints(numbers: Ints) -> bytes:
    """Numbers as zigzag in base 128, one after the other."""
    table, used = septets(numbers)
    packed: bytes = table[used].tobytes()
    return packed


def septets(numbers: Ints) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """The bytes of each number, numbers x as many as the longest has, and which of them there are."""
    zigzag = ((numbers << 1) ^ (numbers >> 63)).astype(np.uint64)
    longest = max(int(zigzag.max(initial=0)).bit_length() + 6, 7) // 7
    left = zigzag[:, None] >> np.arange(0, 7 * longest, 7, dtype=np.uint64)
    more = left > 127
    table: NDArray[np.uint8] = (left & np.uint64(127)).astype(np.uint8) | (more.astype(np.uint8) << np.uint8(7))
    used: NDArray[np.bool_] = np.ones((len(numbers), longest), np.bool_)
    used[:, 1:] = more[:, :-1]
    return table, used


# --- from bytes -------------------------------------------------------------------------------------------------------


def decode(data: bytes) -> Segment:
    """The segment of canonical bytes. Raises ValueError for what is none; see `decode_strictly` for foreign bytes."""
    header, body = parts(data)
    count = counted(header)
    split = len(body) - doubles_of(header)
    if split < count:
        raise ValueError("a segment that is cut short")
    return assembled(header, numbers_of(body[:split], count), body[split:])


def counted(header: dict[str, Any]) -> int:
    """How many numbers a segment with this header has."""
    return sum(
        [4 * int(header["rows"]), *(int(one["count"]) for one in header["channels"] if one["decimals"] is not None)]
    )


def doubles_of(header: dict[str, Any]) -> int:
    """How many bytes the doubles at its end take."""
    return sum(8 * int(one["count"]) for one in header["channels"] if one["decimals"] is None)


def assembled(header: dict[str, Any], numbers: Ints, doubles: bytes) -> Segment:
    """The segment of a header, its numbers (differences still) and its doubles. Raises ValueError."""
    channels, rows = header["channels"], header["rows"]
    edges = np.cumsum([rows] * 4 + [one["count"] for one in channels if one["decimals"] is not None]).tolist()
    since, lag, origin, mask, *whole = (np.cumsum(numbers[a:b]) for a, b in pairwise([0, *edges]))
    origins = tuple(Origin(OriginKind(kind), detail) for kind, detail in header["origins"])
    if rows and (origin.min() < 0 or origin.max() >= len(origins)):
        raise ValueError("an origin that the segment does not name")
    day = ms_of_day(header["day"])
    t = day + since * header["t_tick"]
    arrival = t + lag * header["lag_tick"]
    columns = []
    for bit, (one, value) in enumerate(zip(channels, _values(channels, whole, doubles), strict=True)):
        spoken = _spoken(mask, bit)
        if len(t[spoken]) != len(value):
            raise ValueError("a channel with more or fewer values than its header says")
        columns.append(
            Column(Quantity(one["quantity"]), one["unit"], t[spoken], value, arrival[spoken], origin[spoken])
        )
    return Segment(header["stream"], day, origins, tuple(columns))


def _spoken(mask: Ints, bit: int) -> Ints | slice:
    """The rows that a channel speaks in; as a slice, which copies nothing, where it speaks in all."""
    speaks = mask & (1 << bit) != 0
    return slice(None) if speaks.all() else np.flatnonzero(speaks)


def _values(channels: Sequence[dict[str, Any]], whole: list[Ints], data: bytes) -> list[NDArray[np.float64]]:
    """The values of each channel, from the whole numbers and the doubles of all."""
    found, doubles = [], np.frombuffer(data, ">f8").astype(np.float64)
    for one in channels:
        if one["decimals"] is None:
            value, doubles = doubles[: one["count"]], doubles[one["count"] :]
        else:
            value = whole.pop(0) / 10 ** one["decimals"]
        found.append(value)
    return found


def decode_strictly(data: bytes) -> Segment:
    """`decode` of bytes from anywhere: they must be the very bytes that `encode` makes. Raises ValueError alone."""
    try:
        if len(data) > MAX_BYTES:
            raise ValueError("a segment that is too long")
        segment = decode(data)
        if encode(segment) != data:
            raise ValueError("a segment that is not written in its one canonical form")
    except ValueError:
        raise
    except STRANGE as exc:
        raise ValueError("a segment with a header that is none") from exc
    return segment


def ms_of_day(text: str) -> int:
    """The UTC midnight that begins a day written 2026-01-05. Raises ValueError. [ms]"""
    day = ms_of(datetime.fromisoformat(text).replace(tzinfo=UTC))
    if rfc3339(day)[:10] != text:
        raise ValueError(f"{text!r} is not a day")
    return day


def parts(data: bytes) -> tuple[dict[str, Any], bytes]:
    """The header of a segment and what follows its LF. Raises ValueError."""
    end = data.find(b"\n", len(MAGIC), len(MAGIC) + _MAX_HEADER)
    if not data.startswith(MAGIC) or end < 0:
        raise ValueError("no segment: it does not begin like one")
    header = json.loads(data[len(MAGIC) : end])
    whole = [header["rows"], *(one["count"] for one in header["channels"])]
    if any(type(number) is not int or number < 0 for number in whole):
        raise ValueError("a segment whose header counts wrong")
    if not {header["t_tick"], header["lag_tick"]} <= {1, SECOND}:
        raise ValueError("a segment with a tick that there is not")
    if not {one["decimals"] for one in header["channels"]} <= {None, *range(_MOST_DECIMALS + 1)}:
        raise ValueError("a segment with decimals that there are not")
    return header, data[end + 1 :]


def numbers_of(body: bytes, count: int) -> Ints:
    """The `count` numbers that `body` is. Raises ValueError when it is more, fewer or longer ones."""
    raw = np.frombuffer(body, np.uint8)
    ends = np.flatnonzero(raw < 128)
    if len(ends) != count or (len(raw) and raw[-1] > 127):
        raise ValueError("a segment with more or fewer numbers than its header says")
    if not count:
        return np.empty(0, np.int64)
    starts = np.concatenate([[0], ends[:-1] + 1])
    lengths = ends - starts + 1
    if lengths.max() > 9:
        raise ValueError("a number too long for a segment")
    place = np.arange(len(raw)) - np.repeat(starts, lengths)
    septet = (raw & 127).astype(np.int64) << (7 * place)
    return unzigzag(np.add.reduceat(septet, starts))


def unzigzag(numbers: Ints) -> Ints:
    """2n as n, 2n + 1 as -n - 1."""
    signs = -(numbers & 1)
    signs ^= numbers >> 1
    return signs


# --- hash -------------------------------------------------------------------------------------------------------------


def content_hash(data: bytes) -> bytes:
    """SHA-256 over the canonical bytes, never over packed ones: 32 bytes."""
    return hashlib.sha256(data).digest()
