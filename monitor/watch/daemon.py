"""The service: hears the broker in one thread, and judges what was heard on a schedule in another."""

from __future__ import annotations

import contextlib
import faulthandler
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from types import FrameType
from typing import Any

from monitor.basis.clock import Clock
from monitor.basis.errors import StoreError
from monitor.basis.values import SENSORS_CHAIN, Draft, Kind, Reading, Refused
from monitor.intake.admission import Admission
from monitor.intake.broker import KEEPS_NOTHING, embedded_broker
from monitor.intake.mqtt import Listener
from monitor.keep.connect import is_full
from monitor.watch import journal
from monitor.watch.alarming import note_settings
from monitor.watch.deadman import Switch
from monitor.watch.delivering import delivering
from monitor.watch.desk import Desk, open_desk
from monitor.watch.health import answering
from monitor.watch.journal import log
from monitor.watch.judging import PROGRAM
from monitor.watch.notify import supervisor
from monitor.watch.presence import watched_over
from monitor.watch.pulse import Pulse, named
from monitor.watch.ready import Told, pages_of
from monitor.watch.schedule import Schedule, Work
from monitor.watch.works import Looked, stay_awake, works_of

# What computes lets another thread in so often; the one that hears would else wait 5 ms after each look at its link [s]
SWITCH = 0.0005


def serve(home: Path, *, embedded: bool = False, clock: Clock | None = None) -> None:
    """Run until SIGTERM or SIGINT. Raises SettingsError, StoreError, BrokerError before it has begun."""
    stop = threading.Event()

    def end(_signal: int, _frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, end)
    sys.setswitchinterval(SWITCH)
    with open_desk(home, clock=clock) as desk:
        journal.set_up(desk.settings.log)
        faulthandler.enable()  # a watchdog's SIGABRT then leaves in the log where every thread stood
        with contextlib.ExitStack() as running:
            if embedded:
                own = desk.settings.broker
                port = running.enter_context(embedded_broker(own.port, own.host, user=own.user, password=own.password))
                log("warning", "embedded broker", port=port, mind=KEEPS_NOTHING)
            note_settings(desk)
            schedule = Schedule(desk)
            listeners = _listeners(desk, schedule)
            awake = desk.store.wake()
            links = list(zip(desk.settings.brokers, listeners, strict=True))
            switch, looked = Switch(desk), Looked()
            pulse = Pulse(links, partial(stay_awake, desk, listeners, awake, schedule.runs, switch.said))
            delivery = running.enter_context(delivering(desk))
            works = [*works_of(desk, pulse.beat, looked, delivery.announce), *switch.works(pulse)]
            running.enter_context(_works(desk, schedule, works, awake))
            running.enter_context(watched_over(supervisor(), pulse, stop))
            told = Told(desk, pulse, schedule.runs, looked, switch)
            running.enter_context(answering(desk.settings.health, pages_of(told)))
            log("info", "started", home=str(desk.settings.home), broker=[b.host for b in desk.settings.brokers])
            _run(listeners, stop)
        log("info", "stopped")


def _listeners(desk: Desk, schedule: Schedule) -> list[Listener]:
    """One a broker. They share the store and the sensors that are known; the first one watches the clock."""
    settings = desk.settings
    admission = Admission(heard.stream for heard in desk.store.heard())
    keeper = Keeper(desk, schedule.stepped)
    return [
        Listener(
            broker,
            settings.sources_at(broker),
            settings.service,
            clock=desk.clock,
            keep=keeper.keep,
            newest_arrival=desk.store.newest_arrival,
            log=partial(log, broker=named(broker)),
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

    def __init__(self, desk: Desk, stepped: Callable[[], None] = lambda: None) -> None:
        self._desk, self._stepped, self._lock, self._full = desk, stepped, threading.Lock(), False

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
        """Write to the log that the computer's clock was set, `by` forward, at `at`; and see what is due now. [ms]"""
        self._stepped()
        with self._lock:
            self._note(Kind.CLOCK, {"by_ms": by}, at)

    def _note(self, kind: Kind, body: Mapping[str, Any], at: int | None = None) -> None:
        draft = Draft(kind, self._desk.clock.now() if at is None else at, PROGRAM, body)
        self._desk.store.append(SENSORS_CHAIN, [draft])


@contextlib.contextmanager
def _works(desk: Desk, schedule: Schedule, works: Sequence[Work], awake: int) -> Iterator[None]:
    """Do what is done on schedule; at the end judge once more, and say that the daemon is gone."""
    schedule.take(works)
    try:
        with schedule.running():
            yield
    finally:
        schedule.turn("judge")
        desk.store.stay_awake(awake, {"stopped": True}, schedule.runs())
