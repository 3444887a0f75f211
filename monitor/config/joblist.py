"""Lists as a spreadsheet saves them: a header, then a row each; of walls the columns are the keys of a job file."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

from monitor.basis.errors import Fault, RecordError, WallclimeError
from monitor.config import tables
from monitor.config.jobfile import KEYS, Told, told_of

SUFFIX = ".csv"
_DELIMITERS = ",;\t"
_SEVERAL = ("corners", "openings")
_YES_OR_NO = ("split", "vertical", "over_water", "indoors")
_WORDS = {"yes": True, "true": True, "no": False, "false": False}


class Row(NamedTuple):
    """The cells of a row that are filled, by column, and where it stands."""

    where: str
    cells: dict[str, str]


def read_rows(path: Path, columns: Sequence[str]) -> list[Row]:
    """The rows of a list that are not blank; a column is spelt as in `columns`, or with blanks and capitals.

    Raises RecordError with every fault of the header, or of rows that have more cells than it.
    """
    try:
        text = tables.file_text(path)
    except WallclimeError as exc:
        raise RecordError.of(exc.faults) from exc
    (_, first), *lines = _lines(text, str(path)) or [(1, [])]
    header = [cell.strip().lower().replace(" ", "_") for cell in first]
    faults = _of_header(header, columns, str(path))
    rows = []
    for number, cells in lines:
        where = f"{path}, line {number}"
        if len(cells) > len(header) and any(cell.strip() for cell in cells[len(header) :]):
            faults.append(Fault("it has more cells than the header", where, "Put a cell with a comma in quotes"))
        filled = {name: cell.strip() for name, cell in zip(header, cells, strict=False) if cell.strip()}
        rows += [Row(where, filled)] if filled else []
    if not rows and not faults:
        faults.append(Fault("there is no row below the header", str(path), "Write a row each"))
    if faults:
        raise RecordError.of(faults)
    return rows


def _lines(text: str, where: str) -> list[tuple[int, list[str]]]:
    """Each row's cells and the number of its last line, parted by what parts the first line."""
    found = csv.reader(io.StringIO(text, newline=""), delimiter=max(_DELIMITERS, key=text.partition("\n")[0].count))
    try:
        return [(found.line_num, cells) for cells in found]
    except csv.Error as exc:
        at = f"{where}, line {found.line_num}"
        raise RecordError(f"it can't be read ({exc})", where=at, mend="Save it anew as CSV in UTF-8") from exc


def _of_header(header: Sequence[str], columns: Sequence[str], where: str) -> list[Fault]:
    strange = [name for name in header if name not in columns]
    faults = [Fault(f"there is no column {name!r}", where, tables.nearest(name, columns)) for name in strange]
    twice = sorted({name for name in header if header.count(name) > 1})
    return [*faults, *(Fault(f"the column {name!r} is there twice", where, "Keep one of the two") for name in twice)]


def read_list(options: Mapping[str, Any], path: Path, *, needed: Iterable[str]) -> list[Told]:
    """What each row of a list of walls says, the options over all of them. Raises RecordError with every fault."""
    found: list[Told] = []
    faults: list[Fault] = []
    lines: dict[str, str] = {}
    for row in read_rows(path, KEYS):
        spot = partial("{}: {}".format, row.where)
        try:
            found.append(told_of(options, _table(row), row.where, needed=needed, near=path.parent, spot=spot))
        except RecordError as exc:
            faults += exc.faults
        name = row.cells.get("name", row.where)
        if lines.setdefault(name, row.where) != row.where:
            faults.append(Fault(f"{name!r} stands in {lines[name]} already", spot("name"), "Give each wall its own"))
    if faults:
        raise RecordError.of(list(dict.fromkeys(faults)))
    return found


def _table(row: Row) -> dict[str, Any]:
    """The cells as a file of TOML has them: several in a list, yes and no as true and false."""
    return {key: _value(key, cell) for key, cell in row.cells.items()}


def _value(key: str, cell: str) -> Any:
    if key in _SEVERAL:
        return [part.strip() for part in cell.split(";") if part.strip()]
    return _WORDS.get(cell.lower(), cell) if key in _YES_OR_NO else cell
