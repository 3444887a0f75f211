"""The text of a data logger's file: its bytes hashed and counted as they pass, its lines split into cells."""

from __future__ import annotations

import codecs
import contextlib
import csv
import hashlib
import io
from collections.abc import Iterator
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from monitor.basis.errors import LoggerFileError

BLANKS = " "  # the delimiter of files whose columns are set apart by any number of blanks or tabs
_HEAD = 1 << 20  # of the file, for guessing its encoding [bytes]
_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))


class _Passing(io.RawIOBase):
    """A file whose bytes are hashed and counted as they are read."""

    def __init__(self, path: Path) -> None:
        self._file = path.open("rb", buffering=0)
        self._size = path.stat().st_size
        self._done = 0
        self.sha256 = hashlib.sha256()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        count = self._file.readinto(buffer) or 0
        self.sha256.update(buffer[:count])
        self._done += count
        return count

    def share(self) -> float:
        return min(self._done / self._size, 1.0) if self._size else 1.0

    def close(self) -> None:
        self._file.close()
        super().close()


class Block(NamedTuple):
    """Some rows of a file; `above` is the number of lines before the first of them."""

    above: int
    rows: list[list[str]]

    def filled(self) -> list[list[str]]:
        """The rows that are not blank."""
        return [row for row in self.rows if any(row)]

    def line_of(self, index: int) -> int:
        """The line, counted from 1, at which a row of `filled` ends; a cell in quotes may have several lines."""
        line = self.above
        for row in self.rows:
            line += 1 + sum(cell.count("\n") for cell in row)
            index -= any(row)
            if index < 0:
                break
        return line


class Rows:
    """The rows of a file below its first `skip` lines, in blocks of cells."""

    def __init__(self, path: Path, encoding: str, delimiter: str, skip: int = 0) -> None:
        self._path, self._encoding, self._delimiter, self._skip = path, encoding, delimiter, skip

    def __enter__(self) -> Rows:
        with _as_ours(self._path, self._encoding):
            self._bytes = _Passing(self._path)
            self._text = io.TextIOWrapper(io.BufferedReader(self._bytes, 1 << 18), self._encoding, newline="")
        return self

    def __exit__(self, *_exc: object) -> None:
        self._text.close()

    def blocks(self, size: int) -> Iterator[Block]:
        """All rows, at most `size` at a time. Raises LoggerFileError where the text can't be read or split."""
        with _as_ours(self._path, self._encoding):
            for _ in range(self._skip):
                self._text.readline()
            yield from self._set_apart(size) if self._delimiter == BLANKS else self._delimited(size)

    def _set_apart(self, size: int) -> Iterator[Block]:
        line = self._skip
        while rows := [text.split() for text in islice(self._text, size)]:
            yield Block(line, rows)
            line += len(rows)

    def _delimited(self, size: int) -> Iterator[Block]:
        reader = csv.reader(self._text, delimiter=self._delimiter, skipinitialspace=True, strict=True)
        line = self._skip
        try:
            while rows := list(islice(reader, size)):
                yield Block(line, rows)
                line = self._skip + reader.line_num
        except csv.Error as exc:
            raise LoggerFileError(
                f"the row can't be split: {exc}",
                where=f"{self._path}, row {self._skip + reader.line_num}",
                mend="Check the quotation marks there, or give --delimiter",
            ) from exc

    def share(self) -> float:
        """How much of the file has been read, 0 to 1."""
        return self._bytes.share()

    def sha256(self) -> str:
        """SHA-256 of the bytes read so far, in hex; once the rows are at their end, of the file."""
        return self._bytes.sha256.hexdigest()


def split(line: str, delimiter: str) -> list[str]:
    """The cells of one line, without the blanks around them."""
    if delimiter == BLANKS:
        return line.split()
    return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])]


def head(path: Path, encoding: str, lines: int) -> list[str]:
    """The first lines of a file. Raises LoggerFileError."""
    with _as_ours(path, encoding), path.open(encoding=encoding, newline="") as text:
        return [line for line, _ in zip(text, range(lines), strict=False)]


def guess_encoding(path: Path) -> str:
    """By its byte order mark, else utf-8 where the bytes are, else cp1252. Raises LoggerFileError."""
    with _as_ours(path, ""), path.open("rb") as file:
        begin = file.read(_HEAD)
    for mark, encoding in _MARKS:
        if begin.startswith(mark):
            return encoding
    try:
        codecs.getincrementaldecoder("utf-8")().decode(begin)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


@contextlib.contextmanager
def _as_ours(path: Path, encoding: str) -> Iterator[None]:
    """Foreign errors of reading become LoggerFileError."""
    where, mend = str(path), "Give the right --encoding, such as utf-8, cp1252 or utf-16"
    try:
        yield
    except OSError as exc:
        what = f"the file can't be read: {exc.strerror or exc}"
        raise LoggerFileError(what, where=where, mend="Check the path and its rights") from exc
    except UnicodeError as exc:
        raise LoggerFileError(f"the file is not {encoding} text", where=where, mend=mend) from exc
    except LookupError as exc:
        raise LoggerFileError(f"there is no encoding {encoding!r}", where=where, mend=mend) from exc
