"""A clock that is set while the daemon runs: what arrived before and after stands on two clocks."""

from __future__ import annotations

import time
from collections.abc import Callable

from monitor.basis.clock import Clock
from monitor.basis.times import SECOND

STEP = 2 * SECOND  # a clock that is only steered moves by less between two looks [ms]
AGAIN = 10.0  # until the next attempt to have a step written down [s]

_AT_ONCE = 0.05  # in which both clocks are read [s]


def steady() -> float:
    """Seconds that run on evenly, also while the computer sleeps, whatever is done to its clock."""
    try:
        return time.clock_gettime(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC))
    except AttributeError:  # Windows, where the monotonic clock runs on in sleep
        return time.monotonic()


class Steps:
    """Notices steps of `clock` and has them told, each until it could be told. `told(at_ms, by_ms)` may raise.

    `at_ms` is the time of the clock after the step, `by_ms` how far it went; before 0 is back.
    """

    def __init__(self, clock: Clock, told: Callable[[int, int], None], log: Callable[..., None]) -> None:
        self._clock, self._told, self._log = clock, told, log
        self._untold: list[tuple[int, int]] = []
        self._next = 0.0
        self._steady, self._wall = self._both()

    def look(self) -> None:
        """Compare the clock with even time since the last look; to be called several times a second."""
        now, wall = self._both()
        by = wall - self._wall - round((now - self._steady) * SECOND)
        self._steady, self._wall = now, wall
        if abs(by) > STEP:
            self._log("warning", "clock stepped", offset_s=by / SECOND)
            self._untold.append((wall, by))
        while self._untold and now >= self._next:
            self._tell(now)

    def _tell(self, now: float) -> None:
        try:
            self._told(*self._untold[0])
        except Exception as exc:
            self._next = now + AGAIN
            self._log("error", "clock step not written", error=str(exc), again_in_s=AGAIN)
        else:
            del self._untold[0]

    def _both(self) -> tuple[float, int]:
        """Even time and the clock, read together."""
        while True:
            before, wall = steady(), self._clock.now()
            after = steady()
            if after - before < _AT_ONCE:
                return after, wall
