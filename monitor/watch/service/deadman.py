"""The dead-man's switch: a URL that is called while all goes on, so that its owner misses the call when it does not.

It is called only if, at that moment, all of this holds:

1. every listener goes round, scheduled work runs (this is one), and a note was just committed to the store;
2. a reading has come within `patience.silent_after`, or the longest hold of them, of one sensor at least that is at a
   place now; or none is there now that is heard over MQTT, so that nothing is expected;
3. every log that has grown since it was last looked at, first from its beginning, hangs together up to its last entry,
   by its links; none is shorter than it was, and the entry last looked at is still the one it was;
4. every new head follows on the one before it and its signature holds; the one last looked at is still the same;
5. no day that is over waits to be sealed for an hour more than the settings say.

What was sealed is not compared with what is kept now, nor the tree with its heads: `wallclime doctor` does that.
"""

from __future__ import annotations

import contextlib
import http.client
import ipaddress
import ssl
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import monitor
from monitor.basis.errors import OutOfReachError, StoreError
from monitor.basis.times import rfc3339
from monitor.basis.units import format_duration
from monitor.seal import chain, keys
from monitor.seal.heads import NO_HEAD
from monitor.watch.book import linked
from monitor.watch.desk import Desk
from monitor.watch.evidence import keyring
from monitor.watch.evidence.sealcheck import overdue
from monitor.watch.evidence.sealing import signed_of
from monitor.watch.service.journal import log
from monitor.watch.service.pulse import Pulse
from monitor.watch.service.schedule import Every, Work

WITHIN = 10.0  # for the whole of a call, but for the name's look-up [s]

_WHERE = "dead-man's URL"
_FILES = "file:"  # begins the address of a sensor that is read from files


@dataclass(slots=True)
class Seen:
    """How far the logs and heads were looked through: number and link of each log's last entry, number and hash."""

    chains: dict[str, tuple[int, bytes]] = field(default_factory=dict)
    head: tuple[int, str] = (0, NO_HEAD)


class Switch:
    """Calls the URL of the settings, and remembers when it did last and why not since.

    `called` in UTC ms; `trouble` a sentence, "" while it is called. Without a URL it does nothing.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk, self._seen = desk, Seen()
        self.called: int | None = None
        self.trouble = ""

    def said(self) -> dict[str, Any]:
        """What the daemon says of it, JSON-safe; nothing where there is no URL."""
        if self._desk.settings.dead_man is None:
            return {}
        return {"dead_man": {"called": self.called, "trouble": self.trouble}}

    def works(self, pulse: Pulse) -> Iterator[Work]:
        """What is to be done on schedule, if anything."""
        asked = self._desk.settings.dead_man
        if asked is not None:
            yield Work("dead-man's URL", Every(asked.every, soon=True), lambda _: self.look(asked.url, pulse))

    def look(self, url: str, pulse: Pulse) -> None:
        """Call it if all goes on. Raises OutOfReachError when it can't be called, which does not name it."""
        stopped = next(stands_still(self._desk, pulse, self._seen), "")
        if stopped and stopped != self.trouble:
            log("warning", "dead_man_not_called", why=stopped)
        self.trouble = stopped
        if stopped:
            return
        try:
            call(url)
        except OutOfReachError as exc:
            self.trouble = exc.faults[0].what
            raise
        self.called = self._desk.clock.now()
        log("debug", "dead_man_called")


# --- whether all goes on ----------------------------------------------------------------------------------------------


def stands_still(desk: Desk, pulse: Pulse, seen: Seen) -> Iterator[str]:
    """What of the five does not go on; `seen` is brought up to date."""
    yield from pulse.still()
    try:
        pulse.prove()
        yield from silent(desk)
        yield from _logs(desk, seen)
        yield from _heads(desk, seen)
    except StoreError as exc:
        yield str(exc)
        return
    if days := overdue(desk):
        yield f"{rfc3339(days[0])[:10]} is over and not sealed"


def silent(desk: Desk) -> Iterator[str]:
    """That no sensor was heard for too long, where one is expected."""
    sensors, now = desk.book.sensors(), desk.clock.now()
    here = {stay.sensor for stay in desk.book.stays() if stay.covers(now)}
    expected = [sensors[name] for name in here if not sensors[name].stream.startswith(_FILES)]
    if not expected:
        return
    within = max([desk.settings.patience.silent_after, *(sensor.hold for sensor in expected)])
    streams = {sensor.stream for sensor in expected}
    heard = [one.last_arrival for one in desk.store.heard() if one.stream in streams and one.last_arrival is not None]
    if not heard or max(heard) < now - within:
        yield f"none of the {len(expected)} sensors that are expected was heard for {format_duration(within)}"


def _logs(desk: Desk, seen: Seen) -> Iterator[str]:
    heads = desk.store.chain_heads()
    for name in sorted({*heads, *seen.chains}):
        known = seen.chains.get(name, (0, chain.GENESIS))
        if heads.get(name) == known:
            continue
        entries = desk.store.entries(name)
        told = f"the log of {name or 'the sensors'}"
        if len(entries) < known[0] or (known[0] and entries[known[0] - 1].link != known[1]):
            yield f"{told} is not the one it was"
        elif faults := chain.faults(linked(entries)[known[0] :], known):
            yield f"{told} does not hang together: {faults[0].where}: {faults[0].what}"
        else:
            seen.chains[name] = entries[-1].number, entries[-1].link


def _heads(desk: Desk, seen: Seen) -> Iterator[str]:
    number, hash_ = seen.head
    newer = [signed_of(row) for row in desk.store.heads(max(number, 1))]
    if number and (not newer or newer.pop(0).hash != hash_):
        yield f"head {number} is not the one it was"
        return
    known = {one.fingerprint: one.public for one in keyring.epochs(desk)} if newer else {}
    for one in newer:
        try:
            head = one.head
        except ValueError:
            yield f"the head after {seen.head[0]} can't be read"
            return
        if (head.number, head.previous) != (seen.head[0] + 1, seen.head[1]):
            yield f"head {head.number} does not follow on the head before it"
            return
        if head.key not in known or not keys.is_signed(known[head.key], keys.HEAD, one.text, one.signature):
            yield f"the signature of head {head.number} does not hold"
            return
        seen.head = head.number, one.hash


# --- the call ---------------------------------------------------------------------------------------------------------


def call(url: str, *, within: float = WITHIN) -> None:
    """GET a URL, follow nothing, read no more than how it answers. Raises OutOfReachError without naming it.

    https, or http to this computer itself.
    """
    parts = urlsplit(url)
    host = parts.hostname or ""
    if parts.scheme != "https" and not (parts.scheme == "http" and _is_loopback(host)):
        raise _unreached("it is not https", "Write one that begins with https:// into its file")
    kind = http.client.HTTPSConnection if parts.scheme == "https" else http.client.HTTPConnection
    link, end = kind(host, parts.port, timeout=within), time.monotonic() + within
    try:
        status = _answer(link, (parts.path or "/") + (f"?{parts.query}" if parts.query else ""), within)
        if time.monotonic() >= end:  # what was cut off may look like an answer
            raise TimeoutError
    except (OSError, http.client.HTTPException, ValueError) as exc:
        late = isinstance(exc, TimeoutError) or time.monotonic() >= end
        told = f"no answer in {within:g} s" if late else _said(exc)
        raise _unreached(f"it can't be called: {told}", "Check it, and the way there") from None
    finally:
        link.close()
    if not 200 <= status < 300:
        mend = "Give the address that it moved to" if 300 <= status < 400 else "Ask whoever runs it"
        raise _unreached(f"it answers {status}", mend)


def _answer(link: http.client.HTTPConnection, path: str, within: float) -> int:
    """The status that a GET is answered with, the whole of it in time: each single wait has a limit already."""
    link.connect()

    def cut() -> None:
        with contextlib.suppress(OSError, AttributeError):  # it may be over just now
            link.sock.shutdown(2)

    late = threading.Timer(within, cut)
    late.start()
    try:
        link.request("GET", path, headers={"User-Agent": f"wallclime/{monitor.__version__}"})
        return link.getresponse().status
    finally:
        late.cancel()
        late.join()


def _is_loopback(host: str) -> bool:
    try:
        return host == "localhost" or ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _said(exc: Exception) -> str:
    """What went wrong, in words that name no address."""
    if isinstance(exc, ssl.SSLError):
        return "its certificate is not trusted" if isinstance(exc, ssl.SSLCertVerificationError) else "TLS fails"
    if isinstance(exc, OSError) and exc.strerror:
        return exc.strerror
    return "what comes back is no answer"


def _unreached(what: str, mend: str) -> OutOfReachError:
    return OutOfReachError(what, where=_WHERE, mend=mend)
