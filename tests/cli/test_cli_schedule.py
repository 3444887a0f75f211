"""wallclime schedule: the table, JSON, and what is said where nobody does the work."""

from __future__ import annotations

from pathlib import Path

import pytest
from homes import NOON, Home

from monitor.basis.times import DAY, HOUR, MINUTE, SECOND
from monitor.keep.rows import Doing, Scheduled
from monitor.watch.desk import open_desk

NIGHT = NOON - 12 * HOUR  # 2026-01-12T00:00Z [ms]
FULL = "/invented/store.db: the disk is full. Free some space; what was kept before is whole"
WORKS = [
    Scheduled("backup", Doing.DONE, NIGHT + 250, NIGHT + 900, None, None, NIGHT + DAY, "once in 24 h"),
    Scheduled("board", Doing.WAITING, None, None, None, None, NOON, "every 15 min"),
    Scheduled(
        "digest for robin", Doing.DONE, NIGHT, NIGHT + SECOND, NIGHT - 10 * MINUTE, "store: busy. Wait", NIGHT + DAY,
        "daily 19:00", "America/New_York",
    ),
    Scheduled("judge", Doing.RUNNING, NOON - 2 * MINUTE, NOON - 3 * MINUTE, None, None, NOON, "every 1 min"),
    Scheduled("seal", Doing.FAILED, NOON - SECOND, None, NOON - SECOND, FULL, None, "every 5 min"),
    Scheduled("month for a contact far away", runs="monthly, 1st 07:00", zone="UTC", next=NOON),
]  # fmt: skip

TABLE = """\
work              runs                last                  next
backup            once in 24 h        2026-01-12T00:00:00Z  2026-01-13T00:00:00Z
board             every 15 min        never                 2026-01-12T12:00:00Z
digest for robin  daily 19:00         2026-01-12T00:00:00Z  2026-01-13T00:00:00Z
  America/New_York: last 2026-01-11 19:00, next 2026-01-12 19:00
  last error 2026-01-11T23:50:00Z: store: busy. Wait
judge             every 1 min         2026-01-12T11:58:00Z  2026-01-12T12:00:00Z
  has not ended since 2026-01-12T11:58:00Z
month for a contact far away
                  monthly, 1st 07:00  never                 2026-01-12T12:00:00Z
  UTC: next 2026-01-12 12:00
seal              every 5 min         2026-01-12T11:59:59Z  not known
  failed 2026-01-12T11:59:59Z: /invented/store.db: the disk is full. Free some
    space; what was kept before is whole
"""


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return Home(tmp_path / "home")


def keep(home: Home, *works: Scheduled, last: int = NOON) -> None:
    with open_desk(home.path, environ={}, clock=home.clock) as desk:
        home.clock.at_ms = last
        desk.store.stay_awake(desk.store.wake(), {})
        home.clock.at_ms = NOON
        desk.store.put_scheduled(works)


def test_the_table_says_when_each_work_was_done_last_and_comes_next(home):
    keep(home, *WORKS)
    shown = home.done("schedule")
    assert shown.out == TABLE
    assert max(map(len, shown.out.splitlines())) <= 80
    assert shown.err == ""


def test_machines_get_every_time_and_state(home):
    keep(home, WORKS[2], WORKS[1])
    assert home.done("schedule", "--json").json() == [
        {
            "name": "board", "runs": "every 15 min", "zone": None, "state": "waiting", "last": None, "ended": None,
            "next": "2026-01-12T12:00:00Z", "failed": None, "error": None,
        },
        {
            "name": "digest for robin", "runs": "daily 19:00", "zone": "America/New_York", "state": "done",
            "last": "2026-01-12T00:00:00Z", "ended": "2026-01-12T00:00:01Z", "next": "2026-01-13T00:00:00Z",
            "failed": "2026-01-11T23:50:00Z", "error": "store: busy. Wait",
        },
    ]  # fmt: skip


def test_where_no_daemon_was_ever_it_is_said_who_does_the_work(home):
    shown = home.done("schedule")
    assert (shown.out, shown.err) == ("", "nothing was done at set times yet: wallclime serve does it\n")
    assert home.done("schedule", "--json").json() == []


def test_where_the_daemon_is_away_the_times_are_shown_with_a_warning(home):
    keep(home, WORKS[1], last=NOON - HOUR)
    shown = home.done("schedule")
    assert len(shown.out.splitlines()) == 2
    assert shown.err == "mind: wallclime serve is not running; it was there last at 2026-01-12 11:00+00:00\n"
