"""Records: the leaves of the tree. Each is one canonical JSON text that says what was sealed.

Every record belongs to a *thread*: one sensor, the log of one job (or of the sensors), or the recorder itself. It names
the leaf before it in its thread, so that of the records shown none between two can be left out unseen. `salt`, 16
random bytes in hex, keeps a record that is not shown from being guessed by its hash.

    segment     sensor    a UTC day of its readings: hash and length of the canonical segment, and of each channel's own
    amendment   sensor    readings that came after their day was sealed, why, and the leaf of the day that they amend
    gap         sensor    it said nothing from start to end
    log head    log       the last entry of a chain: number and link
    absence     recorder  the recorder was not running from start to end
    clock step  recorder  the computer's clock was put forward or back
    quarantine  recorder  what was refused on a UTC day: how many things, and the root of the tree over them
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import Any, NamedTuple

from monitor.basis.segment import Segment, content_hash, encode, ms_of_day, only
from monitor.basis.times import rfc3339
from monitor.seal.canonical import bytes_of_hex, text_of, value_of
from monitor.seal.merkle import Tree, leaf_hash

Record = dict[str, Any]

SEGMENT, AMENDMENT, GAP = "segment", "amendment", "gap"
LOG_HEAD, ABSENCE, CLOCK_STEP, QUARANTINE = "log head", "absence", "clock step", "quarantine"
SALT = 16  # [bytes]

_COMMON = {"record": str, "previous": int | None, "salt": str}
_READINGS = {"stream": str, "day": str, "sha256": str, "bytes": int, "readings": int, "channels": dict}
_FIELDS: dict[str, dict[str, Any]] = {
    SEGMENT: _READINGS,
    AMENDMENT: {**_READINGS, "reason": str, "amends": int | None},
    GAP: {"stream": str, "start": int, "end": int},
    LOG_HEAD: {"chain": str, "number": int, "link": str},
    ABSENCE: {"start": int, "end": int},
    CLOCK_STEP: {"at": int, "by": int},
    QUARANTINE: {"day": str, "items": int, "root": str},
}


class Thread(NamedTuple):
    """What a record belongs to: "sensor" and its stream, "log" and the chain's name, or "recorder" and ""."""

    kind: str
    name: str


class Refusal(NamedTuple):
    """A thing in quarantine, as it is sealed: times in UTC ms, `raw` as it came."""

    topic: str
    reason: str
    detail: str
    quantity: str | None
    t: int | None
    first_arrival: int
    raw: bytes


def thread_of(record: Record) -> Thread:
    """The thread of a record."""
    if "stream" in record:
        return Thread("sensor", record["stream"])
    return Thread("log", record["chain"]) if "chain" in record else Thread("recorder", "")


def segment_record(segment: Segment, *, previous: int | None, salt: bytes) -> Record:
    """A day of readings. `previous` is the leaf before it in the thread (None: the first), `salt` 16 random bytes."""
    return _of_readings(SEGMENT, segment, previous, salt)


def amendment_record(segment: Segment, *, reason: str, amends: int | None, previous: int | None, salt: bytes) -> Record:
    """Late readings of a sealed day; `amends` is the leaf of its segment (None: the day had no readings then)."""
    return {**_of_readings(AMENDMENT, segment, previous, salt), "reason": reason, "amends": amends}


def _of_readings(kind: str, segment: Segment, previous: int | None, salt: bytes) -> Record:
    data = encode(segment)
    channels = {}
    for quantity in sorted({column.quantity for column in segment.columns if len(column.t)}):
        alone = only(segment, quantity)
        channels[quantity.value] = {"sha256": content_hash(encode(alone)).hex(), "readings": len(alone)}
    return {
        "record": kind,
        "previous": previous,
        "salt": salt.hex(),
        "stream": segment.stream,
        "day": rfc3339(segment.day)[:10],
        "sha256": content_hash(data).hex(),
        "bytes": len(data),
        "readings": len(segment),
        "channels": channels,
    }


def gap_record(stream: str, start: int, end: int, *, previous: int | None, salt: bytes) -> Record:
    """A silence of one sensor. [ms]"""
    return {"record": GAP, "previous": previous, "salt": salt.hex(), "stream": stream, "start": start, "end": end}


def absence_record(start: int, end: int, *, previous: int | None, salt: bytes) -> Record:
    """A time when the recorder was not running. [ms]"""
    return {"record": ABSENCE, "previous": previous, "salt": salt.hex(), "start": start, "end": end}


def clock_step_record(at: int, by: int, *, previous: int | None, salt: bytes) -> Record:
    """A step of the computer's clock: seen at `at`, `by` forwards (back below zero). [ms]"""
    return {"record": CLOCK_STEP, "previous": previous, "salt": salt.hex(), "at": at, "by": by}


def log_head_record(chain: str, number: int, link: bytes, *, previous: int | None, salt: bytes) -> Record:
    """Where the log of `chain` stood: its last entry."""
    return {
        "record": LOG_HEAD,
        "previous": previous,
        "salt": salt.hex(),
        "chain": chain,
        "number": number,
        "link": link.hex(),
    }


def quarantine_record(day: int, refused: Iterable[Refusal], *, previous: int | None, salt: bytes) -> Record:
    """What was refused on the day that begins at `day`; see `quarantine_tree` for the root."""
    tree = quarantine_tree(refused)
    return {
        "record": QUARANTINE,
        "previous": previous,
        "salt": salt.hex(),
        "day": rfc3339(day)[:10],
        "items": len(tree),
        "root": tree.root(len(tree)).hex(),
    }


def refusal_text(one: Refusal) -> str:
    """A refused thing as a leaf: all but its bytes, and their SHA-256, in canonical JSON."""
    said = {**one._asdict(), "raw": hashlib.sha256(one.raw).hexdigest()}
    return text_of(said)


def in_order(refused: Iterable[Refusal]) -> list[Refusal]:
    """Refused things in the order of their leaves: that of their texts as bytes."""
    return sorted(refused, key=lambda one: refusal_text(one).encode())


def quarantine_tree(refused: Iterable[Refusal]) -> Tree:
    """The tree over the refused things of a day, in order of their texts."""
    return Tree(leaf_hash(refusal_text(one).encode()) for one in in_order(refused))


def leaf_text(record: Record) -> str:
    """The leaf that a record is: its canonical text, which is hashed as RFC 9162 says."""
    return text_of(record)


def read_record(text: str) -> Record:
    """The record of a leaf. Raises ValueError for what is none."""
    record: Any = value_of(text)
    fields = _FIELDS.get(str(record.get("record"))) if isinstance(record, dict) else None
    if fields is None or set(record) != {*_COMMON, *fields}:
        raise ValueError("a record of a kind that there is not")
    for name, kind in {**_COMMON, **fields}.items():
        if not isinstance(record[name], kind) or isinstance(record[name], bool):
            raise ValueError(f"a record whose {name} can't be read")
    for name in ("sha256", "link", "root"):
        bytes_of_hex(record.get(name, "00" * 32), 32)
    for channel in record.get("channels", {}).values():
        if not isinstance(channel, dict) or set(channel) != {"sha256", "readings"}:
            raise ValueError("a record whose channels can't be read")
        bytes_of_hex(channel["sha256"], 32)
    if "day" in record:
        ms_of_day(record["day"])
    return dict(record)
