"""What the store answers and takes, beyond the nouns of `basis`. Times are UTC ms."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, NamedTuple

from monitor.basis.alarm import Message
from monitor.basis.values import Quantity


class Kept(NamedTuple):
    """What became of a batch of readings, counted."""

    new: int
    duplicates: int
    conflicts: int


class Heard(NamedTuple):
    """A sensor: what it sent, the first and last time it spoke of, its newest arrival, how many readings are kept.

    A sensor that was named before it was heard has no quantities, None for the times and 0 readings.
    """

    stream: str
    name: str | None
    quantities: tuple[Quantity, ...]
    first_t: int | None
    last_t: int | None
    last_arrival: int | None
    readings: int


@dataclass(frozen=True, slots=True)
class Quarantined:
    """Something that was refused, `count` times; `quantity` and `t` stand where a reading is in conflict."""

    id: int
    topic: str
    quantity: Quantity | None
    t: int | None
    reason: str
    detail: str
    raw: bytes
    count: int
    first_arrival: int
    last_arrival: int


class Part(NamedTuple):
    """What one of several daemons does: its role, the share that it hears, if any, and the topic filters of that."""

    role: str
    share: str | None
    hears: tuple[str, ...]


class DaemonState(NamedTuple):
    """From when to when a daemon was there, what it said of itself last, and its part where it is one of several."""

    started: int
    last: int
    state: Mapping[str, Any]
    part: Part | None = None


class Dirty(NamedTuple):
    """New readings of a stream, of times from `first_t` to `last_t`, that nothing was derived from yet."""

    id: int
    stream: str
    first_t: int
    last_t: int


class Stale(NamedTuple):
    """New readings of `stream` in [first_t, last_t] that a job's checkpoints may hang on."""

    job: str
    stream: str
    first_t: int
    last_t: int


class CheckpointHead(NamedTuple):
    """A checkpoint without its state: what it was made from, whether that has changed since (`stale`), what happened.

    It rests on readings of [covers_from, depends_until] and on the next one of each stream in `open`; `before` and
    `after` are fingerprints of the states that its block began and ended with.
    """

    midnight: int
    covers_from: int
    depends_until: int
    open: tuple[str, ...]
    rules_version: int
    frame: bytes
    before: bytes
    after: bytes
    stale: bool
    product: bytes


class Checkpoint(NamedTuple):
    """The state at a midnight, what happened in the block that it ends, and what both rest on (see CheckpointHead)."""

    midnight: int
    covers_from: int
    depends_until: int
    open: tuple[str, ...]
    rules_version: int
    frame: bytes
    before: bytes
    after: bytes
    exit_state: bytes
    product: bytes


class Unsealed(NamedTuple):
    """A UTC day of which something was kept since it was sealed, of the sensor or the recorder (see `Leaf`).

    `touched` tells whether more came since the mark was read.
    """

    kind: str
    thread: str
    day: int
    touched: int


class Leaf(NamedTuple):
    """A leaf of the tree of what was sealed: its text, and what it is found by.

    `number` counts from 0; `kind` and `thread` are "sensor" and its stream, "log" and the chain, or "recorder" and "";
    `record` is the kind of record; `day` the UTC midnight it begins with, if it is of a day.
    """

    number: int
    text: str
    kind: str
    thread: str
    record: str
    day: int | None


class HeadRow(NamedTuple):
    """A signed head of the tree of `size` leaves.

    `frontier` the roots of its full subtrees, 32 bytes each, largest first; `closes` the UTC midnight that begins the
    day which is whole with it; `job` for which one it was made, if any.
    """

    number: int
    size: int
    text: str
    signature: bytes
    made: int
    frontier: bytes
    closes: int | None
    job: str | None


class KeyRow(NamedTuple):
    """A statement about a key, signed by the `new` one and, when they were exchanged, by the `old` one."""

    text: str
    new: bytes
    old: bytes


class Post(StrEnum):
    """What became of a message. A dead one is not tried any more: it was given up, or came too late."""

    WAITING = "waiting"
    SENT = "sent"
    DEAD = "dead"


class Outgoing(NamedTuple):
    """A message and what became of it: how often it was tried in vain, and the last error.

    `at` is when it is to be tried, or when it was sent or given up. [ms]
    """

    message: Message
    state: Post
    at: int
    tries: int
    error: str | None


class Doing(StrEnum):
    """How a run of scheduled work stands."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


class Scheduled(NamedTuple):
    """A work that is done on schedule and its last run: when it began and ended, failed last and why, and comes next.

    `state` is that of the last run; an error stays to be seen when later runs went well. [ms] `runs` says when it is
    done, as in "daily 07:00", of the clocks of `zone` where that is not None.
    """

    name: str
    state: Doing = Doing.WAITING
    started: int | None = None
    ended: int | None = None
    failed: int | None = None
    error: str | None = None
    next: int | None = None
    runs: str = ""
    zone: str | None = None
