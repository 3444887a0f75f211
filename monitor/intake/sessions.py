"""Sessions that a broker keeps, and how one is given up."""

from __future__ import annotations

import threading

from paho.mqtt.client import MQTT_CLEAN_START_FIRST_ONLY, Client, MQTTv5, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion

from monitor.config.brokers import Broker
from monitor.intake import link

_WITHIN = 10.0  # [s]


def give_up(broker: Broker) -> None:
    """Let a broker forget our session, with its subscriptions and all that waits in it. Raises BrokerError."""
    five = broker.protocol == "5"
    client = Client(
        CallbackAPIVersion.VERSION2,
        client_id=broker.client_id,
        clean_session=None if five else True,
        protocol=MQTTv5 if five else MQTTv311,
        reconnect_on_failure=False,
    )
    link.introduce(client, broker)
    answered, refused = threading.Event(), []

    def connected(_client: Client, _data: object, _flags: object, reason: object, _properties: object) -> None:
        if getattr(reason, "is_failure", False):
            refused.append(link.refused(reason))
        answered.set()

    client.on_connect = connected
    try:
        client.connect(broker.host, broker.port, clean_start=True if five else MQTT_CLEAN_START_FIRST_ONLY)
        client.loop_start()
        if not answered.wait(_WITHIN):
            raise link.error_of(broker, f"it does not answer in {_WITHIN:g} s", "Look at its log")
    except OSError as exc:
        raise link.error_of(broker, *link.unreached(exc)) from exc
    finally:
        client.disconnect()
        client.loop_stop()
    if refused:
        raise link.error_of(broker, *refused[0])
