"""The calendar as a wall: a course for each month, a plank for each day, filled from the floor by what the day was.

Solid is time in band, crossed time out of it, hatched time not known; a sign says the last two again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from markupsafe import Markup

from monitor.tell.drawn.calendar_days import SIGNS, Day, finding
from monitor.tell.drawn.drawing import short, svg, text_at

WIDTH, LEFT, TOP = 944, 66, 18  # [px]
CELL, COURSE, HIGH = 28, 21, 19  # a day's width, a month's height, a plank's
JOINT = 2  # between planks

_PATTERNS = Markup(
    '<defs><pattern id="day-unknown" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V5" stroke="#6b655c" stroke-width="1.4"/></pattern>'
    '<pattern id="day-out" width="5" height="5" patternUnits="userSpaceOnUse">'
    '<path d="M0 0H5V5H0Z" fill="#c65a1e"/><path d="M0 0L5 5M5 0L0 5" stroke="#4a1800" stroke-width="1"/>'
    "</pattern></defs>"
)


def year_drawing(year: int, days: Sequence[Day], *, first: bool) -> Markup:
    """The days of one year; the first drawing of a page brings the patterns along."""
    parts = [_PATTERNS] if first else []
    parts += [text_at(_x(day) + CELL / 2 - 1, 12, str(day), "time") for day in (1, *range(5, 31, 5))]
    months = [(month, list(found)) for month, found in groupby(days, lambda one: one.day.month)]
    shapes: dict[str, list[str]] = {"day-in": [], "day-out": [], "day-unknown": [], "day-plank": [], "day-moment": []}
    for row, (month, found) in enumerate(months):
        top = TOP + row * COURSE
        parts.append(text_at(LEFT - 8, top + 14, f"{year}-{month:02d}", "value"))
        for one in found:
            _lay(one, top, shapes)
    drawn = [Markup('<path class="{}" d="{}"/>').format(kind, "".join(path)) for kind, path in shapes.items() if path]
    signs = [sign for row, (_, found) in enumerate(months) for sign in _signs(found, TOP + row * COURSE + 14)]
    size = (WIDTH, TOP + len(months) * COURSE + 2)
    return svg(size, f"{year}: {finding(days)}", [*parts, *drawn, *signs], "chart days")


def _x(day: int) -> int:
    return LEFT + (day - 1) * CELL


def _lay(one: Day, top: int, shapes: dict[str, list[str]]) -> None:
    """The plank of a day: what it was, from the bottom up; a thin outline only where that leaves some of it bare."""
    x, floor = _x(one.day.day), float(top + HIGH)
    for kind, length in (("day-in", one.in_band), ("day-out", one.out), ("day-unknown", one.unknown)):
        if length:
            high = min(max(HIGH * length / one.elapsed, 1.0), floor - top)
            shapes[kind].append(_box(x, floor - high, high))
            floor -= high
    if one.unknown:
        shapes["day-plank"].append(_box(x, top, HIGH))
    if one.moment:
        shapes["day-moment"].append(_box(x, top, HIGH))


def _box(x: int, y: float, high: float) -> str:
    wide = CELL - JOINT
    return f"M{x} {short(y)}h{wide}v{short(high)}h-{wide}z"


def _signs(days: Sequence[Day], y: int) -> Iterator[Markup]:
    """Both signs of a course, each in one text with a place for every letter."""
    for sign in SIGNS:
        places = [_x(one.day.day) + (CELL - JOINT) // 2 + _aside(one, sign) for one in days if sign in one.sign]
        if places:
            shape = Markup('<text class="sign" y="{}" x="{}">{}</text>')
            yield shape.format(y, " ".join(map(str, places)), sign * len(places))


def _aside(one: Day, sign: str) -> int:
    """Of a day that has both signs each stands beside the middle."""
    return 0 if len(one.sign) == 1 else 5 if sign == SIGNS[1] else -5
