"""The life of a finished wall in words: what is due, how joints have moved, what the log says of it."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from monitor.basis.times import datetime_of, rfc3339, zone_of
from monitor.basis.units import INCH, System
from monitor.basis.values import Entry, Kind, Quantity
from monitor.rules.install.care import Item
from monitor.rules.install.inspection import Joint
from monitor.tell import words
from monitor.tell.words import Display, visible

WIDTH = 80
ROOM = {"in": "in band", "out": "OUT OF BAND", "unknown": "not known"}
DONE = {"dust": "dusted", "wipe": "wiped", "look": "looked over", "repair": "repaired"}


def gap(metres: float, units: System) -> str:
    """ "0.5 mm" or "0.020 in": a joint's gap, which sixteenths of an inch are too coarse for."""
    return f"{metres / INCH:z.3f} in" if units == "us" else f"{metres * 1000:z.2f} mm"


def joint(found: Joint, display: Display) -> str:
    """ "A3: 0.50 mm, 0.20 mm wider than 2026-05-01"."""
    text = f"{visible(found.name)}: {gap(found.gap, display.units)}"
    if found.growth is None or found.before_at is None:
        return f"{text}, measured for the first time"
    day = words.when(found.before_at, display)[:10]
    moved = gap(abs(found.growth), display.units)
    if moved == gap(0.0, display.units):
        return f"{text}, as on {day}"
    return f"{text}, {moved} {'wider' if found.growth > 0 else 'narrower'} than on {day}"


# --- what is due -----------------------------------------------------------------------------------


def due_text(as_of: int, items: Sequence[tuple[str, Item]], never: Sequence[str], zones: Mapping[str, str]) -> str:
    """What the walls ask for, overdue first, a line each; then the walls that nobody has cared for. [ms]"""
    lines = [line for wall, item in items for line in _item(wall, item, as_of, zones[wall])]
    if not lines:
        lines = ["Nothing is due." if zones else "No wall is finished and open: there is nothing to care for."]
    if never:
        lines += ["", *_wrapped(f"Never cared for since the finish: {', '.join(map(visible, never))}.")]
    return "\n".join(lines) + "\n"


def _item(wall: str, item: Item, as_of: int, zone: str) -> list[str]:
    shown = Display(zone_of(zone, where=f"job {wall}"), "si")
    day, last = words.when(item.due, shown)[:10], "never" if item.last is None else words.when(item.last, shown)[:10]
    tag = "OVERDUE" if item.overdue(as_of) else "due" if item.opens <= as_of else "coming"
    late = f", {_ago(item.due, as_of, shown)}" if tag == "OVERDUE" else ""
    return _wrapped(f"{tag:<8} {visible(wall)}: {item.what} by {day}{late} (last: {last})")


def _ago(due: int, as_of: int, shown: Display) -> str:
    """How many days of the calendar ago: what the two dates say to a reader."""
    days = (datetime_of(as_of, shown.zone).date() - datetime_of(due, shown.zone).date()).days
    return f"{words.counted_things(days, 'day')} ago" if days else "earlier today"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=" " * 9, break_on_hyphens=False)


def due_json(as_of: int, items: Sequence[tuple[str, Item]], never: Sequence[str]) -> dict[str, Any]:
    """The same for machines. [ms]"""
    return {
        "as_of": rfc3339(as_of),
        "due": [
            {
                "job": wall,
                "what": item.what,
                "opens": rfc3339(item.opens),
                "due": rfc3339(item.due),
                "overdue": item.overdue(as_of),
                "last": None if item.last is None else rfc3339(item.last),
            }
            for wall, item in items
        ],
        "never_cared_for": list(never),
    }


# --- the installation ------------------------------------------------------------------------------


def at_the_start(conditions: Mapping[str, Any], display: Display) -> list[tuple[str, str]]:
    """What the record said of the minute in which the installation started: the room, what was heard, the clock."""
    since = "" if conditions["since"] is None else f" since {words.when(conditions['since'], display)}"
    heard = "; ".join(
        f"{visible(name)} {', '.join(words.measure(Quantity(q), value, display) for q, value in said.items())}"
        for name, said in conditions["heard"].items()
    )
    counted = f"{words.hours(conditions['counted_ms'])} of {words.required(conditions['required_ms'])}"
    return [
        ("room", f"{ROOM[conditions['room']]}{since}"),
        ("heard", heard or "nothing"),
        ("acclimation", f"{counted} counted, {words.lot_named(conditions['lot'])}"),
    ]


def conditions(found: Mapping[str, Any], display: Display) -> str:
    """The same in a line, with its minute: a start that is corrected later has the conditions of the one first told."""
    told = [f"{name} {text}" for name, text in at_the_start(found, display)]
    core = found["boards"] or {}
    boards = ["{condition} {verdict}: {evidence}".format(**core)] if "condition" in core else []
    return ", ".join([words.when(found["at"], display), *told, *(words.evidence(one, display) for one in boards)])


# --- entries ---------------------------------------------------------------------------------------


def _cared(body: Mapping[str, Any], display: Display) -> str:
    return _with(DONE[body["did"]], body["text"])


def _inspected(body: Mapping[str, Any], display: Display) -> str:
    joints = ", ".join(f"{visible(name)} {gap(at, display.units)}" for name, at in body["joints_m"].items())
    return _with(f"joints {joints}" if joints else "looked at", body["text"])


def _happened(body: Mapping[str, Any], display: Display) -> str:
    until = "" if body["until"] is None else f", until {words.when(body['until'], display)}"
    return _with(f"{body['what'].replace('-', ' ')}{until}", body["text"])


def _caused(body: Mapping[str, Any], display: Display) -> str:
    until = "still out of band" if body["until"] is None else f"out of band until {words.when(body['until'], display)}"
    return _with(_with(until, f"cause: {body['cause']}"), body["remedy"] and f"remedy: {body['remedy']}")


def _with(head: str, text: str) -> str:
    return f"{head}; {visible(text)}" if text.strip() else head


SENTENCES: Mapping[Kind, Callable[[Mapping[str, Any], Display], str]] = {
    Kind.CARE: _cared,
    Kind.INSPECTION: _inspected,
    Kind.EVENT: _happened,
    Kind.CAUSE: _caused,
}


def sentence(entry: Entry, display: Display) -> str:
    """What an entry of the wall's life says, "" for an entry of another kind."""
    tell = SENTENCES.get(entry.kind)
    return "" if tell is None else tell(entry.body, display)
