"""What keeping readings on PostgreSQL costs, and how much room they take there.

    python tests/bench/postgresql_speed.py

Batches as the daemon commits them (500 messages of two quantities, of 2,000 sensors in turn) and as an import does
(10,000 readings of one sensor). The yardstick is a bare COPY of the same rows into a table with the same key, without
the sums, marks and checks; it can't drop what is there already. Both by processor time, the server's and ours together.
Needs a PostgreSQL on the computer; one is started.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from urllib.parse import quote

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import judge_speed
import psycopg
from postgresql import server
from yard import RUNS, Row, main

from monitor.basis.clock import SystemClock
from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import AIR, LIVE, Reading
from monitor.keep.store import Store, open_store
from monitor.seal.chain import link

JOBS = judge_speed.Size(60, 2, 5)
SENSORS, LIVE_BATCH, FILE_BATCH = 2_000, 1_000, 10_000
BARE = (
    "CREATE TABLE IF NOT EXISTS bare (channel_id bigint, t bigint, value float8 NOT NULL, unit_id bigint NOT NULL, "
    "arrival bigint NOT NULL, origin_id bigint NOT NULL, PRIMARY KEY (channel_id, t))"
)
_TICK = os.sysconf("SC_CLK_TCK")


def stream(sensors: int, begin: int) -> Iterator[Reading]:
    """Both quantities of so many sensors in turn, a minute apart."""
    n = 0
    while True:
        t, sensor = begin + n // sensors * MINUTE, n % sensors
        for quantity, value, unit in zip(AIR, (20 + n % 97 / 10, 45 + n % 89 / 10), ("degC", "%"), strict=True):
            yield Reading(f"site/{sensor:05}/climate", quantity, t + sensor, value, unit, t + sensor + 200, LIVE)
        n += 1


def url_of(folder: str) -> str:
    """Of the server whose socket is in that folder."""
    return f"postgresql://keeper@/postgres?host={quote(folder, safe='')}"


def spent(pid: int) -> float:
    """Processor time of a process so far. [s]"""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / _TICK


def costs(pid: int, act: Callable[[], object]) -> tuple[float, float]:
    """Our processor time and that of the server's process for one act. [s]"""
    ours, theirs = time.process_time(), spent(pid)
    act()
    return time.process_time() - ours, spent(pid) - theirs


def copied(conn: psycopg.Connection, rows: list[tuple[object, ...]]) -> None:
    """The yardstick: one transaction."""
    with conn.transaction(), conn.cursor() as cursor, cursor.copy("COPY bare FROM STDIN") as out:
        for row in rows:
            out.write_row(row)


def compared(store: Store, conn: psycopg.Connection, size: int, batches: int, made: Iterator[Reading]) -> list[float]:
    """Medians a reading: ours and the server's, of keeping and of the yardstick. [us]"""
    with store._engine.connect() as own:
        pid = own.exec_driver_sql("SELECT pg_backend_pid()").scalar()
    found = []
    for _ in range(RUNS):
        lots = [list(islice(made, size)) for _ in range(batches)]
        names = {
            name: place for place, name in enumerate(sorted({(r.stream, r.quantity) for lot in lots for r in lot}))
        }
        rows = [[(names[r.stream, r.quantity], r.t, r.value, 1, r.arrival, 1) for r in lot] for lot in lots]
        keep = costs(pid, lambda lots=lots: [store.keep_readings(lot) for lot in lots])
        bare = costs(conn.info.backend_pid, lambda rows=rows: [copied(conn, lot) for lot in rows])
        found.append([1e6 * one / (size * batches) for one in (*keep, *bare)])
    return [statistics.median(column) for column in zip(*found, strict=True)]


def room(conn: psycopg.Connection) -> tuple[float, float]:
    """Bytes a reading of the table and of its key."""
    query = (
        "SELECT sum(pg_relation_size(inhrelid)), sum(pg_indexes_size(inhrelid)), (SELECT count(*) FROM reading) "
        "FROM pg_inherits WHERE inhparent = 'reading'::regclass"
    )
    table, key, count = conn.execute(query).fetchone() or (0, 0, 1)
    return float(table) / count, float(key) / count


def judged(*, theirs: bool) -> judge_speed.Rounds:
    """A job that was heard, judged and looked at, by our processor time, or that of the server's processes."""
    with server() as folder, psycopg.connect(host=folder, user="keeper", dbname="postgres", autocommit=True) as conn:
        taken: dict[int, float] = {}  # of those that have ended, too

        def busy() -> float:
            pids = conn.execute("SELECT pid FROM pg_stat_activity WHERE backend_type = 'client backend'").fetchall()
            taken.update((pid, spent(pid)) for (pid,) in pids)
            return sum(taken.values())

        settings = f'[store]\nurl = "{url_of(folder)}"\n'
        return judge_speed.rounds(JOBS, settings, busy if theirs else time.process_time)


def judging() -> Row:
    """Judging and looking."""
    ours, theirs = judged(theirs=False), judged(theirs=True)
    said = f"{1e3 * ours.judge:.1f} ms ours to judge, {1e3 * ours.look:.1f} ms to look; "
    said += f"the server's {1e3 * theirs.judge:.1f} and {1e3 * theirs.look:.1f} ms"
    whole = 1e3 * (ours.job + theirs.job)
    return Row("a job judged and looked at on PostgreSQL", "a job", whole, None, "ms", said=said)


def rows(quick: bool = False) -> Iterator[Row]:
    """All rows of the table."""
    batches = 4 if quick else 20
    yield judging()
    with (
        server() as folder,
        open_store(url_of(folder), clock=SystemClock(), link=link) as store,
        psycopg.connect(host=folder, user="keeper", dbname="postgres", autocommit=True) as conn,
    ):
        begin = int(time.time() * 1000) // DAY * DAY - 20 * DAY
        for what, size, made in (
            ("keep 1,000 readings of 500 sensors on PostgreSQL", LIVE_BATCH, stream(SENSORS, begin)),
            ("import 10,000 readings of a sensor on PostgreSQL", FILE_BATCH, stream(1, begin - 3_000 * DAY)),
        ):
            conn.execute(f"DROP TABLE IF EXISTS bare; {BARE}")
            store.keep_readings(list(islice(made, 2 * SENSORS)))  # so that every sensor is known
            ours, theirs, copy_ours, copy_theirs = compared(store, conn, size, max(batches * 1_000 // size, 2), made)
            bare = f"COPY {copy_ours:.1f} + {copy_theirs:.1f}"
            said = f"{ours:.1f} us ours + {theirs:.1f} us the server's a reading; {bare}"
            yield Row(what, "a bare COPY", (ours + theirs) / (copy_ours + copy_theirs), None, said=said)
        table, key = room(conn)
        yield Row("room on PostgreSQL", "a reading", table + key, None, "bytes", said=f"{table:.0f} + key {key:.0f}")


if __name__ == "__main__":
    sys.exit(main(__doc__ or "", rows))
