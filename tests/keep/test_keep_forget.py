"""Forgetting on SQLite and on PostgreSQL: bodies, salts and files go, links stay, and the bytes leave the file too."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.basis.alarm import HOUSE, Alarm, Message, Priority, Standing
from monitor.basis.errors import StoreError
from monitor.basis.values import Draft, Entry, Kind
from monitor.keep.rows import Checkpoint, Stale
from monitor.seal.chain import GENESIS, Withheld, body_hash, faults, link, withheld

T = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
SECRET = "the tenant of the third floor has moved out"
PICTURE = b"\xff\xd8invented picture of a kitchen\xff\xd9" * 500


def note(text: str, **more) -> Draft:
    return Draft(Kind.NOTE, T, "Ada", {"text": text, **more})


def tombstone(*numbers: int):
    return lambda _entries: Draft(Kind.FORGOTTEN, T, "Ben", {"reason": "asked to", "entries": list(numbers)})


def forget(store, *numbers: int, chain: str = "hall") -> tuple[Entry, int]:
    return store.forget(chain, tombstone(*numbers), body_hash=body_hash)


def as_linked(entries: Sequence[Entry]) -> list[Entry | Withheld]:
    return [
        Withheld(one.chain, one.number, one.entered, bytes.fromhex(one.body["body_hash"]), one.link)
        if one.kind is Kind.ERASED
        else one
        for one in entries
    ]


def test_an_erased_entry_keeps_what_its_link_needs_and_nothing_else(store):
    _, second, third = store.append("hall", [note("a"), note(SECRET), note("c")], new=True)
    left, files = forget(store, 2)
    first, gone, *rest = store.entries("hall")
    assert (gone.chain, gone.number, gone.entered, gone.link) == ("hall", 2, second.entered, second.link)
    assert (gone.kind, gone.at, gone.who, gone.corrects, gone.salt) == (Kind.ERASED, second.entered, "Ben", None, b"")
    assert gone.body == {"body_hash": body_hash(second).hex(), "by": 4}
    assert (first.body, rest, files) == ({"text": "a"}, [third, left], 0)


def test_the_chain_verifies_with_what_is_left_and_goes_on(store):
    store.append("hall", [note("a"), note("b"), note("c")], new=True)
    before = [withheld(one) for one in store.entries("hall")]
    forget(store, 1, 2, 3)
    store.append("hall", [note("d")])
    found = as_linked(store.entries("hall"))
    assert found[:3] == before
    assert faults(found) == []


def test_the_entry_that_is_left_is_linked_like_any_other(store):
    [first] = store.append("hall", [note("a")], new=True)
    left, _ = forget(store, 1)
    assert (left.number, left.link) == (2, link(first.link, left))
    assert first.link == link(GENESIS, first)


def test_what_was_erased_before_is_named_by_the_newest_that_erased_it(store):
    store.append("hall", [note("a"), note("b")], new=True)
    [first, *_] = store.entries("hall")
    forget(store, 1)
    forget(store, 1, 2, 3)
    assert [one.body.get("by") for one in store.entries("hall")] == [4, 4, 4, None]
    assert store.entries("hall")[0].body["body_hash"] == body_hash(first).hex()
    assert faults(as_linked(store.entries("hall"))) == []


def test_who_writes_the_tombstone_sees_the_log_and_may_stop_it(store):
    store.append("hall", [note("a")], new=True)
    before = store.entries("hall")

    def refuse(entries: list[Entry]) -> Draft:
        assert entries == before
        raise ValueError("held")

    with pytest.raises(ValueError, match="held"):
        store.forget("hall", refuse, body_hash=body_hash)
    assert store.entries("hall") == before


def test_a_file_goes_with_the_last_entry_that_names_it(store):
    sha256 = store.keep_attachment(PICTURE, "image/jpeg")
    other = store.keep_attachment(b"other", "image/jpeg")
    store.append("hall", [note("a", sha256=sha256), note("b", papers=[{"sha256": sha256}])], new=True)
    store.append("attic", [note("c", sha256=sha256), note("d", sha256=other)], new=True)
    assert forget(store, 1, 2)[1] == 0
    assert forget(store, 1, chain="attic")[1] == 1
    assert (store.attachment(sha256), store.attachment(other) is None) == (None, False)


def test_of_a_chain_whose_first_entry_is_erased_nothing_derived_is_left(store):
    for job in ("hall", "attic"):
        store.append(job, [note("a")], new=True)
        store.settle_dirty([], [Stale(job, "home/hall", T, T)])
        store.put_checkpoints(job, "own", [Checkpoint(T, T, T, (), 1, b"", b"", b"", b"state", b"")], generation=1)
    forget(store, 1)
    assert (store.forgotten(), store.generations()) == ({"hall"}, {"attic": 1})
    assert [len(store.checkpoint_heads(job, "own")) for job in ("hall", "attic")] == [0, 1]


def test_a_chain_of_which_something_is_left_is_not_forgotten(store):
    store.append("hall", [note("a"), note("b")], new=True)
    forget(store, 2)
    assert store.forgotten() == set()


def test_the_log_is_as_readable_after_the_scrub_as_before(store):
    store.append("hall", [note("a"), note(SECRET)], new=True)
    forget(store, 2)
    before = store.entries("hall")
    store.scrub()
    assert store.entries("hall") == before


# --- alarms and messages


def alarm(id_: str, job: str, **facts) -> Alarm:
    return Alarm(id_, "too dry", job, job, T, T, Standing.UNACKNOWLEDGED, Priority.HIGH, facts)


def message(id_: str, *alarms: str, jobs: tuple[str, ...] = (), text: str = "too dry") -> Message:
    return Message(id_, "ada", "alarm", "too dry", text, {}, T, T, None, alarms, jobs)


def left(store) -> tuple[list[str], list[str]]:
    return [one.id for one in store.alarms(over=True)], [one.message.id for one in store.outbox_due(T, 9)]


def test_of_a_job_that_is_forgotten_no_alarm_and_no_message_is_left(store):
    for job in ("hall", "attic"):
        store.append(job, [note("a")], new=True)
    alarms = [alarm("a", "hall"), alarm("b", "attic"), alarm("c", HOUSE)]
    mine = [message("by job", jobs=("hall",)), message("by alarm", "a"), message("of both", jobs=("attic", "hall"))]
    others = [message("of attic", "b", jobs=("attic",)), message("of hallway", "c", jobs=("hallway",))]
    store.record_alarms([], alarms, mine + others)
    store.outbox_sent("by alarm", T)
    forget(store, 1)
    assert left(store) == (["b", "c"], ["of attic", "of hallway"])
    assert store.outbox_counts() == {"waiting": 2, "sent": 0, "dead": 0}


def test_no_alarm_of_a_sensor_or_of_the_program_names_a_job_that_is_forgotten(store):
    store.append("hall", [note("a")], new=True)
    shelf = {"shelved_until": T + 9, "shelved_by": "ada", "shelved_reason": "the owner of hall is away"}
    of_both = replace(alarm("both", HOUSE, jobs=["attic", "hall"], place="hall"), **shelf)
    alone = replace(alarm("alone", HOUSE, jobs=["hall"]), **shelf)
    other = replace(alarm("other", HOUSE, jobs=["attic"]), **shelf)
    failed = alarm("failed", HOUSE, name="board", error="job hall: it can't be read")
    store.record_alarms([], [of_both, alone, other, failed], [message("m", "failed")])
    forget(store, 1)
    found = {one.id: one for one in store.alarms(over=True)}
    assert set(found) == {"both", "other", "failed"}
    assert (found["both"].facts["jobs"], found["both"].shelved_until) == (["attic"], T + 9)
    assert (found["both"].shelved_by, found["both"].shelved_reason) == ("", "")
    assert found["other"] == other
    assert found["failed"].facts == {"name": "board", "error": ""}
    assert left(store)[1] == []


def test_with_the_entry_that_says_why_an_alarm_was_shelved_goes_its_reason(store):
    shelved = Draft(Kind.ALARM, T, "ada", {"alarm": "a", "reason": SECRET})
    store.append("hall", [note("a"), shelved], new=True)
    on_shelf = replace(alarm("a", "hall"), shelved_until=T + 9, shelved_by="ada", shelved_reason=SECRET)
    store.record_alarms([], [on_shelf], [])
    forget(store, 2)
    assert store.alarms() == [replace(on_shelf, shelved_reason="")]


def test_while_the_first_entry_of_a_job_stands_its_alarms_do(store):
    store.append("hall", [note("a"), note("b")], new=True)
    store.record_alarms([], [alarm("a", "hall")], [message("m", jobs=("hall",))])
    forget(store, 2)
    assert left(store) == (["a"], ["m"])


def test_after_the_scrub_no_byte_of_a_forgotten_alarm_is_left(open_at, sqlite_url, tmp_path):
    store = open_at(sqlite_url)
    store.append("hall", [note("a")], new=True)
    told = [message(str(number), jobs=("hall",), text=SECRET) for number in range(50)]
    store.record_alarms([], [alarm("a", "hall", who=SECRET)], told)
    assert SECRET.encode() in bytes_of(tmp_path)
    forget(store, 1)
    store.scrub()
    assert SECRET.encode() not in bytes_of(tmp_path)


# --- the bytes


def bytes_of(folder: Path) -> bytes:
    """All that stands in the files of a store: the file, its -wal, its -shm."""
    return b"".join(path.read_bytes() for path in sorted(folder.glob("store.db*")))


@pytest.fixture
def crowded(open_at, sqlite_url):
    """A store that others have open, with a secret among many entries, some of them in pages that were split."""
    store = open_at(sqlite_url)
    store.append("hall", [note("a" * 300)] * 40 + [note(SECRET)], new=True)
    for _ in range(40):
        store.append("hall", [note("b" * 700), note(SECRET)])
    store.append("hall", [note("a", sha256=store.keep_attachment(PICTURE, "image/jpeg"))])
    return store


def test_no_byte_of_what_was_erased_is_left_in_the_file_nor_beside_it(crowded, tmp_path, open_at, sqlite_url):
    open_at(sqlite_url).entries("hall")  # another connection, so that the -wal stays
    assert (SECRET.encode() in bytes_of(tmp_path), PICTURE[:400] in bytes_of(tmp_path)) == (True, True)
    secret = [one.number for one in crowded.entries("hall") if one.body.get("text") == SECRET or "sha256" in one.body]
    salts = [one.salt for one in crowded.entries("hall") if one.number in secret]
    forget(crowded, *secret)
    crowded.scrub()
    left = bytes_of(tmp_path)
    assert (tmp_path / "store.db-wal").exists()
    assert [one for one in (SECRET.encode(), PICTURE[:400], b"picture of a kitchen", *salts) if one in left] == []
    assert faults(as_linked(crowded.entries("hall"))) == []


def test_while_somebody_reads_the_bytes_are_not_said_to_be_gone(crowded, tmp_path):
    forget(crowded, 41)
    with closing(sqlite3.connect(tmp_path / "store.db", isolation_level=None)) as other:
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM entry").fetchone()
        crowded._engine.dispose()
        with crowded._engine.connect() as conn:  # the pool keeps it: no test waits ten seconds
            conn.exec_driver_sql("PRAGMA busy_timeout = 10")
        with pytest.raises(StoreError) as error:
            crowded.scrub()
    assert str(error.value) == (
        f"{tmp_path}/store.db: somebody reads it all the time, so that what was erased still stands in the file beside "
        "it (-wal). Stop the daemon and other commands, then give the same command again"
    )
    crowded.scrub()
