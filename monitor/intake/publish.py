"""Messages sent over MQTT when their time has come, each acknowledged by the broker."""

from __future__ import annotations

import secrets
import select
import ssl
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from paho.mqtt.client import Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from monitor.basis.clock import Clock
from monitor.basis.errors import BrokerError
from monitor.basis.times import SECOND
from monitor.config.settings import Broker
from monitor.intake.simulate import Message

PACE = 2_000.0  # a faster one overruns the 1000 messages that a common broker queues for a slower listener [1/s]
WINDOW = 50  # messages on their way, not yet acknowledged
PATIENCE = 30.0  # with a broker that is silent, or away [s]
_NAP = 0.25  # [s]


def publish(
    messages: Iterable[Message],
    broker: Broker,
    *,
    clock: Clock,
    pace: float = PACE,
    stop: Callable[[], bool] = lambda: False,
) -> int:
    """Send each message once `clock` has reached its time, those of the past at once, until `stop`.

    Never more than `pace` [1/s]. Returns how many were sent; each was acknowledged (QoS 1). A link that ends is made
    anew within 30 s. Raises BrokerError when the broker can't be reached, refuses or falls silent.
    """
    link, began, sent = _Link(broker), time.monotonic(), 0

    def wait(message: Message) -> float:
        return max((message.t_ms - clock.now()) / SECOND, began + sent / pace - time.monotonic())

    try:
        link.reach()
        for message in messages:
            while not stop() and (seconds := wait(message)) > 0:
                link.turn(seconds)
            if stop():
                break
            link.send(message)
            sent += 1
        link.drain()
    finally:
        link.close()
    return sent


class _Link:
    """The connection, driven by whoever waits for something."""

    def __init__(self, broker: Broker) -> None:
        self._where, self._tls = f"broker {broker.host}:{broker.port}", broker.tls
        self._on_way: dict[int, str] = {}  # the topic of each message
        self._accepted, self._ended_at = False, 0.0
        # a name of its own: the broker would end the daemon's link for a second one of the same name
        name = f"wallclime-simulate-{secrets.token_hex(4)}"
        protocol = MQTTv5 if broker.protocol == "5" else MQTTv311
        self._client = client = Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=protocol)
        client.max_inflight_messages_set(WINDOW)
        if broker.user is not None:
            client.username_pw_set(broker.user, broker.password)
        client.connect_async(broker.host, broker.port, keepalive=max(1, round(broker.keepalive / SECOND)))
        client.on_connect, client.on_publish, client.on_disconnect = self._connected, self._published, self._ended

    def reach(self) -> None:
        """Connect, and wait until we are accepted."""
        try:
            if self._tls is not None:
                ca, cert, key = map(_text, (self._tls.ca_file, self._tls.cert_file, self._tls.key_file))
                self._client.tls_set(ca, cert, key)
            self._client.reconnect()
        except ssl.SSLCertVerificationError as exc:
            mend = "Name the authority that signed it as ca_file in wallclime.toml"
            raise self._error(f"its certificate is not trusted: {exc.verify_message}", mend) from exc
        except OSError as exc:
            mend = "Start the broker, or mend host and port in wallclime.toml"
            raise self._error(exc.strerror or str(exc), mend) from exc
        self._wait(lambda: self._accepted, "it does not answer")

    def send(self, message: Message) -> None:
        """Put a message on its way, once there is room for it."""
        self._wait(lambda: len(self._on_way) < WINDOW, "it acknowledges nothing")
        self._on_way[self._client.publish(message.topic, message.payload, qos=1).mid] = message.topic

    def drain(self) -> None:
        """Wait until every message is acknowledged."""
        self._wait(lambda: not self._on_way, "it does not acknowledge the last messages")

    def turn(self, timeout: float) -> None:
        """Read and write what is there, or wait for it a moment, `timeout` at most [s]; make an ended link anew."""
        client = self._client
        link = client.socket()
        if link is None:
            self._again()
            return
        decrypted = isinstance(link, ssl.SSLSocket) and link.pending() > 0  # read already, so not seen by select
        say = [link] if client.want_write() else []
        readable, writable, _ = select.select([link], say, [], 0.0 if decrypted else min(timeout, _NAP))
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
        end = time.monotonic() + PATIENCE
        while not reached():
            if time.monotonic() > end:
                raise self._error(otherwise, "Look at the broker's own log")
            self.turn(_NAP)

    def _again(self) -> None:
        if not self._ended_at:
            raise self._error("it ends the link at once", "Check user in wallclime.toml and $WALLCLIME_BROKER_PASSWORD")
        if time.monotonic() > self._ended_at + PATIENCE:
            raise self._error("the link ended and can't be made anew", "Start the broker, then simulate again")
        try:
            self._client.reconnect()
        except OSError:
            time.sleep(_NAP)

    def _connected(self, _client: Client, _data: object, _flags: object, reason: Any, _properties: object) -> None:
        if reason.is_failure:
            mend = "Check user in wallclime.toml and $WALLCLIME_BROKER_PASSWORD"
            raise self._error(f"it refuses us: {reason}", mend)
        self._accepted = True

    def _published(self, _client: Client, _data: object, mid: int, reason: Any, _properties: object) -> None:
        topic = self._on_way.pop(mid, None)
        if reason.is_failure:
            raise self._error(f"it takes nothing on {topic!r}: {reason}", "Let the user of wallclime.toml write there")

    def _ended(self, _client: Client, _data: object, _flags: object, _reason: object, _properties: object) -> None:
        if self._accepted:
            self._accepted, self._ended_at = False, time.monotonic()

    def _error(self, what: str, mend: str) -> BrokerError:
        return BrokerError(what, where=self._where, mend=mend)


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)
