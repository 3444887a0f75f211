"""A real broker for the tests that need one."""

from __future__ import annotations

import getpass
import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")


class Mosquitto:
    """A mosquitto process on a free port of the loopback; it keeps its port over stop() and start()."""

    host = "127.0.0.1"

    def __init__(self, folder: Path, **settings: object) -> None:
        if MOSQUITTO is None:
            pytest.fail("these tests need the mosquitto broker: apt-get install mosquitto", pytrace=False)
        self.port = _free_port()
        folder.mkdir(parents=True, exist_ok=True)
        self.log = folder / "mosquitto.log"
        self._conf = folder / "mosquitto.conf"
        lines = {
            "listener": f"{self.port} {self.host}",
            "allow_anonymous": "true",
            "persistence": "false",
            "max_queued_messages": 1_000_000,
            "user": getpass.getuser(),  # started by root it would change to a user who may not read our folder
            **settings,
        }
        self._conf.write_text("".join(f"{key} {value}\n" for key, value in lines.items()), encoding="utf-8")
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def start(self) -> None:
        """Start it and wait until it listens."""
        with self.log.open("ab") as log:
            self._process = subprocess.Popen([str(MOSQUITTO), "-c", str(self._conf)], stdout=log, stderr=log)
        end = time.monotonic() + 10
        while time.monotonic() < end and self._process.poll() is None:
            try:
                socket.create_connection((self.host, self.port), timeout=1).close()
                return
            except OSError:
                time.sleep(0.01)
        pytest.fail(f"mosquitto did not start: {self.log.read_text(errors='replace')}", pytrace=False)

    def stop(self, *, at_once: bool = False) -> None:
        """End it; safe to call twice. At once: as a power cut would, and faster."""
        if self._process is not None:
            self._process.kill() if at_once else self._process.terminate()
            self._process.wait(10)
            self._process = None


def _free_port() -> int:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


@pytest.fixture
def mosquitto_with(tmp_path: Path) -> Iterator[Callable[..., Mosquitto]]:
    """A factory of running brokers: `mosquitto_with(max_inflight_messages=5)` has that line in its configuration."""
    made: list[Mosquitto] = []

    def make(**settings: object) -> Mosquitto:
        made.append(Mosquitto(tmp_path / f"mosquitto-{len(made)}", **settings))
        made[-1].start()
        return made[-1]

    yield make
    for broker in made:
        broker.stop(at_once=True)


@pytest.fixture
def mosquitto(mosquitto_with: Callable[..., Mosquitto]) -> Mosquitto:
    """A running broker: host, port, pid, log, stop(), start()."""
    return mosquitto_with()
