"""Readings as people and machines open them: CSV for a spreadsheet, SenML (RFC 8428). Both follow from the segments.

CSV: RFC 4180, UTF-8 with a byte order mark (spreadsheets then read it as UTF-8), one row a reading in order of time,
quantity and unit. A text that a spreadsheet could take for a formula gets an apostrophe before it, and so does one that
begins with an apostrophe: taking one apostrophe away gives the text back.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from monitor.basis.segment import Segment, readings_of
from monitor.basis.times import datetime_of
from monitor.basis.units import to_base
from monitor.basis.values import Quantity, Reading

COLUMNS = (
    "time",
    "time_ms",
    "sensor",
    "quantity",
    "value",
    "unit",
    "arrival",
    "arrival_ms",
    "origin",
    "origin_detail",
    "record",
)
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "'")
# RFC 8428, 12.1. Of a moisture in % of dry mass there is none; a share of 1 ("/") is nearest.
_SENML_UNIT = {Quantity.AIR_HUMIDITY: "%RH", Quantity.WALL_MOISTURE: "/", Quantity.BATTERY: "%EL"}


class Row(NamedTuple):
    """A reading and the leaf that it is sealed in (None: not sealed yet)."""

    reading: Reading
    leaf: int | None


def rows_of(segments: Iterable[tuple[int | None, Segment]]) -> list[Row]:
    """The readings of segments with their leaves, in order of time, quantity and unit."""
    rows = [Row(reading, leaf) for leaf, segment in segments for reading in readings_of(segment)]
    return sorted(rows, key=lambda row: (row.reading.t, row.reading.quantity, row.reading.unit, row.leaf or 0))


def month_of(day: str) -> str:
    """The month of a day: readings stand in one table a month."""
    return day[:7]


def csv_of(rows: Iterable[Row]) -> bytes:
    """The table of some readings."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for (stream, quantity, t, value, unit, arrival, origin), leaf in rows:
        writer.writerow(
            (
                _time(t),
                t,
                _guarded(stream),
                quantity.value,
                repr(value),
                _guarded(unit),
                _time(arrival),
                arrival,
                origin.kind.value,
                _guarded(origin.detail),
                "" if leaf is None else leaf,
            )
        )
    return b"\xef\xbb\xbf" + text.getvalue().encode()


def _time(at_ms: int) -> str:
    """RFC 3339 in UTC with milliseconds, always of one length. [ms]"""
    return datetime_of(at_ms).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _guarded(text: str) -> str:
    return f"'{text}" if text.startswith(_FORMULA) else text


def senml_of(rows: Sequence[Row], sensor: str) -> bytes:
    """The readings as a SenML pack under the base name `sensor`, a record a line: in Cel, %RH and shares of 1."""
    return ("[" + ",\n ".join(_senml(rows, sensor)) + "]\n").encode()


def _senml(rows: Sequence[Row], sensor: str) -> Iterator[str]:
    for place, ((_, quantity, t, value, unit, _, _), _) in enumerate(rows):
        base = to_base(value, unit)
        record = {
            **({"bn": f"{sensor}/"} if place == 0 else {}),
            "n": quantity.value,
            "u": _SENML_UNIT.get(quantity, "Cel"),
            "t": t / 1000,
            "v": base / 100 if quantity is Quantity.WALL_MOISTURE else base,
        }
        yield json.dumps(record, allow_nan=False)
