"""A clock that runs as the computer's, so long behind it, and `wallclime` at such a clock in a process of its own."""

from __future__ import annotations

import sys
from pathlib import Path

from monitor.basis.clock import SystemClock


class Shifted(SystemClock):
    """The computer's clock, `by_ms` further on (before 0: behind)."""

    def __init__(self, by_ms: int) -> None:
        self._by_ms = by_ms

    def now(self) -> int:
        return super().now() + self._by_ms

    def offset(self) -> int | None:
        return None


def wallclime_at(by_ms: int) -> list[str]:
    """The command whose further words are those of wallclime, at such a clock."""
    here = str(Path(__file__).parent)
    program = (
        f"import sys; sys.path.insert(0, {here!r}); from shifted_clock import Shifted; from cli.main import run; "
        f"run(clock=Shifted({by_ms}))"
    )
    return [sys.executable, "-c", program]
