"""A broker of our own for a first run, without root and without installing one: the optional package iotcore."""

from __future__ import annotations

import contextlib
import json
import socket
import tempfile
from collections.abc import Iterator
from pathlib import Path

from monitor.basis.errors import BrokerError

HOST = "127.0.0.1"
_LOOPBACK = (HOST, "localhost")
KEEPS_NOTHING = (
    "The embedded broker keeps nothing over a restart: readings that wait in it are lost when it stops. "
    "For anything real, run a broker of its own"
)
_LARGEST = 262_144  # so that a payload of 64 KiB and more comes through, to be refused with its reason [bytes]

_CONFIG = """id = 0
[router]
id = 0
max_connections = 10010
max_outgoing_packet_count = 200
max_segment_size = 104857600
max_segment_count = 10
[v4.1]
name = "wallclime"
listen = "{listen}"
next_connection_delay_ms = 1
[v4.1.connections]
connection_timeout_ms = 60000
max_payload_size = {largest}
max_inflight_count = 100
dynamic_filters = true
"""


@contextlib.contextmanager
def embedded_broker(
    port: int | None = 1883, host: str = HOST, *, user: str | None = None, password: str | None = None
) -> Iterator[int]:
    """Run a broker while the block lasts; the value is its port, a free one where `port` is None.

    It hears this computer only, unless `host` is another address and a user and password are set, which it then asks
    of everybody. It lives in a child process that ends with this one, and keeps nothing over a restart.
    Raises BrokerError.
    """
    try:
        from iotcore import Broker
    except ImportError as exc:
        raise BrokerError(
            "the embedded broker is not installed", where="broker", mend='Run pip install "wallclime[broker]"'
        ) from exc
    if host not in _LOOPBACK and not (user and password):
        raise BrokerError(
            "the embedded broker would hear the whole network without asking for a password",
            where=f"broker {host}",
            mend='Set host = "127.0.0.1", or a user and a password',
        )
    chosen = _free_port() if port is None else port
    with tempfile.TemporaryDirectory() as folder:
        broker = Broker(config_path=_config(Path(folder), host, chosen, user, password))
        try:
            broker.start()
        except (OSError, RuntimeError) as exc:
            raise BrokerError(
                f"the embedded broker can't start: {exc}",
                where=f"broker {host}:{chosen}",
                mend="Give another port in wallclime.toml, or use the broker that is already there",
            ) from exc
        try:
            yield chosen
        finally:
            broker.stop()


def _config(folder: Path, host: str, port: int, user: str | None, password: str | None) -> str:
    """The broker's own settings, in a folder that nobody else may read."""
    auth = f"[v4.1.connections.auth]\n{json.dumps(user)} = {json.dumps(password)}\n" if user and password else ""
    path = folder / "broker.toml"
    path.write_text(_CONFIG.format(listen=f"{host}:{port}", largest=_LARGEST) + auth, encoding="utf-8")
    return str(path)


def _free_port() -> int:
    with socket.socket() as taken:
        taken.bind((HOST, 0))
        return int(taken.getsockname()[1])
