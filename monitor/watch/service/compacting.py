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


Differing = dict[tuple[str, int], int]  # how many leaves a day (stream, UTC midnight [ms]) has


class Done(NamedTuple):
    """What was done: how many rows went, and which days are not as they were sealed."""

    rows: int
    differing: Differing


def compact(desk: Desk, known: Differing | None = None) -> Done:
    """Delete the rows of sealed days older than AGE whose segments hold the very same. Raises StoreError.

    Days that are `known` to differ are passed over.
    """
    rows, differing = 0, Differing()
    for stream, days in _wanted(desk, known or {}):
        left = iter(days.items())
        while some := dict(islice(left, AT_ONCE)):
            gone = desk.store.compact(stream, some)
            rows += gone.rows
            differing |= {(stream, day): len(days[day]) for day in gone.differing}
    return Done(rows, differing)


def _wanted(desk: Desk, known: Differing) -> Iterator[tuple[str, dict[int, dict[int, bytes]]]]:
    """Of each sensor the days, and of each day the leaves with the hash of what they must hold."""
    leaves = desk.store.loose_leaves(day_of(desk.clock.now() - AGE), MOST + sum(known.values()))
    leaves = [leaf for leaf in leaves if (leaf.thread, leaf.day) not in known]
    thinned = thinned_leaves(desk.store.entries(SENSORS_CHAIN)) if leaves else {}
    found: dict[str, dict[int, dict[int, bytes]]] = {}
    for leaf in leaves:
        said = thinned.get(leaf.number)
        sha256 = read_record(leaf.text)["sha256"] if said is None else said.sha256
        days = found.setdefault(leaf.thread, {})
        days.setdefault(leaf.day or 0, {})[leaf.number] = bytes_of_hex(sha256, 32)
    yield from found.items()


def compact_and_tell(desk: Desk, known: Differing) -> None:
    """`compact`, and what it did to the daemon's own log; days that differ are told once, and are `known` then."""
    done = compact(desk, known)
    if done.rows:
        log("info", "compacted", readings=done.rows)
    if done.differing:
        known |= done.differing
        stream, day = next(iter(done.differing))
        first = f"{rfc3339(day)[:10]} of {stream}"
        log("warning", "sealed days are not as they are kept", days=len(done.differing), first=first)
