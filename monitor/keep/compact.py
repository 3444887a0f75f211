"""Compaction: of days that were sealed long ago the rows go, for the same readings stand in their segments.

A reading is never changed by it: a row goes only where the very same stands sealed, which is compared in the same
transaction; what differs is left alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from sqlalchemy import Connection, select

from monitor.basis.errors import StoreError
from monitor.basis.packing import unpack
from monitor.basis.segment import Segment, content_hash, encode, joined
from monitor.basis.times import DAY, rfc3339
from monitor.keep.connect import Connected
from monitor.keep.packed import held_sensor, opened
from monitor.keep.readings import day_rows
from monitor.keep.rows import Leaf
from monitor.keep.schema import channel, leaf, loose, reading, sealed, unsealed

_LEAF = [leaf.c[name] for name in Leaf._fields]


class Compacted(NamedTuple):
    """How many rows went, and which days [ms] were left alone, for they are not as they were sealed."""

    rows: int
    differing: list[int]


class Compacting(Connected):
    """What the store does to compact."""

    def loose_leaves(self, until: int, most: int) -> list[Leaf]:
        """Leaves of sensors whose readings are rows too, of days before `until`, the oldest `most` of them. [ms]

        No sensor's day is cut in two: what it has beyond `most` comes too, for its leaves are compared together.
        """
        query = select(*_LEAF).join(loose, loose.c.leaf == leaf.c.number).where(leaf.c.day < until)
        query = query.order_by(leaf.c.day, leaf.c.thread, leaf.c.number)
        with self._reading() as conn:
            found = [Leaf(*row) for row in conn.execute(query.limit(most))]
            if found:
                last = found[-1]
                rest = (leaf.c.thread == last.thread) & (leaf.c.day == last.day) & (leaf.c.number > last.number)
                found += [Leaf(*row) for row in conn.execute(query.where(rest))]
        return found

    def compact(self, stream: str, days: Mapping[int, Mapping[int, bytes]]) -> Compacted:
        """Delete the rows of UTC days of a sensor that stand in their leaves; all in one transaction.

        `days`: of each midnight the content hashes that its leaves must have, by number. A day that waits to be sealed
        again is left for another time. Raises StoreError.
        """
        rows, differing = 0, []
        with self._writing() as conn:
            sensor_id = held_sensor(conn, stream)
            for day, hashes in days.items():
                gone = self._compact_day(conn, sensor_id, stream, day, hashes)
                differing += [day] if gone is None else []
                rows += gone or 0
        return Compacted(rows, differing)

    def _compact_day(
        self, conn: Connection, sensor_id: int | None, stream: str, day: int, hashes: Mapping[int, bytes]
    ) -> int | None:
        """How many rows went; None where they are not what was sealed."""
        mark = (unsealed.c.kind == "sensor") & (unsealed.c.thread == stream) & (unsealed.c.day == day)
        if conn.scalar(select(unsealed.c.touched).where(mark)) is not None:
            return 0
        query = select(sealed.c.leaf, sealed.c.bytes).join(loose, loose.c.leaf == sealed.c.leaf)
        contents = dict(conn.execute(query.where(sealed.c.leaf.in_(list(hashes)))).all())
        rows = day_rows(conn, stream, day)
        if not _is_sealed(rows, contents, hashes):
            return None
        if _delete(conn, sensor_id, day) != len(rows):
            what = f"readings of {rfc3339(day)[:10]} of {stream} came while it was compacted; nothing was deleted"
            raise StoreError(what, where=self._where, mend="Try again")
        conn.execute(loose.delete().where(loose.c.leaf.in_(list(contents))))
        return len(rows)


def _is_sealed(rows: Segment, contents: Mapping[int, bytes], hashes: Mapping[int, bytes]) -> bool:
    """Whether the rows of a day are what its leaves hold, and these what was sealed."""
    try:
        data = {number: unpack(packed) for number, packed in contents.items()}
        if {number: content_hash(one) for number, one in data.items()} != dict(hashes):
            return False
        return encode(rows) == encode(joined([opened(number, packed) for number, packed in contents.items()]))
    except (ValueError, StoreError):
        return False


def _delete(conn: Connection, sensor_id: int | None, day: int) -> int:
    """Delete the rows of a sensor's day; how many there were."""
    of_day = reading.c.t.between(day, day + DAY - 1)
    ids = conn.scalars(select(channel.c.id).where(channel.c.sensor_id == sensor_id)).all()
    return sum(conn.execute(reading.delete().where(reading.c.channel_id == id_, of_day)).rowcount for id_ in ids)
