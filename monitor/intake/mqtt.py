"""The MQTT connection: what is read is decoded, kept and only then acknowledged, all in one thread.

MQTT 3.1.1 or 5 with a fixed client id and a session that the broker keeps, so that it holds messages while we are away.
Every connection subscribes anew (a broker may have forgotten the session) and publishes a marker to itself: what comes
before the marker had waited at the broker, what comes after it is live. MQTT keeps the order of one topic only, and
some brokers let the marker overtake other topics, so the link must also have been quiet for a moment after it.
"""

from __future__ import annotations

import contextlib
import functools
import os
import secrets
import select
import socket
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

from paho.mqtt.client import Client, MQTTMessage

from monitor.basis.clock import Clock
from monitor.basis.errors import PayloadError, WallclimeError
from monitor.basis.times import SECOND
from monitor.basis.values import Reading, Refused
from monitor.config.settings import Broker, Service, Source
from monitor.intake import link
from monitor.intake.admission import Admission, check_length
from monitor.intake.moment import Moment
from monitor.intake.payload import LARGEST, Decoder, refuse_unknown
from monitor.intake.refusal import Reason, refusal
from monitor.intake.steps import Steps
from monitor.intake.topics import covering

HALF_WINDOW = 10  # of the 20 messages that a broker sends ahead of our acknowledgements
MARKER_WITHIN = 10.0  # [s]
TOPICS = 10_000  # addresses that are remembered
SHOWN = 400  # of a payload, for people; of ten thousand sensors whole payloads could be 640 MB [bytes]

_QUIET = 0.05  # nothing comes for so long once the backlog is over [s]
_BUSY = 60.0  # where it is never quiet, what comes so long after the marker is taken for live [s]
_NAP = 0.25  # the loop looks around at least so often [s]
_AWAY = 10.0  # a loop that did not read for longer may have let messages wait [s]
_FIRST_WAIT, _LONGEST_WAIT = 0.5, 30.0  # between attempts, doubled each time [s]
_SHORT_LIFE = 5.0  # a link that ends sooner than this after it was accepted ... [s]
_SHORT_LIVES = 3  # ... so often in a row was taken by somebody else
_FAREWELL = 2.0  # for the last acknowledgements [s]
_NO_TEXT = "(a topic that is not UTF-8)"
_BURST = 50  # packets read between two looks at the socket
_STRANGE = (Reason.TOO_LARGE, Reason.UNREADABLE, Reason.NO_QUANTITY, Reason.TIME_UNKNOWN)  # of no sensor so far


class Status(NamedTuple):
    """What the listener is about. Times in UTC ms.

    `since` when the link came up or went down; `subscribed` once the broker has granted every topic; `marker_missing`
    when the marker has not come back in 10 s, so that the daemon may not publish on its own topic and messages without
    a time are all refused; `kept` and `refused` count readings and messages since the start, `held` the messages read
    and not kept yet.
    """

    connected: bool = False
    subscribed: bool = False
    since: int | None = None
    marker: Literal["none", "awaited", "returned"] = "none"
    marker_missing: bool = False
    kept: int = 0
    refused: int = 0
    held: int = 0
    last_message_at: int | None = None
    last_error: str = ""


@dataclass(slots=True)
class _Batch:
    """Messages read and not yet kept. `owed` are their acknowledgements: (connection, message id)."""

    readings: list[Reading] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    owed: list[tuple[int, int]] = field(default_factory=list)
    messages: int = 0
    began: float = 0.0

    def last_arrival(self) -> int | None:
        heard = [kept.arrival for kept in self.readings[-1:]] + [refused.arrival for refused in self.refused[-1:]]
        return max(heard, default=None)


class _Wait:
    """Back-off: the time of the next attempt, further away each time. [s, monotonic]"""

    def __init__(self) -> None:
        self.until, self.length = 0.0, 0.0

    def longer(self) -> None:
        self.length = min(max(self.length * 2, _FIRST_WAIT), _LONGEST_WAIT)
        self.until = time.monotonic() + self.length

    def over(self) -> bool:
        return time.monotonic() >= self.until

    def nap(self) -> None:
        time.sleep(min(max(self.until - time.monotonic(), 0.0), _NAP))


class Listener:
    """Hears the sources, hands their readings to `keep` in batches and acknowledges what was kept.

    `keep(readings, refused)` returns when both are safe. While it raises, nothing is acknowledged and the same messages
    are offered again, with those that came since. `newest_arrival()` is the arrival of the newest reading kept, in UTC
    ms. `log(level, event, **fields)` takes one event. `clock_stepped(at_ms, by_ms)` is told of steps of the clock, and
    again while it raises; without it nobody looks. `admission` counts the sensors of all listeners. Of the sources'
    topics it subscribes to `filters`, all by default, and takes back the subscriptions to `dropped`.
    """

    def __init__(
        self,
        settings_broker: Broker,
        sources: Sequence[Source],
        service: Service,
        *,
        clock: Clock,
        keep: Callable[[Sequence[Reading], Sequence[Refused]], object],
        newest_arrival: Callable[[], int | None],
        log: Callable[..., None],
        clock_stepped: Callable[[int, int], None] | None = None,
        admission: Admission | None = None,
        filters: Sequence[str] | None = None,
        dropped: Sequence[str] = (),
    ) -> None:
        self._broker, self._service = settings_broker, service
        self._clock, self._keep, self._newest_arrival, self._log = clock, keep, newest_arrival, log
        self._decoders = [Decoder(source) for source in sources]
        self._filters = [source.filter for source in sources] if filters is None else filters
        self._dropped = dropped
        self._route = functools.lru_cache(TOPICS)(self._find_route)
        self._admission = admission or Admission()
        self._steps = None if clock_stepped is None else Steps(clock, clock_stepped, log)
        self._marker = f"wallclime/{settings_broker.client_id}/marker"
        self._presence = link.presence_topic(settings_broker)
        self._nonce, self._marked, self._returned, self._heard, self._live = b"", 0.0, 0.0, 0.0, False
        self._generation, self._accepted, self._short_lives = 0, 0.0, 0
        self._refusal: tuple[str, str] | None = None
        self._linked = False
        self._connecting, self._keeping = _Wait(), _Wait()
        self._batch = _Batch()
        self._newest: int | None = None
        self._looked = (0.0, 0)
        self._status = Status()
        self.turned = time.monotonic()  # when the loop went round last [s]
        self.latest: dict[str, tuple[str, bytes]] = {}  # of each sensor the last topic and begin of payload
        self._client, self._said = link.make_client(settings_broker, service)
        self._client.on_connect, self._client.on_disconnect = self._on_connect, self._on_disconnect
        self._client.on_subscribe, self._client.on_message = self._on_subscribe, self._on_message

    @property
    def status(self) -> Status:
        """A snapshot; may be read from any thread."""
        return self._status

    def run(self, stop: threading.Event | Callable[[], bool]) -> None:
        """Listen until `stop`; then keep and acknowledge what was read, and take leave of the broker."""
        stopped = stop.is_set if isinstance(stop, threading.Event) else stop
        try:
            while not stopped():
                self.turned = time.monotonic()
                try:
                    self._turn()
                except Exception as exc:
                    self._fault(exc)
                    time.sleep(_NAP)  # lest a fault that stays fills the log
        finally:
            self._finish()

    # --- one turn of the loop

    def _turn(self) -> None:
        if self._steps is not None:
            self._steps.look()
        wire = self._client.socket()
        if wire is None:
            self._without_link()
            return
        self._look_around()
        ready = self._wait(wire)
        if ready:
            self._read()
        if self._due(dry=not ready):
            self._commit()
        self._client.loop_misc()

    def _wait(self, wire: Any) -> bool:
        """Sleep until there is something to read or to do; True if there is something to read."""
        batch = self._batch
        if batch.messages == 0 or not self._keeping.over():
            timeout = _QUIET if self._returned and not self._live else _NAP
        elif len(batch.owed) >= HALF_WINDOW:
            timeout = 0.0
        else:
            timeout = min(max(batch.began + self._service.linger / SECOND - time.monotonic(), 0.0), _NAP)
        hear = [wire] if batch.messages < self._service.batch else []
        say = [wire] if self._client.want_write() else []
        waiting = bool(hear) and isinstance(wire, link.Wire) and wire.waiting()
        readable, writable, _ = select.select(hear, say, [], 0.0 if waiting else timeout)
        if writable:
            self._client.loop_write()
        return bool(readable) or waiting

    def _read(self) -> None:
        batch = self._batch
        for _ in range(_BURST):
            before = batch.messages
            self._client.loop_read()
            if batch.messages in (before, self._service.batch) or self._client.socket() is None:
                return

    def _due(self, *, dry: bool) -> bool:
        """Whether the batch ends: full, or no more is coming and it is old enough or half the broker's window."""
        batch = self._batch
        old = time.monotonic() - batch.began >= self._service.linger / SECOND
        enough = batch.messages >= self._service.batch or (dry and (old or len(batch.owed) >= HALF_WINDOW))
        return batch.messages > 0 and self._keeping.over() and enough

    def _look_around(self) -> None:
        """After a time without reading, what waits at the broker is a backlog again."""
        looked, self._looked = self._looked, (time.monotonic(), self._clock.now())
        away = self._looked[0] - looked[0] > _AWAY or self._looked[1] - looked[1] > _AWAY * SECOND
        if away and self._status.connected:
            self._mark()
        if self._status.connected and not self._live:
            self._judge_backlog()

    # --- keeping and acknowledging

    def _commit(self) -> None:
        batch = self._batch
        try:
            if batch.readings or batch.refused:
                self._keep(batch.readings, batch.refused)
        except Exception as exc:  # out of reach, or a fault: either way nothing may be acknowledged
            self._keeping.longer()
            arrival = batch.last_arrival() or self._status.last_message_at
            self._tell(held=batch.messages, last_message_at=arrival, last_error=_worded(exc))
            self._log("error", "not_kept", error=_worded(exc), held=batch.messages, again_in_s=self._keeping.length)
            return
        self._batch = _Batch()
        for generation, mid in batch.owed:
            if generation == self._generation and self._status.connected:
                self._client.ack(mid, 1)
        self._heard = time.monotonic()  # only now may the broker send on
        self._kept(batch)

    def _kept(self, batch: _Batch) -> None:
        status = self._status
        if batch.readings:
            self._newest = max(batch.readings[-1].arrival, self._newest or 0)
        if batch.refused:
            first = batch.refused[0]
            self._log("warning", "refused", count=len(batch.refused), topic=first.topic, reason=str(first.reason),
                      detail=first.detail)  # fmt: skip
        self._tell(
            kept=status.kept + len(batch.readings),
            refused=status.refused + len(batch.refused),
            held=0,
            last_message_at=batch.last_arrival() or status.last_message_at,
        )
        if self._keeping.length:
            self._keeping = _Wait()
            self._tell(last_error="")
            self._log("info", "kept_again", messages=batch.messages)
            if status.connected:
                self._mark()

    # --- one message

    def _on_message(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        arrival, batch, self._heard = self._clock.now(), self._batch, time.monotonic()
        if batch.messages == 0:
            batch.began = self._heard
        batch.messages += 1
        if message.qos:
            batch.owed.append((self._generation, message.mid))
        try:
            self._take(message, arrival)
        except PayloadError as exc:
            self._refuse(message, arrival, exc.reason, f"{exc.faults[0].what}. {exc.faults[0].mend}")
        except Exception as exc:
            self._refuse(message, arrival, Reason.UNREADABLE, f"a fault of wallclime: {exc!r}")
            self._log("error", "fault", error=repr(exc))

    def _take(self, message: MQTTMessage, arrival: int) -> None:
        topic, payload = _topic(message), bytes(message.payload)
        if topic == self._marker:
            self._marker_back(payload)
        if topic in (self._marker, self._presence):
            return
        route = self._route(topic)
        if route is None:
            if topic.startswith("wallclime/"):
                return  # what programs like this one say, where everything is heard
            refuse_unknown(topic)
        decoder, stream = route
        back_fill = self._service.back_fill
        moment = Moment(arrival, arrival, self._live, message.retain, self._newest, back_fill)
        try:
            readings = decoder.decode(stream, topic, payload, moment)
        except PayloadError as exc:
            if not (decoder.plain and exc.reason in _STRANGE) or self._admission.knows(stream):
                raise
            return  # never heard before: something else that speaks at this broker
        for new in self._admission.check(topic, readings):
            self._log("info", "new sensor", address=new, next="wallclime sensor seen")
        self.latest[readings[0].stream] = (topic, payload[:SHOWN])
        self._batch.readings += readings

    def _refuse(self, message: MQTTMessage, arrival: int, reason: str, detail: str) -> None:
        raw = bytes(message.payload[:LARGEST])
        self._batch.refused.append(Refused(_topic_text(message), str(reason), detail, raw, arrival))

    def _find_route(self, topic: str) -> tuple[Decoder, str] | None:
        """The first source that covers the topic, and the address of the sensor. Raises PayloadError."""
        check_length(topic, topic)
        routes = ((decoder, decoder.stream_of(topic)) for decoder in self._decoders)
        return next(((decoder, stream) for decoder, stream in routes if stream is not None), None)

    # --- the marker

    def _mark(self) -> None:
        self._nonce, self._marked = secrets.token_hex(16).encode(), time.monotonic()
        self._returned, self._live = 0.0, False
        self._tell(marker="awaited", marker_missing=False)
        self._client.publish(self._marker, self._nonce, qos=1)

    def _marker_back(self, nonce: bytes) -> None:
        if nonce == self._nonce and not self._returned:
            self._returned = time.monotonic()
            self._tell(marker_missing=False)

    def _judge_backlog(self) -> None:
        now = time.monotonic()
        if not self._returned:
            if now - self._marked > MARKER_WITHIN and not self._status.marker_missing:
                self._tell(marker_missing=True)
                self._log("warning", "marker_missing", topic=self._marker)
        elif now - self._heard > _QUIET or now - self._returned > _BUSY:
            self._live = True
            self._tell(marker="returned")
            self._log("info", "backlog_over")

    # --- the link

    def _without_link(self) -> None:
        """Keep what was read over the link that is gone, then try to get another."""
        if self._batch.messages and self._keeping.over():
            self._commit()
        if self._batch.messages >= self._service.batch:
            self._keeping.nap()
        elif not self._connecting.over():
            self._connecting.nap()
        else:
            self._connect()

    def _connect(self) -> None:
        try:
            self._newest = self._newest_arrival()
            self._linked = True
            self._client.reconnect()
        except OSError as exc:
            self._lost(*link.unreached(exc))
        except Exception as exc:
            self._connecting.longer()
            self._fault(exc)

    def _on_connect(self, client: Client, _data: object, flags: Any, reason: Any, _properties: object) -> None:
        if reason.is_failure:
            self._refusal = link.refused(reason)
            return
        self._generation += 1
        self._accepted, self._refusal = time.monotonic(), None
        self._looked = (self._accepted, self._clock.now())
        self._tell(connected=True, since=self._clock.now(), last_error="")
        self._log(
            "info",
            "connected",
            broker=f"{self._broker.host}:{self._broker.port}",
            session_present=flags.session_present,
        )
        try:
            link.subscribe(client, self._broker, covering([*self._filters, self._marker]), self._dropped)
            client.publish(self._presence, "online", qos=1, retain=True)
            self._mark()
        except Exception as exc:
            self._fault(exc)

    def _on_subscribe(self, _client: Client, _data: object, _mid: int, reasons: Any, _properties: object) -> None:
        if any(reason.is_failure for reason in reasons):
            self._complain("it refuses a subscription", "Let this user read the topics of wallclime.toml")
        else:
            self._tell(subscribed=True)

    def _on_disconnect(self, _client: Client, _data: object, _flags: object, reason: Any, _properties: object) -> None:
        if not self._linked:  # of a link that did not answer paho tells the end twice
            return
        self._linked = False
        accepted, why = self._status.connected, self._said.take() or str(reason)
        life = time.monotonic() - self._accepted
        if accepted and life < _SHORT_LIFE:
            self._short_lives += 1
        elif accepted and life > _LONGEST_WAIT + _SHORT_LIFE:  # longer than another client waits to take it back
            self._short_lives, self._connecting = 0, _Wait()
        self._live = False
        if self._refusal:
            self._lost(*self._refusal)
        elif self._short_lives >= _SHORT_LIVES:
            used = f"another client seems to use the id {self._broker.client_id!r}"
            self._lost(used, "Give each client_id to one program")
        else:
            self._lost(*link.ended(self._broker, why, accepted=accepted))

    def _lost(self, what: str, mend: str) -> None:
        self._connecting.longer()
        down_since = self._clock.now() if self._status.connected or self._status.since is None else self._status.since
        self._tell(connected=False, subscribed=False, since=down_since, marker="none", marker_missing=False)
        self._complain(what, mend)

    def _complain(self, what: str, mend: str) -> None:
        error = link.error_of(self._broker, what, mend)
        self._tell(last_error=str(error))
        self._log("warning", "broker", error=str(error))

    def _fault(self, exc: Exception) -> None:
        """Something that should not happen: say it, and start again with a new link."""
        self._tell(last_error=_worded(exc))
        self._log("error", "fault", error=_worded(exc))
        wire = self._client.socket()
        if isinstance(wire, socket.socket):
            with contextlib.suppress(OSError):  # it may be down already
                wire.shutdown(socket.SHUT_RDWR)

    def _tell(self, **changes: Any) -> None:
        self._status = self._status._replace(**changes)

    def _finish(self) -> None:
        """Keep and acknowledge what was read, then take leave."""
        if self._batch.messages:
            self._commit()
        client, end = self._client, time.monotonic() + _FAREWELL
        if self._status.connected:
            client.publish(self._presence, "offline", qos=1, retain=True)
        while (wire := client.socket()) and client.want_write() and time.monotonic() < end:
            select.select([], [wire], [], _NAP)
            client.loop_write()
        client.on_disconnect = None
        if wire := client.socket():
            _take_leave(client, wire, end)
        self._tell(connected=False, subscribed=False, since=self._clock.now(), marker="none", marker_missing=False)


def _take_leave(client: Client, wire: Any, end: float) -> None:
    """Say goodbye and read until the broker hangs up, not beyond `end`.

    A socket that is closed while it holds bytes unread is reset at once, and then our last acknowledgements may be lost
    on their way: the broker would bring again what was kept.
    """
    with socket.socket(fileno=os.dup(wire.fileno())) as held, contextlib.suppress(OSError):
        client.disconnect()  # closes its own descriptor
        held.shutdown(socket.SHUT_WR)
        while (left := end - time.monotonic()) > 0:
            held.settimeout(left)
            if not held.recv(link.PIECE):
                return


def _worded(exc: Exception) -> str:
    return str(exc) if isinstance(exc, WallclimeError) else repr(exc)


def _topic(message: MQTTMessage) -> str:
    """The topic. MQTT wants UTF-8 without NUL; a broker that does not look may pass on anything."""
    topic = _topic_text(message)
    if topic == _NO_TEXT or "\0" in topic:
        mend = "Publish under a name in UTF-8, without NUL (MQTT 3.1.1 section 1.5.3)"
        raise refusal(Reason.UNREADABLE, "its topic is no text", topic, mend)
    return topic


def _topic_text(message: MQTTMessage) -> str:
    try:
        return message.topic
    except UnicodeDecodeError:
        return _NO_TEXT
