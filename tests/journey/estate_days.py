"""The days of the invented estate: what was sent is heard over a real broker, looked at, and told."""

from __future__ import annotations

import contextlib
import json
import math
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from unittest import mock

import invented_estate as estate
from invented_wall import House, ms
from processes import Mosquitto, publish, soon

from monitor.basis.times import HOUR, MINUTE
from monitor.intake.mqtt import Listener
from monitor.watch.desk import Desk, open_desk
from monitor.watch.service import digest
from monitor.watch.service.alarming import Memory, look, note_settings
from monitor.watch.service.daemon import Keeper
from monitor.watch.service.delivering import Pace, delivering
from monitor.watch.service.journal import log

WITHIN = 20.0  # how long anything may take [s]


@dataclass
class Days:
    """A daemon's hands at a clock that is set: it hears, looks and tells when it is bidden."""

    house: House
    broker: Mosquitto
    desk: Desk
    listener: Listener
    awake: int
    sent: int = 0  # readings
    memory: Memory = field(default_factory=Memory)

    def go(self, local: str, *, look: bool = True) -> None:
        """Let it become that time, and hear what was sent meanwhile; then look, unless that is not asked for."""
        end, clock = ms(local), self.house.clock
        while clock.at_ms < end:
            self._hear(clock.at_ms, min(clock.at_ms + 12 * HOUR, end))
        if look:
            self.look()

    def _hear(self, start: int, until: int) -> None:
        """What carries its time comes by the hour, what carries none at the end: it is of the minute of its arrival."""
        sent = [*estate.stamped(start, until, HOUR), *estate.bare(until)]
        self.house.clock.at_ms = until
        self.sent += sum(_readings(str(payload)) for _, payload in sent)
        publish(self.broker.port, sent)
        soon(lambda: self.listener.status.kept >= self.sent, WITHIN, "what was sent is kept")
        assert not self.listener.status.refused

    def look(self) -> None:
        """Look once, and wait until everybody took what there is for them now."""
        self.desk.store.stay_awake(self.awake, {"links": []}, [])
        look(self.desk, self.memory, list)
        self.told()

    def told(self) -> None:
        """Wait until the outbox holds nothing that is due, or on its way."""
        now = self.house.clock.at_ms
        soon(
            lambda: not self.desk.store.outbox_due(now + 3 * MINUTE, 1), WITHIN, "everybody took what there is for them"
        )

    def morning(self, contact: str) -> None:
        """Put the digest of this morning on its way, as the schedule does, and wait until it is taken."""
        (found,) = [one for one in self.desk.settings.contacts if one.name == contact]
        digest.tell_morning(self.desk, found, "today")
        self.told()


def _readings(payload: str) -> int:
    said = json.loads(payload)
    return len(said) if isinstance(said, list) else 2 if isinstance(said, dict) else 1


@contextlib.contextmanager
def days(house: House, broker: Mosquitto) -> Iterator[Days]:
    """A daemon's hands while the block lasts. That the clock leaps is no time without hearing: it is ours."""
    stop = threading.Event()
    with open_desk(house.folder / "home", environ={}, clock=house.clock) as desk, contextlib.ExitStack() as running:
        running.enter_context(mock.patch("monitor.intake.mqtt._AWAY", math.inf))
        note_settings(desk)
        settings = desk.settings
        listener = Listener(
            settings.broker, settings.sources_at(settings.broker), settings.service, clock=house.clock,
            keep=Keeper(desk).keep, newest_arrival=desk.store.newest_arrival, log=log,
        )  # fmt: skip
        thread = threading.Thread(target=listener.run, args=(stop,), name="listener")
        thread.start()
        running.callback(thread.join)
        running.callback(stop.set)
        soon(lambda: listener.status.marker == "returned", WITHIN, "the broker hears us")
        running.enter_context(delivering(desk, pace=Pace(look=0.05)))
        yield Days(house, broker, desk, listener, desk.store.wake())
