"""A folder that somebody else wrote: looked through without following links, read within limits."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from io import BufferedReader
from pathlib import Path

from monitor.basis.errors import RecordError
from monitor.seal.findings import FaultKind, Findings

MOST_FILES = 500_000
DEEPEST = 8  # folders within folders; a bundle has three
LONGEST_LINE = 8 * 1024 * 1024  # [bytes]
LONGEST_TEXT = 64 * 1024 * 1024  # of a file that is read whole [bytes]
_CHUNK = 1024 * 1024

_TAKE_OUT = "A bundle has only plain files and folders; it is not looked into"


@dataclass(frozen=True, slots=True)
class Folder:
    """The plain files in a folder: name with "/" -> bytes."""

    root: Path
    sizes: dict[str, int]

    def __contains__(self, name: str) -> bool:
        return name in self.sizes

    def under(self, prefix: str) -> list[str]:
        """The names that begin with `prefix`, in order."""
        return sorted(name for name in self.sizes if name.startswith(prefix))

    def sha256(self, name: str) -> str:
        """The SHA-256 of a file, in hex. Raises OSError."""
        with _open(self.root / name) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()

    def read(self, name: str, limit: int = LONGEST_TEXT) -> bytes:
        """A file that has to be there. Raises ValueError when it isn't or is longer than `limit`, OSError."""
        if self.sizes.get(name, limit + 1) > limit:
            raise ValueError(f"longer than {limit:,} bytes" if name in self.sizes else "not there")
        with _open(self.root / name) as file:
            return file.read(limit + 1)

    def lines(self, name: str) -> Iterator[str]:
        """The lines of a UTF-8 file, each without its LF. Raises ValueError for what is no such file, OSError."""
        if name not in self.sizes:
            return
        with _open(self.root / name) as file:
            while line := file.readline(LONGEST_LINE):
                if not line.endswith(b"\n"):
                    raise ValueError("a line without an end, or one that is too long")
                yield line[:-1].decode()

    def equals(self, name: str, data: bytes) -> bool:
        """Whether a file is exactly `data`. Raises OSError."""
        if self.sizes.get(name) != len(data):
            return False
        with _open(self.root / name) as file:
            return all(file.read(_CHUNK) == data[at : at + _CHUNK] for at in range(0, len(data) or 1, _CHUNK))


def look_through(root: Path, findings: Findings) -> Folder:
    """All plain files under `root`; everything else becomes a fault. Raises RecordError where there is no folder."""
    sizes: dict[str, int] = {}
    if not root.is_dir():
        raise RecordError("there is no such folder", where=str(root), mend="Give the folder of a bundle")
    waiting = [""]
    while waiting:
        prefix = waiting.pop()
        try:
            with os.scandir(root / prefix) as found:
                entries = sorted(found, key=lambda entry: entry.name)
        except OSError as exc:
            if not prefix:
                raise RecordError(
                    f"the folder can't be read ({exc.strerror})", where=str(root), mend="Allow it to be read"
                ) from exc
            findings.fault(FaultKind.UNREADABLE, prefix, f"the folder can't be read ({exc.strerror})", _TAKE_OUT)
            continue
        if prefix and not entries:
            findings.fault(FaultKind.ADDED, prefix, "the folder is empty", "A bundle has no empty folders")
        for entry in entries:
            _sort_in(entry, prefix, sizes, waiting, findings)
        if len(sizes) > MOST_FILES:
            raise RecordError(
                f"there are more than {MOST_FILES:,} files", where=str(root), mend="Give the folder of a bundle"
            )
    return Folder(root, sizes)


def _sort_in(
    entry: os.DirEntry[str], prefix: str, sizes: dict[str, int], waiting: list[str], findings: Findings
) -> None:
    name = prefix + entry.name
    try:
        mode, size = (status := entry.stat(follow_symlinks=False)).st_mode, status.st_size
        name.encode()
    except OSError as exc:
        findings.fault(FaultKind.UNREADABLE, name, f"it can't be read ({exc.strerror})", _TAKE_OUT)
        return
    except UnicodeEncodeError:
        findings.fault(FaultKind.REFUSED, ascii(name), "its name is no text", _TAKE_OUT)
        return
    if stat.S_ISREG(mode):
        sizes[name] = size
    elif stat.S_ISDIR(mode) and name.count("/") < DEEPEST:
        waiting.append(name + "/")
    else:
        what = "it is a link to somewhere else" if stat.S_ISLNK(mode) else "it is no plain file"
        findings.fault(FaultKind.REFUSED, name, what if not stat.S_ISDIR(mode) else "folders too deep", _TAKE_OUT)


def _open(path: Path) -> BufferedReader:
    flags = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
    return os.fdopen(os.open(path, flags), "rb")
