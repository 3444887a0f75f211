"""What a fault strikes: a real broker, a bad network, the real daemon with its store, and a numbered stream.

Message n speaks of the instant n ms after the stream's first, its figures follow from n, and it goes to one of three
sensors. So every kept reading says which message it is, and a message is kept once or not at all: a second copy of it
would be another reading of the same channel and time, or another time.
"""

from __future__ import annotations

import contextlib
import io
import json
import random
import sqlite3
import subprocess
import sys
import threading
import time
from collections import Counter, deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from mqtt_proxy import Proxy
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from processes import Daemon, Mosquitto
from processes import publish as published

from cli.main import run
from monitor.basis.clock import SystemClock
from monitor.basis.errors import WallclimeError
from monitor.basis.times import DAY, rfc3339
from monitor.basis.values import AIR, BACK_FILL, SENSORS_CHAIN, Kind, Reading
from monitor.keep.store import open_copy
from monitor.seal import chain
from monitor.watch.desk import Desk, open_desk
from monitor.watch.judging import assess

JOB, WHO = "den wall", "faults"
SENSORS = tuple(f"den-{n}" for n in range(3))  # of the job; a stream may have more
_BEAT = 0.01  # between two handfuls of messages [s]
_MIXED = 200  # messages that are shuffled together
_SETTLED = 45.0  # nothing more comes after so long: the daemon waits up to 30 s before it tries again [s]


def message(first: int, number: int, sensors: int = len(SENSORS), apart: int = 0) -> tuple[str, bytes]:
    """Topic and payload of a message, of one of so many sensors; those of the job speak once in `apart` messages."""
    temperature, humidity = figures(number)
    payload = {"temperature": temperature, "humidity": humidity, "time": first + number}
    sensor = number % sensors
    if apart and (sensor := number % apart) >= len(SENSORS):
        sensor = len(SENSORS) + number % (sensors - len(SENSORS))
    return f"site/den-{sensor}/climate", json.dumps(payload).encode()


def figures(number: int) -> tuple[float, float]:
    """Temperature and humidity of a message. [degC, %RH]"""
    return 15 + number % 1_000 / 100, 40 + number % 997 / 100


class Stream:
    """Publishes numbered messages with QoS 1, `rate` a second, straight to the broker, until it is stopped.

    `sent` are the numbers that the broker has acknowledged. While `mixed`, messages go out in disorder and every third
    of them twice. With `apart`, the job's sensors speak once in so many messages, and the others share the rest.
    """

    def __init__(self, port: int, rate: int, draw: random.Random, sensors: int = len(SENSORS), apart: int = 0) -> None:
        self.sensors, self._apart = sensors, apart
        self.first = int(time.time() * 1000) - DAY
        self.sent: set[int] = set()
        self.mixed = False
        self._rate, self._draw, self._next = rate, draw, 0
        self._open: dict[int, int] = {}  # message id -> number
        self._acknowledged: deque[int] = deque()  # message ids, as paho's thread hears of them
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="stream", clean_session=False)
        self._client.reconnect_delay_set(0.1, 0.5)  # type: ignore[arg-type]
        self._client.max_inflight_messages_set(200)
        self._client.on_publish = lambda _client, _data, mid, _reason, _properties: self._acknowledged.append(mid)
        self._client.connect("127.0.0.1", port)

    def start(self) -> None:
        self._client.loop_start()
        self._thread.start()

    def stop(self) -> None:
        """Publish no more; returns when the broker has acknowledged all of it."""
        self._stop.set()
        self._thread.join()
        end = time.monotonic() + 30
        while self._open and time.monotonic() < end:
            time.sleep(0.02)
            self._tick_off()
        self._client.disconnect()
        self._client.loop_stop()
        assert not self._open, f"the broker did not take {len(self._open)} messages"

    def message(self, number: int) -> tuple[str, bytes]:
        """Topic and payload of one of its messages."""
        return message(self.first, number, self.sensors, self._apart)

    def _run(self) -> None:
        began = time.monotonic()
        while not self._stop.wait(_BEAT):
            due = int((time.monotonic() - began) * self._rate)
            while self._next < due:
                for number in self._handful(due):
                    self._open[self._client.publish(*self.message(number), 1).mid] = number
            self._tick_off()

    def _handful(self, due: int) -> Iterable[int]:
        """The next numbers: those that are due, or some more, in disorder and partly doubled."""
        numbers = list(range(self._next, self._next + _MIXED if self.mixed else due))
        self._next = numbers[-1] + 1
        if self.mixed:
            numbers += numbers[::3]
            self._draw.shuffle(numbers)
        return numbers

    def _tick_off(self) -> None:
        while self._acknowledged:
            self.sent.add(self._open.pop(self._acknowledged.popleft()))


class MovedDaemon(Daemon):
    """The daemon by a clock that a fault can set: off by the milliseconds in the file `clock`."""

    def __init__(self, home: Path, clock: Path, log: str = "daemon.log") -> None:
        super().__init__(home)
        clock.write_text("0", encoding="ascii")
        self._command = [sys.executable, str(Path(__file__).with_name("fault_clock.py")), str(clock)]
        self._command += ["--home", str(home), "serve"]
        self._log = home.parent / log

    def ended(self) -> int:
        """Its exit status; waits for its end."""
        assert self._process is not None
        code = self._process.wait(120)
        self._process = None
        return code

    def rss(self) -> int:
        """What it holds in memory. [bytes]"""
        assert self._process is not None
        status = Path(f"/proc/{self._process.pid}/status").read_text(encoding="ascii")
        return next(int(line.split()[1]) * 1024 for line in status.splitlines() if line.startswith("VmRSS"))

    def files(self) -> int:
        """How many files it holds open."""
        assert self._process is not None
        return len(list(Path(f"/proc/{self._process.pid}/fd").iterdir()))


@dataclass(frozen=True)
class Scene:
    """All that a fault can strike; how long it may take [s], and how often it strikes where it strikes often."""

    home: Path
    broker: Mosquitto
    proxy: Proxy
    daemon: MovedDaemon
    clock: Path
    stream: Stream
    draw: random.Random
    seconds: float
    times: int
    notes: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)

    def wait(self, seconds: float) -> None:
        time.sleep(seconds)

    def said(self) -> str:
        """All that the daemons have logged."""
        return "\n".join(log.read_text(encoding="utf-8") for log in self.home.parent.glob("*.log"))

    def wait_for(self, text: str) -> None:
        """Wait until a daemon has logged it, a minute at most."""
        end = time.monotonic() + 60
        while text not in self.said() and time.monotonic() < end:
            time.sleep(0.2)

    def note(self, text: str) -> None:
        """Write a remark into the condition log while the daemon is struck."""
        command(self.home, "log", "note", JOB, text, "--who", WHO)
        self.notes.append(text)

    def another_daemon(self) -> Daemon:
        """A second one in the same home."""
        return MovedDaemon(self.home, self.clock, "another.log")

    def publish(self, messages: list[tuple[str, bytes]]) -> None:
        """Messages beside the stream, which the broker has taken when this returns."""
        published(self.broker.port, messages)

    def ends_with(self, code: int) -> Iterator[str]:
        """Complain if the daemon does not end by itself with this exit status."""
        found = self.daemon.ended()
        if found != code:
            yield f"the daemon ended with {found}, not with {code}"

    @contextlib.contextmanager
    def watched_memory(self, most: int) -> Iterator[None]:
        """Complain if the daemon holds `most` [bytes] more at the end than at the beginning."""
        before = self.daemon.rss()
        yield
        more = self.daemon.rss() - before
        if more > most:
            self.complaints.append(f"the daemon holds {more / 2**20:.0f} MiB more than before")

    def settle(self) -> None:
        """Wait until the daemon has acknowledged what the broker took, or nothing more comes."""
        wanted = {self.stream.message(number)[1] for number in self.stream.sent}
        seen, since = -1, time.monotonic()
        while wanted - self.proxy.minutes.acknowledged.keys() and time.monotonic() - since < _SETTLED:
            if (now := self.proxy.minutes.acknowledged.total()) != seen:
                seen, since = now, time.monotonic()
            time.sleep(0.1)


@contextlib.contextmanager
def filled(folder: Path) -> Iterator[None]:
    """The disk of `folder` without room."""
    filler = folder / "filler"
    try:
        with contextlib.suppress(OSError), filler.open("wb", buffering=0) as file:
            while file.write(bytes(65_536)):
                pass
        with contextlib.suppress(OSError), filler.open("ab", buffering=0) as file:
            while file.write(bytes(512)):
                pass
        yield
    finally:
        filler.unlink(missing_ok=True)


@contextlib.contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """The disk that is mounted at `folder`, on which no file is open, for reading only."""
    subprocess.run(["mount", "-o", "remount,ro", folder], check=True)
    try:
        yield
    finally:
        subprocess.run(["mount", "-o", "remount,rw", folder], check=True)


@contextlib.contextmanager
def own_disk(folder: Path) -> Iterator[None]:
    """A disk of 64 MiB at `folder`, in a mount namespace of our own."""
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64m", "none", folder], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "--lazy", folder], check=True)


def store_is_sound(folder: Path) -> Iterator[str]:
    """What is wrong with a copy of a store: nothing, though it may end earlier than the store it was made of."""
    with contextlib.closing(sqlite3.connect(folder / "wallclime.db")) as copy:
        copy.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        copy.execute("PRAGMA journal_mode = DELETE")
    try:
        store = open_copy(folder / "wallclime.db", clock=SystemClock(), link=chain.link)
        assert store is not None
        with store:
            yield from store.damage()
            yield from (str(fault) for name in store.chains() for fault in chain.faults(store.entries(name)))
    except WallclimeError as exc:
        yield f"a torn copy can't be opened: {exc}"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of the numbered messages.

    `sent` the broker has acknowledged to the sender, `acknowledged` the daemon to the broker. `lost` were acknowledged
    by the daemon and are not kept; `never_came` were sent, and neither acknowledged by the daemon nor kept, which is a
    fault unless the broker is `forgetful`. `same`: the Assessment is that of a store that never met a fault. `shared`
    is that of the proxy's minutes.
    """

    fault: str
    sent: int
    handed: int
    acknowledged: int
    kept: int
    lost: list[int]
    never_came: list[int]
    doubled: list[int]
    wrong: list[str]
    log_whole: bool
    same: bool
    forgetful: bool
    shared: int

    @property
    def good(self) -> bool:
        missing = [] if self.forgetful else self.never_came
        return self.log_whole and self.same and not (self.lost or missing or self.doubled or self.wrong)


def command(home: Path, *args: str) -> None:
    """Run a command of wallclime in this process."""
    told = io.StringIO()
    with contextlib.redirect_stdout(told), contextlib.redirect_stderr(told), pytest.raises(SystemExit) as ended:
        run(["--home", str(home), *args])
    assert ended.value.code == 0, told.getvalue()


def build(home: Path, first: int) -> None:
    """A job whose three sensors stand beside the boxes since before the stream's first message."""
    ago, who = rfc3339(first - DAY), ("--who", WHO)
    command(home, "job", "open", JOB, "--zone", "UTC", "--length", "4.2 m", "--height", "2.4 m", *who)
    command(home, "log", "deliver", JOB, "--at", ago, "--boxes", "12", *who)
    for name in SENSORS:
        command(home, "sensor", "add", name, "--topic", f"site/{name}/climate", "--hold", "1 min", *who)
        command(home, "sensor", "assign", name, "--job", JOB, "--at", ago, *who)


def outcome(
    fault: str,
    scene: Scene,
    *,
    forgetful: bool = False,
    refuses: frozenset[str] = frozenset(),
    says: Iterable[str] = (),
) -> Outcome:
    """Hold what is kept against what was sent and acknowledged. The daemon must have ended."""
    first, sent, minutes = scene.stream.first, scene.stream.sent, scene.proxy.minutes
    payloads = {scene.stream.message(number)[1]: number for number in sent}
    acknowledged = {payloads[payload] for payload in minutes.acknowledged if payload in payloads}
    kept, doubled = _kept(scene, first)
    missing = sent - kept
    return Outcome(
        fault=fault,
        sent=len(sent),
        handed=sum(minutes.handed[payload] for payload in payloads),
        acknowledged=len(acknowledged),
        kept=len(kept),
        lost=sorted(missing & acknowledged),
        never_came=sorted(missing - acknowledged),
        doubled=doubled,
        wrong=[*scene.complaints, *_wrong(scene, kept - sent, refuses), *_unsaid(scene, says)],
        log_whole=_log_whole(scene),
        same=_same(scene, kept),
        forgetful=forgetful,
        shared=minutes.shared,
    )


def _unsaid(scene: Scene, says: Iterable[str]) -> Iterator[str]:
    """What the daemon should have said in its log, or in the condition log, and did not."""
    with open_desk(scene.home) as desk:
        entries = [f"{entry.kind.value} {entry.body}" for entry in desk.store.entries(SENSORS_CHAIN)]
    said = "\n".join([scene.said(), *entries])
    yield from (f"the daemon never said {text!r}" for text in says if text not in said)


def _same(scene: Scene, kept: set[int]) -> bool:
    """Whether the job is judged as in a store that was given the same messages and never met a fault."""
    first = scene.stream.first
    at = first + max(kept, default=0) + 1
    quiet = scene.home.parent / "quiet"
    build(quiet, first)
    with open_desk(quiet) as desk:
        desk.store.keep_readings([reading for number in sorted(kept) for reading in readings(scene.stream, number)], [])
        fault_free = _judged(desk, at)
    with open_desk(scene.home) as desk:
        return _judged(desk, at) == fault_free == _judged(desk, at, recompute=True)


def _judged(desk: Desk, at: int, *, recompute: bool = False) -> dict[str, object]:
    return assess(desk, JOB, at=at, recompute=recompute).to_json()


def readings(stream: Stream, number: int) -> list[Reading]:
    """What a message becomes."""
    topic, at = stream.message(number)[0], stream.first + number
    return [
        Reading(topic, quantity, at, value, unit, at, BACK_FILL)
        for quantity, value, unit in zip(AIR, figures(number), ("degC", "%"), strict=True)
    ]


def _kept(scene: Scene, first: int) -> tuple[set[int], list[int]]:
    """The numbers of which both readings are kept with their own figures; and those that are kept more than once."""
    found: list[Counter[int]] = [Counter(), Counter()]
    with open_desk(scene.home) as desk:
        for sensor in range(scene.stream.sensors):
            for place, quantity in enumerate(AIR):
                series = desk.store.series(f"site/den-{sensor}/climate", quantity)
                for t, value in zip(series.t.tolist(), series.value.tolist(), strict=True):
                    if figures(t - first)[place] == value:
                        found[place][t - first] += 1
    return found[0].keys() & found[1].keys(), sorted(n for one in found for n, times in one.items() if times > 1)


def _wrong(scene: Scene, strange: set[int], refuses: frozenset[str]) -> Iterator[str]:
    """Whatever else should not be."""
    if strange:
        yield f"{len(strange)} messages are kept that nobody sent"
    if scene.proxy.minutes.unknown:
        yield f"{scene.proxy.minutes.unknown} acknowledgements of messages that were not handed over on that link"
    with open_desk(scene.home) as desk:
        for (topic, reason), count in desk.store.quarantine_counts().items():
            if reason not in refuses:
                yield f"{count} messages of {topic} are in quarantine: {reason}"


def _log_whole(scene: Scene) -> bool:
    """Every chain of the condition log hangs together, and each remark is in it, in order."""
    with open_desk(scene.home) as desk:
        faults = [fault for name in desk.store.chains() for fault in chain.faults(desk.store.entries(name))]
        remarks = [entry.body["text"] for entry in desk.store.entries(JOB) if entry.kind is Kind.NOTE]
    return not faults and remarks == scene.notes
