"""How much memory the daemon takes for 1,000 jobs, and how long it needs to start with 10 million readings kept.

    python tests/bench/daemon_size.py

1,000 jobs, 2,000 sensors, two a job, each heard once a minute. Of each sensor 2,500 minutes up to now are kept before
the daemon starts, 10 million readings in all. Memory (VmRSS) is the most that is seen from when every sensor has spoken
twice, every job has been judged and looked at three times and the days that are over are sealed, for two rounds more.
Its yardstick is a process that has imported every module that this very daemon had imported by then and has opened an
empty store.

The start is timed from exec to the log's "started", of a daemon that was killed (SIGKILL) before, with 10 million
readings and with none, in turn.
"""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

import yard

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "watch"))

import numpy as np
from desks import opening
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from processes import STAMPED, Daemon, Mosquitto, soon

from monitor.basis.clock import SetClock
from monitor.basis.times import DAY, MINUTE, SECOND
from monitor.basis.values import AIR, LIVE, SENSORS_CHAIN, Draft, Kind, Reading
from monitor.watch.desk import Desk, open_desk
from monitor.watch.job.delivery import deliver
from monitor.watch.job.jobs import open_job
from monitor.watch.sensing.sensors import MAKER, sensor_draft

JOBS, SENSORS, MINUTES = 1_000, 2_000, 2_500
MORE_MB, MORE_S = 60.0, 1.0
_UNITS = ("degC", "%")
_SETTINGS = """\
[broker]
port = {}
[log]
format = "json"
[service]
seal_after = "0 min"
judge_every = "15 s"
"""
_SERVE = """\
import signal, sys
from pathlib import Path
from cli.main import main
imported = Path(sys.argv.pop(1))
signal.signal(signal.SIGUSR1, lambda *_: imported.write_text("\\n".join(sys.modules) + "\\n"))
main()
"""
_IMPORT = """\
import contextlib, importlib, sys
from pathlib import Path
for name in Path(sys.argv[1]).read_text().splitlines():  # in the order in which they were imported
    with contextlib.suppress(ImportError):  # a module that another makes has no file to be found by
        importlib.import_module(name)
from monitor.watch.desk import open_desk
with open_desk(Path(sys.argv[2])):
    lines = Path("/proc/self/status").read_text().splitlines()
    print(next(line.split()[1] for line in lines if line.startswith("VmRSS")))
"""
_WHO = "bench"
ALIKE = 50
_ROUNDS = 3  # each job is judged and looked at so often before memory is looked at
_LONG = 45 * 60.0  # on a busy computer [s]


# --- a home with jobs, sensors and readings ---------------------------------------------------------------------------


def furnish(desk: Desk, first: int, jobs: int, sensors: int) -> None:
    """Jobs whose boxes came at `first`, and their sensors, which are there since. [ms]"""
    for n in range(jobs):
        name = f"wall {n:04}"
        open_job(desk, opening(name), who=_WHO)
        deliver(desk, name, at=first, lot=None, place=None, boxes=None, facts={}, who=_WHO)
    drafts: list[Draft] = []
    for n in range(sensors):
        name, stream = f"sensor {n:04}", stream_of(n)
        desk.store.name_sensor(stream, name)
        drafts.append(sensor_draft(desk, name, stream, 30 * MINUTE, MAKER, _WHO))
        body = {"sensor": name, "place": f"wall {n * jobs // sensors:04}", "from": first, "to": None}
        drafts.append(Draft(Kind.ASSIGNMENT, first, _WHO, body))
    desk.store.append(SENSORS_CHAIN, drafts)


def stream_of(number: int) -> str:
    """The address of a sensor."""
    return f"site/s{number:04}/climate"


def figures(number: int, minutes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What a sensor says at these minutes: it wanders in band, as sensors do, by its last digit. [degC, %RH]

    Those whose numbers differ by `ALIKE` say the same.
    """
    number %= ALIKE
    night = np.sin(minutes / 1440 * 2 * np.pi + number)
    last = (minutes * 7919 + number) % 11 / 100
    return np.round(21 + night + last, 2), np.round(50 + 4 * night + 3 * last, 2)


def fill(desk: Desk, path: Path, first: int, sensors: int, minutes: int) -> None:
    """Keep the minutes of every sensor, as many readings at a time as a sensor has."""
    for begin in range(0, sensors, 100):  # the store numbers channels, units and origins itself
        desk.store.keep_readings(list(_first_of(range(begin, min(begin + 100, sensors)), first)))
    with sqlite3.connect(path, isolation_level=None) as conn:
        conn.execute("CREATE TEMP TABLE said (alike INTEGER, quantity TEXT, t INTEGER, value REAL)")
        k = np.arange(1, minutes)
        times = (first + k * MINUTE).tolist()
        for number in range(ALIKE):
            for quantity, values in zip(AIR, figures(number, k), strict=True):
                rows = zip(times, values.tolist(), strict=True)
                conn.executemany("INSERT INTO said VALUES (?, ?, ?, ?)", ((number, quantity, *row) for row in rows))
        conn.execute("CREATE INDEX temp.alike_said ON said (alike, quantity, t, value)")
        conn.execute("BEGIN IMMEDIATE")
        for stream, quantity, *ids in conn.execute(_CHANNELS).fetchall():
            conn.execute(_INSERT, (*ids, int(stream[6:10]) % ALIKE, quantity))
        conn.execute("UPDATE channel SET last_t = ?, last_arrival = ?, readings = ?", (times[-1], times[-1], minutes))
        conn.execute("UPDATE dirty SET last_t = ?", (times[-1],))
        for day in range(first - first % DAY + DAY, times[-1], DAY):
            conn.execute(
                "INSERT INTO unsealed SELECT kind, thread, ?, 1 FROM unsealed WHERE day = ?", (day, first - first % DAY)
            )
        conn.execute("COMMIT")
    conn.close()


_INSERT = """INSERT INTO reading (channel_id, unit_id, origin_id, t, arrival, value)
SELECT ?, ?, ?, t, t, value FROM said WHERE alike = ? AND quantity = ? ORDER BY t"""
_CHANNELS = """SELECT stream, quantity, channel.id, unit_id, origin_id FROM reading
JOIN channel ON channel.id = channel_id JOIN sensor ON sensor.id = sensor_id"""


def _first_of(numbers: Sequence[int], first: int) -> Iterator[Reading]:
    for number in numbers:
        for quantity, unit, values in zip(AIR, _UNITS, figures(number, np.arange(1)), strict=True):
            yield Reading(stream_of(number), quantity, first, float(values[0]), unit, first, LIVE)


def filled(home: Path, jobs: int, sensors: int, minutes: int) -> None:
    """Fill a home up to now."""
    first = int(time.time()) * SECOND - minutes * MINUTE
    with open_desk(home, clock=SetClock(first)) as desk:  # as it was then, there is nothing to be judged
        furnish(desk, first, jobs, sensors)
        fill(desk, home / "wallclime.db", first, sensors, minutes)


# --- the daemon, and its sensors --------------------------------------------------------------------------------------


class ToldDaemon(Daemon):
    """The daemon, which writes which modules it has imported when it gets a SIGUSR1."""

    def __init__(self, home: Path) -> None:
        super().__init__(home)
        self.imported = home / "imported.txt"
        self._command = [sys.executable, "-c", _SERVE, str(self.imported), "--home", str(home), "serve"]

    def memory(self) -> float:
        """What it holds. [MB]"""
        assert self._process is not None
        lines = Path(f"/proc/{self._process.pid}/status").read_text("ascii").splitlines()
        return next(int(line.split()[1]) * 1024 / 1e6 for line in lines if line.startswith("VmRSS"))

    def tell_imports(self) -> None:
        """Returns once they stand in `imported`."""
        assert self._process is not None
        self._process.send_signal(signal.SIGUSR1)
        soon(lambda: self.imported.exists() and self.imported.read_text().endswith("\n"), what="the daemon's imports")


class Speaking:
    """Sensors that speak once a minute each, evenly over it, until it is stopped."""

    def __init__(self, port: int, sensors: int) -> None:
        self.rounds = 0.0
        self._sensors = sensors
        self._stop = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="sensors")
        self._client.connect("127.0.0.1", port)
        self._thread = threading.Thread(target=self._run)

    def __enter__(self) -> Speaking:
        self._client.loop_start()
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        began, sent = time.monotonic(), 0
        while not self._stop.wait(0.05):
            while sent < (time.monotonic() - began) * self._sensors / 60:
                now = int(time.time() * 1000)
                temperature, humidity = (float(v[0]) for v in figures(sent % self._sensors, np.array([now // MINUTE])))
                payload = {"temperature": temperature, "humidity": humidity, "time": now}
                self._client.publish(stream_of(sent % self._sensors), json.dumps(payload), 1)
                sent += 1
            self.rounds = sent / self._sensors


def most_memory(home: Path, speaking: Speaking, daemon: ToldDaemon) -> tuple[float, str]:
    """The most memory in two rounds, once everything has been done that the daemon does; and what that was. [MB]"""
    ends: dict[str, set[int | None]] = {name: set() for name in ("judge", "look", "seal")}
    with open_desk(home) as desk:

        def done() -> bool:
            time.sleep(0.5)
            for run_ in desk.store.scheduled():
                if run_.name in ends and run_.ended is not None:
                    ends[run_.name].add(run_.ended)
            judged = min(len(ends["judge"]), len(ends["look"])) >= _ROUNDS
            return speaking.rounds >= 2 and judged and desk.store.last_closed() is not None and bool(ends["seal"])

        soon(done, _LONG, "every job is judged, and the days are sealed")
        until, seen = speaking.rounds + 2, [daemon.memory()]
        while speaking.rounds < until:
            done()
            seen.append(daemon.memory())
        leaves = desk.store.newest_head()
        judged = f"judged {len(ends['judge'])} times, looked at {len(ends['look'])} times"
        return max(seen), f"{speaking.rounds:.0f} rounds heard, {judged}, {leaves.size if leaves else 0} leaves sealed"


def imports_alone(home: Path, imported: Path) -> float:
    """What the yardstick takes: see the module's text. [MB]"""
    command = [sys.executable, "-c", _IMPORT, str(imported), str(home)]
    environ = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}  # as the command sets it
    return int(subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True, env=environ).stdout) * 1024 / 1e6


def started(daemon: Daemon) -> float:
    """How long a start takes; the daemon is killed then. [s]"""
    begin = time.perf_counter()
    daemon.start()
    try:
        daemon.wait_for("started")
        spent = time.perf_counter() - begin
        daemon.wait_for("backlog_over")
    finally:
        daemon.kill()
    return spent


# --- the rows ---------------------------------------------------------------------------------------------------------


def rows(jobs: int = JOBS, sensors: int = SENSORS, minutes: int = MINUTES) -> Iterator[yard.Row]:
    """Two rows: memory, and the start."""
    with tempfile.TemporaryDirectory() as folder:
        broker = Mosquitto(Path(folder) / "broker")
        broker.start()
        try:
            full, empty = (Path(folder) / name for name in ("full", "empty"))
            for home in (full, empty):
                home.mkdir()
                (home / "wallclime.toml").write_text(_SETTINGS.format(broker.port) + STAMPED, "utf-8")
            with open_desk(empty):
                pass
            filled(full, jobs, sensors, minutes)
            yield _memory(full, empty, broker.port, jobs, sensors)
            yield _start(full, empty, sensors * minutes * 2)
        finally:
            broker.stop()


def _memory(full: Path, empty: Path, port: int, jobs: int, sensors: int) -> yard.Row:
    daemon = ToldDaemon(full)
    daemon.start(until="backlog_over")
    try:
        with Speaking(port, sensors) as speaking:
            most, said = most_memory(full, speaking, daemon)
        daemon.tell_imports()
    finally:
        daemon.kill()
    least = statistics.median(imports_alone(empty, daemon.imported) for _ in range(3))
    what = f"memory of the daemon, {jobs} jobs, {sensors} sensors a minute"
    return yard.Row(what, "its imports and an empty store", most - least, MORE_MB, "MB more",
                    said=f"{most:.1f} MB against {least:.1f} MB; {said}")  # fmt: skip


def _start(full: Path, empty: Path, readings: int) -> yard.Row:
    ways: list[Callable[[], float]] = [partial(started, Daemon(home)) for home in (full, empty)]
    spent = [[way() for way in ways] for _ in range(yard.RUNS + 1)][1:]
    with_all, with_none = (statistics.median(one) for one in zip(*spent, strict=True))
    return yard.Row(f"start after kill -9 with {readings / 1e6:g} million readings", "start with an empty store",
                    with_all - with_none, MORE_S, "s more",
                    said=f"{with_all:.2f} s against {with_none:.2f} s, exec to started")  # fmt: skip


if __name__ == "__main__":
    sys.exit(yard.main(__doc__, rows))
