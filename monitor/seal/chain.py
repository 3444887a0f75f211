"""The chain of the condition log: each link binds all that was written before it.

link(n) = SHA-256( 0x02 || link(n-1) || SHA-256( 0x03 || salt(n) || JCS(body of n) ) || JCS(frame of n) )

The *body* is what was said: kind, time spoken of, who, text and figures. Only its salted hash enters the link, so that
it can be withheld or erased later without breaking the chain; the salt, 16 random bytes kept with the body, stops a
reader from guessing a short body. The *frame* is what stays: chain, number, time entered. JCS is RFC 8785. link(0) is
32 zero bytes. The leading byte keeps the two hashes apart from each other and from the leaves (0x00) and nodes (0x01)
of RFC 9162.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from typing import Any, NamedTuple

import rfc8785

from monitor.basis.errors import Fault
from monitor.basis.values import Entry

GENESIS = bytes(32)


class Withheld(NamedTuple):
    """An entry whose body and salt are not shown or were erased: its frame, the hash of its body, its link."""

    chain: str
    number: int
    entered: int
    body_hash: bytes
    link: bytes


def body_of(entry: Entry) -> dict[str, Any]:
    """What an entry says, as it is hashed."""
    return {
        "kind": entry.kind.value,
        "at": entry.at,
        "who": entry.who,
        "body": dict(entry.body),
        "corrects": entry.corrects,
    }


def body_hash(entry: Entry) -> bytes:
    """SHA-256 over 0x03, the salt and the canonical body: 32 bytes."""
    return hash_of_body(entry.salt, rfc8785.dumps(body_of(entry)))


def hash_of_body(salt: bytes, body: bytes) -> bytes:
    """SHA-256 over 0x03, a salt and the canonical bytes of a body: 32 bytes."""
    return hashlib.sha256(b"\x03" + salt + body).digest()


def withheld(entry: Entry) -> Withheld:
    """The entry without what it says. Raises ValueError for a body without a canonical form."""
    return Withheld(entry.chain, entry.number, entry.entered, body_hash(entry), entry.link)


def link(previous: bytes, entry: Entry | Withheld) -> bytes:
    """The link of `entry` (whose own `link` is not looked at) after `previous`: 32 bytes.

    Raises ValueError for a body without a canonical form: NaN, infinity, integers beyond 2**53, lone surrogates.
    """
    said = entry.body_hash if isinstance(entry, Withheld) else body_hash(entry)
    frame = rfc8785.dumps({"chain": entry.chain, "number": entry.number, "entered": entry.entered})
    return hashlib.sha256(b"\x02" + previous + said + frame).digest()


def faults(entries: Iterable[Entry | Withheld], after: tuple[int, bytes] = (0, GENESIS)) -> list[Fault]:
    """Every break of one chain, in order; an empty list means that what is there hangs together.

    `after`: number and link of the entry before the first of them, where they do not begin the chain.

    It cannot see that entries are missing from the end: for that, compare the last link with one kept elsewhere.
    """
    found: list[Fault] = []
    number, previous = after
    for entry in entries:
        number += 1
        where = f"entry {entry.number} of {entry.chain or 'the sensors'}"
        if entry.number != number:
            found.append(
                Fault(f"entry {number} is missing or out of order", where, "Compare with a copy kept elsewhere")
            )
            number = entry.number
        elif not _holds(previous, entry):
            found.append(Fault("the entry or one before it was altered", where, "Compare with a copy kept elsewhere"))
        previous = entry.link
    return found


def _holds(previous: bytes, entry: Entry | Withheld) -> bool:
    try:
        return link(previous, entry) == entry.link
    except ValueError:  # what has no canonical form was never written here
        return False
