"""What was sealed, on SQLite and on PostgreSQL: added all or nothing, by one sealer at a time, and every day marked."""

from __future__ import annotations

import sqlite3
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import event

from monitor.basis.errors import StoreError
from monitor.basis.segment import readings_of
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import (
    BACK_FILL,
    LIVE,
    SENSORS_CHAIN,
    Draft,
    Kind,
    Origin,
    OriginKind,
    Quantity,
    Reading,
    Refused,
)
from monitor.keep.rows import HeadRow, KeyRow, Leaf, Unsealed

HERE = Path(__file__).parent
T = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
HALL = "home/hall"


def reading(t: int, value: float = 45.0, quantity=Quantity.AIR_HUMIDITY, unit="%", stream=HALL, origin=LIVE):
    return Reading(stream, quantity, T + t, value, unit, T + t + 250, origin)


def leaf(number: int, thread: str = HALL, record: str = "segment", kind: str = "sensor", day: int | None = T):
    return Leaf(number, f"leaf {number}", kind, thread, record, day)


def head(number: int, size: int, job: str | None = None, closes: int | None = None) -> HeadRow:
    return HeadRow(number, size, f"head {number}", bytes([number]) * 64, T + number, b"f" * 32, closes, job)


def sealed(store, new: HeadRow, *leaves: Leaf, contents=None, settled=(), statement=None) -> bool:
    return store.append_head(new, leaves, contents=contents or {}, settled=settled, statement=statement)


def marks(store) -> list[tuple[str, str, int]]:
    return [(one.kind, one.thread, (one.day - T) // DAY) for one in store.unsealed()]


# --- marks


def test_a_batch_marks_each_day_of_each_sensor_once(store):
    store.keep_readings([reading(0), reading(MINUTE), reading(DAY), reading(3 * DAY - 1, stream="home/attic")])
    assert marks(store) == [("sensor", "home/attic", 2), ("sensor", HALL, 0), ("sensor", HALL, 1)]


def test_what_is_not_new_marks_nothing(store):
    store.keep_readings([reading(0)])
    [before] = store.unsealed()
    store.keep_readings([reading(0)])
    assert store.unsealed() == [before]


def test_a_reading_that_comes_again_with_another_value_marks_the_day_it_was_refused(store):
    store.keep_readings([reading(0)])
    store.keep_readings([reading(0, 46.0)])
    store.keep_readings([], [Refused("x", "unreadable", "?", b"\xff", T + DAY)])
    assert marks(store) == [("recorder", "", 0), ("recorder", "", 1), ("sensor", HALL, 0)]


def test_marks_are_asked_for_by_day_and_by_thread(store):
    store.keep_readings([reading(0), reading(DAY), reading(0, stream="home/attic")])
    assert store.unsealed(T + DAY, [("sensor", HALL)]) == [Unsealed("sensor", HALL, T, 1)]
    assert store.unsealed(T) == []


def test_a_mark_goes_with_the_head_that_seals_it(store):
    store.keep_readings([reading(0), reading(DAY)])
    first, _ = store.unsealed()
    assert sealed(store, head(1, 1), leaf(0), settled=[first])
    assert marks(store) == [("sensor", HALL, 1)]


def test_a_mark_stays_when_more_came_since_it_was_read(store):
    store.keep_readings([reading(0)])
    [mark] = store.unsealed()
    store.keep_readings([reading(MINUTE)])
    assert sealed(store, head(1, 1), leaf(0), settled=[mark])
    assert store.unsealed() == [Unsealed("sensor", HALL, T, 2)]


@pytest.mark.parametrize("number", ["0001", "0002"])
def test_all_days_of_a_store_that_knew_no_seals_are_to_be_sealed(open_at, sqlite_url, tmp_path, number):
    database = sqlite3.connect(tmp_path / "store.db")
    database.executescript((HERE / "kept" / f"{number}.sql").read_text(encoding="utf-8"))
    database.close()
    store = open_at(sqlite_url)
    assert marks(store) == [("recorder", "", 0), ("sensor", "file:logger", 0), ("sensor", HALL, 0)]
    assert (store.newest_head(), store.heads(), store.key_statements()) == (None, [], [])


# --- heads and leaves


def test_what_was_sealed_comes_back_as_it_was_written(store):
    statement = KeyRow("first", b"n" * 64, b"")
    assert sealed(store, head(1, 2, "den"), leaf(0), leaf(1, "", "quarantine", "recorder"), contents={0: b"\x00\xff"},
                  statement=statement)  # fmt: skip
    assert sealed(store, head(2, 3), leaf(2, record="gap", day=None), statement=KeyRow("next", b"m" * 64, b"n" * 64))
    assert store.newest_head() == head(2, 3)
    assert (store.heads(), store.heads(2)) == ([head(1, 2, "den"), head(2, 3)], [head(2, 3)])
    assert list(store.leaf_texts()) == ["leaf 0", "leaf 1", "leaf 2"]
    assert (store.sealed(0), store.sealed(1)) == (b"\x00\xff", None)
    assert store.key_statements() == [statement, KeyRow("next", b"m" * 64, b"n" * 64)]


def test_leaves_are_found_by_thread_day_and_kind(store):
    every = [
        leaf(0),
        leaf(1, "home/attic"),
        leaf(2, record="gap", day=None),
        leaf(3, day=T + DAY),
        leaf(4, record="amendment"),
    ]
    sealed(store, head(1, 5), *every)
    assert store.leaves("sensor", HALL) == [every[0], every[2], every[3], every[4]]
    assert store.leaves("sensor", HALL, day=T) == [every[0], every[4]]
    assert store.last_leaf("sensor", HALL) == every[4]
    assert store.last_leaf("sensor", HALL, "gap") == every[2]
    assert store.last_leaf("log", HALL) is None


@pytest.mark.parametrize("number", [1, 3], ids=["a number that is there", "a number too far"])
def test_a_head_that_does_not_follow_on_the_newest_writes_nothing(store, number):
    store.keep_readings([reading(0)])
    sealed(store, head(1, 1), leaf(0))
    assert not sealed(store, head(number, 2), leaf(1), contents={1: b"x"}, settled=store.unsealed(),
                      statement=KeyRow("s", b"", b""))  # fmt: skip
    assert (store.heads(), list(store.leaf_texts()), store.sealed(1)) == ([head(1, 1)], ["leaf 0"], None)
    assert (len(store.unsealed()), store.key_statements()) == (1, [])


def test_the_last_day_that_is_closed_is_known(store):
    assert store.last_closed() is None
    for number, closes in ((1, T), (2, T + DAY), (3, None)):
        sealed(store, head(number, number, closes=closes), leaf(number - 1))
    assert store.last_closed() == T + DAY


def test_of_sealers_at_the_same_time_one_wins(store):
    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda name: sealed(store, head(1, 1, name), leaf(0, name)), "abcd"))
    assert sorted(found) == [False, False, False, True]
    assert [row.job for row in store.heads()] == ["abcd"[found.index(True)]]
    assert [one.thread for one in store.leaves("sensor", "abcd"[found.index(True)])] == ["abcd"[found.index(True)]]


def test_a_head_that_cannot_be_written_whole_is_not_written(store):
    sealed(store, head(1, 1), leaf(0))
    with pytest.raises(StoreError):
        sealed(store, head(2, 2), leaf(0))
    assert store.heads() == [head(1, 1)]


def test_an_answer_about_a_head_is_kept_once(store):
    assert store.keep_timestamp("ab" * 32, b"\x30\x00")
    assert not store.keep_timestamp("ab" * 32, b"other")
    assert store.timestamps() == {"ab" * 32: b"\x30\x00"}


def test_a_kept_store_has_the_seals_that_it_was_given(open_at, sqlite_url, tmp_path):
    database = sqlite3.connect(tmp_path / "store.db")
    database.executescript((HERE / "kept" / "0003.sql").read_text(encoding="utf-8"))
    database.close()
    store = open_at(sqlite_url)
    assert store.newest_head() == HeadRow(1, 1, "a head", b"s" * 64, T + DAY, b"f" * 32, T, "hall")
    assert store.leaves("sensor", HALL) == [Leaf(0, "a leaf", "sensor", HALL, "segment", T)]
    assert (store.sealed(0), store.key_statements()) == (b"\x00packed", [KeyRow("said", b"n" * 64, b"")])
    assert store.timestamps() == {"ab" * 32: b"\x30answer"}


# --- what the sealer reads


def test_a_day_comes_back_with_all_that_was_kept_of_it(store):
    file = Origin(OriginKind.FILE, "5e" * 32)
    day = [
        reading(0), reading(MINUTE, 68.0, Quantity.AIR_TEMPERATURE, "degF"),
        reading(2 * MINUTE, 20.5, Quantity.AIR_TEMPERATURE, "degC", origin=BACK_FILL),
        reading(DAY - 1, 46.5, origin=file),
    ]  # fmt: skip
    store.keep_readings([*day, reading(-1), reading(DAY), reading(0, stream="home/attic")])
    segment = store.day_segment(HALL, T)
    assert (segment.stream, segment.day) == (HALL, T)
    assert readings_of(segment) == day


def test_a_day_without_readings_is_empty(store):
    store.keep_readings([reading(0)])
    assert [len(store.day_segment(*of)) for of in ((HALL, T + DAY), ("home/attic", T))] == [0, 0]


def test_the_times_at_which_a_sensor_spoke_are_each_there_once(store):
    store.keep_readings([reading(t) for t in (0, HOUR, 2 * HOUR)])
    store.keep_readings([reading(t, 20.0, Quantity.AIR_TEMPERATURE, "degC") for t in (HOUR, HOUR + 1)])
    assert np.array_equal(store.spoken(HALL, T + 1, T + 2 * HOUR), [T + HOUR, T + HOUR + 1])
    assert len(store.spoken("home/attic", T, T + DAY)) == 0


def test_what_was_refused_first_on_a_day_is_listed_in_its_order(store):
    for arrival, raw in ((T + 5, b"a"), (T + DAY, b"b"), (T + DAY + 1, b"a"), (T + DAY - 1, b"c")):
        store.keep_readings([], [Refused("x", "unreadable", "?", raw, arrival)])
    assert [(one.raw, one.count) for one in store.refused_on(T)] == [(b"a", 2), (b"c", 1)]


def test_the_last_entry_of_every_chain_is_known(store):
    assert store.chain_heads() == {}
    store.append(SENSORS_CHAIN, [Draft(Kind.NOTE, T, "Ada")])
    store.append("den", [Draft(Kind.JOB, T, "Ada"), Draft(Kind.NOTE, T, "Ada")], new=True)
    assert store.chain_heads() == {"": (1, store.head(SENSORS_CHAIN)[1]), "den": (2, store.head("den")[1])}


def test_a_head_of_many_days_is_written_in_few_statements(store):
    # At each statement busy threads take their turns: with one a row a head of a thousand days held the store for more
    # than the 10 s that others wait for it, while a thousand jobs were judged.
    store.keep_readings([reading(0, stream=f"home/{n}") for n in range(1_200)])
    marked, ran = store.unsealed(), []

    def run(_conn, _cursor, _statement, parameters, _context, many):
        ran.append(len(parameters) if many else 1)

    event.listen(store._engine, "before_cursor_execute", run)
    leaves = [leaf(number, one.thread) for number, one in enumerate(marked)]
    assert sealed(store, head(1, 1_200), *leaves, contents={n: b"%d" % n for n in range(1_200)}, settled=marked)
    event.remove(store._engine, "before_cursor_execute", run)
    assert sum(ran) < 20
    assert (store.unsealed(), list(store.leaf_texts())) == ([], [one.text for one in leaves])
    assert [store.sealed(number) for number in (0, 499, 500, 1_199)] == [b"0", b"499", b"500", b"1199"]
