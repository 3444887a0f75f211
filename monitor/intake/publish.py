"""Messages sent over MQTT when their time has come, each acknowledged by the broker."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Iterable

from monitor.basis.clock import Clock
from monitor.basis.times import SECOND
from monitor.config.settings import Broker
from monitor.intake.sending import Sender
from monitor.intake.simulate import Message

PACE = 2_000.0  # a faster one overruns the 1000 messages that a common broker queues for a slower listener [1/s]


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
    # a name of its own: the broker would end the daemon's link for a second one of the same name
    link, began, sent = Sender(broker, f"wallclime-simulate-{secrets.token_hex(4)}"), time.monotonic(), 0

    def wait(message: Message) -> float:
        return max((message.t_ms - clock.now()) / SECOND, began + sent / pace - time.monotonic())

    try:
        link.reach()
        for message in messages:
            while not stop() and (seconds := wait(message)) > 0:
                link.turn(seconds)
            if stop():
                break
            link.send(message.topic, message.payload)
            sent += 1
        link.drain()
    finally:
        link.close()
    return sent
