"""How fast the daemon keeps what it hears, against a subscriber that only counts.

    python tests/bench/intake_speed.py

Both drain the same backlog from a session that mosquitto has kept for them: JSON messages of two quantities, QoS 1,
MQTT 3.1.1. The yardstick is a bare paho client whose own thread acknowledges by itself and which only counts. The
daemon is the real one, with its schedule: it decodes, keeps in an SQLite store (WAL, synchronous FULL) and then
acknowledges. The sensors are known to it and speak in turn, so that each message is kept in another place.
The clock runs from the broker's CONNACK until the last message is counted, or the commit of the last reading is done.

The last row is of a store of 1,000 jobs with two sensors each, and a backlog of ten minutes of them. The daemon judges
once a minute, as by default, and begins to as it begins to drain: so all of the backlog is drained beside a round that
judges every job. Its yardstick is the same daemon that judges once a day.
"""

from __future__ import annotations

import json
import logging
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "watch"))

import yard
from desks import HUMIDITY, TEMPERATURE, opening, readings, steady
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from processes import Message, Mosquitto, publish, write_home

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import SENSORS_CHAIN, Draft, Kind
from monitor.watch.desk import Desk, open_desk
from monitor.watch.job.delivery import deliver
from monitor.watch.job.jobs import open_job

FILTER = "site/+/climate"
DAEMON, COUNTER = "durable-intake", "bare-counter"
MESSAGES, SENSORS = 40_000, (20, 100, 1_000)
JOBS, OUTAGE = 1_000, 10  # jobs of two sensors; minutes
HISTORY = 2.0  # of each sensor [h]
Spent = tuple[float, float]  # wall and processor time [s]


# --- the two that are timed, each in a process of its own


class Stopwatch:
    """Wall and processor time between two moments. [s]"""

    def start(self) -> None:
        self._wall, self._cpu = time.perf_counter(), time.process_time()

    def stop(self) -> None:
        self.wall, self.cpu = time.perf_counter() - self._wall, time.process_time() - self._cpu


def count_only(name: str, port: int, messages: int) -> Stopwatch:
    """A bare subscriber."""
    watch, left, done = Stopwatch(), messages, threading.Event()

    def heard(_client: object, _data: object, _message: object) -> None:
        nonlocal left
        left -= 1
        if not left:
            watch.stop()
            done.set()

    client = bare_client(name)
    client.on_connect = lambda *_: watch.start()
    client.on_message = heard
    client.connect("127.0.0.1", port)
    client.loop_start()
    assert done.wait(120)
    client.disconnect()
    client.loop_stop()
    return watch


def begin_with_judging() -> None:
    """Let the daemon of this process do its works at once, not when their time has passed for the first time."""
    from monitor.watch.service import daemon

    works_of = daemon.works_of

    def soon(*args: Any) -> list[Any]:
        works = works_of(*args)
        return [
            one._replace(trigger=one.trigger._replace(soon=True))
            if one.trigger.ms < DAY and one.name == "judge"
            else one
            for one in works
        ]

    daemon.works_of = soon


def keep_durably(home: Path, messages: int) -> None:
    """The daemon. It tells its times and ends when it has kept and acknowledged all, whatever else it is about."""
    from monitor.intake.mqtt import Listener
    from monitor.keep.store import Store
    from monitor.watch.service.daemon import serve

    begin_with_judging()
    watch, left, keep, acknowledged = Stopwatch(), 2 * messages, Store.keep_readings, Listener._kept

    def kept(self: Store, readings: Any, refused: Any = ()) -> Any:
        nonlocal left
        answer = keep(self, readings, refused)
        left -= answer.new
        if left <= 0:
            watch.stop()
        return answer

    def end(self: Listener, batch: Any) -> None:
        acknowledged(self, batch)
        if left <= 0:
            time.sleep(0.2)  # for the last acknowledgements on their way
            print(watch.wall, watch.cpu, flush=True)
            os._exit(0)

    def connected(record: logging.LogRecord) -> bool:
        if record.getMessage() == "connected":
            watch.start()
        return True

    Store.keep_readings, Listener._kept = kept, end  # type: ignore[method-assign]
    logging.getLogger("wallclime").addFilter(connected)
    serve(home)


# --- what is drained


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


def stream(sensor: int) -> str:
    return f"site/den-{sensor}/climate"


def backlog(first: int, count: int, sensors: int, apart: int = 1) -> Iterator[Message]:
    """`count` messages of so many sensors in turn, their rounds `apart`, each a millisecond after the other. [ms]"""
    for n in range(count):
        at = first + n if apart == 1 else first + n // sensors * apart + n % sensors
        said = {"temperature": 15 + n % 1_000 / 100, "humidity": 40 + n % 997 / 100, "time": at}
        yield stream(n % sensors), json.dumps(said)


def remember(desk: Desk, sensors: int, hours: float, until: int) -> None:
    """What was heard of the sensors before: a reading a minute."""
    for sensor in range(sensors):
        desk.store.keep_readings(readings(stream(sensor), steady(until - round(hours * HOUR), hours, step=1)))


def furnish(desk: Desk, began: int) -> None:
    """Jobs whose boxes came at `began`, each with two sensors: entered once, then copied. [ms]"""
    open_job(desk, opening("job-0", boxes_place="job-0"), who="robin")
    deliver(desk, "job-0", at=began, lot=None, place=None, boxes=None, facts={}, who="robin")
    pattern = desk.store.entries("job-0")
    for k in range(1, JOBS):
        text = [(one, json.dumps(dict(one.body)).replace('"job-0"', f'"job-{k}"')) for one in pattern]
        drafts = [Draft(one.kind, one.at, one.who, json.loads(body)) for one, body in text]
        desk.store.append(f"job-{k}", drafts, new=True)
    stated = {HUMIDITY.value: 3.0, TEMPERATURE.value: 0.5}
    drafts = []
    for k in range(2 * JOBS):
        body = {"name": f"den-{k}", "stream": stream(k), "hold_ms": 30 * MINUTE, "uncertainty": stated}
        drafts.append(Draft(Kind.SENSOR, began, "robin", {**body, "check": "maker"}))
        here = {"sensor": f"den-{k}", "place": f"job-{k // 2}", "from": began, "to": None}
        drafts.append(Draft(Kind.ASSIGNMENT, began, "robin", here))
    desk.store.append(SENSORS_CHAIN, drafts)


# --- the comparisons


def timed(*part: object) -> Spent:
    """Wall and processor seconds of a part."""
    command = [sys.executable, __file__, *map(str, part)]
    run = subprocess.run(command, capture_output=True, text=True, timeout=600, check=False)
    assert run.returncode == 0, run.stderr
    wall, cpu = map(float, run.stdout.split())
    return wall, cpu


def home_of(folder: Path, port: int, client_id: str, judge_every: str) -> Path:
    home = write_home(folder, port, judge_every=judge_every)
    settings = home / "wallclime.toml"
    settings.write_text(settings.read_text().replace("[broker]", f'[broker]\nclient_id = "{client_id}"'))
    return home


def middle(found: Mapping[str, list[Spent]]) -> list[Spent]:
    """The median wall and processor time of each."""
    return [
        (statistics.median(w for w, _ in times), statistics.median(c for _, c in times)) for times in found.values()
    ]


def in_words(messages: int, spent: Spent) -> str:
    return f"{messages / spent[0]:,.0f} messages/s with {spent[1] / messages * 1e6:.0f} us CPU a message"


def against_a_counter(folder: Path, broker: Mosquitto, sensors: int) -> yard.Row:
    home = home_of(folder / f"home-{sensors}", broker.port, f"{DAEMON}-{sensors}", "60 s")
    first = int(time.time() * 1000) - DAY
    with open_desk(home) as desk:
        remember(desk, sensors, 1 / 60, first)
    parts = {f"{COUNTER}-{sensors}": "--count-only", f"{DAEMON}-{sensors}": "--keep-durably"}
    for name in parts:
        open_session(broker.port, name)
    found: dict[str, list[Spent]] = {name: [] for name in parts}
    for run in range(yard.RUNS):
        publish(broker.port, backlog(first + run * MESSAGES, MESSAGES, sensors))
        for name in list(parts)[:: 1 if run % 2 else -1]:
            found[name].append(
                timed(parts[name], name if parts[name] == "--count-only" else home, broker.port, MESSAGES)
            )
    counter, daemon = middle(found)
    return yard.Row(
        f"durable intake, {sensors:,} sensors",
        "a bare QoS 1 subscriber that only counts",
        counter[0] / daemon[0],
        0.7,
        at_least=True,
        said=f"{in_words(MESSAGES, daemon)} against {in_words(MESSAGES, counter)}",
    )


def beside_judging(folder: Path, broker: Mosquitto) -> yard.Row:
    homes = {
        every: home_of(folder / f"home-{every[:-2]}", broker.port, f"{DAEMON}-{every[:-2]}", every)
        for every in ("60 s", "1 d")
    }
    now = int(time.time() * 1000)
    first = now - now % MINUTE - (yard.RUNS + 1) * OUTAGE * MINUTE
    for home in homes.values():
        with open_desk(home) as desk:
            furnish(desk, first - 2 * DAY)
            remember(desk, 2 * JOBS, HISTORY, first)
    for every in homes:
        open_session(broker.port, f"{DAEMON}-{every[:-2]}")
    messages = 2 * JOBS * OUTAGE
    found: dict[str, list[Spent]] = {every: [] for every in homes}
    for run in range(yard.RUNS):
        publish(broker.port, backlog(first + run * OUTAGE * MINUTE, messages, 2 * JOBS, MINUTE))
        for every in list(homes)[:: 1 if run % 2 else -1]:
            found[every].append(timed("--keep-durably", homes[every], broker.port, messages))
    judging, alone = middle(found)
    return yard.Row(
        f"the same of {2 * JOBS:,} sensors while {JOBS:,} jobs are judged",
        "the same without the judging",
        alone[0] / judging[0],
        0.8,
        at_least=True,
        said=f"{OUTAGE} minutes drained in {judging[0]:.1f} s against {alone[0]:.1f} s",
    )


def rows() -> Iterator[yard.Row]:
    """One row a number of sensors, and one with the judging; wall time."""
    with tempfile.TemporaryDirectory() as folder:
        broker = Mosquitto(Path(folder) / "broker")
        broker.start()
        try:
            for sensors in SENSORS:
                yield against_a_counter(Path(folder), broker, sensors)
            yield beside_judging(Path(folder), broker)
        finally:
            broker.stop(at_once=True)


def part() -> None:
    """What `timed` starts."""
    way, what, port, messages = sys.argv[1:]
    if way == "--count-only":
        watch = count_only(what, int(port), int(messages))
        print(watch.wall, watch.cpu)
    else:
        keep_durably(Path(what), int(messages))


if __name__ == "__main__":
    if len(sys.argv) > 4:
        part()
    else:
        sys.exit(yard.main(__doc__, rows))
