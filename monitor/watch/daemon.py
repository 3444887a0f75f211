"""The service: hears the broker in one thread, and judges what was heard on a schedule in another."""

from __future__ import annotations

import contextlib
import json
import logging
import signal
import sys
import threading
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType
from typing import Any

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MISSED, JobExecutionEvent
from apscheduler.schedulers.background import BackgroundScheduler

from monitor.basis.clock import Clock
from monitor.basis.errors import WallclimeError
from monitor.basis.times import SECOND
from monitor.config.settings import Logging
from monitor.intake.broker import KEEPS_NOTHING, embedded_broker
from monitor.intake.mqtt import Listener
from monitor.watch.desk import Desk, open_desk
from monitor.watch.judging import note_completions, settle

STAY_AWAKE = 5 * SECOND  # how often the daemon says that it is there [ms]

_LOG = logging.getLogger("wallclime")
_LEVELS = logging.getLevelNamesMapping()


class _Lines(logging.Formatter):
    """One event a line: for people, or a JSON object for machines."""

    def __init__(self, form: str) -> None:
        super().__init__()
        self._json = form == "json"

    def format(self, record: logging.LogRecord) -> str:
        """The line of a record."""
        fields: dict[str, Any] = getattr(record, "fields", {})
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        level = record.levelname.lower()
        if self._json:
            return json.dumps({"at": at, "level": level, "event": record.getMessage(), **fields}, default=str)
        return " ".join([at, level, record.getMessage(), *(f"{name}={value!r}" for name, value in fields.items())])


def log(level: str, event: str, **fields: object) -> None:
    """One event with its fields."""
    _LOG.log(_LEVELS[level.upper()], event, extra={"fields": fields})


def _set_up_log(settings: Logging) -> None:
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Lines(settings.format))
    _LOG.handlers[:] = [handler]
    _LOG.setLevel(settings.level.upper())
    _LOG.propagate = False


def serve(home: Path, *, embedded: bool = False, clock: Clock | None = None) -> None:
    """Run until SIGTERM or SIGINT. Raises SettingsError, StoreError, BrokerError before it has begun."""
    stop = threading.Event()

    def end(_signal: int, _frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, end)
    with open_desk(home, clock=clock) as desk:
        _set_up_log(desk.settings.log)
        with contextlib.ExitStack() as running:
            if embedded:
                port = running.enter_context(embedded_broker(desk.settings.broker.port))
                log("warning", "embedded broker", port=port, mind=KEEPS_NOTHING)
            listener = _listener(desk)
            running.enter_context(_schedule(desk, listener))
            log("info", "started", home=str(desk.settings.home), broker=desk.settings.broker.host)
            listener.run(stop)
        log("info", "stopped")


def _listener(desk: Desk) -> Listener:
    return Listener(
        desk.settings.broker,
        desk.settings.sources,
        desk.settings.service,
        clock=desk.clock,
        keep=desk.store.keep_readings,
        newest_arrival=desk.store.newest_arrival,
        log=log,
    )


@contextlib.contextmanager
def _schedule(desk: Desk, listener: Listener) -> Iterator[None]:
    """Judge what was heard, again and again; a late run is made up once, one that fails is told and repeated."""
    scheduler = BackgroundScheduler(timezone=UTC)
    scheduler.add_listener(_failed, EVENT_JOB_ERROR | EVENT_JOB_MISSED)
    awake = desk.store.wake()
    work = (
        (stay_awake, (desk, listener, awake), STAY_AWAKE / SECOND),
        (judge_what_was_heard, (desk,), desk.settings.service.judge_every / SECOND),
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
        judge_what_was_heard(desk)
        stay_awake(desk, listener, awake)


def _failed(event: JobExecutionEvent) -> None:
    log("error", "scheduled work failed", job=event.job_id, error=str(event.exception or "missed"))


def stay_awake(desk: Desk, listener: Listener, number: int) -> None:
    """Note that the daemon is there, and how its connection stands, for the commands to show."""
    desk.store.stay_awake(number, {**asdict(listener.status), "broker": desk.settings.broker.host})


def judge_what_was_heard(desk: Desk) -> None:
    """Write down what is new of the jobs that heard something."""
    for job in sorted(settle(desk)):
        try:
            for entry in note_completions(desk, job):
                log("info", entry.kind.value, job=job, entry=entry.number)
        except WallclimeError as exc:
            log("error", "a job can't be judged", job=job, error=str(exc))
