"""Makes the kept store of the newest schema: NUMBER.sql beside this file, an SQLite text dump.

Run it once when a schema is new, before the next one is begun, and commit what it wrote:

    python tests/keep/kept/make_kept.py

All in it is invented. A second run differs in the salts and links of the log, which are random; so a dump that stands
here is never made anew. The tests open every one of them.
"""

from __future__ import annotations

import sqlite3
import tempfile
from pathlib import Path

from monitor.basis.alarm import Alarm, Message, Priority, Standing
from monitor.basis.clock import SetClock
from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import LIVE, SENSORS_CHAIN, Draft, Kind, Origin, OriginKind, Quantity, Reading, Refused
from monitor.keep.rows import Checkpoint, Doing, HeadRow, KeyRow, Leaf, Scheduled, Stale
from monitor.keep.schema import VERSIONS
from monitor.keep.store import Store, open_store
from monitor.seal.chain import link

T = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
DAY_ONE = Checkpoint(T + DAY, T, T + DAY, ("home/hall",), 1, b"f", b"b4", b"after", b"\x00s", b"p")
LEAF = Leaf(0, "a leaf", "sensor", "home/hall", "segment", T)
HEAD = HeadRow(1, 1, "a head", b"s" * 64, T + DAY, b"f" * 32, T, "hall")
ALARM = Alarm(
    "0123456789", "too dry", "hall", "hall", T, T + 1, Standing.UNACKNOWLEDGED, Priority.HIGH, {"value": 31.5}
)
MESSAGES = [
    Message(name, "ben", "alarm", "too dry", "déjà vu", {"job": "hall"}, T, T, T + 2 * DAY, (ALARM.id,), ("hall",))
    for name in ("waits", "was told", "was given up")
]
FILE = Origin(OriginKind.FILE, "5e" * 32)


def reading(t: int, value: float, quantity: Quantity, unit: str, stream: str = "home/hall", origin: Origin = LIVE):
    return Reading(stream, quantity, T + t, value, unit, T + t + 250, origin)


def fill(store: Store) -> None:
    humid = [reading(i * MINUTE, 44.5 + i, Quantity.AIR_HUMIDITY, "%") for i in range(5)]
    warm = [reading(i * MINUTE, 68.0 + i, Quantity.AIR_TEMPERATURE, "degF") for i in range(5)]
    logger = [reading(i * MINUTE, 0.45, Quantity.AIR_HUMIDITY, "1", "file:logger", FILE) for i in range(3)]
    store.keep_readings(humid + warm)
    store.settle_dirty([mark.id for mark in store.dirty()], [Stale("hall", "home/hall", T, T)])
    store.keep_readings([*logger, reading(0, 99.0, Quantity.AIR_HUMIDITY, "%")])
    store.keep_readings([], [Refused("home/hall", "unreadable", "no number", b"\x00\xff", T)] * 2)
    store.keep_readings([], [Refused("home/attic", "unreadable", "no number", b"x", T - 2 * DAY)])
    store.prune_quarantine(max_bytes=1_000_000, max_age=2 * DAY)
    store.name_sensor("home/hall", "hall sensor")
    store.append(SENSORS_CHAIN, [Draft(Kind.SENSOR, T, "Ada", {"name": "hall sensor", "hold_ms": 30 * MINUTE})])
    store.append("hall", [Draft(Kind.JOB, T, "Ada", {"zone": "UTC", "length_m": 4.8768})], new=True)
    store.append("hall", [Draft(Kind.NOTE, T, "Ben", {"text": "déjà\nvu"}), Draft(Kind.CORRECTION, T, "Ben", {}, 2)])
    store.put_checkpoints("hall", "own", [DAY_ONE], generation=1)
    store.keep_attachment(b"\x00invented\xff", "image/jpeg")
    store.append_head(HEAD, [LEAF], contents={0: b"\x00packed"}, settled=[], statement=KeyRow("said", b"n" * 64, b""))
    store.record_alarms([], [ALARM], MESSAGES)
    store.outbox_sent("was told", T + 5)
    store.outbox_failed("was given up", T + 6, "no answer", None)
    store.put_scheduled([Scheduled("tidy", Doing.FAILED, T, None, T + 7, "away", T + 60_000, "every 1 min")])
    store.claim_period("digest", "2026-01-05", T, DAY)
    store.keep_timestamp("ab" * 32, b"\x30answer")


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "store.db"
        with open_store(f"sqlite:///{path}", clock=SetClock(T + DAY), link=link) as store:
            fill(store)
        database = sqlite3.connect(path)
        dump = "\n".join(database.iterdump()) + "\n"
        database.close()
    Path(__file__).with_name(f"{VERSIONS[-1]}.sql").write_text(dump, encoding="utf-8")


if __name__ == "__main__":
    main()
