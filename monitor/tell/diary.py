"""The entries of the condition log in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from monitor.basis.times import DAY, EARLIEST, HOUR, LATEST
from monitor.basis.units import format_duration, format_length
from monitor.basis.values import PROGRAM, Entry, Kind, Quantity
from monitor.tell import care, told, upkeep, words
from monitor.tell.alarm import alarm_log
from monitor.tell.words import Display, visible, when


def entered(entry: Entry) -> str:
    """ "entered 2 d later" for what was written more than an hour after (or before) the time it speaks of, else ""."""
    late = entry.entered - entry.at
    if abs(late) <= HOUR:
        return ""
    length = f"{abs(late) // DAY} d" if abs(late) >= 2 * DAY else f"{abs(late) // HOUR} h"
    return f"entered {length} {'later' if late > 0 else 'before'}"


OWN = frozenset({Kind.COMPLETION, Kind.COMPLETION_REVISED, Kind.ALARM, Kind.ALARM_SETTINGS})
MOST_NUMBERS = 12  # entries that a sentence names before it counts the rest


def own(entry: Entry) -> bool:
    """Whether the program itself wrote an entry; who acknowledges an alarm says something."""
    return entry.kind in OWN and entry.who == PROGRAM


def late(entries: Iterable[Entry]) -> list[Entry]:
    """What people wrote more than an hour from the time it speaks of."""
    return [entry for entry in entries if entered(entry) and not own(entry)]


def numbers(entries: Sequence[Entry]) -> str:
    """ "4, 5, 9", of many the first and how many more."""
    return words.few([str(entry.number) for entry in entries], MOST_NUMBERS, between=", ")


_CONDITION = {"condition", "verdict", "evidence"}
_NOTHING: tuple[Any, ...] = (None, "", [], {})


def _named(key: str, value: Any, display: Display, of: str = "") -> tuple[str, str]:
    """An item's name and value; the unit goes from the name to the value, or comes from the whole it is a part `of`."""
    if isinstance(value, Mapping):
        lengths = key.endswith("_m") and all(_is_figure(part) for part in value.values())
        return visible(key.removesuffix("_m") if lengths else key), _item(value, display, key)
    figure = _figure(key, value, display, of) if _is_figure(value) else ""
    if figure:
        return visible(key.removesuffix("_ms").removesuffix("_m")), figure
    return visible(key), _item(value, display)


def _is_figure(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _figure(key: str, value: float, display: Display, of: str) -> str:
    """A number whose unit is known by its name, else ""; a part of an uncertainty is a difference."""
    if key.endswith(("temperature", "humidity")):
        quantity = Quantity.AIR_HUMIDITY if key.endswith("humidity") else Quantity.AIR_TEMPERATURE
        return (words.difference if of == "uncertainty" else words.measure)(quantity, value, display)
    if key.endswith("_m") or of.endswith("_m"):
        return format_length(value, display.units)
    return format_duration(int(value)) if key.endswith("_ms") else ""


def _item(value: Any, display: Display, of: str = "") -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int) and EARLIEST <= value < LATEST:  # no other figure of an entry is that large
        return when(value, display)
    if isinstance(value, float):
        return str(float(f"{value:.4g}"))
    if isinstance(value, Mapping):
        if value.keys() == _CONDITION:
            return words.evidence("{condition}: {verdict} ({evidence})".format(**value), display)
        parts = [_named(str(key), item, display, of) for key, item in value.items() if item not in _NOTHING]
        return ", ".join(" ".join(part) for part in parts)
    if isinstance(value, list | tuple):
        return ", ".join(_item(item, display) for item in value)
    return visible(str(value))


def body(entry: Entry, display: Display, *, longest: int = 400) -> str:
    """What an entry says: its items in their order, long ones cut, a profile by its name and hash alone."""
    whole = next(filter(None, (one.sentence(entry, display) for one in (care, told, upkeep, alarm_log))), "")
    items = [whole] if whole else []
    for key, value in () if whole else entry.body.items():
        if value in _NOTHING or (entry.kind is Kind.PROFILE and key == "text"):
            continue
        name, text = _named(key, value, display)
        name, text = name.removesuffix("_m2"), told.item(key, value, display) or text
        text = care.conditions(value, display) if (entry.kind, key) == (Kind.INSTALL, "conditions") else text
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
