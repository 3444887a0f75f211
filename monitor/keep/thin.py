"""Thinning: most readings of days long past go, with the bytes that were sealed of them; an entry says what is left."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import Connection, select

from monitor.basis.errors import StoreError
from monitor.basis.times import DAY, rfc3339
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind, Quantity, Reading
from monitor.keep.log import Log, entries_of, held
from monitor.keep.packed import opened
from monitor.keep.schema import chain, channel, dirty, entry, loose, reading, sealed, sensor, unsealed

YOUNGEST = 90 * DAY  # no day is thinned before it is so old; ours [ms]
_LATE = YOUNGEST // 2  # a reading that comes so late may be of a thinned day; less, for clocks are set back [ms]


class Left(NamedTuple):
    """What is left of a UTC day: the times of each quantity [ms], how many readings go, each leaf's bytes anew."""

    day: int
    times: Mapping[Quantity, Collection[int]]
    gone: Mapping[Quantity, int]
    contents: Mapping[int, bytes]


class Thinning(Log):
    """What the store does to thin."""

    def thin(
        self,
        stream: str,
        days: Sequence[Left],
        draft: Draft,
        *,
        jobs: Sequence[str],
        check: Callable[[str, list[Entry]], None],
    ) -> Entry:
        """Leave of `days` of a sensor what is said, and an entry of the sensors' log that says so; all or nothing.

        `check` gets the log of each of `jobs`, while nobody else can add to it, and may raise to stop it. `scrub` is to
        follow. Raises RecordError, and StoreError where a reading of such a day came meanwhile.
        """
        with self._writing() as conn:
            for job in sorted(jobs):
                held(conn, job, new=False)
                check(job, entries_of(conn, job))
            [left] = self._put(conn, held(conn, SENSORS_CHAIN, new=False), SENSORS_CHAIN, [draft])
            ids = _channels(conn, stream)
            for day in days:
                self._leave(conn, stream, ids, day)
            span = {"first_t": min(one.day for one in days), "last_t": max(one.day for one in days) + DAY - 1}
            conn.execute(dirty.insert(), {"stream": stream, **span})
        return left

    def _leave(self, conn: Connection, stream: str, ids: Mapping[Quantity, int], left: Left) -> None:
        """Delete what goes of one day."""
        mark = (unsealed.c.kind == "sensor") & (unsealed.c.thread == stream) & (unsealed.c.day == left.day)
        came = conn.scalar(select(unsealed.c.touched).where(mark)) is not None
        packed = _packed_gone(conn, left)
        for quantity, gone in left.gone.items():
            of_day = (reading.c.channel_id == ids[quantity]) & reading.c.t.between(left.day, left.day + DAY - 1)
            going = reading.delete().where(of_day, reading.c.t.not_in(list(left.times[quantity])))
            came |= conn.execute(going).rowcount + packed[quantity] != gone
            fewer = channel.update().where(channel.c.id == ids[quantity])
            conn.execute(fewer.values(readings=channel.c.readings - gone))
        if came:
            what = f"readings of {rfc3339(left.day)[:10]} of {stream} came while it was thinned; nothing was erased"
            raise StoreError(what, where=self._where, mend="Try again")
        for leaf, data in left.contents.items():
            conn.execute(sealed.update().where(sealed.c.leaf == leaf).values(bytes=data))


def _packed_gone(conn: Connection, left: Left) -> Counter[Quantity]:
    """How many readings of each quantity go with the bytes of leaves that were compacted."""
    query = select(sealed.c.leaf, sealed.c.bytes).outerjoin(loose, loose.c.leaf == sealed.c.leaf)
    found: Counter[Quantity] = Counter()
    for number, packed in conn.execute(query.where(sealed.c.leaf.in_(list(left.contents)), loose.c.leaf.is_(None))):
        for column in opened(number, packed).columns:
            found[column.quantity] += len(column.t)
        for column in opened(number, left.contents[number]).columns:
            found[column.quantity] -= len(column.t)
    return found


def _channels(conn: Connection, stream: str) -> dict[Quantity, int]:
    query = select(channel.c.quantity, channel.c.id).join(sensor).where(sensor.c.stream == stream)
    return {Quantity(quantity): id_ for quantity, id_ in conn.execute(query)}


def days_thinned(conn: Connection, readings: Collection[Reading]) -> set[tuple[str, int]]:
    """Of the days that late readings are of, those that were thinned: (stream, UTC midnight [ms])."""
    days = {(one.stream, one.t - one.t % DAY) for one in readings if one.t < one.arrival - _LATE}
    found = set()
    for stream in {stream for stream, _ in days}:
        query = select(entry.c.body).join(chain).where(chain.c.name == SENSORS_CHAIN)
        about = entry.c.body.contains(json.dumps(stream), autoescape=True)
        for body in conn.scalars(query.where(entry.c.kind == Kind.THINNED.value, about)):
            said = json.loads(body)
            names = {one["day"] for one in said["days"]} if said["stream"] == stream else set()
            found |= {(of, day) for of, day in days if of == stream and rfc3339(day)[:10] in names}
    return found
