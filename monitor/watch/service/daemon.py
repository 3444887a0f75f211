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
from monitor.config.brokers import Broker
from monitor.intake.admission import Admission
from monitor.intake.broker import KEEPS_NOTHING, embedded_broker
from monitor.intake.mqtt import Listener
from monitor.keep.connect import is_full
from monitor.keep.rows import Scheduled
from monitor.watch.desk import Desk, open_desk
from monitor.watch.judging import PROGRAM
from monitor.watch.service import journal
from monitor.watch.service.alarming import note_settings
from monitor.watch.service.answers import pages_of
from monitor.watch.service.deadman import Switch
from monitor.watch.service.delivering import States, delivering
from monitor.watch.service.health import answering
from monitor.watch.service.journal import log
from monitor.watch.service.notify import supervisor
from monitor.watch.service.parts import (
    Ear,
    Lead,
    Role,
    checked_share,
    ears_of,
    filters_of,
    heard_before,
    is_heard,
    part_of,
    works_of_role,
)
from monitor.watch.service.presence import watched_over
from monitor.watch.service.pulse import Pulse, named
from monitor.watch.service.ready import Told
from monitor.watch.service.schedule import Schedule, Work
from monitor.watch.service.thrift import share_heaps
from monitor.watch.service.vitals import JUDGE
from monitor.watch.service.works import Looked, stay_awake, works_of

# What computes lets another thread in so often: the one that hears would else wait 5 ms after each look. [s]
SWITCH = 0.0005
EVERYTHING = "#"  # once heard, a session goes on hearing it: without a source for it all would be refused and kept


def serve(
    home: Path,
    *,
    embedded: bool = False,
    role: Role = Role.ALL,
    share: str | None = None,
    clock: Clock | None = None,
) -> None:
    """Run until SIGTERM or SIGINT, all of it or the part of one of several daemons (see `parts`).

    Raises SettingsError, StoreError, BrokerError before it has begun, and StoreError when another takes the lead.
    """
    stop = ended()
    sys.setswitchinterval(SWITCH)
    share_heaps()
    with open_desk(home, clock=clock) as desk:
        of_share = checked_share(desk.settings, role, share, shared=desk.store.is_shared)
        journal.set_up(desk.settings.log)
        faulthandler.enable()  # a watchdog's SIGABRT then leaves in the log where every thread stood
        lead = Lead(desk, role, stop)
        with contextlib.ExitStack() as running:
            if embedded:
                own = desk.settings.broker
                port = running.enter_context(embedded_broker(own.port, own.host, user=own.user, password=own.password))
                log("warning", "embedded broker", port=port, mind=KEEPS_NOTHING)
            if lead.take():
                note_settings(desk)
            schedule = Schedule(desk, lead)
            ears = ears_of(desk.settings, role, of_share)
            part = part_of(role, of_share, ears)
            links = _listening(desk, schedule, ears, share)
            awake = desk.store.wake(part)
            hears = {"hears": filters_of(ears)}
            desk.store.stay_awake(awake, hears)  # before a broker learns of them: the next daemon may take them back
            switch, looked = Switch(desk), Looked()
            runs = partial(_runs_of, schedule)
            pulse = Pulse(links, partial(stay_awake, desk, links, awake, runs, lambda: {**hears, **switch.said()}))
            announce = running.enter_context(delivering(desk, leads=lead)).announce if role.may_lead else _to_nobody
            draining = partial(_still_drains, pulse, stop)
            works = [*works_of(desk, pulse.beat, looked, announce, draining), *switch.works(pulse)]
            own_works = [*works_of_role(desk, role, works, looked), *lead.works(schedule)]
            running.enter_context(_works(desk, schedule, own_works, awake, hears))
            running.enter_context(watched_over(supervisor(), pulse, stop))
            told = Told(desk, pulse, schedule.runs, looked, switch)
            running.enter_context(answering(desk.settings.health, pages_of(told)))
            said = {} if part is None else {"role": role.value, "share": share, "hears": list(part.hears)}
            log("info", "started", home=str(desk.settings.home), broker=[ear.broker.host for ear in ears], **said)
            _run([listener for _, listener in links], stop)
        log("info", "stopped")
        lead.check()


def _still_drains(pulse: Pulse, stop: threading.Event) -> bool:
    """Whether what was missed is to be heard first; at the end nothing is waited for."""
    return not stop.is_set() and pulse.draining()


def ended() -> threading.Event:
    """An event that SIGTERM and SIGINT set from now on."""
    stop = threading.Event()

    def end(_signal: int, _frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, end)
    return stop


def _to_nobody(_states: States) -> None:
    """Of how jobs are only whoever may lead tells the broker."""


def _runs_of(schedule: Schedule) -> list[Scheduled]:
    """The runs that the store is to know: of one daemon, not of those beside it."""
    return schedule.runs() if schedule.leads() else []


def _listening(desk: Desk, schedule: Schedule, ears: Sequence[Ear], share: str | None) -> list[tuple[Broker, Listener]]:
    """A listener a broker. They share the store and the sensors that are known; the first one watches the clock."""
    settings = desk.settings
    admission = Admission(heard.stream for heard in desk.store.heard() if is_heard(settings, ears, heard.stream))
    keeper = Keeper(desk, schedule.stepped)
    before = heard_before(desk, share) | ({EVERYTHING} if share is None else set())
    return [
        (
            broker,
            Listener(
                broker,
                settings.sources_at(broker),
                settings.service,
                clock=desk.clock,
                keep=keeper.keep,
                newest_arrival=desk.store.newest_arrival,
                log=partial(log, broker=named(broker)),
                admission=admission,
                clock_stepped=keeper.clock_stepped if not place else None,
                filters=filters,
                dropped=sorted(before - set(filters)),
            ),
        )
        for place, (broker, filters) in enumerate(ears)
    ]


def _run(listeners: Sequence[Listener], stop: threading.Event) -> None:
    """Every listener in a thread of its own until `stop`; when one dies all end, and its error is raised.

    Without any, until `stop`.
    """
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
    stop.wait()
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
def _works(
    desk: Desk, schedule: Schedule, works: Sequence[Work], awake: int, hears: Mapping[str, Any]
) -> Iterator[None]:
    """Do what is done on schedule; at the end judge once more, and say that the daemon is gone, and what it heard."""
    schedule.take(works)
    try:
        with schedule.running():
            yield
    finally:
        if any(work.name == JUDGE for work in works):
            schedule.turn(JUDGE)
        desk.store.stay_awake(awake, {"stopped": True, **hears}, _runs_of(schedule))
