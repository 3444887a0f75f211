"""A data logger's file: read in chunks, every cell strictly, its values as Python's float reads them."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from operator import itemgetter
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.errors import LoggerFileError
from monitor.basis.values import Quantity
from monitor.intake.hold import propose_hold
from monitor.intake.loggerguess import ALL_NUMBERS, NUMBER, Guess, own_guess
from monitor.intake.loggertext import Rows
from monitor.intake.loggertimes import Unread, utc_of

CHUNK_ROWS = 20_000

Channel = tuple[NDArray[np.int64], NDArray[np.float64]]


class Chunk(NamedTuple):
    """Some rows of a file: of each quantity the times [UTC ms, int64] and values as sent [float64], blanks left out.

    `rows` and `share` say how many rows, and what share of the file from 0 to 1, are read so far.
    """

    series: Mapping[Quantity, Channel]
    rows: int
    share: float


class Summary(NamedTuple):
    """What a file holds, all its cells read. Times in UTC ms.

    `readings` counts each quantity's; `median` and `highest` are of its values as sent, left out where it has none;
    `intervals` are those between times with a reading, in their order, and `gaps`
    the (from, to) of every interval longer than the hold that they propose. [ms]
    """

    rows: int
    first: int
    last: int
    readings: Mapping[Quantity, int]
    median: Mapping[Quantity, float]
    highest: Mapping[Quantity, float]
    intervals: NDArray[np.int64]
    gaps: tuple[tuple[int, int], ...]
    sha256: str


def read(path: Path, guessed: Guess, *, chunk_rows: int = CHUNK_ROWS) -> Iterator[Chunk]:
    """The readings of a file in the order of its rows, blank and nan cells left out.

    Raises LoggerFileError at the first cell that can't be read: run `check` before anything is kept.
    """
    columns = guessed.columns
    with own_guess(path, columns), Rows(path, guessed.encoding, guessed.delimiter, guessed.skip) as rows:
        yield from _chunks(path, guessed, rows, chunk_rows)


def check(path: Path, guessed: Guess, *, progress: Callable[[float], None] | None = None) -> Summary:
    """Read the whole file once; `progress` hears the share of it that is done, 0 to 1.

    Raises LoggerFileError at the first cell that can't be read, or where there is no reading at all.
    """
    times = [np.empty(0, np.int64)]
    values = {quantity: [np.empty(0)] for quantity in guessed.value_at}
    done = 0
    with own_guess(path, guessed.columns), Rows(path, guessed.encoding, guessed.delimiter, guessed.skip) as rows:
        for chunk in _chunks(path, guessed, rows, CHUNK_ROWS):
            done = chunk.rows
            for quantity, (t, sent) in chunk.series.items():
                values[quantity].append(sent)
                times.append(t)
            if progress is not None:
                progress(chunk.share)
        sha256 = rows.sha256()
    heard = np.unique(np.concatenate(times))
    if not len(heard):
        mend = "Check the columns, and what --missing names"
        raise LoggerFileError("there is no reading in the file", where=str(path), mend=mend)
    intervals = np.diff(heard)
    gaps = np.flatnonzero(intervals > propose_hold(intervals))
    bounds = tuple((int(heard[at]), int(heard[at + 1])) for at in gaps)
    whole = {quantity: np.concatenate(parts) for quantity, parts in values.items()}
    counts = {quantity: len(sent) for quantity, sent in whole.items()}
    median = {quantity: float(np.median(sent)) for quantity, sent in whole.items() if len(sent)}
    highest = {quantity: float(sent.max()) for quantity, sent in whole.items() if len(sent)}
    return Summary(done, int(heard[0]), int(heard[-1]), counts, median, highest, intervals, bounds, sha256)


def _chunks(path: Path, guessed: Guess, rows: Rows, chunk_rows: int) -> Iterator[Chunk]:
    done = 0
    for block in rows.blocks(chunk_rows):
        filled = block.filled()
        done += len(filled)
        series, misread = _series(filled, guessed)
        if misread:
            unread, name = min(misread, key=lambda each: each[0].at)
            where = f"{path}, row {block.line_of(unread.at)}" + (f", column {name}" if name else "")
            raise LoggerFileError(unread.what, where=where, mend=unread.mend)
        yield Chunk(series, done, rows.share())


def _series(rows: list[list[str]], guessed: Guess) -> tuple[dict[Quantity, Channel], list[tuple[Unread, str]]]:
    """The readings of some rows, or the first cell of each column that can't be read, with the column's name."""
    columns = guessed.columns
    rows, uneven = _evened(rows, guessed.width)
    times, unread = utc_of(_texts(rows, guessed.time_at), guessed.time_format, columns.zone, columns.dst)
    found = [(uneven, ""), (unread, " and ".join(columns.time))]
    series = {}
    for quantity, name in columns.values().items():
        values, unread = _numbers(_texts(rows, [guessed.value_at[quantity]]), guessed)
        found.append((unread, name))
        if all(unread is None for unread, _ in found):
            there = ~np.isnan(values)
            series[quantity] = times[there], values[there]
    return series, [(unread, name) for unread, name in found if unread is not None]


def _texts(rows: Sequence[list[str]], at: Sequence[int]) -> list[str]:
    """A column without the blanks around its cells; several with a blank between them."""
    columns = [list(map(str.strip, map(itemgetter(one), rows))) for one in at]
    return columns[0] if len(at) == 1 else list(map(str.strip, map(" ".join, zip(*columns, strict=True))))


def _evened(rows: list[list[str]], width: int) -> tuple[list[list[str]], Unread | None]:
    """Short rows filled up with blank cells, blank cells beyond the width cut off; the first row of more fields."""
    if set(map(len, rows)) <= {width}:
        return rows, None
    long = next((at for at, row in enumerate(rows) if any(row[width:])), len(rows))
    even = [[*row[:width], *[""] * (width - len(row))] for row in rows[:long]]
    if long == len(rows):
        return even, None
    what, mend = f"the row has {len(rows[long])} fields, not {width}", "Check it, or give --delimiter or --decimal"
    return even, Unread(long, what, mend)


def _numbers(texts: Sequence[str], guessed: Guess) -> tuple[NDArray[np.float64], Unread | None]:
    """The values of cells, NaN where there is none, up to the first that can't be read."""
    if guessed.decimal == "." and not guessed.columns.missing and ALL_NUMBERS.fullmatch("\n".join([*texts, ""])):
        with contextlib.suppress(ValueError):  # a cell of several lines: found below
            values = np.array(list(map(float, texts)))
            if np.isfinite(values).all():
                return values, None
    return _numbers_one_by_one(texts, guessed)


def _numbers_one_by_one(texts: Sequence[str], guessed: Guess) -> tuple[NDArray[np.float64], Unread | None]:
    none = {"", *guessed.columns.missing}
    values: list[float] = []
    for at, text in enumerate(texts):
        value = math.nan if text in none or text.lower() == "nan" else _number(text, guessed.decimal)
        if value is None:
            return np.array(values), Unread(at, f"{text!r} is not a number", _mend_number(text, guessed))
        values.append(value)
    return np.array(values, dtype=np.float64), None


def _number(text: str, decimal: str) -> float | None:
    """The number exactly as Python's float reads it; None where it is none or not finite."""
    if not NUMBER[decimal].fullmatch(text):
        return None
    value = float(text.replace(",", "."))
    return value if math.isfinite(value) else None


def _mend_number(text: str, guessed: Guess) -> str:
    other = "," if guessed.decimal == "." else "."
    if other in text and NUMBER[other].fullmatch(text):
        return f'Give --decimal "{other}" if that is the decimal mark of the whole file'
    return f"If it stands for no reading, give --missing {text!r}"
