"""A link over which messages go out to a broker, each acknowledged by it (QoS 1)."""

from __future__ import annotations

import select
import ssl
import time
from collections.abc import Callable
from typing import Any

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from monitor.basis.errors import BrokerError
from monitor.basis.times import SECOND
from monitor.config.brokers import Broker
from monitor.intake import link

WINDOW = 50  # messages on their way, not yet acknowledged
PATIENCE = 30.0  # with a broker that is silent, or away [s]
_NAP = 0.25  # [s]


class Sender:
    """The connection under the name `client_id`, driven by whoever waits for something.

    With a broker that is silent or away it has `patience` [s]. `links` counts how often the broker accepted us. What is
    raised from any method is a BrokerError; a sender that raised one is to be closed and used no more.
    """

    def __init__(self, broker: Broker, client_id: str, *, patience: float | None = None) -> None:
        self._broker = broker
        self._patience = PATIENCE if patience is None else patience
        self.links = 0
        self._on_way: dict[int, str] = {}  # the topic of each message
        self._accepted, self._ended_at = False, 0.0
        protocol = MQTTv5 if broker.protocol == "5" else MQTTv311
        self._client = client = Client(CallbackAPIVersion.VERSION2, client_id=client_id, protocol=protocol)
        client.max_inflight_messages_set(WINDOW)
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password)
        client.connect_async(broker.host, broker.port, keepalive=max(1, round(broker.keepalive / SECOND)))
        client.on_connect, client.on_publish, client.on_disconnect = self._connected, self._published, self._ended

    def reach(self) -> None:
        """Connect, and wait until we are accepted."""
        try:
            if self._broker.tls is not None:
                self._client.tls_set_context(link.tls_context(self._broker))
            self._client.reconnect()
        except OSError as exc:
            raise self._error(*link.unreached(exc)) from exc
        self._wait(lambda: self._accepted, "it does not answer")

    def send(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Put a message on its way, once there is room for it."""
        self._wait(lambda: len(self._on_way) < WINDOW, "it acknowledges nothing")
        self._on_way[self._client.publish(topic, payload, qos=1, retain=retain).mid] = topic

    def drain(self) -> None:
        """Wait until every message is acknowledged."""
        self._wait(lambda: not self._on_way, "it does not acknowledge the last messages")

    def turn(self, timeout: float) -> None:
        """Read and write what is there, or wait for it a moment, `timeout` at most [s]; make an ended link anew."""
        client = self._client
        wire = client.socket()
        if wire is None:
            self._again()
            return
        decrypted = isinstance(wire, ssl.SSLSocket) and wire.pending() > 0  # read already, so not seen by select
        say = [wire] if client.want_write() else []
        readable, writable, _ = select.select([wire], say, [], 0.0 if decrypted else min(timeout, _NAP))
        if readable or decrypted:
            client.loop_read()
        if writable:
            client.loop_write()
        client.loop_misc()

    def close(self) -> None:
        """Take leave."""
        self._client.on_disconnect = None
        self._client.disconnect()

    def _wait(self, reached: Callable[[], bool], otherwise: str) -> None:
        end = time.monotonic() + self._patience
        while not reached():
            if time.monotonic() > end:
                raise self._error(otherwise, "Look at the broker's own log")
            self.turn(_NAP)

    def _again(self) -> None:
        if not self._ended_at:
            raise self._error("it ends the link at once", "Check user in wallclime.toml and $WALLCLIME_BROKER_PASSWORD")
        if time.monotonic() > self._ended_at + self._patience:
            raise self._error("the link ended and can't be made anew", "Start the broker again")
        try:
            self._client.reconnect()
        except OSError:
            time.sleep(_NAP)

    def _connected(self, _client: Client, _data: object, _flags: object, reason: Any, _properties: object) -> None:
        if reason.is_failure:
            raise self._error(*link.refused(reason))
        self._accepted = True
        self.links += 1

    def _published(self, _client: Client, _data: object, mid: int, reason: Any, _properties: object) -> None:
        topic = self._on_way.pop(mid, None)
        if reason.is_failure:
            raise self._error(f"it takes nothing on {topic!r}: {reason}", "Let the user of wallclime.toml write there")

    def _ended(self, _client: Client, _data: object, _flags: object, _reason: object, _properties: object) -> None:
        if self._accepted:
            self._accepted, self._ended_at = False, time.monotonic()

    def _error(self, what: str, mend: str) -> BrokerError:
        return link.error_of(self._broker, what, mend)
