"""Thinning on SQLite and on PostgreSQL: what goes goes whole or not at all, and does not come back."""

from __future__ import annotations

import sqlite3
import struct
from contextlib import closing
from pathlib import Path

import pytest

from monitor.basis.errors import RecordError, StoreError
from monitor.basis.segment import readings_of
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import LIVE, SENSORS_CHAIN, Draft, Kind, Quantity, Reading
from monitor.keep.rows import HeadRow, Leaf
from monitor.keep.thin import YOUNGEST, Left

T = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
LATER = T + 2 * YOUNGEST
HALL = 'home/50%_"hall"'
HUMIDITY, TEMPERATURE = Quantity.AIR_HUMIDITY, Quantity.AIR_TEMPERATURE
RARE = 41.0625  # a value that nothing else has
WHOLE = b"the whole day as it was sealed"


def reading(t: int, value: float = 45.0, quantity=HUMIDITY, stream: str = HALL, arrival: int | None = None) -> Reading:
    return Reading(stream, quantity, T + t, value, "%", T + t if arrival is None else arrival, LIVE)


def fill(store) -> None:
    """Two days of readings every six hours, sealed, and the logs of a job and of the sensors."""
    every = [
        reading(at, 40.0 + at / DAY, quantity)
        for at in range(0, 2 * DAY, 6 * HOUR)
        for quantity in (HUMIDITY, TEMPERATURE)
    ]
    store.keep_readings([*every, reading(MINUTE, RARE)])
    store.append("den", [Draft(Kind.NOTE, T, "ada", {"text": "a"})], new=True)
    leaves = [Leaf(number, f"leaf {number}", "sensor", HALL, "segment", T + number * DAY) for number in (0, 1)]
    head = HeadRow(1, 2, "head 1", b"\x01" * 64, T, b"f" * 32, T + DAY, None)
    store.append_head(head, leaves, contents={0: WHOLE, 1: b"second"}, settled=store.unsealed())


LEFT = Left(T, {HUMIDITY: [T], TEMPERATURE: [T, T + 6 * HOUR]}, {HUMIDITY: 4, TEMPERATURE: 2}, {0: b"left"})


def draft(stream: str = HALL, *days: str) -> Draft:
    body = {"sensor": "hall", "stream": stream, "days": [{"leaf": 0, "day": day} for day in days or ["2026-01-05"]]}
    return Draft(Kind.THINNED, LATER, "ada", body)


def thin(store, left: Left = LEFT, said: Draft | None = None, check=lambda _job, _log: None):
    return store.thin(HALL, [left], said or draft(), jobs=["den"], check=check)


def times(store, quantity=HUMIDITY) -> list[int]:
    return [(t - T) // HOUR for t in store.series(HALL, quantity).t.tolist()]


def test_what_is_left_is_what_was_said_and_other_days_stay(store):
    fill(store)
    entry = thin(store)
    assert (times(store), times(store, TEMPERATURE)) == ([0, 24, 30, 36, 42], [0, 6, 24, 30, 36, 42])
    assert (store.sealed(0), store.sealed(1)) == (b"left", b"second")
    assert store.entries(SENSORS_CHAIN) == [entry]
    [heard] = store.heard()
    assert heard.readings == 11


def test_whoever_judged_these_days_is_told(store):
    fill(store)
    store.settle_dirty([mark.id for mark in store.dirty()], [])
    thin(store)
    assert [(mark.stream, mark.first_t, mark.last_t) for mark in store.dirty()] == [(HALL, T, T + DAY - 1)]


def test_a_reading_that_came_meanwhile_stops_it_and_nothing_is_changed(store):
    fill(store)
    store.keep_readings([reading(2 * MINUTE)])
    before = times(store)
    with pytest.raises(StoreError) as error:
        thin(store)
    assert (
        error.value.faults[0].what == f"readings of 2026-01-05 of {HALL} came while it was thinned; nothing was erased"
    )
    assert (times(store), store.sealed(0), store.entries(SENSORS_CHAIN)) == (before, WHOLE, [])


def test_who_checks_the_logs_can_stop_it(store):
    fill(store)
    seen = []

    def refuse(job, log):
        seen.append((job, [one.body for one in log]))
        raise RecordError("it is held", where="job den", mend="Release it")

    with pytest.raises(RecordError, match=r"job den: it is held\. Release it"):
        thin(store, check=refuse)
    assert (seen, len(times(store)), store.entries(SENSORS_CHAIN)) == ([("den", [{"text": "a"}])], 9, [])


def test_what_comes_again_of_a_thinned_day_is_not_kept_nor_does_its_value_stay_anywhere(store):
    fill(store)
    thin(store)
    kept = store.keep_readings([reading(at, 44.0, arrival=LATER) for at in (6 * HOUR, 12 * HOUR, 2 * DAY)])
    assert (kept.new, kept.conflicts, times(store)) == (1, 0, [0, 24, 30, 36, 42, 48])
    [row] = store.refused_on(LATER)
    assert (row.topic, row.reason, row.detail, row.raw) == (
        HALL, "thinned", "2026-01-05 was thinned: what comes of it is not kept", b"2026-01-05",
    )  # fmt: skip


def test_what_is_left_and_comes_again_is_known_and_with_another_value_a_conflict(store):
    fill(store)
    thin(store)
    assert store.keep_readings([reading(0, 40.0, arrival=LATER)]) == (0, 1, 0)
    assert store.keep_readings([reading(0, 50.0, arrival=LATER), reading(0, 51.0, arrival=LATER)]) == (0, 0, 2)
    assert [row.reason for row in store.refused_on(LATER)] == ["conflict", "conflict"]


def test_a_reading_twice_in_a_batch_of_a_thinned_day_is_turned_away_twice(store):
    fill(store)
    thin(store)
    twice = [reading(MINUTE, value, arrival=LATER) for value in (44.0, 45.0)]
    assert store.keep_readings(twice).new == 0
    assert [row.reason for row in store.refused_on(LATER)] == ["thinned"]


def test_a_channel_of_which_everything_was_turned_away_was_never_heard(store):
    fill(store)
    before = store.heard()
    thin(store)
    box = Quantity.BOX_TEMPERATURE
    assert store.keep_readings([reading(MINUTE, 20.0, box, arrival=LATER)]).new == 0
    [heard] = store.heard()
    assert (heard.quantities, heard.first_t) == (before[0].quantities, before[0].first_t)
    assert (store.bounds(HALL, box), len(store.series(HALL, box))) == (None, 0)


def test_days_of_other_sensors_are_not_shut(store):
    fill(store)
    thin(store)
    other = HALL.replace("_", "x")
    store.keep_readings([reading(MINUTE, stream=other, arrival=LATER)])
    assert len(readings_of(store.day_segment(other, T))) == 1


def test_of_several_thinnings_each_shuts_its_days(store):
    fill(store)
    thin(store)
    one = Left(T + DAY, {HUMIDITY: [T + DAY], TEMPERATURE: [T + DAY]}, {HUMIDITY: 3, TEMPERATURE: 3}, {1: b"less"})
    thin(store, one, draft(HALL, "2026-01-06"))
    store.keep_readings([reading(at, arrival=LATER) for at in (MINUTE, DAY + MINUTE)])
    assert (times(store), len(store.refused_on(LATER))) == ([0, 24], 2)


def test_the_bytes_leave_the_file(open_at, sqlite_url, tmp_path: Path):
    store = open_at(sqlite_url)
    fill(store)
    store.scrub()
    file, wal = tmp_path / "store.db", tmp_path / "store.db-wal"
    with closing(sqlite3.connect(file)) as conn:
        [packed] = conn.execute("SELECT count(*) FROM reading WHERE value = ?", (RARE,)).fetchone()
    assert (packed, struct.pack(">d", RARE) in file.read_bytes(), WHOLE in file.read_bytes()) == (1, True, True)
    thin(store)
    store.scrub(readings=True)
    there = file.read_bytes() + (wal.read_bytes() if wal.exists() else b"")
    assert struct.pack(">d", RARE) not in there
    assert WHOLE not in there


def test_either_store_is_written_anew_and_says_what_is_left(store):
    fill(store)
    thin(store)
    store.scrub(readings=True)
    assert times(store) == [0, 24, 30, 36, 42]
