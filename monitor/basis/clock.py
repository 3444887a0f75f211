"""The clock, as an argument: the system's own, or one that a test sets."""

from __future__ import annotations

import struct
import sys
import time
from typing import Protocol

_TIMEX = struct.Struct("=i4xqqqqi")  # of Linux with 64-bit words: modes, offset, freq, maxerror, esterror, status
_TIMEX_SIZE = 512  # more than the whole of it [bytes]
_UNSYNCHRONISED, _NANOSECONDS = 0x0040, 0x2000  # STA_UNSYNC and STA_NANO of adjtimex(2)


class Clock(Protocol):
    """Anything that says what time it is."""

    def now(self) -> int:
        """UTC milliseconds since 1970-01-01T00:00Z."""
        ...

    def offset(self) -> int | None:
        """How far it is off by its time source, None where that is not known. [ms]"""
        ...


class SystemClock:
    """The computer's own clock."""

    def now(self) -> int:
        """UTC milliseconds since 1970-01-01T00:00Z, as the operating system has it."""
        return time.time_ns() // 1_000_000

    def offset(self) -> int | None:
        """What the kernel's clock has still to make up by its time source; None where no source keeps it. [ms]"""
        if sys.platform != "linux" or sys.maxsize <= 2**32:
            return None
        import ctypes  # asked a few times a day; every command would pay for it

        said = ctypes.create_string_buffer(_TIMEX_SIZE)  # modes 0: only asked
        if ctypes.CDLL(None, use_errno=True).adjtimex(said) < 0:
            return None
        return offset_of(said.raw)


class SetClock:
    """A clock that stands still until it is set or moved; ships with the package so that tests of users can have it."""

    def __init__(self, at_ms: int) -> None:
        self.at_ms = at_ms

    def now(self) -> int:
        """The time it was last set to. [ms]"""
        return self.at_ms

    def offset(self) -> int | None:
        """Not known."""
        return None

    def move(self, by_ms: int) -> None:
        """Move it by `by_ms`; backwards too, as real clocks do. [ms]"""
        self.at_ms += by_ms


def offset_of(timex: bytes) -> int | None:
    """The offset that an answer of adjtimex(2) tells, None where the clock is not kept by a source. [ms]"""
    offset: int
    _, offset, _, _, _, status = _TIMEX.unpack_from(timex)
    if status & _UNSYNCHRONISED:
        return None
    return round(offset / (1e6 if status & _NANOSECONDS else 1e3))
