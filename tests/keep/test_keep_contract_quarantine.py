"""Quarantine on SQLite and on PostgreSQL: looked at, emptied by hand, bounded by size and age with the loss counted."""

from __future__ import annotations

import pytest

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import LIVE, Quantity, Reading, Refused

T = 1_767_600_000_000  # 2026-01-05T08:00Z, where the clock of these stores stands [ms]
GIB = 1 << 30


def refused(raw: bytes, arrival: int = T, reason: str = "unreadable", topic: str = "home/hall") -> Refused:
    return Refused(topic, reason, "no number", raw, arrival)


def reading(value: float, t: int = T, arrival: int = T) -> Reading:
    return Reading("home/hall", Quantity.AIR_HUMIDITY, t, value, "%", arrival, LIVE)


def raws(store) -> list[bytes]:
    return [row.raw for row in store.quarantine()]


# --- looked at


def test_the_things_of_one_reason_are_listed_by_themselves(store):
    store.keep_readings([], [refused(b"a", T), refused(b"b", T + 1, "time-unknown"), refused(b"c", T + 2)])
    assert [row.raw for row in store.quarantine(reason="unreadable")] == [b"c", b"a"]
    assert [row.raw for row in store.quarantine(1, "unreadable")] == [b"c"]
    assert store.quarantine(reason="too-old") == []


def test_a_thing_is_found_by_its_number(store):
    store.keep_readings([], [refused(b"a"), refused(b"b", T + 1)])
    for row in store.quarantine():
        assert store.quarantined(row.id) == row


def test_a_number_that_is_not_there_is_named(store):
    with pytest.raises(RecordError) as error:
        store.quarantined(77)
    assert str(error.value) == (
        "quarantine: there is nothing of number 77. wallclime quarantine list shows what there is"
    )


def test_of_each_topic_and_reason_the_newest_is_found_and_no_conflict(store):
    store.keep_readings([reading(45.0), reading(46.0)])
    store.keep_readings([], [refused(b"a", T), refused(b"b", T + 1, "time-unknown"), refused(b"c", T + 2)])
    store.keep_readings([], [refused(b"d", T + 1, topic="home/attic"), refused(b"a", T)])
    assert [(row.topic, row.reason, row.raw) for row in store.newest_refused()] == [
        ("home/hall", "unreadable", b"c"), ("home/attic", "unreadable", b"d"), ("home/hall", "time-unknown", b"b"),
    ]  # fmt: skip


def test_a_conflict_that_comes_again_is_counted_once(store):
    for _ in range(3):
        store.keep_readings([reading(45.0), reading(46.0)])
    assert store.quarantine_counts() == {("home/hall", "conflict"): 1}


def test_what_became_readings_after_all_is_taken_out_and_is_no_loss(store):
    store.keep_readings([], [refused(b"a"), refused(b"b", T + 1), refused(b"c", T + 2)])
    c, _, a = [row.id for row in store.quarantine()]
    assert store.drop_quarantined([a, c, 777]) == 2
    assert raws(store) == [b"b"]
    assert store.drop_quarantined([]) == 0
    assert store.quarantine_loss() == {}


def test_a_retained_message_that_comes_at_every_link_is_one_thing_with_a_count(store):
    for arrival in range(T, T + 1_000 * MINUTE, MINUTE):
        store.keep_readings([], [refused(b'{"t":21.5}', arrival, "time-unknown")])
    (row,) = store.quarantine()
    assert (row.count, row.first_arrival, row.last_arrival) == (1_000, T, T + 999 * MINUTE)


# --- bounded by age


def test_what_came_longer_ago_than_the_age_goes_and_what_came_just_then_stays(store):
    store.keep_readings([], [refused(b"old", T - DAY - 1), refused(b"just", T - DAY), refused(b"new")])
    assert store.prune_quarantine(max_bytes=GIB, max_age=DAY) == {"unreadable": 1}
    assert raws(store) == [b"new", b"just"]


def test_what_still_comes_is_not_old(store):
    store.keep_readings([], [refused(b"x", T - 9 * DAY)])
    store.keep_readings([], [refused(b"x", T)])
    assert store.prune_quarantine(max_bytes=GIB, max_age=DAY) == {}
    assert store.quarantine()[0].first_arrival == T - 9 * DAY


def test_readings_in_conflict_have_no_age_for_an_assessment_counts_them(store):
    store.keep_readings([reading(45.0, T - 9 * DAY, T - 9 * DAY), reading(46.0, T - 9 * DAY, T - 9 * DAY)])
    assert store.prune_quarantine(max_bytes=GIB, max_age=DAY) == {}
    assert store.conflicts(["home/hall"], T - 9 * DAY, T) == 1


# --- bounded by size


def test_what_is_too_much_goes_the_oldest_first(store):
    # a row is reckoned with its topic (9), detail (9), bytes (1,000) and 200 for the rest: 1,218
    store.keep_readings([], [refused(bytes([i]) * 1_000, T + i) for i in range(5)])
    assert store.prune_quarantine(max_bytes=3 * 1_218, max_age=DAY) == {"unreadable": 2}
    assert [raw[0] for raw in raws(store)] == [4, 3, 2]
    assert store.prune_quarantine(max_bytes=3 * 1_218 - 1, max_age=DAY) == {"unreadable": 1}
    assert [raw[0] for raw in raws(store)] == [4, 3]


def test_one_thing_that_is_too_large_takes_older_ones_with_it_but_not_newer_ones(store):
    store.keep_readings([], [refused(b"old", T), refused(b"x" * 60_000, T + 1), refused(b"new", T + 2)])
    assert store.prune_quarantine(max_bytes=10_000, max_age=DAY) == {"unreadable": 2}
    assert raws(store) == [b"new"]


def test_readings_in_conflict_go_last(store):
    store.keep_readings([reading(45.0), reading(46.0)])
    store.keep_readings([], [refused(b"x" * 1_000, T + 1)])
    assert store.prune_quarantine(max_bytes=1_300, max_age=DAY) == {"unreadable": 1}
    assert store.conflicts(["home/hall"], T, T + 1) == 1
    assert store.prune_quarantine(max_bytes=0, max_age=DAY) == {"conflict": 1}


# --- the loss


def test_the_loss_is_counted_by_reason_and_by_how_often_the_things_had_come(store):
    assert store.quarantine_loss() == {}
    store.keep_readings([], [refused(b"a", T - 2 * DAY)] * 3 + [refused(b"b", T - 2 * DAY, "too-old")])
    assert store.prune_quarantine(max_bytes=GIB, max_age=DAY) == {"unreadable": 3, "too-old": 1}
    store.keep_readings([], [refused(b"c", T - 2 * DAY)] * 2)
    assert store.prune_quarantine(max_bytes=GIB, max_age=DAY) == {"unreadable": 2}
    assert store.quarantine_loss() == {"unreadable": 5, "too-old": 1}
    assert store.quarantine() == []


def test_where_nothing_has_to_go_nothing_is_lost(store):
    assert store.prune_quarantine(max_bytes=0, max_age=0) == {}
    store.keep_readings([], [refused(b"a")])
    assert store.prune_quarantine(max_bytes=GIB, max_age=0) == {}
    assert (raws(store), store.quarantine_loss()) == ([b"a"], {})
