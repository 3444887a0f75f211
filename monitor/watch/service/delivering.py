"""Telling what waits in the outbox: each contact in a thread of its own, so that one that hangs holds up nobody.

A message is told at least once. It leaves the outbox when somebody has taken it and that is written down; what was on
its way when a daemon was killed is told again, under the same id, once the time for which it was claimed is over. What
fails is tried again after 1 min, 2 min, 4 min ... 4 h, and given up a week after it was due. A contact that takes a
message gets those that it failed to take at once. Of several daemons of one store each message is claimed by one.
"""

from __future__ import annotations

import contextlib
import queue
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Any, NamedTuple

from monitor.basis.alarm import MQTT, Message
from monitor.basis.errors import BrokerError, StoreError, WallclimeError
from monitor.basis.times import DAY, HOUR, MINUTE, SECOND
from monitor.config.alarms import Contact
from monitor.config.brokers import Broker
from monitor.intake.announce import Announcer
from monitor.keep.rows import Outgoing
from monitor.tell.alarm import courier
from monitor.watch.desk import Desk
from monitor.watch.service.journal import log

AT_ONCE = 1_000  # messages of one contact looked at in one turn
_NAP = 0.2  # how long the broker's thread waits for a message, and looks after its link, in turn [s]

States = Mapping[str, Mapping[str, Any]]


class Pace(NamedTuple):
    """How patient delivery is; all of it ours, no published source.

    `look` how often the outbox is looked at, `limit` how long a contact may take for one message, `farewell` how long
    the end waits for what is on its way [s]; `first` and `longest` how long until it is tried again, `give_up` how long
    after it was due for the first time it is tried no more [ms].
    """

    look: float = 2.0
    limit: float = 60.0
    farewell: float = 5.0
    first: int = MINUTE
    longest: int = 4 * HOUR
    give_up: int = 7 * DAY

    @property
    def lease(self) -> int:
        """For how long a message is claimed that is being told: longer than that may take. [ms]"""
        return round(2 * self.limit * SECOND)

    def wait(self, tries: int) -> int:
        """How long until it is tried again what was tried in vain `tries` times before. [ms]"""
        return min(self.first * 2 ** min(tries, 30), self.longest)


class _Hand:
    """The thread of one contact, which has one message at a time; `ready` takes what became of it."""

    def __init__(
        self, name: str, send: Callable[[Message], object], ready: Callable[[_Result], object], air: _Air | None = None
    ) -> None:
        self._send, self._ready, self._air = send, ready, air
        self._inbox: queue.SimpleQueue[Outgoing | None] = queue.SimpleQueue()
        self.under_way: Outgoing | None = None
        self.since = 0.0
        self.hung = False  # what is under way was counted as failed, and nothing else is given until it has ended
        self._thread = threading.Thread(target=self._run, name=f"telling {name}", daemon=True)
        self._thread.start()

    def give(self, out: Outgoing) -> None:
        """Let it be told."""
        self.under_way, self.since = out, time.monotonic()
        self._inbox.put(out)

    def end(self, until: float) -> None:
        """Let the thread end, and wait for it until a time of the monotonic clock, unless it hangs. [s]"""
        self._inbox.put(None)
        if self.under_way is None:
            self._thread.join(max(until - time.monotonic(), 0.1))

    def _run(self) -> None:
        while (out := self._next()) is not None:
            self._ready(_Result(self, out, self._attempt(out.message)))
        if self._air is not None:
            self._air.close()

    def _next(self) -> Outgoing | None:
        while self._air is not None:
            with contextlib.suppress(queue.Empty):
                return self._inbox.get(timeout=_NAP)
            self._air.idle()
        return self._inbox.get()

    def _attempt(self, message: Message) -> str:
        """Tell it; the error, or "". What is no error of ours is named by its kind alone: it may show a URL."""
        try:
            self._send(message)
        except WallclimeError as exc:
            return str(exc)
        except Exception as exc:
            return f"a fault of wallclime: {type(exc).__name__}"
        return ""


class _Result(NamedTuple):
    hand: _Hand
    out: Outgoing
    error: str


class _Air:
    """The broker as somebody who is told: events as they come, and of each job the state that is wanted now."""

    def __init__(self, broker: Broker) -> None:
        self._announcer = Announcer(broker)
        self._again, self._wait, self._error = 0.0, 0.0, ""
        self.wanted: States = {}
        self._told: States | None = self.wanted

    def event(self, message: Message) -> None:
        """Tell one event. Raises BrokerError."""
        try:
            self._announcer.event(message)
        except BrokerError:
            self._told = None if self.wanted else self.wanted  # its link is gone: they are to be told on the next one
            raise

    def idle(self) -> None:
        """Tell what is new of the states, and look after the link; what fails is tried again, ever less often."""
        if time.monotonic() < self._again:
            return
        try:
            wanted = self.wanted
            if wanted is not self._told:
                self._announcer.states(wanted)
                self._told = wanted
            self._announcer.rest(_NAP)
            self._wait, self._error = 0.0, ""
        except BrokerError as exc:
            self._failed(str(exc))
        except Exception as exc:  # the thread must not end unseen
            self._failed(f"a fault of wallclime: {exc!r}")

    def _failed(self, error: str) -> None:
        self._told = None
        self._wait = min(max(2 * self._wait, 1.0), 60.0)
        self._again = time.monotonic() + self._wait
        if error != self._error:
            self._error = error
            log("warning", "states not told", error=error)

    def close(self) -> None:
        """Take leave."""
        self._announcer.close()


class Delivering:
    """Takes from the outbox of a desk what is due, and writes down what became of it. Only its own thread does so.

    `send(contact, message)` tells one message to one contact, or raises WallclimeError. It takes nothing
    while `leads` says that another process does.
    """

    def __init__(
        self,
        desk: Desk,
        pace: Pace,
        send: Callable[[Contact, Message], object] = courier.tell,
        leads: Callable[[], bool] = lambda: True,
    ) -> None:
        self._desk, self._pace, self._send, self._leads = desk, pace, send, leads
        self._contacts = {contact.name: contact for contact in desk.settings.contacts}
        self._air = _Air(desk.settings.broker)
        self._hands: dict[str, _Hand] = {}
        self._results: queue.SimpleQueue[_Result] = queue.SimpleQueue()
        self._unwritten: deque[_Result] = deque()
        self._failed: dict[str, set[str]] = {}  # of each contact the messages that it did not take
        self._wake, self._ended = threading.Event(), False

    def announce(self, states: States) -> None:
        """Let the broker retain these states, of each job one; may be called from any thread."""
        self._air.wanted = states

    def run(self) -> None:
        """Deliver until `end`; then wait a moment for what is on its way."""
        self._hand_of(MQTT)
        while not self._ended:
            self._wake.wait(self._pace.look)
            self._wake.clear()
            self._safely(self.turn)
        until = time.monotonic() + self._pace.farewell
        while any(hand.under_way and not hand.hung for hand in self._hands.values()) and time.monotonic() < until:
            time.sleep(0.01)
            self._safely(self._write_down)
        for hand in self._hands.values():
            hand.end(until)

    def end(self) -> None:
        """Let `run` come to its end."""
        self._ended = True
        self._wake.set()

    def _ready(self, result: _Result) -> None:
        self._results.put(result)
        self._wake.set()

    def turn(self) -> None:
        """Write down what became of messages, and hand over those that are due. Raises StoreError."""
        self._write_down()
        for name, hand in self._hands.items():
            if hand.under_way and not hand.hung and time.monotonic() - hand.since > self._pace.limit:
                hand.hung = True
                self._not_told(
                    hand.under_way, f"contact {name}: it does not answer in {self._pace.limit:g} s. {_LATER}"
                )
        under_way = {hand.under_way.message.id for hand in self._hands.values() if hand.under_way}
        now = self._desk.clock.now()
        for out in self._due(now) if self._leads() else ():
            if out.message.id not in under_way:
                self._hand_over(out, now)

    def _due(self, now: int) -> Iterator[Outgoing]:
        """What is due, asked for by contact: a heap of messages to one hides nobody else's. [ms]"""
        known = (MQTT, *self._contacts)
        for name in known:
            yield from self._desk.store.outbox_due(now, AT_ONCE, name)
        yield from (out for out in self._desk.store.outbox_due(now, AT_ONCE) if out.message.contact not in known)

    def _safely(self, act: Callable[[], object]) -> None:
        try:
            act()
        except StoreError as exc:
            log("error", "outbox out of reach", error=str(exc))
        except Exception as exc:  # the thread must not end unseen; nothing is lost, it is all tried again
            log("error", "fault", error=repr(exc))

    def _write_down(self) -> None:
        """What became of what was handed over; until that is written its hand keeps it: it is not sent again."""
        with contextlib.suppress(queue.Empty):
            while True:
                self._unwritten.append(self._results.get_nowait())
        while self._unwritten:
            hand, out, error = self._unwritten[0].hand, self._unwritten[0].out, self._unwritten[0].error
            if not error:
                self._told(out)
            elif not hand.hung:
                self._not_told(out, error)
            hand.under_way, hand.hung = None, False
            self._unwritten.popleft()

    def _hand_over(self, out: Outgoing, now: int) -> None:
        name = out.message.contact
        hand = self._hand_of(name)
        if hand is None:  # another daemon of this store may know it
            if now > out.message.not_before + self._pace.give_up:
                self._not_told(out, f"contact {name}: no wallclime.toml names it. Name it, or take no notice")
        elif hand.hung:
            self._not_told(out, f"contact {name}: it has still not answered to an earlier message. {_LATER}")
        elif hand.under_way is None and self._desk.store.outbox_claim(out.message.id, now, now + self._pace.lease):
            hand.give(out)

    def _hand_of(self, name: str) -> _Hand | None:
        if name in self._hands:
            return self._hands[name]
        if name == MQTT:
            self._hands[name] = _Hand(name, self._air.event, self._ready, self._air)
        elif name in self._contacts:
            self._hands[name] = _Hand(name, partial(self._send, self._contacts[name]), self._ready)
        return self._hands.get(name)

    def _told(self, out: Outgoing) -> None:
        now, contact = self._desk.clock.now(), out.message.contact
        self._desk.store.outbox_sent(out.message.id, now)
        log("info", "told", contact=contact, message=out.message.id, kind=out.message.kind)
        if waiting := self._failed.get(contact, set()) - {out.message.id}:
            self._desk.store.outbox_hurry(waiting, now)
        self._failed.pop(contact, None)

    def _not_told(self, out: Outgoing, error: str) -> None:
        now, message = self._desk.clock.now(), out.message
        again = now + self._pace.wait(out.tries)
        given_up = again > message.not_before + self._pace.give_up
        self._desk.store.outbox_failed(message.id, now, error, None if given_up else again)
        said = {"contact": message.contact, "message": message.id, "error": error}
        if given_up:
            self._failed.get(message.contact, set()).discard(message.id)
            log("error", "given up", **said)
        else:
            self._failed.setdefault(message.contact, set()).add(message.id)
            log("warning", "not told", again_in_s=(again - now) / SECOND, **said)


_LATER = "Nothing to do: it is tried again later"


@contextlib.contextmanager
def delivering(
    desk: Desk,
    *,
    pace: Pace | None = None,
    send: Callable[[Contact, Message], object] = courier.tell,
    leads: Callable[[], bool] = lambda: True,
) -> Iterator[Delivering]:
    """Deliver while the block lasts, and this process `leads`."""
    made = Delivering(desk, pace or Pace(), send, leads)
    thread = threading.Thread(target=made.run, name="delivering")
    thread.start()
    try:
        yield made
    finally:
        made.end()
        thread.join()
