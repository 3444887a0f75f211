"""The command by a clock that a fault sets: the system's, moved by the milliseconds in the file named first."""

from __future__ import annotations

import sys
from pathlib import Path

from cli.main import run
from monitor.basis.clock import SystemClock


class MovedClock(SystemClock):
    """The computer's clock, off by what the file says."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def now(self) -> int:
        return super().now() + int(self._file.read_text(encoding="ascii"))


if __name__ == "__main__":
    run(sys.argv[2:], clock=MovedClock(Path(sys.argv[1])))
