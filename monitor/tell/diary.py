"""The entries of the condition log in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from monitor.basis.times import DAY, EARLIEST, HOUR, LATEST
from monitor.basis.units import format_duration, format_length
from monitor.basis.values import Entry, Kind
from monitor.tell.words import Display, visible, when


def entered(entry: Entry) -> str:
    """ "entered 2 d later" for what was written more than an hour after (or before) the time it speaks of, else ""."""
    late = entry.entered - entry.at
    if abs(late) <= HOUR:
        return ""
    length = f"{abs(late) // DAY} d" if abs(late) >= 2 * DAY else f"{abs(late) // HOUR} h"
    return f"entered {length} {'later' if late > 0 else 'before'}"


_CONDITION = {"condition", "verdict", "evidence"}


def _named(key: str, value: Any, display: Display) -> tuple[str, str]:
    """An item's name and value; of a length and of a duration the unit goes from the name to the value."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        if key.endswith("_m"):
            return visible(key.removesuffix("_m")), format_length(value, display.units)
        if key.endswith("_ms"):
            return visible(key.removesuffix("_ms")), format_duration(int(value))
    return visible(key), _item(value, display)


def _item(value: Any, display: Display) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int) and EARLIEST <= value < LATEST:  # no other figure of an entry is that large
        return when(value, display)
    if isinstance(value, float):
        return str(float(f"{value:.4g}"))
    if isinstance(value, Mapping):
        if value.keys() == _CONDITION:
            return visible("{condition}: {verdict} ({evidence})".format(**value))
        return ", ".join(" ".join(_named(str(key), item, display)) for key, item in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(_item(item, display) for item in value)
    return visible(str(value))


def body(entry: Entry, display: Display, *, longest: int = 400) -> str:
    """What an entry says: its items in their order, long ones cut, a profile by its name and hash alone."""
    items = []
    for key, value in entry.body.items():
        if value is None or value in ("", [], {}) or (entry.kind is Kind.PROFILE and key == "text"):
            continue
        name, text = _named(key, value, display)
        items.append(f"{name.replace('_', ' ')}: {text if len(text) <= longest else text[:longest] + ' ...'}")
    if entry.corrects is not None:
        items.insert(0, f"corrects entry {entry.corrects}")
    return "; ".join(items)


def corrections(entries: Iterable[Entry]) -> dict[int, list[int]]:
    """Which entries were corrected later, and by which: a page must show that something was changed."""
    found: dict[int, list[int]] = {}
    for entry in entries:
        if entry.corrects is not None:
            found.setdefault(entry.corrects, []).append(entry.number)
    return found
