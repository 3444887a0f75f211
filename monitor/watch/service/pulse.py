"""The pulse of the daemon: what proves that its threads turn and its store can be written."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Protocol

from monitor.basis.errors import WallclimeError
from monitor.config.brokers import Broker

if TYPE_CHECKING:
    from monitor.intake.mqtt import Status  # with paho, which commands that only name a broker have no use for

TURNS_WITHIN = 60.0  # longer than a name is looked up, a broker and a lock of the store waited for; ours [s]


class Hearing(Protocol):
    """What is asked of a listener."""

    turned: float

    @property
    def status(self) -> Status:
        """What it is about."""
        ...


class Pulse:
    """Asks the listeners, and the store by writing to it: `write` commits a note that the daemon is there.

    `worked` is when scheduled work ran last, `wrote` when a note was committed, both by `time.monotonic`; `trouble` is
    why the last one was not, else "".
    """

    def __init__(self, links: Sequence[tuple[Broker, Hearing]], write: Callable[[], None]) -> None:
        self.links = links
        self._write = write
        self.worked = self.wrote = time.monotonic()
        self.trouble = ""

    def beat(self) -> None:
        """Scheduled work runs: say so, and prove the store. Raises StoreError."""
        self.worked = time.monotonic()
        self.prove()

    def prove(self) -> None:
        """Commit a note to the store. Raises StoreError."""
        try:
            self._write()
        except WallclimeError as exc:
            self.trouble = str(exc)
            raise
        self.wrote, self.trouble = time.monotonic(), ""

    def asked(self) -> bool:
        """Whether every broker has granted the topics, or was tried once and said why not."""
        return all(_answered(listener.status) for _, listener in self.links)

    def draining(self) -> bool:
        """Whether a listener is still reading what its broker kept while nobody listened, or is about to."""
        every = (listener.status for _, listener in self.links)
        return not self.asked() or any(
            one.connected and one.marker == "awaited" and not one.marker_missing for one in every
        )

    def stopped(self, since: float) -> Iterator[str]:
        """The listeners that did not go round since then (`time.monotonic`), a sentence each."""
        for broker, listener in self.links:
            if listener.turned < since:
                yield f"the thread that hears {named(broker)} stands still"

    def still(self) -> Iterator[str]:
        """The threads that stand still for longer than a minute, a sentence each."""
        since = time.monotonic() - TURNS_WITHIN
        yield from self.stopped(since)
        if self.worked < since:
            yield "the scheduled work stands still"

    def unwritten(self) -> str:
        """Why the store takes no notes, "" where it does."""
        if self.trouble or self.wrote >= time.monotonic() - TURNS_WITHIN:
            return self.trouble
        return f"nothing was written to the store for {TURNS_WITHIN:.0f} s"


def named(broker: Broker) -> str:
    """A broker as messages name it: by its address."""
    return f"{broker.host}:{broker.port}"


def _answered(status: Status) -> bool:
    return status.subscribed or status.marker_missing or bool(status.last_error)
