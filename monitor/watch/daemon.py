"""The service: hears the broker in one thread, and judges what was heard on a schedule in another."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import UTC
from functools import partial
from pathlib import Path
from types import FrameType
from typing import Any

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED, JobExecutionEvent
from apscheduler.schedulers.background import BackgroundScheduler

from monitor.basis.clock import Clock
from monitor.basis.errors import StoreError, WallclimeError
from monitor.basis.times import DAY, SECOND
from monitor.basis.values import SENSORS_CHAIN, Draft, Kind, Reading, Refused
from monitor.intake.admission import Admission
from monitor.intake.broker import KEEPS_NOTHING, embedded_broker
from monitor.intake.mqtt import Listener
from monitor.keep.connect import is_full
from monitor.watch import journal
from monitor.watch.desk import Desk, open_desk
from monitor.watch.journal import log
from monitor.watch.judging import PROGRAM, assess, note_completions, settle
from monitor.watch.notify import supervisor
from monitor.watch.presence import watched_over
from monitor.watch.pulse import Pulse
from monitor.watch.sealing import close_due

STAY_AWAKE = 3 * SECOND  # how often the daemon says that it is there [ms]
STRANGERS, SHOWN = 50, 400  # how many sensors without a name are shown with how much of their last payload [bytes]
TIDY = 60 * SECOND  # how often it tidies up [ms]
SEAL = 300 * SECOND  # how often it looks whether a day is due to be closed [ms]
QUARANTINE_BYTES = 256 * 2**20  # what the quarantine may hold; ours, no published source [bytes]
QUARANTINE_AGE = 400 * DAY  # how long; ours, no published source [ms]


def serve(home: Path, *, embedded: bool = False, clock: Clock | None = None) -> None:
    """Run until SIGTERM or SIGINT. Raises SettingsError, StoreError, BrokerError before it has begun."""
    stop = threading.Event()

    def end(_signal: int, _frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, end)
    with open_desk(home, clock=clock) as desk:
        journal.set_up(desk.settings.log)
        with contextlib.ExitStack() as running:
            if embedded:
                own = desk.settings.broker
                port = running.enter_context(embedded_broker(own.port, own.host, user=own.user, password=own.password))
                log("warning", "embedded broker", port=port, mind=KEEPS_NOTHING)
            listeners = _listeners(desk)
            awake = desk.store.wake()
            links = list(zip(desk.settings.brokers, listeners, strict=True))
            pulse = Pulse(links, partial(stay_awake, desk, listeners, awake))
            running.enter_context(_schedule(desk, pulse, awake))
            running.enter_context(watched_over(supervisor(), pulse, stop))
            log("info", "started", home=str(desk.settings.home), broker=[b.host for b in desk.settings.brokers])
            _run(listeners, stop)
        log("info", "stopped")


def _listeners(desk: Desk) -> list[Listener]:
    """One a broker. They share the store and the sensors that are known; the first one watches the clock."""
    settings = desk.settings
    admission = Admission(heard.stream for heard in desk.store.heard())
    keeper = Keeper(desk)
    return [
        Listener(
            broker,
            settings.sources_at(broker),
            settings.service,
            clock=desk.clock,
            keep=keeper.keep,
            newest_arrival=desk.store.newest_arrival,
            log=log,
            admission=admission,
            clock_stepped=keeper.clock_stepped if broker is settings.broker else None,
        )
        for broker in settings.brokers
    ]


def _run(listeners: Sequence[Listener], stop: threading.Event) -> None:
    """Every listener in a thread of its own until `stop`; when one dies all end, and its error is raised."""
    died: list[BaseException] = []

    def listen(listener: Listener) -> None:
        try:
            listener.run(stop)
        except BaseException as exc:
            died.append(exc)
            stop.set()

    threads = [threading.Thread(target=listen, args=(listener,), name="listener") for listener in listeners]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if died:
        raise died[0]


class Keeper:
    """The way of all listeners into the store, one at a time, and what they write to the log of the house."""

    def __init__(self, desk: Desk) -> None:
        self._desk, self._lock, self._full = desk, threading.Lock(), False

    def keep(self, readings: Sequence[Reading], refused: Sequence[Refused]) -> None:
        """Keep a batch. A full disk is written to the log once, for which the store holds a ballast."""
        with self._lock:
            try:
                self._desk.store.keep_readings(readings, refused)
            except StoreError as exc:
                if is_full(exc) and not self._full:
                    self._full = True
                    self._note(Kind.TROUBLE, {"what": str(exc)})
                raise
            self._full = False

    def clock_stepped(self, at: int, by: int) -> None:
        """Write to the log that the computer's clock was set: `by` forward, at `at`. [ms]"""
        with self._lock:
            self._note(Kind.CLOCK, {"by_ms": by}, at)

    def _note(self, kind: Kind, body: Mapping[str, Any], at: int | None = None) -> None:
        draft = Draft(kind, self._desk.clock.now() if at is None else at, PROGRAM, body)
        self._desk.store.append(SENSORS_CHAIN, [draft])


@contextlib.contextmanager
def _schedule(desk: Desk, pulse: Pulse, awake: int) -> Iterator[None]:
    """Judge what was heard, again and again; a late run is made up once, one that fails is told and repeated."""
    scheduler = BackgroundScheduler(timezone=UTC)
    scheduler.add_listener(_failed, EVENT_JOB_ERROR | EVENT_JOB_MISSED)
    looked: dict[str, tuple[int, int | None]] = {}
    work = (
        (pulse.beat, (), STAY_AWAKE / SECOND),
        (tidy, (desk,), TIDY / SECOND),
        (seal_days, (desk,), SEAL / SECOND),
        (judge_what_was_heard, (desk, looked), desk.settings.service.judge_every / SECOND),
    )
    for function, arguments, seconds in work:
        scheduler.add_job(
            function, "interval", arguments, seconds=seconds, coalesce=True, max_instances=1, misfire_grace_time=None
        )
    scheduler.start()
    try:
        yield
    finally:
        scheduler.shutdown(wait=True)
        judge_what_was_heard(desk, looked)
        desk.store.stay_awake(awake, {"stopped": True})


def _failed(event: JobExecutionEvent) -> None:
    log("error", "scheduled work failed", job=event.job_id, error=str(event.exception or "missed"))


def stay_awake(desk: Desk, listeners: Sequence[Listener], number: int) -> None:
    """Note that the daemon is there, and how its connections stand, for the commands to show."""
    links = [
        {**asdict(listener.status), "broker": broker.host, "client_id": broker.client_id}
        for listener, broker in zip(listeners, desk.settings.brokers, strict=True)
    ]
    named = {heard.stream for heard in desk.store.heard() if heard.name is not None}
    strange = {
        stream: [topic, payload[:SHOWN].decode("utf-8", "backslashreplace")]
        for listener in listeners
        for stream, (topic, payload) in list(listener.latest.items())
        if stream not in named
    }
    desk.store.stay_awake(number, {"links": links, "latest": dict(list(strange.items())[:STRANGERS])})


def tidy(desk: Desk) -> None:
    """Keep the quarantine within bounds, what is let go counted, and the ballast for a full disk in its place."""
    lost = desk.store.prune_quarantine(QUARANTINE_BYTES, QUARANTINE_AGE)
    if lost:
        log("warning", "quarantine pruned", lost=lost)
    desk.store.keep_ballast()


def seal_days(desk: Desk) -> None:
    """Close the days that are over by the time that the settings leave for late readings."""
    for signed in close_due(desk):
        head = signed.head
        log("info", "sealed", head=head.number, hash=signed.hash, closes=head.closes, leaves=head.size)


def judge_what_was_heard(desk: Desk, looked: dict[str, tuple[int, int | None]]) -> None:
    """Write down what is new of the jobs that heard something since the last look, or are due to be complete.

    `looked` holds of each job the generation at which it was looked at, and when time alone would complete it [ms]; it
    is brought up to date. A job that can't be judged is tried again the next time.
    """
    settle(desk)
    for job, generation in sorted(desk.store.generations().items()):
        seen, due = looked.get(job, (None, None))
        if seen == generation and (due is None or due > desk.clock.now()):
            continue
        try:
            for entry in note_completions(desk, job):
                log("info", entry.kind.value, job=job, entry=entry.number)
            looked[job] = (generation, assess(desk, job).lot.clock.projected_at)
        except WallclimeError as exc:
            log("error", "a job can't be judged", job=job, error=str(exc))
