"""What every store does with the condition log, on SQLite and on PostgreSQL."""

from __future__ import annotations

import pytest

from monitor.basis.errors import RecordError
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind
from monitor.seal.chain import faults

T = 1_767_600_000_000  # 2026-01-05T08:00Z [ms]
NOTE = Draft(Kind.NOTE, T, "Ada")


def test_entries_are_numbered_from_one_dated_by_the_clock_and_salted(store, clock):
    (first,) = store.append("hall", [Draft(Kind.JOB, T - 5, "Ada", {"zone": "UTC"})], new=True)
    clock.move(7)
    second, third = store.append("hall", [NOTE, Draft(Kind.CORRECTION, T, "Ben", {"text": "no"}, corrects=1)])
    bodies = {"body": {}, "salt": b"", "link": b""}
    assert [one._replace(**bodies) for one in (first, third)] == [
        Entry("hall", 1, Kind.JOB, T - 5, T, "Ada", {}, None, b"", b""),
        Entry("hall", 3, Kind.CORRECTION, T, T + 7, "Ben", {}, 1, b"", b""),
    ]
    assert {len(one.salt) for one in (first, second, third)} == {16}
    assert len({one.salt for one in (first, second, third)}) == 3


def test_what_append_answers_is_what_stands_in_the_log_and_hangs_together(store):
    written = store.append("hall", [NOTE, NOTE], new=True) + store.append("hall", [NOTE])
    assert store.entries("hall") == written
    assert faults(written) == []
    assert store.head("hall") == (3, written[-1].link)


def test_a_body_comes_back_exactly_as_it_was(store):
    body = {
        "int": 2**53 - 1, "float": 0.1 + 0.2, "whole": 1.0, "small": 5e-324, "none": None, "yes": True, "text": "ü\"\0",
        "list": [1, [2.5, {}]], "map": {"b": 1, "a": []},
    }  # fmt: skip
    (written,) = store.append("hall", [Draft(Kind.NOTE, T, "Ada", body)], new=True)
    (read,) = store.entries("hall")
    assert repr(read.body) == repr(body)
    assert repr(written.body) == repr(body)


def test_the_words_of_all_entries_are_held_but_once(store):
    """A thousand jobs say mostly the same: who reads the logs of them all holds each word once."""
    for job in ("hall", "attic"):
        store.append(
            job, [Draft(Kind.DELIVER, T, "Ada of the hall", {"lot": "lot 1 of 2", "more": {"by": "the van"}})], new=True
        )
    (one,), (other,) = store.entries("hall"), store.entries("attic")
    assert one.who is other.who
    assert one.body["lot"] is other.body["lot"]
    assert one.body["more"]["by"] is other.body["more"]["by"]
    assert [id(key) for key in one.body] == [id(key) for key in other.body]


def test_an_empty_chain_has_no_entries_and_a_head_of_zeros(store):
    assert store.entries(SENSORS_CHAIN) == []
    assert store.head(SENSORS_CHAIN) == (0, bytes(32))
    assert store.chains() == []


def test_the_chain_of_the_sensors_begins_by_itself(store):
    store.append(SENSORS_CHAIN, [NOTE])
    store.append(SENSORS_CHAIN, [NOTE])
    assert [one.number for one in store.entries(SENSORS_CHAIN)] == [1, 2]


def test_chains_are_listed_in_order_and_stand_apart(store):
    for name in ("loft", "Hall", "attic"):
        store.append(name, [NOTE], new=True)
    store.append(SENSORS_CHAIN, [NOTE])
    store.append("attic", [NOTE])
    assert store.chains() == [SENSORS_CHAIN, "Hall", "attic", "loft"]
    assert [store.head(name)[0] for name in store.chains()] == [1, 1, 2, 1]


def test_a_job_that_was_not_opened_takes_no_entry(store):
    with pytest.raises(RecordError) as error:
        store.append("hall", [NOTE])
    assert str(error.value) == "job hall: there is no job 'hall'. wallclime job list shows the jobs there are"
    assert store.chains() == []


def test_a_job_is_opened_once(store):
    store.append("hall", [NOTE], new=True)
    with pytest.raises(RecordError) as error:
        store.append("hall", [NOTE], new=True)
    assert str(error.value) == "job hall: there is a job 'hall' already. Choose another name for the new job"
    assert len(store.entries("hall")) == 1


def test_the_check_sees_the_entries_so_far_and_can_stop_what_comes(store):
    seen = []
    store.append("hall", [NOTE], new=True, check=seen.append)
    (first,) = store.entries("hall")

    def forbid(entries):
        seen.append(entries)
        raise RecordError("it is closed", where="job hall", mend="Open another")

    with pytest.raises(RecordError, match="it is closed"):
        store.append("hall", [NOTE], check=forbid)
    assert seen == [[], [first]]
    assert store.entries("hall") == [first]


def test_a_check_that_stops_the_first_entry_leaves_no_job_behind(store):
    def forbid(_entries):
        raise RecordError("no", where="job hall", mend="Not now")

    with pytest.raises(RecordError, match="Not now"):
        store.append("hall", [NOTE], new=True, check=forbid)
    assert store.chains() == []


def test_a_body_that_is_no_json_writes_none_of_the_drafts(store):
    with pytest.raises(ValueError, match="Out of range float values are not JSON compliant"):
        store.append(SENSORS_CHAIN, [NOTE, Draft(Kind.NOTE, T, "Ada", {"value": float("nan")})])
    assert store.entries(SENSORS_CHAIN) == []
