"""The faults by name: what strikes, and what may come of it."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from fault_scene import Scene, filled, read_only, store_is_sound

from monitor.basis.times import HOUR

_STRANGERS = 100_000  # topics that nobody knows
_HUGE = 2_000_000  # [bytes]
_TWICE = "another client seems to use the id"


@dataclass(frozen=True)
class Fault:
    """What strikes the scene; `says`: the daemon's log, or the condition log, must have a line with each of these.

    `broker` are its settings. `forgetful`: it may lose what it has acknowledged to the sender, and only that.
    `refuses` are the reasons for which messages that are not of the stream may be in quarantine. `own_disk`: the home
    lies on a small disk of its own, which needs a mount namespace. `often`: how many times it strikes in a long run.
    """

    strike: Callable[[Scene], None]
    says: tuple[str, ...] = ()
    broker: Mapping[str, object] = field(default_factory=lambda: {"persistence": "true"})
    forgetful: bool = False
    refuses: frozenset[str] = frozenset()
    own_disk: bool = False
    often: int = 5


def daemon_killed(scene: Scene) -> None:
    """SIGKILL at any moment, in its start too, and a new start at once."""
    for number in range(scene.times):
        scene.wait(scene.draw.uniform(0, 2 * scene.seconds / scene.times))
        scene.daemon.kill()
        scene.note(f"killed for the {number + 1}. time")
        scene.daemon.start()


def network_cut(scene: Scene) -> None:
    """Every link is broken, and each new one, for a while; four times."""
    for number in range(4):
        scene.wait(scene.seconds / 8)
        scene.proxy.cut()
        scene.note(f"cut for the {number + 1}. time")
        scene.wait(scene.draw.uniform(0, scene.seconds / 8))
        scene.proxy.mend()


def network_slow(scene: Scene) -> None:
    """200 ms each way and 50 kB/s, less than what is sent."""
    scene.proxy.slow(0.2, 50_000)
    scene.note("slow")
    scene.wait(scene.seconds)
    scene.proxy.mend()


def duplicates_and_reordering(scene: Scene) -> None:
    """Messages come in disorder, every third of them twice."""
    scene.stream.mixed = True
    scene.note("mixed")
    scene.wait(scene.seconds)
    scene.stream.mixed = False


def broker_restarted(scene: Scene) -> None:
    """A broker is stopped and started again and again."""
    for number in range(scene.times):
        scene.wait(scene.seconds / scene.times)
        scene.broker.stop()
        scene.note(f"broker stopped for the {number + 1}. time")
        scene.broker.start()


def broker_killed(scene: Scene) -> None:
    """SIGKILL of the broker, and a new start."""
    for number in range(scene.times):
        scene.wait(scene.seconds / scene.times)
        scene.broker.stop(at_once=True)
        scene.note(f"broker killed for the {number + 1}. time")
        scene.broker.start()


def disk_full(scene: Scene) -> None:
    """The disk of the home is full, for a while, again and again."""
    for number in range(scene.times):
        scene.wait(scene.seconds / scene.times / 2)
        with filled(scene.home):
            scene.wait(scene.seconds / scene.times / 2)
        scene.note(f"full for the {number + 1}. time")


def store_read_only(scene: Scene) -> None:
    """The disk of the home can only be read when the daemon starts: it says so and ends; started again, it is well."""
    scene.wait(scene.seconds / 4)
    scene.daemon.kill()
    with read_only(scene.home):
        scene.daemon.start()
        scene.complaints.extend(scene.ends_with(3))
    scene.note("was read-only")
    scene.daemon.start()
    scene.wait(scene.seconds / 4)


def store_locked(scene: Scene) -> None:
    """Another process holds the store, longer than the daemon waits for it."""
    scene.wait(scene.seconds / 4)
    other = sqlite3.connect(scene.home / "wallclime.db", isolation_level=None)
    try:
        other.execute("BEGIN IMMEDIATE")
        scene.wait(12)
        other.execute("ROLLBACK")
    finally:
        other.close()
    scene.note("was locked")
    scene.wait(scene.seconds / 4)


def clock_stepped(scene: Scene) -> None:
    """The computer's clock is an hour ahead for a while, then an hour behind, then right again."""
    for by in (HOUR, -HOUR, 0):
        scene.wait(scene.seconds / 4)
        scene.clock.write_text(str(by), encoding="ascii")
        scene.wait(2.5)  # the daemon looks at it
    scene.note("the clock is right again")
    scene.wait(scene.seconds / 4)


def two_daemons(scene: Scene) -> None:
    """A second daemon on the same store, with the same client id: each takes the broker from the other."""
    other = scene.another_daemon()
    other.start()
    try:
        scene.wait(scene.seconds)
        scene.wait_for(_TWICE)
    finally:
        other.kill()
    scene.note("one of the two was killed")


def torn_copy(scene: Scene) -> None:
    """The store's files are copied while it runs, the write-ahead log cut anywhere, as a bad backup would."""
    for number in range(scene.times):
        scene.wait(scene.seconds / scene.times)
        copy = scene.home.parent / f"copy-{number}"
        copy.mkdir()
        for file in scene.home.glob("wallclime.db*"):
            if file.suffix != ".db-shm":
                shutil.copy(file, copy)
        wal = copy / "wallclime.db-wal"
        with wal.open("r+b") as torn:
            torn.truncate(scene.draw.randrange(wal.stat().st_size + 1))
        scene.note(f"copied for the {number + 1}. time")
        scene.complaints.extend(store_is_sound(copy))


def huge_payloads(scene: Scene) -> None:
    """Messages of 2 MB on a sensor's own topic."""
    with scene.watched_memory(200 * 2**20):
        for number in range(20):
            scene.publish([("site/den-0/climate", bytes([number]) * _HUGE)])
            scene.wait(scene.seconds / 20)
    scene.note("20 huge messages")


def strange_topics(scene: Scene) -> None:
    """A message on each of 100,000 topics that nobody knows."""
    payload = b'{"temperature": 20.5, "humidity": 45.0, "time": %d}' % scene.stream.first
    with scene.watched_memory(200 * 2**20):
        for start in range(0, _STRANGERS, 5_000):
            scene.publish([(f"site/stranger-{number}/climate", payload) for number in range(start, start + 5_000)])
    scene.note("100,000 topics")


def flooding_sensor(scene: Scene) -> None:
    """One sensor that sends as fast as it can."""
    with scene.watched_memory(200 * 2**20):
        for second in range(max(1, int(scene.seconds))):
            scene.publish(
                [
                    (
                        "site/flood/climate",
                        b'{"temperature": 20.5, "humidity": 45.0, "time": %d}' % (scene.stream.first + at),
                    )
                    for at in range(second * 10_000, second * 10_000 + 10_000)
                ]
            )
    scene.note("flooded")


_SAVED = {"persistence": "true", "autosave_interval": 1}

FAULTS: dict[str, Fault] = {
    "daemon-killed": Fault(daemon_killed, often=100),
    "network-cut": Fault(network_cut, ("the link ended",)),
    "network-slow": Fault(network_slow),
    "duplicates-and-reordering": Fault(duplicates_and_reordering),
    "broker-restarted": Fault(broker_restarted, ("the link ended",), often=20),
    "broker-killed": Fault(broker_killed, ("the link ended",), _SAVED, forgetful=True),
    "broker-forgets": Fault(broker_killed, ("the link ended",), {"persistence": "false"}, forgetful=True),
    "disk-full": Fault(disk_full, ("not_kept", "is full", "kept_again"), own_disk=True, often=10),
    "store-read-only": Fault(store_read_only, ("read-only",), own_disk=True),
    "store-locked": Fault(store_locked, ("not_kept", "locked", "kept_again")),
    "clock-stepped": Fault(clock_stepped, ("clock stepped", "clock step")),
    "two-daemons": Fault(two_daemons, (_TWICE,)),
    "torn-copy": Fault(torn_copy),
    "huge-payloads": Fault(huge_payloads, ("too-large",), refuses=frozenset({"too-large"})),
    "strange-topics": Fault(strange_topics, ("too-many-topics",), refuses=frozenset({"too-many-topics"})),
    "flooding-sensor": Fault(flooding_sensor),
}
