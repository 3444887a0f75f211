"""Readings in the segments that were sealed: those of compacted days are no rows any more, those of others are both."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, bindparam, select

from monitor.basis.errors import StoreError
from monitor.basis.packing import decode_packed
from monitor.basis.segment import Segment
from monitor.basis.times import DAY
from monitor.basis.values import Origin, Quantity, Reading, Series, empty_series
from monitor.keep.schema import leaf, loose, sealed, sensor, unsealed

AGE = 35 * DAY  # no day is compacted before it is so old: what comes late within a month is a row; ours [ms]
LATE = AGE // 2  # a reading that comes so late may be of a compacted day; less, for clocks are set back [ms]
FAR = 1 << 62  # beyond any time that is kept [ms]

_COMPACTED = (
    select(leaf.c.number, sealed.c.bytes)
    .join(sealed, sealed.c.leaf == leaf.c.number)
    .outerjoin(loose, loose.c.leaf == leaf.c.number)
    .where(leaf.c.kind == "sensor", leaf.c.thread == bindparam("stream"), loose.c.leaf.is_(None))
    .where(leaf.c.day > bindparam("after"), leaf.c.day < bindparam("before"))
    .order_by(leaf.c.day, leaf.c.number)
)
_OF_DAY = (unsealed.c.kind == leaf.c.kind) & (unsealed.c.thread == leaf.c.thread) & (unsealed.c.day == leaf.c.day)
_SEALED = (
    select(leaf.c.number, sealed.c.bytes)
    .join(sealed, sealed.c.leaf == leaf.c.number)
    .join(loose, loose.c.leaf == leaf.c.number)
    .outerjoin(unsealed, _OF_DAY)
    .where(leaf.c.kind == "sensor", leaf.c.thread == bindparam("stream"), unsealed.c.day.is_(None))
    .where(leaf.c.day >= bindparam("first"), leaf.c.day <= bindparam("last"))
    .order_by(leaf.c.day, leaf.c.number)
)


def opened(number: int, packed: bytes | None) -> Segment:
    """The readings of a leaf. Raises StoreError where they are not there or can't be read."""
    try:
        if packed is None:
            raise ValueError("nothing is kept of it")
        return decode_packed(packed)
    except ValueError as exc:
        raise StoreError(
            f"what leaf {number} holds can't be read ({exc})",
            where="seals",
            mend="Put the store aside unchanged and continue from a backup",
        ) from exc


def packed_segments(
    conn: Connection, stream: str, start: int | None = None, end: int | None = None, but: Collection[int] = ()
) -> Iterator[Segment]:
    """What a sensor said on the compacted UTC days that have a part in [start, end), in order of day. [ms]

    Whoever wants rows too reads them first: what is compacted meanwhile is in both then, and not in neither. `but`:
    leaves that are left out.
    """
    after, before = -FAR if start is None else start - DAY, FAR if end is None else end
    for number, packed in conn.execute(_COMPACTED, {"stream": stream, "after": after, "before": before}):
        if number not in but:
            yield opened(number, packed)


def sealed_segments(conn: Connection, stream: str, start: int | None, end: int | None) -> dict[int, Segment]:
    """What a sensor said on UTC days, whole in [start, end), that are rows but stand sealed too, by leaf. [ms]

    Nothing has come of such a day since: its rows need not be read, which takes ten times longer. Where one can't be
    unpacked, all are left to their rows.
    """
    first, last = -FAR if start is None else start, FAR if end is None else end - DAY
    rows = conn.execute(_SEALED, {"stream": stream, "first": first, "last": last}).all()
    try:
        return {number: opened(number, packed) for number, packed in rows}
    except StoreError:
        return {}


def packed_series(
    conn: Connection,
    stream: str,
    quantities: Collection[Quantity],
    start: int | None,
    end: int | None,
    more: Mapping[int, Segment],
) -> dict[Quantity, Series]:
    """What a sensor said of these quantities on the compacted days that have a part in [start, end), whole days.

    `more`: segments of others, by leaf, to be among them.
    """
    units: dict[Quantity, dict[str, int]] = {quantity: {} for quantity in quantities}
    origins: dict[Origin, int] = {}
    parts: dict[Quantity, list[tuple[NDArray[Any], ...]]] = {quantity: [] for quantity in quantities}
    for segment in chain(more.values(), packed_segments(conn, stream, start, end, more)):
        place = np.array([origins.setdefault(one, len(origins)) for one in segment.origins], np.int32)
        for column in segment.columns:
            if column.quantity in parts:
                of = units[column.quantity]
                unit = np.full(len(column.t), of.setdefault(column.unit, len(of)), np.int16)
                parts[column.quantity].append((column.t, column.value, unit, place[column.origin]))
    found = {}
    for quantity in quantities:
        found[quantity] = empty_series()
        if some := parts.pop(quantity):  # not all of it twice at once
            t, value, unit, origin = (np.concatenate(arrays) for arrays in zip(*some, strict=True))
            found[quantity] = Series(t, value, unit, origin, tuple(units[quantity]), tuple(origins))
    return found


def held_sensor(conn: Connection, stream: str) -> int | None:
    """The id of a sensor of which no other transaction compacts days or keeps late readings until this one ends."""
    return conn.scalar(select(sensor.c.id).where(sensor.c.stream == stream).with_for_update(key_share=True))


def packed_values(
    conn: Connection, stream: str, wanted: Collection[tuple[Quantity, int]]
) -> dict[tuple[Quantity, int], tuple[float, str]]:
    """Of (quantity, t) what is kept of it in compacted days: value and unit."""
    found = {}
    times = np.array(sorted({t for _, t in wanted}), np.int64)
    for day in sorted({t - t % DAY for _, t in wanted}):
        for segment in packed_segments(conn, stream, day, day + DAY):
            for column in segment.columns:
                for at in np.flatnonzero(np.isin(column.t, times)).tolist():
                    found[column.quantity, int(column.t[at])] = (float(column.value[at]), column.unit)
    return {key: found[key] for key in wanted if key in found}


def late_ones(readings: Iterable[Reading]) -> list[Reading]:
    """Those that may be of a day that was compacted or thinned."""
    return [one for one in readings if one.t < one.arrival - LATE]


def packed_standing(
    conn: Connection, late: Iterable[Reading], channels: Mapping[tuple[str, Quantity], int]
) -> dict[tuple[int, int], tuple[float, str]]:
    """What is kept already of the late readings' (channel id, t) in compacted days: value and unit."""
    found = {}
    by_stream: dict[str, set[tuple[Quantity, int]]] = {}
    for one in late:
        by_stream.setdefault(one.stream, set()).add((one.quantity, one.t))
    for stream in sorted(by_stream):  # in order, so that two processes never wait for each other
        held_sensor(conn, stream)
        for (quantity, t), kept in packed_values(conn, stream, by_stream[stream]).items():
            found[channels[stream, quantity], t] = kept
    return found
