"""A broker of our own for a first run, without root and without installing one: the optional package iotcore."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Iterator

from monitor.basis.errors import BrokerError

HOST = "127.0.0.1"  # it asks for no password, so it hears this computer only
KEEPS_NOTHING = (
    "The embedded broker keeps nothing over a restart: readings that wait in it are lost when it stops. "
    "For anything real, run a broker of its own"
)
_LARGEST = 262_144  # so that a payload of 64 KiB and more comes through, to be refused with its reason [bytes]


@contextlib.contextmanager
def embedded_broker(port: int | None = 1883) -> Iterator[int]:
    """Run a broker on the loopback while the block lasts; the value is its port, a free one where `port` is None.

    It lives in a child process that ends with this one, and keeps nothing over a restart. Raises BrokerError.
    """
    try:
        from iotcore import Broker
    except ImportError as exc:
        raise BrokerError(
            "the embedded broker is not installed", where="broker", mend='Run pip install "wallclime[broker]"'
        ) from exc
    chosen = _free_port() if port is None else port
    broker = Broker(port=chosen, listen=HOST, max_payload_size=_LARGEST)
    try:
        broker.start()
    except (OSError, RuntimeError) as exc:
        raise BrokerError(
            f"the embedded broker can't start: {exc}",
            where=f"broker {HOST}:{chosen}",
            mend="Give another port in wallclime.toml, or use the broker that is already there",
        ) from exc
    try:
        yield chosen
    finally:
        broker.stop()


def _free_port() -> int:
    with socket.socket() as taken:
        taken.bind((HOST, 0))
        return int(taken.getsockname()[1])
