"""How fast the daemon keeps what it hears, against a subscriber that only counts.

    python tests/bench/intake_speed.py

Both drain the same backlog from a session that mosquitto has kept for them: JSON messages of two quantities, QoS 1,
MQTT 3.1.1. The yardstick is a bare paho client whose own thread acknowledges by itself and which only counts. The
daemon is the real one, with its schedule: it decodes, keeps in an SQLite store (WAL, synchronous FULL) and then
acknowledges.
The clock runs from the broker's CONNACK until the last message is counted, or the commit of the last reading is done.
Runs alternate; medians are compared. Exit status: 0 at the limit or above, 1 below it, 2 usage.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from processes import Message, Mosquitto, publish, write_home

LIMIT = 0.6  # of the yardstick's rate
FILTER = "site/+/climate"
DAEMON, COUNTER = "durable-intake", "bare-counter"


# --- the two that are timed, each in a process of its own


class Stopwatch:
    """Wall and processor time between two moments. [s]"""

    def start(self) -> None:
        self._wall, self._cpu = time.perf_counter(), time.process_time()

    def stop(self) -> None:
        self.wall, self.cpu = time.perf_counter() - self._wall, time.process_time() - self._cpu


def count_only(port: int, messages: int) -> Stopwatch:
    """A bare subscriber."""
    watch, left, done = Stopwatch(), messages, threading.Event()

    def heard(_client: object, _data: object, _message: object) -> None:
        nonlocal left
        left -= 1
        if not left:
            watch.stop()
            done.set()

    client = bare_client(COUNTER)
    client.on_connect = lambda *_: watch.start()
    client.on_message = heard
    client.connect("127.0.0.1", port)
    client.loop_start()
    assert done.wait(120)
    client.disconnect()
    client.loop_stop()
    return watch


def keep_durably(home: Path, messages: int) -> Stopwatch:
    """The daemon, told to end when it has kept all."""
    from monitor.keep.store import Store
    from monitor.watch.daemon import serve

    watch, left, keep = Stopwatch(), 2 * messages, Store.keep_readings

    def kept(self: Store, readings: Any, refused: Any = ()) -> Any:
        nonlocal left
        answer = keep(self, readings, refused)
        left -= answer.new
        if not left:
            watch.stop()
            os.kill(os.getpid(), signal.SIGTERM)
        return answer

    def connected(record: logging.LogRecord) -> bool:
        if record.getMessage() == "connected":
            watch.start()
        return True

    Store.keep_readings = kept  # type: ignore[method-assign]
    logging.getLogger("wallclime").addFilter(connected)
    serve(home)
    return watch


# --- the comparison


def bare_client(name: str) -> Client:
    return Client(CallbackAPIVersion.VERSION2, client_id=name, clean_session=False)


def open_session(port: int, name: str) -> None:
    """Let the broker hold messages for `name` from now on."""
    client, subscribed = bare_client(name), threading.Event()
    client.on_subscribe = lambda *_: subscribed.set()
    client.connect("127.0.0.1", port)
    client.subscribe(FILTER, 1)
    client.loop_start()
    assert subscribed.wait(10)
    client.disconnect()
    client.loop_stop()


def backlog(first: int, count: int, sensors: int) -> Iterator[Message]:
    """`count` messages of so many sensors in turn, a millisecond apart."""
    for n in range(count):
        said = {"temperature": 15 + n % 1_000 / 100, "humidity": 40 + n % 997 / 100, "time": first + n}
        yield f"site/den-{n % sensors}/climate", json.dumps(said)


def timed(*part: object) -> tuple[float, float]:
    """Wall and processor seconds of a part."""
    command = [sys.executable, __file__, *map(str, part)]
    run = subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)
    assert run.returncode == 0, run.stderr
    wall, cpu = map(float, run.stdout.split())
    return wall, cpu


def compare(folder: Path, messages: int, sensors: int, runs: int) -> float:
    """The ratio of the median rates; every run and the medians are printed."""
    broker = Mosquitto(folder / "broker")
    broker.start()
    try:
        home = write_home(folder / "home", broker.port)
        settings = home / "wallclime.toml"
        settings.write_text(settings.read_text().replace("[broker]", f'[broker]\nclient_id = "{DAEMON}"'))
        parts = {COUNTER: ("--count-only", broker.port), DAEMON: ("--keep-durably", home)}
        for name in parts:
            open_session(broker.port, name)
        first = int(time.time() * 1000) - 86_400_000
        found: dict[str, list[tuple[float, float]]] = {name: [] for name in parts}
        for run in range(runs):
            publish(broker.port, backlog(first + run * messages, messages, sensors))
            for name in list(parts)[:: 1 if run % 2 else -1]:
                found[name].append(timed(*parts[name], "--messages", messages))
                print(line(f"run {run + 1}, {name}", messages, *found[name][-1]), flush=True)
    finally:
        broker.stop(at_once=True)
    middle = {name: tuple(map(statistics.median, zip(*times, strict=True))) for name, times in found.items()}
    for name, times in middle.items():
        print(line(f"median, {name}", messages, *times))
    return middle[COUNTER][0] / middle[DAEMON][0]


def line(what: str, messages: int, wall: float, cpu: float) -> str:
    return f"{what:<24} {messages / wall:>8,.0f} messages/s {cpu / messages * 1e6:>6.1f} us CPU a message"


def main() -> int:
    parser = argparse.ArgumentParser(description="Durable intake against a bare counter.")
    parser.add_argument("--messages", type=int, default=40_000)
    parser.add_argument("--sensors", type=int, default=20, help="the more there are, the more pages a commit writes")
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--count-only", type=int, metavar="PORT", help=argparse.SUPPRESS)
    parser.add_argument("--keep-durably", type=Path, metavar="HOME", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.count_only or asked.keep_durably:
        part = count_only(asked.count_only, asked.messages) if asked.count_only else None
        watch = part or keep_durably(asked.keep_durably, asked.messages)
        print(watch.wall, watch.cpu)
        return 0
    with tempfile.TemporaryDirectory() as folder:
        ratio = compare(Path(folder), asked.messages, asked.sensors, asked.runs)
    print(f"durable intake runs at {ratio:.2f} of the bare counter's rate; the limit is {LIMIT}")
    return 0 if ratio >= LIMIT else 1


if __name__ == "__main__":
    sys.exit(main())
