"""How a data logger's file is laid out: what the user said of it, and the rest as far as the file proves it."""

from __future__ import annotations

import contextlib
import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

from monitor.basis.errors import LoggerFileError
from monitor.basis.values import Quantity
from monitor.intake.loggertext import BLANKS, Rows, guess_encoding, head, split
from monitor.intake.loggertimes import form_of, looks_like_a_time

_FORMS = {mark: rf"[+-]?(?:\d+(?:[{mark}]\d*)?|[{mark}]\d+)(?:[eE][+-]?\d+)?" for mark in (".", ",")}
NUMBER = {mark: re.compile(form, re.ASCII) for mark, form in _FORMS.items()}
ALL_NUMBERS = re.compile(rf"(?:{_FORMS['.']}\n)*+", re.ASCII)  # a whole column at once, a line each

_SEARCHED = 200  # lines in which the header is looked for
_SAMPLE = 1_000  # rows by which the decimal mark is guessed
_DELIMITERS = {";": "semicolon", "\t": "tab", "|": "bar", ",": "comma", BLANKS: "blanks"}
_NUMBERED = re.compile(r"#([1-9]\d{0,3})", re.ASCII)


@dataclass(frozen=True, slots=True)
class Columns:
    """What the user says of a file. A column is its name in the header, or "#3", the third field of a row.

    `time` is one column, or a date and a time of day; units as `units.unit_of` spells them; `missing` the texts that
    stand for no reading, besides blank and nan; `dst` chooses where a wall time happened twice or never; `skip_rows`
    the lines above the header. None is guessed.
    """

    time: tuple[str, ...]
    temperature: str | None = None
    humidity: str | None = None
    temperature_unit: str = "degC"
    humidity_unit: str = "%"
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    time_format: str | None = None
    missing: tuple[str, ...] = ()
    dst: Literal["earlier", "later"] | None = None
    encoding: str | None = None
    skip_rows: int | None = None

    def values(self) -> dict[Quantity, str]:
        """The columns of values that were named."""
        named = {Quantity.AIR_TEMPERATURE: self.temperature, Quantity.AIR_HUMIDITY: self.humidity}
        return {quantity: column for quantity, column in named.items() if column is not None}


class Guess(NamedTuple):
    """How a file is read. Rows and lines count from 1, fields from 0.

    `header` is the line of the header, None where there is none; `skip` the lines above the first row; `width` the
    fields of a row; `time_at` and `value_at` the fields that are read; `time_format` "ISO 8601" or a strptime format;
    `first` the line of the first row and `example` the cells that are read of it, times before values.
    """

    columns: Columns
    encoding: str
    delimiter: str
    decimal: Literal[".", ","]
    header: int | None
    skip: int
    width: int
    time_at: tuple[int, ...]
    value_at: Mapping[Quantity, int]
    time_format: str
    first: int
    example: tuple[str, ...]

    def unit(self, quantity: Quantity) -> str:
        """The unit in which the file gives a quantity."""
        columns = self.columns
        return columns.humidity_unit if quantity is Quantity.AIR_HUMIDITY else columns.temperature_unit

    def _unit_word(self, quantity: Quantity) -> str:
        """The unit as the command line spells it."""
        unit = self.unit(quantity)
        return "fraction" if unit == "1" else unit

    def words(self) -> list[str]:
        """How the file is read, for people to look at before they believe it."""
        columns = [*self.columns.time, *self.columns.values().values()]
        units = [*("" for _ in self.columns.time), *(f" {self._unit_word(each)}" for each in self.columns.values())]
        described = zip(columns, self.example, units, strict=True)
        cells = ", ".join(f"{name} = {text!r}{unit}" for name, text, unit in described)
        header = "no header" if self.header is None else f"header in row {self.header}"
        delimiter = _DELIMITERS.get(self.delimiter, repr(self.delimiter))
        changes = f", of two by a clock change the {self.columns.dst}" if self.columns.dst else ""
        missing = f"; no readings: {', '.join(map(repr, self.columns.missing))}" if self.columns.missing else ""
        return [
            f"encoding {self.encoding}, delimiter {delimiter}, decimal mark {self.decimal!r}, {header}{missing}",
            f"times {self.time_format}, without an offset in {self.columns.zone.key}{changes}",
            f"first row ({self.first}): {cells}",
        ]


class _Layout(NamedTuple):
    delimiter: str
    header: int | None
    skip: int
    width: int
    at: Mapping[str, int]


@contextlib.contextmanager
def own_guess(path: Path, columns: Columns) -> Iterator[None]:
    """Text that is not of an encoding nobody named: the guess was wrong, not the user. Raises LoggerFileError."""
    try:
        yield
    except LoggerFileError as exc:
        if columns.encoding is not None or not isinstance(exc.__cause__, UnicodeError):
            raise
        mend = "If it is a logger's text file, say its encoding: --encoding NAME"
        raise LoggerFileError("its encoding can't be guessed", where=str(path), mend=mend) from exc


def guess(path: Path, columns: Columns) -> Guess:
    """Find how the file is laid out. Raises LoggerFileError: no such file or column, or a form that is not certain."""
    with own_guess(path, columns):
        return _guess(path, columns)


def _guess(path: Path, columns: Columns) -> Guess:
    encoding = columns.encoding or guess_encoding(path)
    lines = head(path, encoding, _SEARCHED + (columns.skip_rows or 0))
    wanted = (*columns.time, *columns.values().values())
    if len(wanted) == len(columns.time):
        mend = "Name --temperature, --humidity or both"
        raise LoggerFileError("no column of values is named", where=str(path), mend=mend)
    layout = _layout(path, lines, columns, wanted)
    time_at = tuple(layout.at[name] for name in columns.time)
    value_at = {quantity: layout.at[name] for quantity, name in columns.values().items()}
    with Rows(path, encoding, layout.delimiter, layout.skip) as rows:
        blocks = (block for block in rows.blocks(_SAMPLE) if block.filled())
        sample = next(blocks, None)
        if sample is None:
            mend = "Check that it was copied whole"
            raise LoggerFileError("there is no row below the header", where=str(path), mend=mend)
        first, cells = sample.line_of(0), sample.filled()
        decimal = columns.decimal or _decimal(cell(row, at) for row in cells for at in value_at.values())
        texts = (time_text(row, time_at) for block in chain([sample], blocks) for row in block.filled())
        where = f"{path}, row {first}, column {' and '.join(columns.time)}"
        time_format = columns.time_format or form_of(texts, where=where)
    example = tuple(cell(cells[0], layout.at[name]) for name in wanted)
    return Guess(columns, encoding, layout.delimiter, decimal, layout.header, layout.skip, layout.width, time_at,
                 value_at, time_format, first, example)  # fmt: skip


def cell(cells: Sequence[str], at: int) -> str:
    """A cell without the blanks around it; "" where the row ends before it."""
    return cells[at].strip() if at < len(cells) else ""


def time_text(cells: Sequence[str], time_at: Sequence[int]) -> str:
    """The cells of the time, with a blank between date and time of day."""
    return " ".join(cell(cells, at) for at in time_at).strip()


def _layout(path: Path, lines: list[str], columns: Columns, wanted: Sequence[str]) -> _Layout:
    delimiters = list(_DELIMITERS) if columns.delimiter is None else [_delimiter(columns.delimiter)]
    begin = columns.skip_rows or 0
    tables = {delimiter: [split(line, delimiter) for line in lines] for delimiter in delimiters}
    named = [name for name in wanted if not _NUMBERED.fullmatch(name)]
    for delimiter, table in tables.items():
        for line in range(begin, len(table)):
            names = _names(table[line], delimiter)
            if named and all(name in names for name in named):
                return _under_header(path, delimiter, line, names, table, wanted)
            if not named and _is_row(table[line], columns):
                return _without_header(delimiter, line, table, wanted)
    raise _no_column(path, tables, begin, wanted, named)


def _delimiter(text: str) -> str:
    """The delimiter that the user gave, as a sign or as its name."""
    sign = {name: sign for sign, name in _DELIMITERS.items()}.get(text, text)
    if len(sign) != 1 or sign in '"\r\n':
        mend = f"Give one sign, or one of {', '.join(_DELIMITERS.values())}"
        raise LoggerFileError(f"{text!r} can't set columns apart", where="--delimiter", mend=mend)
    return sign


def _names(cells: list[str], delimiter: str) -> list[str]:
    """The names of a header line, without a # that marks it as one."""
    if cells and cells[0].startswith("#") and (delimiter == BLANKS or len(cells[0]) > 1):
        first = cells[0].lstrip("#").strip()
        return [first, *cells[1:]] if first else cells[1:]
    return cells


def _under_header(
    path: Path, delimiter: str, line: int, names: list[str], table: list[list[str]], wanted: Sequence[str]
) -> _Layout:
    """The header is known. Rows of one field more than it begin with a row number that has no name."""
    rows = [cells for cells in table[line + 1 :] if any(cells)]
    numbered = bool(rows) and all(len(cells) == len(names) + 1 and cells[-1] for cells in rows)
    where = f"{path}, row {line + 1}"
    at = {}
    for name in wanted:
        if names.count(name) > 1:
            mend = 'Give its number, such as "#3", in place of the name'
            raise LoggerFileError(f"the column {name!r} stands there twice", where=where, mend=mend)
        at[name] = names.index(name) + numbered if name in names else int(name[1:]) - 1
    width = len(names) + numbered
    for name in wanted:
        if at[name] >= width:
            raise LoggerFileError(f"there are {width} columns, no {name}", where=where, mend=_listed(names))
    return _Layout(delimiter, line + 1, line + 1, width, at)


def _without_header(delimiter: str, line: int, table: list[list[str]], wanted: Sequence[str]) -> _Layout:
    """The columns are numbers only, so the first row that can be read is the first one."""
    header = line if line and len(table[line - 1]) > 1 else None
    return _Layout(delimiter, header, line, len(table[line]), {name: int(name[1:]) - 1 for name in wanted})


def _is_row(cells: Sequence[str], columns: Columns) -> bool:
    """Whether the numbered columns hold a time and values."""
    time = time_text(cells, [int(name[1:]) - 1 for name in columns.time])
    values = [cell(cells, int(name[1:]) - 1) for name in columns.values().values()]
    readable = all(
        value in ("", *columns.missing) or value.lower() == "nan" or any(n.fullmatch(value) for n in NUMBER.values())
        for value in values
    )
    return any(values) and readable and (bool(columns.time_format) or looks_like_a_time(time)) and bool(time)


def _no_column(
    path: Path, tables: Mapping[str, list[list[str]]], begin: int, wanted: Sequence[str], named: Sequence[str]
) -> LoggerFileError:
    """What is missing, and what there is: in the line with most of the names, else with most cells."""
    if not named:
        what = f"no row has a time and a value in {', '.join(wanted)}"
        return LoggerFileError(what, where=str(path), mend="Check the numbers, or give --delimiter and --time-format")
    found: list[tuple[int, float, int, list[str]]] = []
    for delimiter, table in tables.items():
        for line, cells in enumerate(table[begin:], begin + 1):
            names = _names(cells, delimiter)
            cells_set_apart = len(names) if delimiter != BLANKS else min(len(names), 1.5)
            found.append((sum(name in names for name in named), cells_set_apart, line, names))
    if not found:
        return LoggerFileError("the file is empty", where=str(path), mend="Check that it was copied whole")
    _, _, line, names = max(found, key=lambda candidate: candidate[:2])
    missing = next(name for name in named if name not in names)
    return LoggerFileError(
        f"there is no column {missing!r}", where=f"{path}, row {line}", mend=_listed(names, near=missing)
    )


def _listed(names: Sequence[str], near: str = "") -> str:
    close = difflib.get_close_matches(near, names, 1)
    hint = f"Did you mean {close[0]!r}? " if close else ""
    return f'{hint}There are {", ".join(map(repr, names[:40]))}; a number such as "#3" names a column too'


def _decimal(cells: Iterator[str]) -> Literal[".", ","]:
    """The comma where values have it and none has a point."""
    texts = [text for text in cells if "," in text or "." in text]
    comma = any(NUMBER[","].fullmatch(text) and "," in text for text in texts)
    return "," if comma and not any("." in text for text in texts) else "."
