"""What systemd hears of the daemon: that it is ready, how it is, that it lives, that it ends.

READY=1 comes once the store is open and every broker has granted the topics (SUBACK), or was tried once: a broker that
is not there yet is no fault of the daemon, which goes on trying and says so in STATUS=. WATCHDOG=1 comes at half of the
time that systemd gives, only when every listener has gone round since the last one, scheduled work has run within a
minute and a note was committed to the store just now; else it is tried again until systemd has waited long enough.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Iterator
from itertools import chain

from monitor.basis.errors import WallclimeError
from monitor.watch.service.journal import log
from monitor.watch.service.notify import Supervisor
from monitor.watch.service.pulse import Pulse, named

_BEAT = 0.25  # between two looks [s]
_TOLD = 10.0  # a figure in the status may be so old [s]


@contextlib.contextmanager
def watched_over(supervisor: Supervisor | None, pulse: Pulse, stop: threading.Event) -> Iterator[None]:
    """Keep systemd informed, from a thread, until `stop`. Without a supervisor nothing is done."""
    if supervisor is None:
        yield
        return
    thread = threading.Thread(target=Presence(supervisor, pulse).run, args=(stop,), name="presence")
    thread.start()
    try:
        yield
    finally:
        stop.set()
        thread.join()


class Presence:
    """What was told so far."""

    def __init__(self, supervisor: Supervisor, pulse: Pulse) -> None:
        self._supervisor, self._pulse = supervisor, pulse
        self._ready = False
        self._status, self._told = "", 0.0
        self._proven = time.monotonic()
        self._doubt = ""

    def run(self, stop: threading.Event) -> None:
        """Tell what is new, again and again, until `stop`."""
        while not stop.wait(_BEAT):
            self._tell(*self.due())
        self._tell("STOPPING=1", "STATUS=ends: what was read is kept, what is due is judged")

    def due(self) -> Iterator[str]:
        """What is to be told now."""
        if not self._ready and self._pulse.asked():
            self._ready = True
            yield "READY=1"
        now, status = time.monotonic(), stands(self._pulse)
        if status.partition(";")[0] != self._status.partition(";")[0] or now - self._told > _TOLD:
            self._status, self._told = status, now
            yield f"STATUS={status}"
        if self._supervisor.watchdog and now - self._proven >= self._supervisor.watchdog / 2 and self._alive():
            self._proven = time.monotonic()
            yield "WATCHDOG=1"

    def _alive(self) -> bool:
        doubt = next(chain(self._pulse.stopped(self._proven), self._pulse.still()), "")
        if not doubt:
            try:
                self._pulse.prove()
            except Exception as exc:  # whatever it is, there is no proof
                doubt = str(exc) if isinstance(exc, WallclimeError) else repr(exc)
        if doubt and doubt != self._doubt:
            log("error", "no_sign_of_life", why=doubt, restart_within_s=self._supervisor.watchdog)
        self._doubt = doubt
        return not doubt

    def _tell(self, *lines: str) -> None:
        if not lines:
            return
        try:
            self._supervisor.tell(*lines)
        except OSError as exc:
            log("warning", "systemd_not_told", lines=lines, error=str(exc))


def stands(pulse: Pulse) -> str:
    """How it stands with the brokers, in a line: what is wrong, else who is heard; and how much was kept."""
    states = [(named(broker), listener.status) for broker, listener in pulse.links]
    wrong = [status.last_error or f"no connection to {name} yet" for name, status in states if not status.subscribed]
    heard = ", ".join(name for name, status in states if status.subscribed)
    kept = sum(status.kept for _, status in states)
    parts = [*wrong, *([f"hears {heard}"] if heard else [])]
    return f"{' / '.join(parts)}; {kept} readings kept since the start"
