"""Sealed days: how few bytes a value they take, and how fast ten years are judged out of them.

    python tests/bench/segment_speed.py

The room is that of years.py. Bytes are of the packed segments alone, with time and arrival of every value; the floor is
the order-0 entropy of the numbers that a segment is made of, column by column over a month: no code that looks at one
difference at a time takes fewer. What SQLite takes for the same as rows is told beside it.

Judged is one job, ten years of minutes on two channels, all of them in compacted days, by `assess` with `recompute`,
without what lags (hour means, box cores, boards, skin), which has no switch: nothing is put in the place of its three
calls. The yardstick is decoding the same packed segments to arrays, once, in the quickest way there is. In processor
time.
"""

from __future__ import annotations

import os
import sqlite3
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import yard
import years
from desks import T0
from yard import Row

from monitor.basis.clock import SetClock
from monitor.basis.packing import decode_packed, pack, unpack
from monitor.basis.segment import Segment, counted, decode, doubles_of, encode, numbers_of, parts
from monitor.basis.times import DAY
from monitor.rules import fold
from monitor.watch.desk import open_desk
from monitor.watch.judging import assess

BYTES = {"own 1 s stamps, ms arrivals": (True, 0.9), "ms arrival stamps": (False, 2.2)}
WEEKS = 10


def columns_of(data: bytes) -> list[np.ndarray]:
    """The numbers of a segment, a column each."""
    header, body = parts(data)
    numbers = numbers_of(body[: len(body) - doubles_of(header)], counted(header))
    return np.split(numbers, np.cumsum([header["rows"]] * 4 + [one["count"] for one in header["channels"]])[:-1])


def entropy(numbers: np.ndarray) -> float:
    """Order-0 entropy of all of them together. [bytes]"""
    _, counts = np.unique(numbers, return_counts=True)
    return float(-(counts * np.log2(counts / counts.sum())).sum() / 8)


def row_bytes(segments: list[Segment]) -> float:
    """What a value takes as a row of SQLite, with its key. [bytes]"""
    with tempfile.TemporaryDirectory() as folder, closing(sqlite3.connect(f"{folder}/rows.db")) as conn:
        conn.execute(
            "CREATE TABLE reading (channel_id INTEGER, t INTEGER, value REAL, unit_id INTEGER, arrival INTEGER, "
            "origin_id INTEGER, PRIMARY KEY (channel_id, t)) STRICT, WITHOUT ROWID"
        )
        for place in range(2):
            for segment in segments:
                one = segment.columns[place]
                said = zip(one.t.tolist(), one.value.tolist(), one.arrival.tolist(), strict=True)
                conn.executemany(
                    "INSERT INTO reading VALUES (?, ?, ?, ?, ?, 1)", ((place, t, v, place, a) for t, v, a in said)
                )
        conn.commit()
        return os.path.getsize(f"{folder}/rows.db") / sum(map(len, segments))


def sizes() -> Iterator[Row]:
    """Bytes a value, of both kinds."""
    for name, (own_stamps, limit) in BYTES.items():
        segments = list(years.days_of(7 * WEEKS, own_stamps=own_stamps))
        data = [encode(segment) for segment in segments]
        values = sum(map(len, segments))
        took = sum(len(pack(one)) for one in data) / values
        months = zip(*map(columns_of, data[:30]), strict=True)
        floor = sum(entropy(np.concatenate(column)) for column in months) / sum(map(len, segments[:30]))
        rows, plain = row_bytes(segments), sum(map(len, data)) / values
        said = f"entropy {floor:.2f}, not packed {plain:.2f}, SQLite rows {rows:.1f} ({rows / took:.0f} x)"
        yield Row(f"sealed minutes, {name}", "a value with time and arrival", took, limit, "bytes", said=said)


def without_what_lags() -> None:
    """Put nothing in its place, for the rest of this process."""
    fold.hours_of = fold.warm_boxes = lambda *_: None  # type: ignore[assignment]
    fold.days_of = lambda *_: b""  # type: ignore[assignment]


def judged(days: int = years.TEN_YEARS) -> Iterator[Row]:
    """Recomputing against decoding, and reading alone."""
    without_what_lags()
    clock = SetClock(T0 + days * DAY)
    with tempfile.TemporaryDirectory() as home, open_desk(Path(home), environ={}, clock=clock) as desk:
        years.fill(desk, days, compacted=True)
        packed, quantities = years.packed_of(desk), (years.TEMPERATURE, years.HUMIDITY)
        decoding, plainly, reading, judging = yard.medians(
            lambda: [decode_packed(one) for one in packed],
            lambda: [decode(unpack(one)) for one in packed],
            lambda: desk.store.several(years.STREAM, quantities),
            lambda: assess(desk, "den", recompute=True),
        )
        count = 2 * len(desk.store.series(years.STREAM, years.HUMIDITY))
    said = (
        f"{count:,} readings: {judging:.2f} s against {decoding:.2f} s; both channels read {reading:.2f} s; "
        f"decoding by way of the canonical bytes {plainly:.2f} s"
    )
    yield Row(
        "recompute ten years of minutes, climate off", "decoding the same segments", judging / decoding, 2.5, said=said
    )


def rows() -> Iterator[Row]:
    """All of them."""
    yield from sizes()
    yield from judged()


if __name__ == "__main__":
    sys.exit(yard.main(__doc__, rows))
