"""A file of no use beside the store: when the disk is full it is removed, so that the log can say so."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

SIZE = 1 << 20  # [bytes]
SPARE = 4 * SIZE  # so much must be free, or it is not made: it would take the last room itself [bytes]


class Ballast:
    """The file `path`. Nothing here raises: without a ballast everything goes on, but for the entry on a full disk."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def make(self) -> bool:
        """Make it where it is not there and the disk has room enough; whether it is there."""
        try:
            if self._path.exists() and self._path.stat().st_size == SIZE:
                return True
            if shutil.disk_usage(self._path.parent).free < SPARE:
                return False
            self._write()
        except OSError:
            self.drop()
            return False
        return True

    def drop(self) -> bool:
        """Remove it; whether there was one."""
        try:
            self._path.unlink()
        except OSError:
            return False
        return True

    def _write(self) -> None:
        file = os.open(self._path, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600)
        try:
            os.write(file, os.urandom(SIZE))  # random: some file systems keep nothing of zeros
            os.fsync(file)
        finally:
            os.close(file)
