"""What is done at set times: each period once, whatever happens to the clock and the daemon; none stops another."""

from __future__ import annotations

import threading
import time as watch
from collections import Counter
from datetime import UTC, date, datetime, time, timedelta
from itertools import count
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.basis.errors import StoreError
from monitor.basis.times import DAY, HOUR, MINUTE, SECOND, datetime_of, ms_of, rfc3339
from monitor.keep.rows import Doing, Scheduled
from monitor.watch.service.schedule import AGAIN, STUCK, Each, Every, Local, Schedule, Work, instant, period_at
from monitor.watch.service.schedule import _Tick as Tick

NEW_YORK, LORD_HOWE, HAVANA = (ZoneInfo(name) for name in ("America/New_York", "Australia/Lord_Howe", "America/Havana"))
ISLAND, TOKYO = ZoneInfo("Pacific/Kiritimati"), ZoneInfo("Asia/Tokyo")
AMPLE = 30.0  # [s]


def utc(text: str) -> int:
    return ms_of(datetime.fromisoformat(text).replace(tzinfo=UTC))


def waited_for(happened) -> bool:
    until = watch.monotonic() + AMPLE
    while not happened() and watch.monotonic() < until:
        watch.sleep(0.01)
    return bool(happened())


def doing(desk, *works: Work) -> Schedule:
    schedule = Schedule(desk)
    schedule.take(works)
    return schedule


class Told(list):
    """A work that keeps the keys it was called with, and fails as often as it is told to."""

    def __init__(self, trigger, name: str = "digest") -> None:
        self.work, self.fails = Work(name, trigger, self.run), 0

    def run(self, key: str) -> None:
        if self.fails:
            self.fails -= 1
            raise StoreError("away", where="store", mend="wait")
        self.append(key)

    def at(self, desk) -> Schedule:
        """A daemon that does this work alone."""
        return doing(desk, self.work)


def look(schedule: Schedule, *texts: str, name: str = "digest") -> None:
    """Have a daemon look at its work at each of these times, UTC."""
    for text in texts:
        schedule._desk.clock.at_ms = utc(text)
        schedule.turn(name)


# --- wall times ---
# When the clocks are changed in 2026: the IANA time zone database, release 2026a.


@pytest.mark.parametrize(
    ("zone", "day", "at", "expected"),
    [
        (NEW_YORK, "2026-01-05", "07:00", "2026-01-05T12:00:00Z"),
        (NEW_YORK, "2026-03-08", "07:00", "2026-03-08T11:00:00Z"),  # put forward from 02:00 to 03:00
        (NEW_YORK, "2026-03-08", "02:30", "2026-03-08T07:00:00Z"),  # is left out: 03:00 is next
        (NEW_YORK, "2026-11-01", "01:30", "2026-11-01T05:30:00Z"),  # there twice: the first
        (NEW_YORK, "2026-11-01", "07:00", "2026-11-01T12:00:00Z"),
        (LORD_HOWE, "2026-10-04", "02:15", "2026-10-03T15:30:00Z"),  # put forward from 02:00 to 02:30
        (LORD_HOWE, "2026-10-04", "02:30", "2026-10-03T15:30:00Z"),
        (LORD_HOWE, "2026-04-05", "01:45", "2026-04-04T14:45:00Z"),  # put back from 02:00 to 01:30
        (LORD_HOWE, "2026-04-05", "02:00", "2026-04-04T15:30:00Z"),
        (HAVANA, "2026-03-08", "00:00", "2026-03-08T05:00:00Z"),  # its day begins at 01:00
    ],
)
def test_a_wall_time_is_the_first_instant_at_which_the_clocks_show_it_or_later(zone, day, at, expected):
    assert rfc3339(instant(date.fromisoformat(day), time.fromisoformat(at), zone)) == expected


def test_a_day_a_week_and_a_month_begin_in_the_zone_at_the_time_given():
    now = utc("2026-01-04T23:30")  # a Monday at 08:30 in Tokyo
    day, week, month = (period_at(Local(time(8), TOKYO, once), now) for once in ("day", "week", "month"))
    assert (day.key, rfc3339(day.due), rfc3339(day.next)) == (
        "2026-01-05", "2026-01-04T23:00:00Z", "2026-01-05T23:00:00Z",
    )  # fmt: skip
    assert (week.key, rfc3339(week.due), rfc3339(week.next)) == (
        "2026-W02", "2026-01-04T23:00:00Z", "2026-01-11T23:00:00Z",
    )  # fmt: skip
    assert (month.key, rfc3339(month.due), rfc3339(month.next)) == (
        "2026-01", "2025-12-31T23:00:00Z", "2026-01-31T23:00:00Z",
    )  # fmt: skip


def test_the_week_that_a_year_begins_in_may_be_the_last_of_the_year_before():
    # ISO 8601: 2027-01-01 is a Friday of the week 2026-W53.
    assert period_at(Local(time(0), NEW_YORK, "week"), utc("2027-01-01T12:00")).key == "2026-W53"


def test_a_span_is_counted_in_utc_from_1970():
    period = period_at(Each(6 * HOUR), utc("2026-01-05T13:00"))
    assert (period.key, rfc3339(period.next)) == ("2026-01-05T12:00:00Z", "2026-01-05T18:00:00Z")
    assert rfc3339(period.due) == period.key


def test_when_a_work_is_done_is_kept_in_words_with_the_zone_it_keeps_to(desk):
    triggers = [Every(3 * SECOND), Each(DAY), *(Local(time(7, 5), TOKYO, once) for once in ("day", "week", "month"))]
    doing(desk, *(Work(str(place), trigger, print) for place, trigger in enumerate(triggers)))
    assert [(one.runs, one.zone) for one in desk.store.scheduled()] == [
        ("every 3 s", None), ("once in 24 h", None), ("daily 07:05", "Asia/Tokyo"), ("Mondays 07:05", "Asia/Tokyo"),
        ("monthly, 1st 07:05", "Asia/Tokyo"),
    ]  # fmt: skip


# --- once ---


def test_a_morning_comes_once_and_not_before_its_time(desk):
    told = Told(Local(time(7), NEW_YORK))
    desk.clock.at_ms = utc("2026-01-05T08:00")
    look(told.at(desk), "2026-01-05T11:59:59", "2026-01-05T12:00", "2026-01-05T12:01", "2026-01-06T04:59")
    assert told == ["2026-01-05"]


def test_a_daemon_that_was_down_over_the_morning_makes_up_for_it_the_same_day(desk):
    told = Told(Local(time(7), NEW_YORK))
    desk.clock.at_ms = utc("2026-01-04T08:00")
    look(told.at(desk), "2026-01-04T13:00")
    look(told.at(desk), "2026-01-05T23:00")
    assert told == ["2026-01-04", "2026-01-05"]


def test_a_daemon_that_was_down_for_ten_days_tells_of_one_morning(desk):
    told = Told(Local(time(7), NEW_YORK))
    desk.clock.at_ms = utc("2026-01-04T08:00")
    look(told.at(desk), "2026-01-04T13:00")
    look(told.at(desk), "2026-01-15T06:00", "2026-01-15T13:00", "2026-01-15T13:01")
    assert told == ["2026-01-04", "2026-01-15"]


def test_a_daemon_that_is_restarted_tells_nothing_again(desk):
    told = Told(Local(time(7), NEW_YORK))
    desk.clock.at_ms = utc("2026-01-05T08:00")
    for _ in range(3):
        look(told.at(desk), "2026-01-05T12:00", "2026-01-05T12:05")
    assert told == ["2026-01-05"]


def test_a_work_that_is_new_in_the_afternoon_begins_the_next_morning(desk):
    told = Told(Local(time(7), NEW_YORK))
    desk.clock.at_ms = utc("2026-01-05T18:00")
    look(told.at(desk), "2026-01-05T18:00")
    look(told.at(desk), "2026-01-05T19:00", "2026-01-06T12:00")
    assert told == ["2026-01-06"]


def test_a_work_that_was_taken_over_in_time_is_not_new_when_the_daemon_is_restarted(desk):
    told = Told(Local(time(7), NEW_YORK))
    desk.clock.at_ms = utc("2026-01-05T11:59")
    told.at(desk)
    desk.clock.at_ms = utc("2026-01-05T12:01")
    look(told.at(desk), "2026-01-05T12:01")
    assert told == ["2026-01-05"]


def test_a_week_is_told_on_its_monday_or_when_the_daemon_is_back(desk):
    told = Told(Local(time(7), NEW_YORK, "week"))
    desk.clock.at_ms = utc("2026-01-04T08:00")
    look(told.at(desk), "2026-01-05T11:00", "2026-01-05T12:00", "2026-01-11T12:00", "2026-01-14T12:00")
    assert told == ["2026-W02", "2026-W03"]


def test_a_night_in_which_the_wall_time_is_left_out_or_comes_twice_is_told_once(desk):
    told = Told(Local(time(2, 30), NEW_YORK))
    desk.clock.at_ms = utc("2026-03-07T08:00")
    look(told.at(desk), "2026-03-08T06:59", "2026-03-08T07:00", "2026-03-08T07:30", "2026-03-08T08:00")
    twice = Told(Local(time(1, 30), NEW_YORK), "twice")
    desk.clock.at_ms = utc("2026-10-31T08:00")
    look(twice.at(desk), "2026-11-01T05:29", "2026-11-01T05:30", "2026-11-01T06:30", "2026-11-01T07:00", name="twice")
    assert (told, twice) == (["2026-03-08"], ["2026-11-01"])


def test_a_span_has_its_first_run_at_once_and_none_again_after_a_restart(desk):
    told = Told(Each(DAY), "backup")
    for _ in range(2):
        look(told.at(desk), "2026-01-05T18:00", "2026-01-05T23:59", name="backup")
    look(told.at(desk), "2026-01-06T00:00", name="backup")
    assert told == ["2026-01-05T00:00:00Z", "2026-01-06T00:00:00Z"]


# --- whatever happens to the clock and the daemon ---

STEP = 5 * MINUTE
NAMES = count()


def come(zone: ZoneInfo, at: time, now: int) -> str | None:
    """The local day of `now` if its clocks have shown `at` by then; found by looking at every five minutes of it."""
    local = datetime_of(now, zone)
    for back in range(0, 27 * HOUR, STEP):
        then = datetime_of(now - back, zone)
        if then.date() == local.date() and then.time() >= at:
            return local.date().isoformat()
    return None


steps = st.one_of(
    st.tuples(st.just("wait"), st.integers(1, 20).map(lambda n: n * 15 * MINUTE)),
    st.tuples(st.just("set the clock"), st.integers(-600, 600).map(lambda n: n * STEP)),
    st.tuples(st.just("restart"), st.integers(0, 100).map(lambda n: n * HOUR)),
    st.tuples(st.just("second daemon"), st.just(STEP)),
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    zone=st.sampled_from([NEW_YORK, LORD_HOWE, HAVANA, ISLAND]),
    start=st.sampled_from(["2026-03-07", "2026-10-31", "2026-04-04", "2026-10-03", "2026-12-31"]),
    at=st.integers(0, 287).map(lambda n: time(n // 12, n % 12 * 5)) | st.sampled_from([time(2, 30), time(1, 30)]),
    happens=st.lists(steps, min_size=5, max_size=40),
)
def test_whatever_happens_each_local_day_whose_time_came_was_told_once(desk, zone, start, at, happens):
    told = Told(Local(at, zone), f"digest {next(NAMES)}")
    desk.clock.at_ms = utc(f"{start}T12:00")
    too_late = come(zone, at, desk.clock.now())  # for the first day, on which the work is new
    daemon, second, days = told.at(desk), told.at(desk), set()
    for what, length in happens:
        desk.clock.move(length)
        if what == "restart":
            daemon = told.at(desk)
        (second if what == "second daemon" else daemon).turn(told.work.name)
        days.add(come(zone, at, desk.clock.now()))
    assert Counter(told) == dict.fromkeys(days - {None, too_late}, 1)


# --- failing ---


def test_a_work_that_fails_is_tried_again_after_ten_minutes_and_then_not_again(desk):
    told = Told(Local(time(7), NEW_YORK))
    desk.clock.at_ms = utc("2026-01-05T08:00")
    told.fails = 2
    schedule = told.at(desk)
    look(schedule, "2026-01-05T12:00", "2026-01-05T12:09:59")
    [run] = schedule.runs()
    assert (told, run.state, run.error, rfc3339(run.next)) == (
        [], Doing.FAILED, "store: away. wait", "2026-01-05T12:10:00Z",
    )  # fmt: skip
    look(schedule, "2026-01-05T12:10", "2026-01-05T12:20", "2026-01-05T12:30")
    [run] = schedule.runs()
    assert told == ["2026-01-05"]
    assert (run.state, rfc3339(run.ended), rfc3339(run.failed)) == (
        Doing.DONE, "2026-01-05T12:20:00Z", "2026-01-05T12:10:00Z",
    )  # fmt: skip
    assert (run.error, rfc3339(run.next)) == ("store: away. wait", "2026-01-06T12:00:00Z")


def test_a_run_that_died_with_the_daemon_is_begun_again(desk):
    class Killed(BaseException):
        pass

    def killed(_key: str) -> None:
        raise Killed

    told = Told(Local(time(7), NEW_YORK))
    desk.clock.at_ms = utc("2026-01-05T08:00")
    with pytest.raises(Killed):
        look(doing(desk, Work("digest", told.work.trigger, killed)), "2026-01-05T12:00")
    look(told.at(desk), "2026-01-05T12:01", "2026-01-05T12:10", "2026-01-05T12:20")
    assert told == ["2026-01-05"]


def test_what_fails_is_told_in_the_log_and_stays_to_be_seen_after_a_restart(desk, caplog):
    told = Told(Every(MINUTE), "tidy")
    told.fails = 1
    schedule = told.at(desk)
    schedule.turn("tidy")
    assert [(one.getMessage(), one.fields) for one in caplog.records] == [
        ("scheduled work failed", {"work": "tidy", "error": "store: away. wait"})
    ]
    desk.store.put_scheduled(schedule.runs())
    now = desk.clock.now()
    before = Scheduled("tidy", Doing.FAILED, now, None, now, "store: away. wait", now + MINUTE, "every 1 min")
    assert told.at(desk).runs() == [before]


def test_an_error_without_words_is_told_by_its_kind(desk):
    def fails(_key: str) -> None:
        raise ZeroDivisionError

    schedule = doing(desk, Work("tidy", Every(MINUTE), fails))
    schedule.turn("tidy")
    assert schedule.runs()[0].error == "ZeroDivisionError"


def test_while_the_store_is_away_a_work_fails_and_goes_on_once_it_is_back(desk, monkeypatch):
    told = Told(Local(time(7), NEW_YORK))
    desk.clock.at_ms = utc("2026-01-05T08:00")
    schedule, store = told.at(desk), type(desk.store)

    def away(*_args: object) -> bool:
        raise StoreError("busy", where="store", mend="wait")

    with monkeypatch.context() as patched:
        patched.setattr(store, "claim_period", away)
        look(schedule, "2026-01-05T12:00")
    told.fails = 1
    with monkeypatch.context() as patched:
        patched.setattr(store, "end_period", away)
        look(schedule, "2026-01-05T12:01")
    assert schedule.runs()[0].error == "store: away. wait"
    look(schedule, "2026-01-05T12:02", "2026-01-05T12:11")
    assert told == ["2026-01-05"]


@pytest.mark.parametrize(
    ("code", "event", "error"),
    [(EVENT_JOB_MISSED, {}, "it was missed"), (EVENT_JOB_ERROR, {"exception": SystemExit("away")}, "away")],
)
def test_a_run_that_was_missed_or_ended_its_thread_is_heard(desk, code, event, error):
    schedule = Told(Every(MINUTE), "tidy").at(desk)
    schedule._heard(SimpleNamespace(code=code, job_id="tidy", **event))
    [run] = schedule.runs()
    assert (run.state, run.error, run.failed) == (Doing.FAILED, error, desk.clock.now())


def test_a_run_that_does_not_end_for_an_hour_is_told_once(desk, caplog):
    schedule = Told(Every(MINUTE), "tidy").at(desk)
    still = SimpleNamespace(code=EVENT_JOB_MAX_INSTANCES, job_id="tidy")
    since = desk.clock.now()
    schedule._note("tidy", state=Doing.RUNNING, started=since)
    for length in (STUCK, 1, 1):
        desk.clock.move(length)
        schedule._heard(still)
    assert [one.fields["error"] for one in caplog.records] == [f"it has not ended since {rfc3339(since)}"]


# --- threads ---


def test_works_run_in_threads_and_one_that_fails_or_hangs_stops_no_other(desk):
    hangs, good = threading.Event(), Told(Every(10), "good")
    bad = Told(Every(10), "bad")
    bad.fails = 10**9
    hanging = Work("hangs", Every(10), lambda _: hangs.wait(AMPLE))
    schedule = doing(desk, hanging, bad.work, good.work)
    with schedule.running():
        assert waited_for(lambda: len(good) > 5 and 10**9 - bad.fails > 5)
        assert {run.name: run.state for run in schedule.runs()}["hangs"] is Doing.RUNNING
        hangs.set()
    assert [run.name for run in desk.store.scheduled()] == ["bad", "good", "hangs"]
    done = len(good)
    watch.sleep(0.05)
    assert len(good) == done


def test_what_is_to_come_soon_does_and_what_comes_every_hour_waits(desk):
    soon, later = Told(Every(HOUR, soon=True), "soon"), Told(Every(HOUR), "later")
    with doing(desk, soon.work, later.work).running():
        assert waited_for(lambda: soon == [""])
    assert later == []


def test_when_the_clock_was_set_every_work_is_looked_at_at_once(desk):
    told = Told(Every(HOUR), "hourly")
    schedule = told.at(desk)
    with schedule.running():
        schedule.stepped()
        assert waited_for(lambda: told == [""])


def test_a_clock_that_was_set_far_forward_makes_one_run_and_not_all_that_it_skipped():
    now = datetime(2026, 1, 5, tzinfo=UTC)
    assert Tick(timedelta(seconds=3)).get_next_fire_time(datetime(1970, 1, 1, tzinfo=UTC), now) == now + timedelta(
        milliseconds=3 * SECOND
    )


def test_a_run_is_begun_again_no_sooner_than_it_is_looked_at_again():
    assert AGAIN > MINUTE
