"""What a job is opened with: a file of keys, options of the command line over it, and every fault of both in one pass.

A length, a corner, an opening and a date are written alike in both, and in a list of walls (see joblist).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date
from importlib import resources
from pathlib import Path
from typing import Any, Literal, NamedTuple

from monitor.basis.errors import Fault, RecordError, WallclimeError
from monitor.basis.times import parse_time, zone_of
from monitor.basis.units import System, parse_length
from monitor.config import tables
from monitor.config.tables import Figure, Reader

_EXAMPLE = resources.files("monitor.config") / "example-job.toml"
_OPENING = re.compile(
    r"(?P<name>[^:]*:|[^\d.:]*)(?P<width>[^@]*?)\s*[x×]\s*(?P<height>[^@x×]*?)\s*(?:@(?P<corner>.*))?"
)

Date = str | Literal[False]  # ISO 8601, or that it is not so yet


class OpeningTold(NamedTuple):
    """A door, a window or another hole as somebody measured it [m]; `corner` None where its place was not."""

    name: str
    width: float
    height: float
    corner: tuple[float, float] | None


class Told(NamedTuple):
    """Checked values by key. `units` are those in which the wall was measured; `near` is where a profile may lie."""

    values: Mapping[str, Any]
    units: System | None = None
    near: Path | None = None


def _text(value: Any, where: str) -> str:
    if not isinstance(value, str):
        raise tables.fault(f"{value!r} is not a text", where, "Write it in quotes")
    return value


def _length(value: Any, where: str) -> float:
    return parse_length(_text(value, where), where=where)


def _coordinate(text: str, where: str) -> float:
    return 0.0 if text.strip() == "0" else parse_length(text, where=where)


def _corner(value: Any, where: str) -> tuple[float, float]:
    parts = _text(value, where).split(",")
    if len(parts) != 2:
        mend = 'Write how far along the wall and how high, like "12 ft, 8 ft" or "3.6 m, 2.4 m"'
        raise tables.fault(f"{value!r} is not a corner", where, mend)
    return _coordinate(parts[0], where), _coordinate(parts[1], where)


def _opening(value: Any, where: str) -> OpeningTold:
    found = _OPENING.fullmatch(_text(value, where).strip())
    if found is None:
        mend = 'Write it like "door 36 in x 80 in", or with its lower left corner, "window 3 ft x 4 ft @ 5 ft, 3 ft"'
        raise tables.fault(f"{value!r} is not an opening", where, mend)
    name = found["name"].rstrip(": ") or "opening"
    corner = None if found["corner"] is None else _corner(found["corner"], where)
    return OpeningTold(name, _length(found["width"], where), _length(found["height"], where), corner)


def _date(value: Any, where: str) -> Date:
    if value is False or value == "no":
        return False
    try:
        return date.fromisoformat(str(value)).isoformat()
    except ValueError:
        mend = 'Write it like "2026-01-05", or "no" while it is not so'
        raise tables.fault(f"{str(value)!r} is not a date", where, mend) from None


def _moment(value: Any, where: str) -> str:
    """A date or a time, left as it is written: it is of the job's zone."""
    text = str(value)
    parse_time(text, zone_of("UTC"), where=where)
    return text


def _zone(value: Any, where: str) -> str:
    return zone_of(_text(value, where), where=where).key


_READERS: dict[str, Reader] = {
    "name": _text,
    "zone": _zone,
    "length": _length,
    "height": _length,
    "corners": tables.some(_corner),
    "openings": tables.some(_opening),
    "lay": tables.one_of("horizontal", "vertical"),
    "split": tables.yes_or_no,
    "units": tables.one_of("us", "si"),
    "profile": _text,
    "boxes_place": _text,
    "wall_place": _text,
    "outdoor_place": _text,
    "building": _text,
    "kind": tables.one_of("partition", "outside", "below-grade", "masonry"),
    "surface": tables.one_of("wall", "ceiling", "counter", "splash-back"),
    "vertical": tables.yes_or_no,
    "over_water": tables.yes_or_no,
    "indoors": tables.yes_or_no,
    "climate_since": _date,
    "closed_in_since": _date,
    "wet_trades_done": _date,
    "up_since": _moment,
    "reason": _text,
    "by": _text,
}
KEYS = tuple(_READERS)
_OPTIONS = {"name": "NAME", "corners": "--corner", "openings": "--opening"}


def option(key: str) -> str:
    """The option of the command line that says what `key` says in a file."""
    return _OPTIONS.get(key, f"--{key.replace('_', '-')}")


def example_text() -> str:
    """A commented file with every key."""
    return _EXAMPLE.read_text(encoding="utf-8")


def read_told(options: Mapping[str, Any], path: Path | None = None, *, needed: Iterable[str] = ()) -> Told:
    """What the options say (None: nothing), and what a file at `path` says beside them; an option wins over its key.

    Raises RecordError with every fault, those of `needed` keys that nobody gives, and of a wall that is given twice.
    """
    table = {} if path is None else _table(path)
    return told_of(options, table, str(path), needed=needed, near=None if path is None else path.parent)


def told_of(
    options: Mapping[str, Any],
    table: Mapping[str, Any],
    where: str,
    *,
    needed: Iterable[str],
    near: Path | None,
    spot: Callable[[str], str] | None = None,
) -> Told:
    """As `read_told`, of a table that stands at `where`, near which profiles may lie; `spot` is where a key is missing.

    Raises RecordError.
    """
    lists = {key: list(value) if isinstance(value, tuple) else value for key, value in options.items()}
    given = {key: value for key, value in lists.items() if value not in (None, [])}
    figures, faults = _options(given)
    found, wrong = tables.read({key: table[key] for key in table if not _overruled(key, given)}, _READERS, where)
    in_file, figures, faults = set(found) - set(given), found | figures, [*faults, *wrong]
    faults += _missing(set(given) | set(table), needed, option if spot is None else spot)
    if {"length", "height"} & set(figures) and "corners" in figures:
        faults.append(Fault("the wall is given twice", "--corner", "Give its corners, or its length and height"))
    if faults:
        raise RecordError.of(faults)
    values = {key: figure.value for key, figure in figures.items()}
    return Told(values, _units(figures), near if "profile" in in_file else None)


def _options(given: Mapping[str, Any]) -> tuple[dict[str, Figure], list[Fault]]:
    figures: dict[str, Figure] = {}
    faults: list[Fault] = []
    for key, value in given.items():
        try:
            figures[key] = Figure(value, _READERS[key](value, option(key)))
        except WallclimeError as exc:
            faults.extend(exc.faults)
    return figures, faults


def _table(path: Path) -> dict[str, Any]:
    try:
        return tables.toml_table(tables.file_text(path), str(path))
    except WallclimeError as exc:
        raise RecordError.of(exc.faults) from exc


def _overruled(key: str, given: Mapping[str, Any]) -> bool:
    """Whether an option says the same; the corners of a wall say its length and height, and the other way about."""
    sides = {"length", "height"}
    return key in given or (key in sides and "corners" in given) or (key == "corners" and not sides.isdisjoint(given))


def _missing(keys: set[str], needed: Iterable[str], spot: Callable[[str], str]) -> list[Fault]:
    mends = {
        "name": "Write it after the command, or as a key of the file",
        "zone": 'Give one, such as "America/New_York"',
        "length": 'Write it like "16 ft" or "4.2 m", or give each corner of the wall',
        "height": 'Write it like "8 ft" or "2.4 m", or give each corner of the wall',
    }
    missing = [key for key in needed if key not in keys and not (key in ("length", "height") and "corners" in keys)]
    return [Fault(f"no {key} is given", spot(key), mends[key]) for key in missing]


def _units(figures: Mapping[str, Figure]) -> System | None:
    """As it is said, else as the length, the height or the corners of the wall are written."""
    if "units" in figures:
        return figures["units"].value
    written = [figures[key].written for key in ("length", "height", "corners") if key in figures]
    if not written:
        return None
    text = written[0] if isinstance(written[0], str) else " ".join(written[0])
    return "us" if any(mark in text for mark in ("f", "i", "'", '"')) else "si"
