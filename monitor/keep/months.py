"""The months that PostgreSQL keeps readings by: each is a partition of its own, made before a batch needs it.

A stamp may say any time. So only the last ten years and the month to come have partitions, however odd the stamps are;
what is of another time lies in the partition that takes the rest, and is found like everything else.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from sqlalchemy import Connection, func, select, text

from monitor.basis.clock import Clock
from monitor.basis.values import Reading
from monitor.keep.connect import Connected

BACK, AHEAD = 120, 1  # how far from the month of now a month may be to have a partition of its own [months]
REST = "reading_rest"  # the partition of every other time
_LOCK = 0x6D6F6E74  # "mont": with the schema's, the number of the advisory lock while a partition is made

# A table of that name may be of another store in the same database.
_IS_THERE = text(
    "SELECT count(*) FROM pg_inherits WHERE inhparent = to_regclass('reading') AND inhrelid = to_regclass(:name)"
)


def months_of(times: Iterable[int]) -> set[int]:
    """The UTC months that times are of, counted from 1970-01 as 0. [ms]"""
    days = np.unique(np.fromiter(times, np.int64) // 86_400_000)
    return set(days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64).tolist())


def begin_of(month: int) -> int:
    """When a month begins. [ms]"""
    return int(np.datetime64(month, "M").astype("datetime64[ms]").astype(np.int64))


def partition_of(month: int) -> str:
    """The name of a month's partition, such as reading_2026_01."""
    return f"reading_{np.datetime64(month, 'M')}".replace("-", "_")


def in_window(months: Iterable[int], now: int) -> set[int]:
    """Those of `months` that have a partition of their own. [ms]"""
    [this] = months_of([now])
    return {month for month in months if this - BACK <= month <= this + AHEAD}


def _make(conn: Connection, month: int) -> None:
    """Make the partition of a month where there is none. Several may ask at once: one makes it, the others wait.

    What the rest holds of it, since it was not to have one yet, moves. Who writes to other months is not held up.
    """
    name, begin, end = partition_of(month), begin_of(month), begin_of(month + 1)
    conn.execute(select(func.pg_advisory_xact_lock(_LOCK, func.hashtext(func.current_schema()))))
    if conn.scalar(_IS_THERE, {"name": name}):
        return
    for step in (
        f"CREATE TABLE {name} (LIKE reading INCLUDING DEFAULTS INCLUDING CONSTRAINTS INCLUDING INDEXES)",
        f"LOCK TABLE {REST} IN ACCESS EXCLUSIVE MODE",
        f"WITH moved AS (DELETE FROM {REST} WHERE t >= {begin} AND t < {end} RETURNING *) "
        f"INSERT INTO {name} SELECT * FROM moved",
        f"ALTER TABLE reading ATTACH PARTITION {name} FOR VALUES FROM ({begin}) TO ({end})",
    ):
        conn.execute(text(step))


class Months(Connected):
    """What the store does so that each month has its partition, where the database has such."""

    _clock: Clock
    _months: frozenset[int] = frozenset()  # that are known to have theirs

    def _make_room(self, readings: Iterable[Reading]) -> None:
        """Make the partitions that `readings` ask for and do not have, each in a transaction of its own."""
        if self._engine.dialect.name != "postgresql":
            return
        missing = months_of(one.t for one in readings) - self._months
        for month in sorted(in_window(missing, self._clock.now())):
            with self._writing() as conn:
                _make(conn, month)
            self._months |= {month}
