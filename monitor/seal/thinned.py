"""Thinned days: of a leaf whose day was thinned, the log of the sensors says what is left and how it hashes.

The leaf stays in the tree, and is proven; what is left of its readings rests on the entry alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from monitor.basis.segment import Segment, content_hash, encode
from monitor.basis.times import rfc3339
from monitor.basis.values import Entry, Kind
from monitor.seal.canonical import bytes_of_hex
from monitor.seal.chain import Withheld
from monitor.seal.records import Record


class Thinned(NamedTuple):
    """What an entry says of a leaf: how many readings are left, and the SHA-256 of their segment, in hex."""

    entry: int
    readings: int
    sha256: str


def said_of(leaf: int, left: Segment) -> dict[str, Any]:
    """What the entry says of a leaf of which `left` is left."""
    day = rfc3339(left.day)[:10]
    return {"leaf": leaf, "day": day, "readings": len(left), "sha256": content_hash(encode(left)).hex()}


def thinned_leaves(entries: Iterable[Entry | Withheld], sealed: int | None = None) -> dict[int, Thinned]:
    """The leaves whose days were thinned, each by the last entry about it.

    Of entries beyond number `sealed` nothing is taken, where it is given; nor of what is no such entry.
    """
    found: dict[int, Thinned] = {}
    for entry in entries:
        if isinstance(entry, Entry) and entry.kind is Kind.THINNED and (sealed is None or entry.number <= sealed):
            found |= _said(entry)
    return found


def _said(entry: Entry) -> dict[int, Thinned]:
    found = {}
    try:
        for one in entry.body["days"]:
            bytes_of_hex(one["sha256"], 32)
            found[int(one["leaf"])] = Thinned(entry.number, int(one["readings"]), one["sha256"])
    except (ValueError, TypeError, KeyError, LookupError, AttributeError, OverflowError):
        return {}  # it was made by another program or to deceive: its days are not what was sealed
    return found


def is_left(data: bytes, record: Record, thinned: Mapping[int, Thinned], leaf: int) -> bool:
    """Whether bytes are what is left of a leaf, and not what was sealed."""
    said = thinned.get(leaf)
    return said is not None and said.sha256 != record["sha256"] and content_hash(data).hex() == said.sha256
