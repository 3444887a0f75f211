"""More than one process at a store, and processes that die: on SQLite and, where it makes sense, PostgreSQL."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import psycopg
import pytest

from monitor.basis.alarm import Message
from monitor.basis.errors import StoreError
from monitor.basis.values import LIVE, SENSORS_CHAIN, Draft, Kind, Quantity, Reading
from monitor.keep.rows import Kept
from monitor.seal.chain import faults

CHILD = Path(__file__).with_name("keep_child.py")
BATCH = 50  # readings, as in the child
Start = Callable[..., subprocess.Popen]


@pytest.fixture
def start() -> Iterator[Start]:
    """Starts children, which wait for a line on stdin."""
    children: list[subprocess.Popen] = []

    def start_one(*arguments: str) -> subprocess.Popen:
        command = [sys.executable, str(CHILD), *arguments]
        children.append(subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True))
        return children[-1]

    yield start_one
    for child in children:
        child.kill()
        child.communicate()


def go(child: subprocess.Popen) -> None:
    child.stdin.write("\n")
    child.stdin.flush()


def numbers_of(child: subprocess.Popen, lines: int) -> list[int]:
    """What a child says that is let go, and killed after so many lines."""
    go(child)
    said = [int(child.stdout.readline()) for _ in range(lines)]
    child.kill()
    return [*said, *(int(line) for line in child.stdout.read().split("\n")[:-1])]


def test_a_killed_process_loses_no_batch_that_it_said_was_kept(start, open_at, sqlite_url):
    begun = 0
    for lines in (1, 7, 23):
        child = start("keep", sqlite_url, str(begun))
        said = numbers_of(child, lines)
        store = open_at(sqlite_url)
        kept, beyond = divmod(len(store.series("room", Quantity.AIR_HUMIDITY)), BATCH)
        assert beyond == 0
        assert kept - (said[-1] + 1) in (0, 1)  # it may have died after the commit, before it could say so
        entries = store.entries(SENSORS_CHAIN)
        assert len(entries) - (said[-1] + 1) in (0, 1)
        assert faults(entries) == []
        # The next one goes on where the log ends; a batch that is kept already is a batch of duplicates.
        begun = len(entries)


def test_a_killed_process_leaves_no_alarm_without_its_entry_and_its_message(start, open_at, sqlite_url):
    begun = 0
    for lines in (1, 7, 23):
        child = start("alarm", sqlite_url, str(begun))
        said = numbers_of(child, lines)
        store = open_at(sqlite_url)
        alarms = [one.id for one in store.alarms()]
        assert alarms == [one.message.id for one in store.outbox_due(0, 9_999)]
        assert len(alarms) == len(store.entries(SENSORS_CHAIN))
        assert alarms[: said[-1] + 1] == [str(number) for number in range(said[-1] + 1)]
        begun = len(alarms)


def test_what_was_told_when_the_teller_was_killed_is_told_again_and_nothing_is_lost(start, open_at, sqlite_url):
    store = open_at(sqlite_url)
    ids = [f"{number:02}" for number in range(9)]
    store.record_alarms([], [], [Message(one, "ada", "alarm", "s", "t", {}, 0, 0) for one in ids])
    told: list[str] = []
    for taken in (0, 3, 1, 5):
        child = start("deliver", sqlite_url, "1")
        go(child)
        for _ in range(taken):
            told.append(child.stdout.readline().strip())
            go(child)
        told += [line.strip() for line in [child.stdout.readline()] if line]  # told, but not noted: it is killed now
        child.kill()
        child.wait()
    assert told == ["00", "00", "01", "02", "03", "03", "04", "04", "05", "06", "07", "08"]
    assert store.outbox_counts() == {"waiting": 0, "sent": 9, "dead": 0}


def test_two_processes_that_open_a_new_store_and_write_one_chain_keep_it_whole(start, open_at, url):
    children = [start("append", url, "20") for _ in range(2)]
    for child in children:
        go(child)
    assert [child.wait(60) for child in children] == [0, 0]
    entries = open_at(url).entries(SENSORS_CHAIN)
    assert [one.number for one in entries] == list(range(1, 81))
    assert faults(entries) == []


def test_threads_that_share_a_store_keep_the_chain_and_the_readings_whole(store):
    def work(number: int) -> None:
        for i in range(5):
            store.keep_readings([Reading(f"room {number}", Quantity.AIR_HUMIDITY, i, 45.0, "%", i, LIVE)])
            store.append(SENSORS_CHAIN, [Draft(Kind.NOTE, i, "Ada")])

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(work, range(4)))
    assert [one.readings for one in store.heard()] == [5] * 4
    assert len(store.entries(SENSORS_CHAIN)) == 20
    assert faults(store.entries(SENSORS_CHAIN)) == []


def test_a_full_disk_is_a_store_error_and_the_store_goes_on_once_there_is_room(start, sqlite_url):
    child = start("fill", sqlite_url, "200000")
    said, _ = child.communicate("\n", timeout=60)
    path = sqlite_url.removeprefix("sqlite:///")
    assert said.splitlines() == [
        f"{path}: the disk fails or is full. Check the disk and its free space; what was kept is whole",
        "True",
    ]


def test_a_server_that_was_restarted_is_found_again(open_at, postgresql_url, postgresql):
    store = open_at(postgresql_url)
    with store._reading() as conn:
        own = conn.exec_driver_sql("SELECT pg_backend_pid()").scalar()
    with psycopg.connect(host=postgresql, user="keeper", dbname="postgres", autocommit=True) as admin:
        admin.execute("SELECT pg_terminate_backend(%s, 5000)", [own])
    assert store.keep_readings([Reading("a", Quantity.AIR_HUMIDITY, 1, 45.0, "%", 1, LIVE)]) == Kept(1, 0, 0)


def test_a_writer_that_waits_too_long_for_another_gives_up(open_at, url, monkeypatch):
    monkeypatch.setattr("monitor.keep.connect.SQLITE", ("PRAGMA busy_timeout = 20",))
    monkeypatch.setattr("monitor.keep.connect.POSTGRESQL", ("SET lock_timeout = 20",))
    store, other = open_at(url), open_at(url)
    store.append(SENSORS_CHAIN, [Draft(Kind.NOTE, 0, "Ada")])

    def meanwhile(_entries):
        with pytest.raises(StoreError) as error:
            other.append(SENSORS_CHAIN, [Draft(Kind.NOTE, 0, "Ben")])
        assert str(error.value) == (
            f"{other._where}: another process has held it for 10 s. Wait for it to finish or stop it, then try again"
        )
        assert len(other.entries(SENSORS_CHAIN)) == 1  # a reader never waits

    store.append(SENSORS_CHAIN, [Draft(Kind.NOTE, 0, "Ada")], check=meanwhile)
    assert len(store.entries(SENSORS_CHAIN)) == 2
