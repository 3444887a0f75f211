"""RFC 3161 time-stamps of heads, from a server that the user chooses."""

from __future__ import annotations

import urllib.error
import urllib.request
from urllib.parse import urlsplit

from monitor.basis.errors import RecordError
from monitor.seal import timestamp
from monitor.seal.heads import SignedHead
from monitor.watch.desk import Desk
from monitor.watch.evidence.sealing import signed_of

PATIENCE = 30  # with a server [s]


def query(desk: Desk, number: int | None = None) -> tuple[SignedHead, bytes]:
    """The head of `number` (the newest) and the request to an authority about it, in DER. Raises RecordError."""
    rows = desk.store.heads()
    found = rows[-1:] if number is None else [row for row in rows if row.number == number]
    if not found:
        what = "nothing is sealed yet" if number is None else f"there is no head {number}"
        raise RecordError(what, where="seal timestamp", mend="See wallclime seal status")
    head = signed_of(found[0])
    return head, timestamp.request(head)


def take(desk: Desk, answer: bytes) -> SignedHead:
    """Keep the answer of an authority (DER) with the head that it is about. Raises RecordError."""
    about = timestamp.imprint(answer)
    head = next((one for one in map(signed_of, desk.store.heads()) if one.hash == about), None)
    if head is None:
        raise RecordError(
            "it is about no head of this record", where="time-stamp", mend="Send the file that --query wrote"
        )
    if not desk.store.keep_timestamp(head.hash, answer):
        raise RecordError(
            f"head {head.head.number} has one already", where="time-stamp", mend="Nothing needs to be done"
        )
    return head


def ask(server: str, request: bytes) -> bytes:
    """What the server at a http(s) URL answers to a request. Raises RecordError."""
    if urlsplit(server).scheme not in ("http", "https"):
        raise RecordError("it is no address of a server", where=server, mend="Write it like https://HOST/PATH")
    headers = {"Content-Type": "application/timestamp-query"}  # RFC 3161, 3.4
    posted = urllib.request.Request(server, data=request, headers=headers, method="POST")
    try:
        with urllib.request.urlopen(posted, timeout=PATIENCE) as answered:
            found: bytes = answered.read(timestamp.LONGEST + 1)
    except (OSError, ValueError) as exc:
        if isinstance(exc, urllib.error.HTTPError):
            exc.close()
        raise RecordError(
            f"the server gave no time-stamp ({exc})",
            where=server,
            mend="Try again, or carry the files yourself with --query and --answer",
        ) from exc
    return found
