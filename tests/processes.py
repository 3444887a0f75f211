"""Real processes for tests: a broker, the daemon, a command, a publisher."""

from __future__ import annotations

import getpass
import json
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
WALLCLIME = [sys.executable, "-c", "from cli.main import main; main()"]  # the command, in any environment
STAMPED = """\
[[source]]
topic = "site/{sensor}/climate"
format = "json"
temperature = { at = "/temperature", unit = "degC" }
humidity = { at = "/humidity", unit = "%" }
time = { at = "/time", as = "milliseconds" }
"""
Message = tuple[str, str | bytes]  # topic, payload


class Mosquitto:
    """A mosquitto process on a free port of the loopback; it keeps its port over stop() and start()."""

    host = "127.0.0.1"

    def __init__(self, folder: Path, **settings: object) -> None:
        if MOSQUITTO is None:
            pytest.fail("these tests need the mosquitto broker: apt-get install mosquitto", pytrace=False)
        self.port = free_port()
        folder.mkdir(parents=True, exist_ok=True)
        self.log = folder / "mosquitto.log"
        self._conf = folder / "mosquitto.conf"
        lines = {
            "listener": f"{self.port} {self.host}",
            "allow_anonymous": "true",
            "persistence": "false",
            "persistence_location": f"{folder}/",
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
        end = time.monotonic() + 30
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


class Daemon:
    """`wallclime serve` in a process of its own; its log stands in the home as daemon.log."""

    def __init__(self, home: Path, *options: str) -> None:
        self._command = [*WALLCLIME, "--home", str(home), "serve", *options]
        self._log = home / "daemon.log"
        self._began = 0
        self._process: subprocess.Popen[bytes] | None = None

    def start(self, *, until: str = "") -> None:
        """Start it and, if `until` is an event of its log, wait for that."""
        with self._log.open("ab") as log:
            self._began = log.tell()
            self._process = subprocess.Popen(self._command, stdout=log, stderr=log)
        if until:
            self.wait_for(until)

    def lines(self) -> list[dict[str, Any]]:
        """What it has logged since it was started last; another line than JSON fails the test."""
        with self._log.open("rb") as log:
            log.seek(self._began)
            whole = log.read().decode().rpartition("\n")[0].splitlines()
        assert all(line.startswith("{") for line in whole), "\n".join(whole)
        return [json.loads(line) for line in whole]

    def wait_for(self, event: str, within: float = 90.0) -> dict[str, Any]:
        """The first log line of `event`; waits for it."""
        found: list[dict[str, Any]] = []

        def said() -> bool:
            assert self._process is not None
            ended = self._process.poll() is not None  # before its lines are read: it may say it and end
            found.extend(line for line in self.lines() if line["event"] == event)
            assert found or not ended, f"the daemon has ended: {self._log.read_text()}"
            return bool(found)

        soon(said, within, f"the daemon says {event!r}")
        return found[0]

    def kill(self) -> None:
        """SIGKILL: as a crash would. Safe to call when it does not run."""
        if self._process is not None:
            self._process.kill()
            self._process.wait(10)
            self._process = None

    def stop(self) -> int:
        """SIGTERM; the exit code."""
        assert self._process is not None
        self._process.send_signal(signal.SIGTERM)
        code = self._process.wait(60)
        self._process = None
        return code


def free_port() -> int:
    """A port of the loopback that nobody listens on."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


def soon(condition: Callable[[], object], within: float = 90.0, what: str = "it") -> None:
    """Wait until the condition holds; fail after `within` seconds."""
    end = time.monotonic() + within
    while not condition():
        assert time.monotonic() < end, f"not within {within:g} s: {what}"
        time.sleep(0.02)


def write_home(home: Path, port: int, sources: str = STAMPED, judge_every: str = "60 s") -> Path:
    """A home whose daemon hears `sources` at the broker on `port` and logs JSON."""
    home.mkdir(parents=True, exist_ok=True)
    (home / "wallclime.toml").write_text(
        f'[broker]\nport = {port}\n[log]\nformat = "json"\n[service]\njudge_every = "{judge_every}"\n{sources}',
        encoding="utf-8",
    )
    return home


def publish(port: int, messages: Iterable[Message], *, retain: bool = False, client_id: str = "") -> None:
    """Publish with QoS 1; returns when the broker has acknowledged all of it."""
    client = Client(CallbackAPIVersion.VERSION2, client_id=client_id)
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        for sent in [client.publish(topic, payload, 1, retain) for topic, payload in messages]:
            sent.wait_for_publish(60)
            assert sent.is_published()
    finally:
        client.disconnect()
        client.loop_stop()
