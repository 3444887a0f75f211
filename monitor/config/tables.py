"""TOML files, checked: each key has a reader, and every fault of a file is found in one pass.

A file is looked at as figures: dotted key -> value, whatever way its tables are written. A reader takes (value, where)
and returns the checked value, or raises a WallclimeError with one fault or more.
"""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from monitor.basis.errors import Fault, WallclimeError

Reader = Callable[[Any, str], Any]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")


class Table(NamedTuple):
    """The figures of one table of several, such as [[broker]], and the beginning of the `where` of each."""

    spot: str
    values: Mapping[str, Any]


class Figure(NamedTuple):
    """A value as it was written, and as it was understood."""

    written: Any
    value: Any


def file_text(path: Path) -> str:
    """The text of a UTF-8 file, with or without a byte order mark. Raises WallclimeError."""
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as exc:
        raise WallclimeError(
            f"byte {exc.start} is not UTF-8", where=str(path), mend="Save the file as UTF-8 text"
        ) from exc
    except OSError as exc:
        reason = exc.strerror or str(exc)
        raise WallclimeError(
            f"the file can't be read: {reason}", where=str(path), mend="Check the path and its rights"
        ) from exc


def toml_table(text: str, where: str) -> dict[str, Any]:
    """The TOML document `text`. Raises WallclimeError that names line and column."""
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as exc:
        mend = "Mend the file there; a text stands in quotes, a table's name in [brackets]"
        raise WallclimeError(f"this is not TOML: {exc}", where=where, mend=mend) from exc


def read(table: Mapping[str, Any], readers: Mapping[str, Reader], where: str) -> tuple[dict[str, Figure], list[Fault]]:
    """The figures of `table` that are right, and the faults of all others: unknown, misplaced, given twice, misread."""
    figures: dict[str, Figure] = {}
    faults: list[Fault] = []
    for key, written in _flat(table, readers):
        spot = f"{where}: {key}"
        try:
            if key in readers and key not in figures:
                figures[key] = Figure(written, readers[key](written, spot))
            elif key in readers:
                raise fault("it is given twice", spot, "Keep one of the two")
            elif not _is_table(key, readers):
                raise fault("there is no such key", spot, nearest(key, readers))
            elif written != {}:
                raise fault(f"{written!r} is not a table", spot, f"Write [{key}], and its keys on the lines below it")
        except WallclimeError as exc:
            faults.extend(exc.faults)
    return figures, faults


def each(value: Sequence[Mapping[str, Any]], readers: Mapping[str, Reader], where: str) -> tuple[Table, ...]:
    """Several tables of the same keys, each named by its number. Raises WallclimeError with the faults of all."""
    found, faults = [], []
    for number, table in enumerate(value, 1):
        spot = f"{where} {number}"
        figures, wrong = read(table, readers, spot)
        found.append(Table(f"{spot}: ", {key: figure.value for key, figure in figures.items()}))
        faults += wrong
    if faults:
        raise WallclimeError.of(faults)
    return tuple(found)


def below(table: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """The figures of `table` by their keys in it."""
    return {key.removeprefix(f"{table}."): value for key, value in values.items() if key.startswith(f"{table}.")}


def misread(faults: Iterable[Fault], where: str, *keys: str) -> bool:
    """Whether one of `keys` is at fault already, so that nothing more can be said of it."""
    spots = {f"{where}: {key}" for key in keys}
    return any(fault.where in spots for fault in faults)


def _is_table(key: str, readers: Iterable[str]) -> bool:
    return any(known.startswith(f"{key}.") for known in readers)


def _flat(table: Mapping[str, Any], readers: Mapping[str, Reader]) -> Iterator[tuple[str, Any]]:
    waiting = list(table.items())[::-1]
    while waiting:
        key, value = waiting.pop()
        if isinstance(value, dict) and value and (key not in readers or _is_table(key, readers)):
            waiting.extend((f"{key}.{name}", below) for name, below in list(value.items())[::-1])
        else:
            yield key, value


def nearest(word: str, known: Iterable[str]) -> str:
    """The mend for a word that is not known: the nearest known one, or all of them (of dotted keys, the tables)."""
    choices = list(known)
    firsts = list(dict.fromkeys(choice.partition(".")[0] for choice in choices))
    near = [choice for choice in choices if choice.startswith(word) or choice.endswith(word)]
    near = near or difflib.get_close_matches(word, choices + firsts, n=1)
    return f'Did you mean "{near[0]}"?' if near else f"Known here: {', '.join(firsts)}"


def fault(what: str, where: str, mend: str) -> WallclimeError:
    """One fault, to be raised by a reader."""
    return WallclimeError(what, where=where, mend=mend)


def line(value: Any, where: str) -> str:
    """A text of one line, not empty."""
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        raise fault(f"{value!r} is not a line of text", where, "Write one line in quotes")
    return value


def prose(value: Any, where: str) -> str:
    """A text of one line or more, not empty."""
    if not isinstance(value, str) or not value.strip():
        raise fault(f"{value!r} is not a text", where, "Write a sentence in quotes")
    return value


def yes_or_no(value: Any, where: str) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise fault(f"{value!r} is neither true nor false", where, "Write true or false, without quotes")
    return value


def number(least: float, most: float) -> Reader:
    """A number from `least` to `most`."""

    def read_number(value: Any, where: str) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise fault(f"{value!r} is not a number", where, f"Write a number from {least} to {most}, without quotes")
        if not least <= value <= most:
            raise fault(f"{value!r} is outside {least} to {most}", where, "Give one within them")
        return value

    return read_number


def whole(least: int, most: int) -> Reader:
    """A whole number from `least` to `most`."""
    in_range = number(least, most)

    def read_whole(value: Any, where: str) -> int:
        if in_range(value, where) != value or isinstance(value, float):
            raise fault(f"{value!r} is not a whole number", where, f"Write a whole number from {least} to {most}")
        return value

    return read_whole


def amount(parse: Callable[..., float], least: str, most: str) -> Reader:
    """A quantity in quotes with its unit, from `least` to `most`; `parse` is one of basis.units."""
    low, high = parse(least), parse(most)

    def read_amount(value: Any, where: str) -> float:
        if not isinstance(value, str):
            mend = f'Write it in quotes, from "{least}" to "{most}"'
            raise fault(f"{value!r} is not a quantity with its unit", where, mend)
        found = parse(value, where=where)
        if not low <= found <= high:
            raise fault(f"{value!r} is outside {least} to {most}", where, "Give one within them")
        return found

    return read_amount


def pair(reader: Reader) -> Reader:
    """Two values of `reader`, the lower one first."""

    def read_pair(value: Any, where: str) -> tuple[Any, Any]:
        if not isinstance(value, list) or len(value) != 2:
            raise fault(f"{value!r} is not a pair", where, "Write two values in brackets, the lower one first")
        low, high = reader(value[0], where), reader(value[1], where)
        if not low < high:
            raise fault(f"{value[0]!r} is not below {value[1]!r}", where, "Write the lower one first")
        return low, high

    return read_pair


def some(reader: Reader) -> Reader:
    """One value of `reader` or more, in their order."""

    def read_some(value: Any, where: str) -> tuple[Any, ...]:
        if not isinstance(value, list) or not value:
            raise fault(f"{value!r} is not a list", where, "Write one value or more in brackets")
        return tuple(reader(item, where) for item in value)

    return read_some


def rising(reader: Reader, count: int) -> Reader:
    """So many values of `reader`, none below the one before it."""

    def read_rising(value: Any, where: str) -> tuple[Any, ...]:
        if not isinstance(value, list) or len(value) != count:
            raise fault(
                f"{value!r} is not {count} values", where, f"Write {count} values in brackets, the lowest first"
            )
        found = tuple(reader(item, where) for item in value)
        if list(found) != sorted(found):
            raise fault(f"{value!r} does not rise", where, "Write the lowest first")
        return found

    return read_rising


def one_of(*choices: str) -> Reader:
    """One of `choices`."""

    def read_choice(value: Any, where: str) -> str:
        if value not in choices:
            raise fault(f"{value!r} is not known", where, nearest(str(value), choices))
        return value

    return read_choice


def toml_text(figures: Mapping[str, Any]) -> str:
    """TOML of dotted key -> text, number or list of texts; what has a dot goes into the table before the first one."""
    tables: dict[str, list[str]] = {"": []}
    for dotted, value in figures.items():
        *table, key = dotted.split(".", 1)
        shown = key if _BARE_KEY.fullmatch(key) else _toml(key)
        tables.setdefault("".join(table), []).append(f"{shown} = {_toml(value)}\n")
    return "\n".join((f"[{name}]\n" if name else "") + "".join(lines) for name, lines in tables.items())


def _toml(value: Any) -> str:
    if isinstance(value, list):
        return f"[{', '.join(_toml(item) for item in value)}]"
    if isinstance(value, str):  # JSON's escapes are TOML's, but for DEL
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(value)
