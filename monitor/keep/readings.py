"""Readings: kept once, in one transaction a batch, and read back as arrays."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from itertools import chain as chained
from itertools import groupby
from operator import itemgetter
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, bindparam, func, select, tuple_

from monitor.basis.errors import StoreError
from monitor.basis.segment import Column, Segment, joined, minus
from monitor.basis.times import DAY, rfc3339
from monitor.basis.values import Origin, OriginKind, Quantity, Reading, Refused, Series
from monitor.keep.connect import SOME, bulk, insert, over
from monitor.keep.ids import Ids, ids_for
from monitor.keep.months import Months
from monitor.keep.packed import FAR, late_ones, packed_segments, packed_series, packed_standing, sealed_segments
from monitor.keep.quarantine import Quarantine, put_aside, row_of_conflict, row_of_refused
from monitor.keep.rows import Kept
from monitor.keep.schema import channel, origin, reading, sensor, unit
from monitor.keep.thin import days_thinned

Key = tuple[int, int]  # (channel id, t)
_Stored = tuple[int, int, float, int, int, int]  # as _COLUMNS
Name = TypeVar("Name")

_FEW = 2 * DAY  # of so few, rows are read sooner than it is found which days are sealed [ms]
THINNED = "thinned"  # the reason of readings that come of a day which was thinned

_COLUMNS = tuple(reading.c.keys())
# What runs for every batch goes past SQLAlchemy's compiler, which would take longer than the database: SQLite gets a
# statement a row, PostgreSQL one statement for all rows, whose columns come as arrays (see `bulk`).
_NAMES = ", ".join(_COLUMNS)
_INSERT = {
    "sqlite": f"INSERT INTO reading ({_NAMES}) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
    "postgresql": f"INSERT INTO reading ({_NAMES}) SELECT * FROM unnest(%s::bigint[], %s::bigint[], %s::float8[], "
    "%s::bigint[], %s::bigint[], %s::bigint[]) ON CONFLICT DO NOTHING",
}
_ADD_TO_SUMS = {
    "sqlite": "UPDATE channel SET first_t = CASE WHEN first_t <= ? THEN first_t ELSE ? END, "
    "last_t = CASE WHEN last_t >= ? THEN last_t ELSE ? END, "
    "last_arrival = CASE WHEN last_arrival >= ? THEN last_arrival ELSE ? END, "
    "readings = readings + ? WHERE id = ?",
    "postgresql": "UPDATE channel SET first_t = least(first_t, began), last_t = greatest(last_t, ended), "
    "last_arrival = greatest(last_arrival, heard), readings = channel.readings + more "
    "FROM (SELECT began, ended, heard, more, of FROM "
    f"unnest({', '.join(['%s::bigint[]'] * 8)}) AS new (began, b, ended, e, heard, h, more, of) "
    "JOIN channel AS held ON held.id = of ORDER BY of FOR NO KEY UPDATE OF held) AS new WHERE id = of",
}
_MARK_DIRTY = {
    "sqlite": "INSERT INTO dirty (stream, first_t, last_t) VALUES (?, ?, ?)",
    "postgresql": "INSERT INTO dirty (stream, first_t, last_t) SELECT * FROM unnest(%s::text[], %s::bigint[], "
    "%s::bigint[])",
}
_MARK_UNSEALED = {
    "sqlite": "INSERT INTO unsealed (kind, thread, day, touched) VALUES ('sensor', ?, ?, 1) "
    "ON CONFLICT (kind, thread, day) DO UPDATE SET touched = unsealed.touched + 1",
    "postgresql": "INSERT INTO unsealed (kind, thread, day, touched) SELECT 'sensor', thread, day, 1 "
    "FROM unnest(%s::text[], %s::bigint[]) AS new (thread, day) "
    "ON CONFLICT (kind, thread, day) DO UPDATE SET touched = unsealed.touched + 1",
}
_OF_COLUMN = ("t", "value", "arrival", "origin")
_FETCH = 10_000  # rows a fetch
_ROW = np.dtype([("t", np.int64), ("value", np.float64), ("unit", np.int64), ("origin", np.int64)])
_WHOLE_ROW = np.dtype([*_ROW.descr, ("arrival", np.int64)])


def _sort_out(readings: Iterable[Reading], ids: Ids) -> tuple[dict[Key, Reading], list[tuple[Key, Reading]]]:
    """The first reading of each channel and time, and those that come after it in the batch."""
    first: dict[Key, Reading] = {}
    later: list[tuple[Key, Reading]] = []
    for one in readings:
        if not math.isfinite(one.value):
            raise StoreError(
                f"a reading of {one.value!r} is no number and is not kept",
                where=f"{one.stream} {one.quantity.value}",
                mend="Refuse it where the message is read",
            )
        key = (ids.channels[one.stream, one.quantity], one.t)
        if first.setdefault(key, one) is not one:
            later.append((key, one))
    return first, later


def _turn_away(
    conn: Connection,
    late: Sequence[Reading],
    packed: Mapping[Key, object],
    first: dict[Key, Reading],
    later: list[tuple[Key, Reading]],
) -> list[Refused]:
    """Take out what is of thinned days and not left of them; what says so, one a day, without the readings."""
    shut = days_thinned(conn, late)
    of_shut = [key for key, one in first.items() if shut and (one.stream, one.t - one.t % DAY) in shut]
    going = set(of_shut) - _standing(conn, of_shut).keys() - packed.keys()
    gone = [first.pop(key) for key in going]
    later[:] = [(key, one) for key, one in later if key not in going]
    days: dict[tuple[str, int], int] = {}
    for one in gone:
        of = (one.stream, one.t - one.t % DAY)
        days[of] = max(days.get(of, 0), one.arrival)
    return [_refused_day(*of, arrival) for of, arrival in sorted(days.items())]


def _refused_day(stream: str, day: int, arrival: int) -> Refused:
    name = rfc3339(day)[:10]
    return Refused(stream, THINNED, f"{name} was thinned: what comes of it is not kept", name.encode(), arrival)


class _SomeKnownError(Exception):
    """Not all of a batch is new."""


def _rows(first: Mapping[Key, Reading], ids: Ids) -> list[_Stored]:
    """In the order in which they are stored: each page is then met once."""
    return sorted(
        (channel_id, t, one.value, ids.units[one.unit], one.arrival, ids.origins[one.origin])
        for (channel_id, t), one in first.items()
    )


def _insert_all(conn: Connection, rows: list[_Stored]) -> list[_Stored]:
    """Keep what is all new, as a rule; else raises _SomeKnownError, as it can't be told what was.

    The whole transaction is then made again: a savepoint would have SQLite write every page twice, in case.
    """
    if rows and bulk(conn, _INSERT, rows) != len(rows):
        raise _SomeKnownError
    return rows


def _insert_new(conn: Connection, rows: list[_Stored]) -> list[_Stored]:
    """Keep what is not there yet; answers what that was."""
    adding = insert(conn, reading).on_conflict_do_nothing().returning(reading.c.channel_id, reading.c.t)
    answer = conn.execute(adding, [dict(zip(_COLUMNS, row, strict=True)) for row in rows])
    found = {(channel_id, t) for channel_id, t in answer}
    return [row for row in rows if row[:2] in found]


_STANDING = (
    select(reading.c.channel_id, reading.c.t, reading.c.value, unit.c.text)
    .join(unit)
    .where(tuple_(reading.c.channel_id, reading.c.t).in_(SOME))
)


def _standing(conn: Connection, keys: Iterable[Key]) -> dict[Key, tuple[float, str]]:
    """What is kept under `keys`: value and unit."""
    return {(channel_id, t): (value, text) for channel_id, t, value, text in over(conn, _STANDING, keys)}


def _conflicts(
    conn: Connection,
    new: Collection[Key],
    packed: Mapping[Key, tuple[float, str]],
    first: Mapping[Key, Reading],
    later: Sequence[tuple[Key, Reading]],
) -> list[dict[str, Any]]:
    """Quarantine rows of what was offered with another value or unit than the one kept, as a row or `packed`."""
    left = [(key, one) for key, one in first.items() if key not in new] + list(later)
    kept = {key: (first[key].value, first[key].unit) for key, _ in later if key in new}
    kept |= _standing(conn, [key for key in first if key not in new and key not in packed])
    kept |= packed
    return [row_of_conflict(one, kept[key]) for key, one in left if kept[key] != (one.value, one.unit)]


def _sum_up(conn: Connection, new: Sequence[_Stored], first: Mapping[Key, Reading]) -> None:
    """Write the new readings into their channels' sums, one dirty row a stream, and which days are to be sealed.

    `new` in order, so that two processes that keep the same channels never wait for each other.
    """
    sums: list[tuple[int, ...]] = []
    spans: dict[str, tuple[int, int]] = {}
    days: set[tuple[str, int]] = set()
    for channel_id, rows in groupby(new, itemgetter(0)):
        times, arrivals = zip(*((row[1], row[4]) for row in rows), strict=True)
        begin, end, heard = times[0], times[-1], max(arrivals)
        sums.append((begin, begin, end, end, heard, heard, len(times), channel_id))
        stream = first[channel_id, begin].stream
        span = spans.get(stream, (begin, end))
        spans[stream] = (min(span[0], begin), max(span[1], end))
        days |= {(stream, day) for day in {t - t % DAY for t in times}}
    if sums:
        bulk(conn, _ADD_TO_SUMS, sums)
        bulk(conn, _MARK_DIRTY, [(stream, *span) for stream, span in spans.items()])
        bulk(conn, _MARK_UNSEALED, sorted(days))


def _fetch(conn: Connection, query: Select, row: np.dtype, **given: object) -> NDArray:
    """The rows of `query` as an array of `row`, never all of them as Python objects at once."""
    if conn.dialect.name == "sqlite":  # to make rows of its own takes SQLAlchemy longer than SQLite takes to find them
        rows: Any = conn.execute(query, given).cursor
    else:
        rows = map(tuple, conn.execute(query.execution_options(yield_per=_FETCH), given))
    return np.fromiter(rows, row)


_OF_CHANNEL = (sensor.c.stream == bindparam("stream")) & (channel.c.quantity == bindparam("quantity"))


def _between(*columns: str) -> Select:
    """Columns of a channel's readings with start <= t < end, in order of t; `_within` has what is to be given."""
    channel_id = select(channel.c.id).join(sensor).where(_OF_CHANNEL).scalar_subquery()
    span = (reading.c.t >= bindparam("start")) & (reading.c.t < bindparam("end"))
    return select(*(reading.c[name] for name in columns)).where(reading.c.channel_id == channel_id, span).order_by("t")


# Made once: to make a statement takes SQLAlchemy longer than SQLite takes to find a day's readings.
_SERIES = _between("t", "value", "unit_id", "origin_id")
_WHOLE = _between("t", "value", "unit_id", "origin_id", "arrival")
_ARRIVALS = _between("t", "arrival")
_BOUNDS = select(channel.c.first_t, channel.c.last_t).join(sensor).where(_OF_CHANNEL, channel.c.first_t.is_not(None))


def _within(stream: str, quantity: Quantity, start: int | None, end: int | None) -> dict[str, object]:
    return {
        "stream": stream,
        "quantity": quantity.value,
        "start": -FAR if start is None else start,
        "end": FAR if end is None else end,
    }


def _used(ids: NDArray[np.int64]) -> list[int]:
    return np.flatnonzero(np.bincount(ids)).tolist()


def units_of(conn: Connection, ids: NDArray[np.int64]) -> dict[int, str]:
    """The units of these ids, by id."""
    query = select(unit.c.id, unit.c.text)
    return _names_of(conn, ids, "units", lambda new: dict(conn.execute(query.where(unit.c.id.in_(new))).all()))


def origins_of(conn: Connection, ids: NDArray[np.int64]) -> dict[int, Origin]:
    """The origins of these ids, by id."""
    query = select(origin.c.id, origin.c.kind, origin.c.detail)

    def asked(new: list[int]) -> dict[int, Origin]:
        rows = conn.execute(query.where(origin.c.id.in_(new)))
        return {id_: Origin(OriginKind(kind), detail) for id_, kind, detail in rows}

    return _names_of(conn, ids, "origins", asked)


def _names_of(
    conn: Connection, ids: NDArray[np.int64], kind: str, asked: Callable[[list[int]], dict[int, Name]]
) -> dict[int, Name]:
    """What ids stand for, which no id ever does anew: each connection remembers whom it asked."""
    known, used = conn.info.setdefault(kind, {}), _used(ids)
    if new := [id_ for id_ in used if id_ not in known]:
        known.update(asked(new))
    return {id_: known[id_] for id_ in used}


def _columns(quantity: Quantity, rows: NDArray, units: Mapping[int, str]) -> list[Column]:
    """The rows of one quantity as a column for each unit; the origins are ids still."""
    found = []
    for id_, text in units.items():
        of = rows[rows["unit"] == id_]
        found.append(Column(quantity, text, *(np.ascontiguousarray(of[name]) for name in _OF_COLUMN)))
    return found


def places_of(ids: NDArray[np.int64], names: Mapping[int, Name]) -> tuple[NDArray[np.int64], tuple[Name, ...]]:
    """`ids` as places in a tuple of the names they stand for; its order is that of the names, not of their arrival."""
    order = sorted(names, key=lambda id_: str(names[id_]))
    place = np.zeros(max(order, default=0) + 1, np.int64)
    place[order] = np.arange(len(order))
    return place[ids], tuple(names[id_] for id_ in order)


def _between_days(start: int | None, end: int | None, days: Collection[int]) -> list[tuple[int, int]]:
    """[start, end) without these UTC days. [ms]"""
    edges = [-FAR if start is None else start]
    for day in sorted(days):
        edges += [day, day + DAY]
    edges.append(FAR if end is None else end)
    return [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if a < b]


def _series_rows(conn: Connection, stream: str, quantity: Quantity, spans: Sequence[tuple[int, int]]) -> Series:
    """The readings of a channel that are rows, in these spans [start, end). [ms]"""
    parts = [_fetch(conn, _SERIES, _ROW, **_within(stream, quantity, *span)) for span in spans]
    rows = parts[0] if len(parts) == 1 else np.concatenate([np.empty(0, _ROW), *parts])  # one is not copied
    unit_places, unit_names = places_of(rows["unit"], units_of(conn, rows["unit"]))
    origin_places, origin_names = places_of(rows["origin"], origins_of(conn, rows["origin"]))
    return Series(
        t=np.ascontiguousarray(rows["t"]),
        value=np.ascontiguousarray(rows["value"]),
        unit=unit_places.astype(np.int16),
        origin=origin_places.astype(np.int32),
        units=unit_names,
        origins=origin_names,
    )


def day_rows(conn: Connection, stream: str, day: int) -> Segment:
    """The readings of a sensor's UTC day that are rows. [ms]"""
    columns: list[Column] = []
    origins: dict[int, Origin] = {}
    of = select(channel.c.quantity).join(sensor).where(sensor.c.stream == stream)
    for quantity in map(Quantity, conn.scalars(of).all()):
        rows = _fetch(conn, _WHOLE, _WHOLE_ROW, **_within(stream, quantity, day, day + DAY))
        if len(rows):
            origins |= origins_of(conn, rows["origin"])
            columns += _columns(quantity, rows, units_of(conn, rows["unit"]))
    places = {id_: place for place, id_ in enumerate(origins)}
    named = [one._replace(origin=np.array([places[id_] for id_ in one.origin.tolist()], np.int64)) for one in columns]
    return Segment(stream, day, tuple(origins.values()), tuple(named))


def _together(rows: Series, packed: Series, start: int | None, end: int | None) -> Series:
    """Both in [start, end), in order of t; of what was compacted while it was read, and is in both, one."""
    if not len(packed):
        return rows
    arrays = _by_time([packed.t, packed.value, packed.unit, packed.origin])
    if len(rows):
        place = np.minimum(arrays[0].searchsorted(rows.t), len(packed) - 1)
        new = arrays[0][place] != rows.t
        more: list[NDArray[Any]] = [
            rows.t,
            rows.value,
            rows.unit + len(packed.units),
            rows.origin + len(packed.origins),
        ]
        arrays = _by_time([np.concatenate([a, b[new]]) for a, b in zip(arrays, more, strict=True)])
    first = 0 if start is None else int(arrays[0].searchsorted(start))
    last = len(arrays[0]) if end is None else int(arrays[0].searchsorted(end))
    t, value, *codes = (one[first:last] for one in arrays)
    unit, units = _renamed(codes[0], (*packed.units, *rows.units))
    origin, origins = _renamed(codes[1], (*packed.origins, *rows.origins))
    return Series(t, value, unit.astype(np.int16, copy=False), origin.astype(np.int32, copy=False), units, origins)


def _by_time(arrays: list[NDArray[Any]]) -> list[NDArray[Any]]:
    """Arrays of which the first has the times, in their order."""
    if not np.any(arrays[0][1:] < arrays[0][:-1]):
        return arrays
    order = np.argsort(arrays[0], kind="stable")
    return [one[order] for one in arrays]


def _renamed(codes: NDArray[Any], names: Sequence[Name]) -> tuple[NDArray[Any], tuple[Name, ...]]:
    """`codes` as places in a tuple of the names that they use, in the order of `places_of`."""
    if len(names) == 1 and len(codes):
        return codes, tuple(names)
    used = sorted({names[code] for code in _used(codes)}, key=str)
    place = np.array([used.index(name) if name in used else -1 for name in names], np.int64)
    return place[codes], tuple(used)


class Readings(Quarantine, Months):
    """What the store does with readings."""

    _ids: Ids

    def keep_readings(self, readings: Sequence[Reading], refused: Sequence[Refused] = ()) -> Kept:
        """Keep a batch in one transaction; when this returns, it outlives a crash and a power cut.

        Of one channel and time the first reading stays: an equal one (value and unit) is dropped, another goes to
        quarantine as `conflict`, and so does everything `refused` under its own reason. Raises StoreError; then
        nothing of the batch is kept.
        """
        self._make_room(readings)
        try:
            return self._keep(readings, refused, _insert_all)
        except _SomeKnownError:
            return self._keep(readings, refused, _insert_new)

    def _keep(
        self,
        readings: Sequence[Reading],
        refused: Sequence[Refused],
        insert_readings: Callable[[Connection, list[_Stored]], list[_Stored]],
    ) -> Kept:
        """One transaction."""
        with self._writing() as conn:
            ids = ids_for(conn, self._ids, readings)
            first, later = _sort_out(readings, ids)
            late = late_ones(first.values())
            packed = packed_standing(conn, late, ids.channels) if late else {}
            too_late = _turn_away(conn, late, packed, first, later)
            unknown = {key: one for key, one in first.items() if key not in packed} if packed else first
            new = insert_readings(conn, _rows(unknown, ids))
            kept = first.keys() if len(new) == len(first) else {row[:2] for row in new}
            conflicts = _conflicts(conn, kept, packed, first, later)
            _sum_up(conn, new, first)
            put_aside(conn, chained(conflicts, map(row_of_refused, [*refused, *too_late])))
        self._ids = ids  # only now: ids that were rolled back must not be remembered
        return Kept(len(new), len(readings) - len(new) - len(conflicts), len(conflicts))

    def series(self, stream: str, quantity: Quantity, start: int | None = None, end: int | None = None) -> Series:
        """The kept readings of a channel with start <= t < end, or all; of a channel never heard: none. [ms]"""
        return self.several(stream, [quantity], start, end)[quantity]

    def several(
        self, stream: str, quantities: Sequence[Quantity], start: int | None = None, end: int | None = None
    ) -> dict[Quantity, Series]:
        """`series` of each of some channels of a sensor, at once: what they have in common is read once."""
        few = start is not None and end is not None and end - start <= _FEW
        with self._reading() as conn:
            sealed = {} if few else sealed_segments(conn, stream, start, end)
            spans = _between_days(start, end, {segment.day for segment in sealed.values()})
            rows = {quantity: _series_rows(conn, stream, quantity, spans) for quantity in quantities}
            packed = packed_series(conn, stream, quantities, start, end, sealed)
        return {quantity: _together(rows[quantity], packed[quantity], start, end) for quantity in quantities}

    def arrivals(self, stream: str, quantity: Quantity, start: int, end: int) -> NDArray[np.int64]:
        """When the readings of a channel with start <= t < end arrived, in order of t. [ms]"""
        row = np.dtype([("t", np.int64), ("arrival", np.int64)])
        with self._reading() as conn:
            rows = _fetch(conn, _ARRIVALS, row, **_within(stream, quantity, start, end))
            parts = [
                (column.t, column.arrival)
                for segment in packed_segments(conn, stream, start, end)
                for column in segment.columns
                if column.quantity == quantity
            ]
        t, arrival = (np.concatenate(some) for some in zip(*parts, (rows["t"], rows["arrival"]), strict=True))
        t, places = np.unique(t, return_index=True)
        return arrival[places][slice(*t.searchsorted((start, end)).tolist())]

    def day_segment(self, stream: str, day: int) -> Segment:
        """All that is kept of a sensor's UTC day, which begins at `day`. [ms]"""
        with self._reading() as conn:
            rows = day_rows(conn, stream, day)
            packed = list(packed_segments(conn, stream, day, day + DAY))
        return joined([*packed, minus(rows, packed)]) if packed else rows

    def spoken(self, stream: str, start: int, end: int) -> NDArray[np.int64]:
        """The times of a sensor's readings with start <= t < end, whatever they are of, each once. [ms]"""
        of = select(channel.c.id).join(sensor).where(sensor.c.stream == stream)
        query = select(reading.c.t).where(reading.c.channel_id.in_(of), reading.c.t >= start, reading.c.t < end)
        with self._reading() as conn:
            rows = _fetch(conn, query.distinct().order_by(reading.c.t), np.dtype([("t", np.int64)]))["t"]
            packed = [c.t for segment in packed_segments(conn, stream, start, end) for c in segment.columns]
        if not packed:
            return rows
        t = np.unique(np.concatenate([rows, *packed]))
        return t[slice(*t.searchsorted((start, end)).tolist())]

    def bounds(self, stream: str, quantity: Quantity) -> tuple[int, int] | None:
        """The first and the last t of a channel; None when it was never heard. [ms]"""
        with self._reading() as conn:
            found = conn.execute(_BOUNDS, {"stream": stream, "quantity": quantity.value}).one_or_none()
        return None if found is None else (found.first_t, found.last_t)

    def newest_arrival(self) -> int | None:
        """When the newest of all kept readings arrived; None in an empty store. [ms]"""
        with self._reading() as conn:
            return conn.scalar(select(func.max(channel.c.last_arrival)))
