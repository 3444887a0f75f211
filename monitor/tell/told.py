"""What an entry keeps at length, in the words of a diary: a logger's file, points of a wall, a form."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from monitor.basis.units import System, format_area, format_length
from monitor.basis.values import Entry, Kind
from monitor.rules.placement import Placement, described
from monitor.tell import words
from monitor.tell.words import Display, visible

SHORT = 12  # of a SHA-256 that stands whole in the log of machines [hex digits]


def sentence(entry: Entry, display: Display) -> str:
    """What the import of a file says, "" for an entry of another kind."""
    return _imported(entry.body, display) if entry.kind is Kind.IMPORT else ""


def item(key: str, value: Any, display: Display) -> str:
    """What stands under a key of a body, "" where it is told as everything is."""
    tell = _ITEMS.get(key)
    return "" if tell is None else tell(value, display)


def _imported(body: Mapping[str, Any], display: Display) -> str:
    kept = words.counted_things(body["new"], "new reading")
    span = words.between(body["first"], body["last"], display)
    told = [f"{kept} of {visible(body['sensor'])} at {visible(body['place'])}, {span}"]
    told += [f"{body['duplicates']} were known"] if body["duplicates"] else []
    told += [f"{body['conflicts']} in conflict went to quarantine"] if body["conflicts"] else []
    return f"{', '.join(told)}; file: {visible(body['file'])}; sha256: {body['sha256']}"


def _fine(metres: float, units: System) -> str:
    """To 1/64 in or 0.1 mm."""
    return format_length(metres, units, denominator=64)


def _flatness(lines: Sequence[Mapping[str, Any]], display: Display) -> str:
    return ", ".join(_line(line, display.units) for line in lines)


def _line(line: Mapping[str, Any], units: System) -> str:
    """ "along: 17 points from 0 in to 16 ft, 0 in to 5/16 in"."""
    named = f" {visible(line['name'])}" if line.get("name") else ""
    return f"{line['direction']}{named}: {_points(line['points'], units)}"


def _points(points: Sequence[Sequence[float]], units: System) -> str:
    where, heights = zip(*points, strict=True)
    low, high = (_fine(bound, units) for bound in (min(heights), max(heights)))
    over = f"from {format_length(min(where), units)} to {format_length(max(where), units)}"
    return f"{words.counted_things(len(points), 'point')} {over}, {low if low == high else f'{low} to {high}'}"


def _placement(said: Mapping[str, Any], display: Display) -> str:
    return visible(described(Placement.from_json(said), display.units)).replace("; ", ", ")


_ITEMS: Mapping[str, Callable[[Any, Display], str]] = {
    "flatness": _flatness,
    "level": lambda points, display: _points(points, display.units),
    "uncertainty_m": lambda metres, display: _fine(metres, display.units),
    "gross_m2": lambda m2, display: format_area(m2, display.units),
    "net_m2": lambda m2, display: format_area(m2, display.units),
    "placement": _placement,
    "form": lambda form, _: f"{form['sha256'][:SHORT]}..., {visible(form['item'])}",
}
