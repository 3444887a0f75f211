"""What is done on schedule, on SQLite and on PostgreSQL: last runs, and each period once."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

from monitor.keep.rows import Doing, Scheduled
from monitor.keep.schedule import PERIODS

T = 1_767_600_000_000  # 2026-01-05T08:00Z [ms]
HOLD = 600_000  # [ms]


def claim(store, period: str = "2026-01-05", now: int = T, name: str = "digest") -> bool:
    return store.claim_period(name, period, now, HOLD)


def test_a_work_comes_back_with_its_last_run(store):
    full = Scheduled("tidy", Doing.FAILED, T, T - 60, T + 1, "away", T + 60, "daily 07:00", "Asia/Tokyo")
    store.put_scheduled([full, Scheduled("backup")])
    assert store.scheduled() == [Scheduled("backup"), full]


def test_the_last_run_is_written_over_the_one_before(store):
    store.put_scheduled([Scheduled("tidy", Doing.FAILED, T, None, T, "away")])
    store.put_scheduled([Scheduled("tidy", Doing.DONE, T + 1, T + 2)])
    assert store.scheduled() == [Scheduled("tidy", Doing.DONE, T + 1, T + 2)]


def test_a_work_that_is_not_done_any_more_goes_but_its_periods_stay(store):
    claim(store)
    store.put_scheduled([Scheduled("digest"), Scheduled("tidy")])
    store.put_scheduled([Scheduled("tidy")])
    assert [one.name for one in store.scheduled()] == ["tidy"]
    assert store.periods_of("digest") == {"2026-01-05": Doing.RUNNING}


def test_a_daemon_says_how_its_works_stand_when_it_says_that_it_is_there(store):
    number = store.wake()
    store.stay_awake(number, {}, [Scheduled("tidy", Doing.DONE, T, T)])
    store.stay_awake(number, {})
    assert store.scheduled() == [Scheduled("tidy", Doing.DONE, T, T)]


def test_a_period_is_run_once(store):
    assert claim(store)
    store.end_period("digest", "2026-01-05", T + 5)
    assert store.periods_of("digest") == {"2026-01-05": Doing.DONE}
    assert [claim(store, now=T + ms) for ms in (6, HOLD, 999 * HOLD, -999 * HOLD)] == [False] * 4


def test_another_period_or_another_work_is_another_run(store):
    assert (claim(store), claim(store, "2026-01-06"), claim(store, name="summary")) == (True, True, True)
    store.end_period("digest", "2026-01-06", T)
    assert store.periods_of("digest") == {"2026-01-05": Doing.RUNNING, "2026-01-06": Doing.DONE}
    assert store.periods_of("summary") == {"2026-01-05": Doing.RUNNING}


def test_a_run_that_died_is_begun_again_once_it_was_waited_for(store):
    claim(store)
    assert [claim(store, now=T + ms) for ms in (0, HOLD - 1, HOLD, HOLD + 1)] == [False, False, True, False]


def test_a_run_that_died_before_the_clock_was_put_back_is_begun_again(store):
    claim(store)
    assert [claim(store, now=T - ms) for ms in (HOLD - 1, HOLD)] == [False, True]


def test_a_run_that_failed_is_tried_again_later(store):
    claim(store)
    store.end_period("digest", "2026-01-05", T + 5, "away")
    assert store.periods_of("digest") == {"2026-01-05": Doing.FAILED}
    assert [claim(store, now=T + ms) for ms in (6, HOLD)] == [False, True]
    store.end_period("digest", "2026-01-05", T + HOLD)
    assert (store.periods_of("digest"), claim(store, now=T + 9 * HOLD)) == ({"2026-01-05": Doing.DONE}, False)


def test_of_many_that_want_a_period_at_once_one_gets_it(open_at, url):
    stores = [open_at(url) for _ in range(4)]
    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(claim, stores)) == [False, False, False, True]


def test_of_the_periods_of_a_work_only_the_last_begun_are_remembered(store, monkeypatch):
    assert PERIODS == 400
    monkeypatch.setattr("monitor.keep.schedule.PERIODS", 3)
    claim(store, "another's", name="summary")
    for number in range(5):
        claim(store, str(number), T + number)
    store.end_period("digest", "4", T + 9)
    assert sorted(store.periods_of("digest")) == ["2", "3", "4"]
    assert store.periods_of("summary") == {"another's": Doing.RUNNING}
