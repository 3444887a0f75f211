"""Compaction on schedule: days that were sealed long ago are kept in their segments alone."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from typing import NamedTuple

from monitor.basis.times import day_of, rfc3339
from monitor.basis.values import SENSORS_CHAIN
from monitor.keep.packed import AGE
from monitor.seal.canonical import bytes_of_hex
from monitor.seal.records import read_record
from monitor.seal.thinned import thinned_leaves
from monitor.watch.desk import Desk
from monitor.watch.service.journal import log

MOST = 5_000  # leaves a run: what is much is done in many; ours
AT_ONCE = 8  # days of a sensor in one transaction, for which others wait; ours


class Done(NamedTuple):
    """What was done: how many rows went, and which days (stream, UTC midnight [ms]) are not as they were sealed."""

    rows: int
    differing: list[tuple[str, int]]


def compact(desk: Desk) -> Done:
    """Delete the rows of sealed days older than AGE whose segments hold the very same. Raises StoreError."""
    rows, differing = 0, []
    for stream, days in _wanted(desk):
        left = iter(days.items())
        while some := dict(islice(left, AT_ONCE)):
            gone = desk.store.compact(stream, some)
            rows += gone.rows
            differing += [(stream, day) for day in gone.differing]
    return Done(rows, differing)


def _wanted(desk: Desk) -> Iterator[tuple[str, dict[int, dict[int, bytes]]]]:
    """Of each sensor the days, and of each day the leaves with the hash of what they must hold."""
    leaves = desk.store.loose_leaves(day_of(desk.clock.now() - AGE), MOST)
    thinned = thinned_leaves(desk.store.entries(SENSORS_CHAIN)) if leaves else {}
    found: dict[str, dict[int, dict[int, bytes]]] = {}
    for leaf in leaves:
        said = thinned.get(leaf.number)
        sha256 = read_record(leaf.text)["sha256"] if said is None else said.sha256
        days = found.setdefault(leaf.thread, {})
        days.setdefault(leaf.day or 0, {})[leaf.number] = bytes_of_hex(sha256, 32)
    yield from found.items()


def compact_and_tell(desk: Desk) -> None:
    """`compact`, and what it did to the daemon's own log."""
    done = compact(desk)
    if done.rows:
        log("info", "compacted", readings=done.rows)
    if done.differing:
        stream, day = done.differing[0]
        first = f"{rfc3339(day)[:10]} of {stream}"
        log("warning", "sealed days are not as they are kept", days=len(done.differing), first=first)
