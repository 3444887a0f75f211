"""What is done at set times: each work by its name, each period once, and none that stops another.

What runs by a period is decided by the clock and by the periods that the store remembers, never by a timer that was set
before: so neither a restart, nor a clock that is set, nor a second daemon runs a morning twice or leaves one out. What
was missed is made up for once, as long as its period lasts. A run that died is begun again, so a work must do no harm
when it is done twice: what it tells has an id of its own (see `Message`).
"""

from __future__ import annotations

import contextlib
import logging
import threading
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED, JobEvent
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.base import BaseTrigger

from monitor.basis.errors import StoreError
from monitor.basis.times import HOUR, MINUTE, SECOND, datetime_of, in_zone, rfc3339
from monitor.basis.units import format_duration
from monitor.keep.rows import Doing, Scheduled
from monitor.watch.desk import Desk
from monitor.watch.service.journal import log

LOOK = 15 * SECOND  # how often it is looked whether a period is due [ms]
AGAIN = 10 * MINUTE  # until a run that failed or died is begun again [ms]
STUCK = HOUR  # a run that has not ended by then is told [ms]
WORKERS = 16  # how many works run at once at most

_ONE = timedelta(days=1)
_ONCE = {"day": "daily", "week": "Mondays", "month": "monthly, 1st"}


class Every(NamedTuple):
    """Again and again, each time `ms` after the last; the first time after as long too, or at once if `soon`."""

    ms: int
    soon: bool = False


class Each(NamedTuple):
    """Once in each span of `ms`, counted from 1970-01-01T00:00Z."""

    ms: int


class Local(NamedTuple):
    """Once a day, week (from Monday) or month (from its first day), from the wall time `at` of `zone` on its first day.

    A wall time that there is twice is the first of them, one that the clocks leave out the next instant that there is.
    """

    at: time
    zone: ZoneInfo
    once: Literal["day", "week", "month"] = "day"


Trigger = Every | Each | Local


class Work(NamedTuple):
    """A work on schedule: its name, when, and what is called with the key of the period ("" without one).

    A key is a day 2026-01-05, a week 2026-W02, a month 2026-01, or the instant that begins a span, RFC 3339. Of several
    daemons one does it, unless it is done `everywhere`.
    """

    name: str
    trigger: Trigger
    run: Callable[[str], object]
    everywhere: bool = False


class Period(NamedTuple):
    """A period: its key, from when its run is due, and when that of the next one is. [ms]"""

    key: str
    due: int
    next: int


def instant(day: date, at: time, zone: ZoneInfo) -> int:
    """The first instant of `day` in `zone` at which its clocks show `at` or later. [ms]"""
    local = datetime.combine(day, at)
    early, late = (in_zone(local, zone, where=zone.key, dst=which) for which in ("earlier", "later"))

    def reached(ms: int) -> bool:
        return datetime_of(ms, zone).replace(tzinfo=None) >= local

    return early if reached(early) else early + bisect_left(range(early, late), True, key=reached)


def period_at(trigger: Each | Local, now: int) -> Period:
    """The period that `now` is in. [ms]"""
    if isinstance(trigger, Each):
        begin = now - now % trigger.ms
        return Period(rfc3339(begin), begin, begin + trigger.ms)
    today = datetime_of(now, trigger.zone).date()
    if trigger.once == "day":
        first, then, key = today, today + _ONE, today.isoformat()
    elif trigger.once == "week":
        first = today - today.weekday() * _ONE
        then, key = first + 7 * _ONE, f"{first:%G-W%V}"
    else:
        first = today.replace(day=1)
        then, key = (first + 31 * _ONE).replace(day=1), f"{first:%Y-%m}"
    return Period(key, *(instant(day, trigger.at, trigger.zone) for day in (first, then)))


class _Tick(BaseTrigger):
    """After each time the next one. APScheduler's own would count up all that a clock set far forward has skipped."""

    def __init__(self, length: timedelta) -> None:
        self._length = length

    def get_next_fire_time(self, _previous_fire_time: datetime | None, now: datetime) -> datetime:
        """When the work is to be looked at next."""
        return now + self._length


class Schedule:
    """The works of a desk, how their last runs stand, and the threads that they run in.

    `leads` says whether this process does what only one of several may; the store knows the last runs of that one.
    """

    def __init__(self, desk: Desk, leads: Callable[[], bool] = lambda: True) -> None:
        self._desk, self.leads = desk, leads
        self._lock = threading.Lock()
        self._works: dict[str, Work] = {}
        self._runs: dict[str, Scheduled] = {}
        self._had: dict[str, str] = {}  # of each work the last period that is known to have had its run
        self._scheduler = BackgroundScheduler(
            timezone=UTC, executors={"default": {"type": "threadpool", "max_workers": WORKERS}}
        )

    def take(self, works: Sequence[Work]) -> None:
        """Take over `works`, with what the store knows of their last runs. Raises StoreError."""
        self._works = {work.name: work for work in works}
        self.take_up()

    def take_up(self) -> None:
        """Go on with the works from what the store knows of their last runs. Raises StoreError."""
        now, known = self._desk.clock.now(), {one.name: one for one in self._desk.store.scheduled()}
        for work in self._works.values():
            runs, zone = _said(work.trigger)
            last = known.get(work.name, Scheduled(work.name))
            with self._lock:
                self._runs[work.name] = last._replace(next=_next(work.trigger, now), runs=runs, zone=zone)
            if self.leads() and isinstance(work.trigger, Local) and work.name not in known:
                self._leave_out(work.name, work.trigger, now)
        if self.leads():
            self._desk.store.put_scheduled(self.runs())

    def _leave_out(self, name: str, trigger: Local, now: int) -> None:
        """Let a work that is new begin with the next period, where it would be late for this one."""
        period, store = period_at(trigger, now), self._desk.store
        if period.due <= now and not store.periods_of(name) and store.claim_period(name, period.key, now, AGAIN):
            store.end_period(name, period.key, now)

    @contextlib.contextmanager
    def running(self) -> Iterator[None]:
        """Do the works in threads as long as the context lasts; what runs at its end is waited for."""
        logging.getLogger("apscheduler").setLevel(logging.CRITICAL)  # what it would say is told here
        self._scheduler.add_listener(self._heard, EVENT_JOB_ERROR | EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES)
        for work in self._works.values():
            self._add(work)
        self._scheduler.start()
        try:
            yield
        finally:
            self._scheduler.shutdown(wait=True)

    def _add(self, work: Work) -> None:
        look = work.trigger.ms if isinstance(work.trigger, Every) else LOOK
        soon = not isinstance(work.trigger, Every) or work.trigger.soon
        first = {"next_run_time": datetime.now(UTC)} if soon else {}
        tick = _Tick(timedelta(milliseconds=look))
        self._scheduler.add_job(
            self.turn, tick, (work.name,), id=work.name, max_instances=1, misfire_grace_time=None, **first
        )

    def stepped(self) -> None:
        """The clock was set: look at every work now, lest one waits for a time that is far off since."""
        for job in self._scheduler.get_jobs():
            self._scheduler.modify_job(job.id, next_run_time=datetime.now(UTC))

    def runs(self) -> list[Scheduled]:
        """Every work and how its last run stands."""
        with self._lock:
            return list(self._runs.values())

    # --- one work

    def turn(self, name: str) -> None:
        """Do the work `name` if it is due. What it raises is kept as its last error, told in the log, and ends here."""
        work, key = self._works[name], None
        if not (work.everywhere or self.leads()):
            return
        try:
            key = self._claimed(work)
            if key is None:
                return
            self._note(name, state=Doing.RUNNING, started=self._desk.clock.now())
            work.run(key)
            self._end(work, key)
        except Exception as exc:
            self._fail(work, key, exc)

    def _claimed(self, work: Work) -> str | None:
        """The period that is to be run now, None where there is nothing to do."""
        if isinstance(work.trigger, Every):
            return ""
        now = self._desk.clock.now()
        period = period_at(work.trigger, now)
        if now < period.due or self._had.get(work.name) == period.key:
            return None
        if self._desk.store.claim_period(work.name, period.key, now, AGAIN):
            return period.key
        if self._desk.store.periods_of(work.name).get(period.key) is Doing.DONE:
            self._had[work.name] = period.key
        return None

    def _end(self, work: Work, key: str) -> None:
        now = self._desk.clock.now()
        if key:
            self._desk.store.end_period(work.name, key, now)
            self._had[work.name] = key
        self._note(work.name, state=Doing.DONE, ended=now, next=_next(work.trigger, now))

    def _fail(self, work: Work, key: str | None, exc: Exception) -> None:
        now, error = self._desk.clock.now(), str(exc) or type(exc).__name__
        again = now + (work.trigger.ms if isinstance(work.trigger, Every) else AGAIN)
        self._tell(work.name, error, state=Doing.FAILED, failed=now, next=again)
        if key:
            with contextlib.suppress(StoreError):  # then its claim runs out, as if it had died
                self._desk.store.end_period(work.name, key, now, error)

    def _heard(self, event: JobEvent) -> None:
        """Take note of what a turn can't see: a run that was missed, or has not ended for long."""
        now, run = self._desk.clock.now(), self._runs[event.job_id]
        if event.code != EVENT_JOB_MAX_INSTANCES:
            error = str(getattr(event, "exception", None) or "it was missed")
            self._tell(event.job_id, error, state=Doing.FAILED, failed=now)
        elif run.state is Doing.RUNNING and run.started is not None and now - run.started > STUCK:
            self._tell(event.job_id, f"it has not ended since {rfc3339(run.started)}", state=Doing.FAILED, failed=now)

    def _tell(self, name: str, error: str, **changes: object) -> None:
        log("error", "scheduled work failed", work=name, error=error)
        self._note(name, error=error, **changes)

    def _note(self, name: str, **changes: object) -> None:
        with self._lock:
            self._runs[name] = self._runs[name]._replace(**changes)  # type: ignore[arg-type]


def _said(trigger: Trigger) -> tuple[str, str | None]:
    """When a work is done, in words, and the zone of whose clocks."""
    if isinstance(trigger, Local):
        return f"{_ONCE[trigger.once]} {trigger.at:%H:%M}", trigger.zone.key
    return f"{'every' if isinstance(trigger, Every) else 'once in'} {format_duration(trigger.ms)}", None


def _next(trigger: Trigger, now: int) -> int:
    """When a work that had its run by `now`, if it was due, comes next. [ms]"""
    if isinstance(trigger, Every):
        return now + trigger.ms
    period = period_at(trigger, now)
    return period.due if now < period.due else period.next
