"""Records: what a leaf says, and what is no leaf."""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from record_scene import ATTIC, HALL, JOB, MONDAY, REFUSED, RH, C, readings_of_day, recorded

from monitor.basis.segment import encode, from_readings, only
from monitor.basis.times import DAY
from monitor.seal import records
from monitor.seal.canonical import text_of, value_of
from monitor.seal.merkle import includes, leaf_hash
from monitor.seal.records import Thread, leaf_text, read_record, refusal_text, thread_of

SALT = bytes(range(16))
SEGMENT = from_readings(HALL, MONDAY, readings_of_day(HALL, MONDAY))
RECORD = records.segment_record(SEGMENT, previous=7, salt=SALT)


def test_a_segments_record_says_what_was_sealed():
    data = encode(SEGMENT)
    alone = {q.value: hashlib.sha256(encode(only(SEGMENT, q))).hexdigest() for q in (C, RH)}
    assert {
        "record": "segment", "previous": 7, "salt": SALT.hex(), "stream": HALL, "day": "2026-01-05",
        "sha256": hashlib.sha256(data).hexdigest(), "bytes": len(data), "readings": 48,
        "channels": {name: {"sha256": digest, "readings": 24} for name, digest in alone.items()},
    } == RECORD  # fmt: skip


def test_every_kind_of_record_is_read_back_from_its_leaf():
    made = recorded()
    kinds = set()
    for text in made.leaves:
        record = read_record(text)
        assert leaf_text(record) == text
        kinds.add(record["record"])
    assert kinds == {"segment", "amendment", "gap", "log head", "absence", "clock step", "quarantine"}


def test_each_record_names_the_one_before_it_in_its_thread():
    made = recorded()
    last: dict[Thread, int] = {}
    for index, text in enumerate(made.leaves):
        record = read_record(text)
        assert record["previous"] == last.get(thread_of(record))
        last[thread_of(record)] = index
    assert {thread.kind for thread in last} == {"sensor", "log", "recorder"}
    assert Thread("log", JOB) in last
    assert Thread("sensor", ATTIC) in last


def test_a_leaf_that_is_not_shown_cannot_be_guessed_without_its_salt():
    one = records.absence_record(MONDAY, MONDAY + DAY, previous=None, salt=SALT)
    other = records.absence_record(MONDAY, MONDAY + DAY, previous=None, salt=bytes(16))
    assert leaf_hash(leaf_text(one).encode()) != leaf_hash(leaf_text(other).encode())


def test_refused_things_are_a_tree_in_whatever_order_they_come():
    record = records.quarantine_record(MONDAY + DAY, REFUSED, previous=None, salt=SALT)
    assert record == records.quarantine_record(MONDAY + DAY, REFUSED[::-1], previous=None, salt=SALT)
    assert (record["day"], record["items"]) == ("2026-01-06", 2)
    tree = records.quarantine_tree(REFUSED)
    for place, one in enumerate(records.in_order(REFUSED)):
        leaf = leaf_hash(refusal_text(one).encode())
        assert includes(bytes.fromhex(record["root"]), 2, place, leaf, tree.inclusion(place, 2))


def test_a_refused_thing_is_sealed_with_the_hash_of_its_bytes():
    said = value_of(refusal_text(REFUSED[1]))
    assert said["raw"] == hashlib.sha256(b"\x00\xff").hexdigest()
    assert (said["topic"], said["reason"], said["t"]) == ("x", "unreadable", None)


@pytest.mark.parametrize(
    "change",
    [
        {"record": "else"},
        {"record": ["segment"]},
        {"previous": "7"},
        {"previous": True},
        {"readings": 1.5},
        {"sha256": "00"},
        {"day": "2026-W02-1"},
        {"channels": {"air_humidity": {}}},
        {"channels": {"air_humidity": {"sha256": "00", "readings": 1}}},
        {"more": 1},
    ],
)
def test_what_is_no_record_is_refused(change):
    with pytest.raises(ValueError):
        read_record(text_of({**RECORD, **change}))


@given(st.text(max_size=20) | st.sampled_from(["[]", "null", '{"record":1}', '{"record":"gap"}']))
def test_any_text_is_refused(text):
    with pytest.raises(ValueError):
        read_record(text)
