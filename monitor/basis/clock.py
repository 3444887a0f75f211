"""The clock, as an argument: the system's own, or one that a test sets."""

from __future__ import annotations

import time
from typing import Protocol


class Clock(Protocol):
    """Anything that says what time it is."""

    def now(self) -> int:
        """UTC milliseconds since 1970-01-01T00:00Z."""
        ...


class SystemClock:
    """The computer's own clock."""

    def now(self) -> int:
        """UTC milliseconds since 1970-01-01T00:00Z, as the operating system has it."""
        return time.time_ns() // 1_000_000


class SetClock:
    """A clock that stands still until it is set or moved; ships with the package so that tests of users can have it."""

    def __init__(self, at_ms: int) -> None:
        self.at_ms = at_ms

    def now(self) -> int:
        """The time it was last set to. [ms]"""
        return self.at_ms

    def move(self, by_ms: int) -> None:
        """Move it by `by_ms`; backwards too, as real clocks do. [ms]"""
        self.at_ms += by_ms
