"""Signed tree heads: what the whole record was at an instant, in one line.

A head holds the size and root of the tree of records, the hash of the head before it and what the recorder knew of
itself. Its text is canonical JSON; the hash of a head is SHA-256 over the very bytes that are signed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from monitor.basis.segment import ms_of_day
from monitor.seal import keys
from monitor.seal.canonical import bytes_of_hex, text_of, value_of
from monitor.seal.keys import Key, fingerprint, public_of

NO_HEAD = "00" * 32  # stands for the head before the first
_STRINGS = ("reason", "root", "previous", "software", "key")
_NUMBERS = ("number", "size", "made")


class Head(NamedTuple):
    """A tree head before it is signed.

    `number` counts from 1; `size` leaves, none at all in no head; `root` and `previous` (the hash of the head before)
    in hex; `made` UTC ms; `closes` the UTC day (2026-01-05) that is whole with it, or None; `reason` why it was made;
    `clock_offset` what the clock was known to be off [ms]; `software` name and version; `key` a fingerprint.
    """

    number: int
    size: int
    root: str
    previous: str
    made: int
    closes: str | None
    reason: str
    clock_offset: int | None
    software: str
    key: str


class SignedHead(NamedTuple):
    """A head as it was signed: `text` to the letter, and the 64 bytes of the signature."""

    text: str
    signature: bytes

    @property
    def hash(self) -> str:
        """SHA-256 over the signed bytes, in hex: what the next head, witnesses and time-stamps name."""
        return hashlib.sha256(keys.signed_bytes(keys.HEAD, self.text)).hexdigest()

    @property
    def head(self) -> Head:
        """What it says. Raises ValueError."""
        return read_head(self.text)


def next_head(
    key: Key,
    previous: SignedHead | None,
    *,
    size: int,
    root: bytes,
    made: int,
    reason: str,
    software: str,
    closes: str | None = None,
    clock_offset: int | None = None,
) -> SignedHead:
    """The head that follows `previous` (None: the first), signed; see `Head` for the words."""
    head = Head(
        number=previous.head.number + 1 if previous else 1,
        size=size,
        root=root.hex(),
        previous=previous.hash if previous else NO_HEAD,
        made=made,
        closes=closes,
        reason=reason,
        clock_offset=clock_offset,
        software=software,
        key=fingerprint(public_of(key)),
    )
    text = text_of(head._asdict())
    return SignedHead(text, keys.sign(key, keys.HEAD, text))


def read_head(text: str) -> Head:
    """What the text of a head says. Raises ValueError."""
    said: Any = value_of(text)
    if not isinstance(said, dict) or set(said) != set(Head._fields):
        raise ValueError("no head: it has other keys")
    if not all(isinstance(said[name], str) for name in _STRINGS) or any(type(said[n]) is not int for n in _NUMBERS):
        raise ValueError("no head: a string or a number is neither")
    if not isinstance(said["clock_offset"], int | None) or not isinstance(said["closes"], str | None):
        raise ValueError("no head: a string or a number is neither")
    for name in ("root", "previous", "key"):
        bytes_of_hex(said[name], 32)
    if said["closes"] is not None:
        ms_of_day(said["closes"])
    if said["number"] < 1 or said["size"] < 1:
        raise ValueError("no head: it has no number or no leaves")
    return Head(**said)


def conflicts(known: Iterable[SignedHead], others: Sequence[SignedHead]) -> list[tuple[SignedHead, SignedHead]]:
    """Pairs of signed heads that can't both belong to one record: one number or one size, and not the same tree.

    A store that was put back from a backup and went on makes such pairs, and so does a holder of the key who keeps
    two records.
    """
    numbers = {one.head.number: one for one in others}
    sizes = {one.head.size: one for one in others}
    found = {}
    for one in known:
        same_number, same_size = numbers.get(one.head.number), sizes.get(one.head.size)
        if same_number is not None and same_number.hash != one.hash:
            found[one.hash, same_number.hash] = (one, same_number)
        if same_size is not None and same_size.head.root != one.head.root:
            found[one.hash, same_size.hash] = (one, same_size)
    return list(found.values())
