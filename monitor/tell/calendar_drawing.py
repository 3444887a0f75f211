"""The calendar as a wall: a course for each month, a plank for each day, filled from the floor by what the day was.

Solid is time in band, crossed time out of it, hatched time not known; a sign says the last two again.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from markupsafe import Markup

from monitor.tell.calendar_days import Day, finding
from monitor.tell.drawing import short, svg, text_at

WIDTH, LEFT, TOP = 960, 66, 18  # [px]
CELL, COURSE, HIGH = 28.8, 21, 19  # a day's width, a month's height, a plank's

_PATTERNS = Markup(
    '<defs><pattern id="day-unknown" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V5" stroke="#6b655c" stroke-width="1.4"/></pattern>'
    '<pattern id="day-out" width="5" height="5" patternUnits="userSpaceOnUse">'
    '<path d="M0 0H5V5H0Z" fill="#f0b48c"/><path d="M0 0L5 5M5 0L0 5" stroke="#8a2f00" stroke-width="1"/>'
    "</pattern></defs>"
)


def year_drawing(year: int, days: Sequence[Day], *, first: bool) -> Markup:
    """The days of one year; the first drawing of a page brings the patterns along."""
    parts = [_PATTERNS] if first else []
    parts += [text_at(_x(day) + CELL / 2, 12, str(day), "time") for day in (1, *range(5, 31, 5))]
    shapes: dict[str, list[str]] = {"day-in": [], "day-out": [], "day-unknown": [], "day-plank": [], "day-moment": []}
    signs: list[Markup] = []
    months = [(month, list(found)) for month, found in groupby(days, lambda one: one.day.month)]
    for row, (month, found) in enumerate(months):
        top = TOP + row * COURSE
        parts.append(text_at(LEFT - 8, top + 14, f"{year}-{month:02d}", "value"))
        for one in found:
            _lay(one, top, shapes)
            if one.sign:
                signs.append(text_at(_x(one.day.day) + CELL / 2, top + 14, one.sign, "sign"))
    drawn = [Markup('<path class="{}" d="{}"/>').format(kind, "".join(path)) for kind, path in shapes.items() if path]
    size = (WIDTH, TOP + len(months) * COURSE + 2)
    return svg(size, f"{year}: {finding(days)}", [*parts, *drawn, *signs], "chart days")


def _x(day: int) -> float:
    return LEFT + (day - 1) * CELL


def _lay(one: Day, top: int, shapes: dict[str, list[str]]) -> None:
    """The plank of a day: what it was, from the bottom up."""
    x, floor = _x(one.day.day) + 1, float(top + HIGH)
    for kind, length in (("day-in", one.in_band), ("day-out", one.out), ("day-unknown", one.unknown)):
        if length:
            high = max(HIGH * length / one.elapsed, 1.0)
            shapes[kind].append(_box(x, max(floor - high, top), CELL - 2, min(high, floor - top)))
            floor = max(floor - high, top)
    shapes["day-moment" if one.moment else "day-plank"].append(_box(x, top, CELL - 2, HIGH))


def _box(x: float, y: float, wide: float, high: float) -> str:
    return f"M{short(x)} {short(y)}h{short(wide)}v{short(high)}h-{short(wide)}z"
