"""A message to oneself over a broker: that it comes back proves the right to write and to read.

"Granted" does not: a broker grants a subscription that its access list forbids, and in MQTT 3.1.1 acknowledges what it
then drops.
"""

from __future__ import annotations

import secrets
import time
from typing import Any, NamedTuple

from paho.mqtt.client import Client, MQTTMessage, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from monitor.basis.times import SECOND
from monitor.config.brokers import Broker
from monitor.intake import link

WITHIN = 5.0  # [s]
_NAP = 0.1  # [s]


def marker_topic(broker: Broker) -> str:
    """The daemon's own topic at a broker, which it publishes to and hears itself on."""
    return f"wallclime/{broker.client_id}/marker"


class Trip(NamedTuple):
    """How long a round trip took [s], and whether a daemon of the same client id is there, as far as it may be read."""

    took: float
    daemon: bool


def round_trip(broker: Broker, *, within: float = WITHIN) -> Trip:
    """Publish on the daemon's own topic and hear it, under another client id.

    A daemon that is running passes it over: the message has not its nonce. Raises BrokerError.
    """
    trip = _Trip(broker)
    try:
        return Trip(trip.go(within), trip.daemon)
    finally:
        trip.end()


class _Trip:
    """One connection and how far it has come."""

    def __init__(self, broker: Broker) -> None:
        self._broker, self._topic, self._nonce = broker, marker_topic(broker), secrets.token_hex(16).encode()
        self._presence = link.presence_topic(broker)
        self._accepted = self._returned = self.daemon = False
        self._trouble: tuple[str, str] | None = None
        self._client, self._said = _client(broker)
        self._client.on_connect, self._client.on_disconnect = self._connected, self._ended
        self._client.on_subscribe, self._client.on_publish = self._subscribed, self._published
        self._client.on_message = self._heard

    def go(self, within: float) -> float:
        """The whole way. [s]"""
        began = time.monotonic()
        try:
            self._client.reconnect()
        except OSError as exc:
            raise link.error_of(self._broker, *link.unreached(exc)) from exc
        while not self._returned:
            self._client.loop(_NAP)
            if self._trouble is None and time.monotonic() - began > within:
                self._trouble = self._late(within)
            if self._trouble is not None:
                raise link.error_of(self._broker, *self._trouble)
        return time.monotonic() - began

    def end(self) -> None:
        """Take leave."""
        self._client.on_disconnect = None
        self._client.disconnect()

    def _late(self, within: float) -> tuple[str, str]:
        if not self._accepted:
            return f"it does not answer in {within:g} s", "Look at the broker's own log"
        what = f"what was published on {self._topic!r} did not come back in {within:g} s"
        return what, "Let the user of wallclime.toml write and read there"

    def _connected(self, client: Client, _data: object, _flags: object, reason: Any, _properties: object) -> None:
        if reason.is_failure:
            self._trouble = link.refused(reason)
            return
        self._accepted = True
        client.subscribe([(self._presence, 1), (self._topic, 1)])  # what is retained comes before what comes later

    def _subscribed(self, client: Client, _data: object, _mid: int, reasons: Any, _properties: object) -> None:
        if reasons[-1].is_failure:
            what = f"it refuses a subscription of {self._topic!r}: {reasons[-1]}"
            self._trouble = what, "Let the user of wallclime.toml read there"
        else:
            client.publish(self._topic, self._nonce, qos=1)

    def _published(self, _client: Client, _data: object, _mid: int, reason: Any, _properties: object) -> None:
        if reason.is_failure:
            what = f"it takes nothing on {self._topic!r}: {reason}"
            self._trouble = what, "Let the user of wallclime.toml write there"

    def _heard(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        if message.topic == self._presence:
            self.daemon = bytes(message.payload) == b"online"
        self._returned = self._returned or bytes(message.payload) == self._nonce

    def _ended(self, _client: Client, _data: object, _flags: object, reason: Any, _properties: object) -> None:
        why = self._said.take() or str(reason)
        self._trouble = self._trouble or link.ended(self._broker, why, accepted=self._accepted)


def _client(broker: Broker) -> tuple[Client, link.Said]:
    """A client that the broker forgets when it goes. Raises BrokerError."""
    five = broker.protocol == "5"
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=f"{broker.client_id}-doctor-{secrets.token_hex(4)}",
        clean_session=None if five else True,
        protocol=MQTTv5 if five else MQTTv311,
        reconnect_on_failure=False,
    )
    said = link.Said()
    client.enable_logger(said)
    link.introduce(client, broker)
    client.connect_async(broker.host, broker.port, keepalive=max(1, round(broker.keepalive / SECOND)))
    return client, said
