"""What was measured along a wall, from a CSV file or a command line: every bad cell is named with its row.

A file has a header. Points: direction, position, deviation and maybe line, which names it where there are several of
one direction; heights of the first row: position, height. A cell is a length, "3/16 in" or "-4 mm"; of bare numbers the
unit stands in the header, "deviation [mm]", or is given.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from monitor.basis.errors import Fault, QuantityError
from monitor.basis.units import parse_length

_HEAD = re.compile(r"\s*([a-z]+)\s*(?:[\[(/_ ]\s*([a-z]+)\s*[\])]?)?\s*", re.IGNORECASE)
_BARE = re.compile(r"\d+(?:\.\d*)?|\.\d+")
_DELIMITERS = ",;\t"


class Point(NamedTuple):
    """A deviation at a position of a line, "" where it has no name. [m]"""

    direction: str
    line: str
    position: float
    deviation: float


def signed_length(text: str, *, where: str, unit: str = "") -> float:
    """A length with or without a sign: "-1/8 in", or a bare number of `unit`. Raises QuantityError. [m]"""
    plain = text.strip().replace("\u2212", "-")
    sign, rest = (-1.0, plain[1:]) if plain.startswith("-") else (1.0, plain.removeprefix("+"))
    if not _BARE.fullmatch(rest.strip()):
        return sign * parse_length(rest, where=where)
    if unit:
        return sign * parse_length(f"{rest} {unit}", where=where)
    if not float(rest):
        return 0.0
    raise QuantityError(f"{text!r} has no unit", where=where, mend='Write it like "1/8 in" or "3 mm", or name the unit')


def read_points(path: Path, directions: Sequence[str], units: Mapping[str, str]) -> list[Point]:
    """The points of a file; `units` has those of bare numbers by column. Raises QuantityError with every bad cell."""
    table = _Table(path, ("direction", "position", "deviation"), units)
    points = []
    for row in table.rows:
        direction = row.text("direction").lower()
        if direction not in directions:
            table.refuse(row, "direction", f"{row.text('direction')!r} is no direction", f"Use {', '.join(directions)}")
        points.append(Point(direction, row.text("line"), table.length(row, "position"), table.length(row, "deviation")))
    table.settle()
    return points


def read_heights(path: Path, units: Mapping[str, str]) -> list[tuple[float, float]]:
    """The (position, height) of a file, as `read_points`. Raises QuantityError with every bad cell. [m]"""
    table = _Table(path, ("position", "height"), units)
    found = [(table.length(row, "position"), table.length(row, "height")) for row in table.rows]
    table.settle()
    return found


class _Row(NamedTuple):
    """The cells of a row by column; rows are counted from 1, the header's."""

    number: int
    cells: Mapping[str, str]

    def text(self, column: str) -> str:
        """A cell without blanks around, "" where there is no such column."""
        return self.cells.get(column, "").strip()


class _Table:
    """A CSV file with a header, and what is wrong with it."""

    def __init__(self, path: Path, needed: Sequence[str], units: Mapping[str, str]) -> None:
        """Raises QuantityError where it can't be read at all."""
        self._path, self._faults = path, list[Fault]()
        header, *lines = _lines(path)
        delimiter = max(_DELIMITERS, key=header.count)
        self._decimal = "." if delimiter == "," else ","
        heads = [_HEAD.fullmatch(head) for head in next(csv.reader([header], delimiter=delimiter))]
        names = [head[1].lower() if head else "" for head in heads]
        self._units = dict(units) | {head[1].lower(): head[2] for head in heads if head and head[2]}
        for name in needed:
            if names.count(name) != 1:
                what = f"there is {'no' if name not in names else 'more than one'} column {name!r}"
                raise QuantityError(
                    what, where=str(path), mend=f"Name the columns in the first row: {', '.join(needed)}"
                )
        self.rows = []
        for number, cells in enumerate(csv.reader(lines, delimiter=delimiter), 2):
            if not any(cell.strip() for cell in cells):
                continue
            if len(cells) == len(names):
                self.rows.append(_Row(number, dict(zip(names, cells, strict=True))))
            else:
                what = f"it has {len(cells)} cells, the header {len(names)}"
                self._faults.append(Fault(what, f"{path}, row {number}", "Put a cell that holds a delimiter in quotes"))

    def refuse(self, row: _Row, column: str, what: str, mend: str) -> None:
        """Note that a cell is wrong."""
        self._faults.append(Fault(what, f"{self._path}, row {row.number}, {column}", mend))

    def length(self, row: _Row, column: str) -> float:
        """The length in a cell; 0 where it is wrong, which is noted. [m]"""
        where = f"{self._path}, row {row.number}, {column}"
        text = row.text(column).replace(self._decimal, ".")
        try:
            return signed_length(text, where=where, unit=self._units.get(column, ""))
        except QuantityError as exc:
            self._faults.extend(exc.faults)
            return 0.0

    def settle(self) -> None:
        """Raises QuantityError with all that was wrong, or where there is no row."""
        if self._faults:
            raise QuantityError.of(self._faults)
        if not self.rows:
            raise QuantityError("there is no row below the header", where=str(self._path), mend="Write one a point")


def _lines(path: Path) -> list[str]:
    """The lines of a UTF-8 file that are not blank above the header. Raises QuantityError."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as exc:
        raise QuantityError(f"it can't be read ({exc.strerror})", where=str(path), mend="Name a CSV file") from exc
    except UnicodeDecodeError as exc:
        raise QuantityError(f"byte {exc.start} is not UTF-8", where=str(path), mend="Save it as UTF-8 text") from exc
    return text.splitlines() or [""]
