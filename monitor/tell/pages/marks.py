"""Small drawings for pages of many walls: what a time was made of, a week of the air, a quarter of a year day by day.

In band, out of band and not known differ by shape, not by colour alone: a course that lies low and solid, a block that
stands up to the top, and a thin outline. The styles are those of marks.css.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Literal, NamedTuple

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from monitor.rules.assessment import Coverage
from monitor.tell import words
from monitor.tell.drawn.drawing import short, svg

DayState = Literal["in", "out", "unknown"]

BAR = (120, 12)  # [px]
WEEK_HIGH = 34  # [px]
BUCKETS = 42  # of a week, four hours each
_BARS = {"i": (4, 8), "o": (0, 12), "u": (6, 5)}  # top and height in a bar [px]
STRIP = 90  # days, the last of them today
HIGH = 12  # of a strip [px]
MIDDLE: dict[DayState, int] = {"in": 8, "out": 6, "unknown": 11}  # of a cell, of which marks.css says how high it is


class Week(NamedTuple):
    """The last seven days of one quantity as of one wall, in BUCKETS equal lengths of time.

    `low`, `high`: of what was heard in each, NaN where nothing was; `limits` of the band. degC or %RH.
    """

    low: NDArray[np.float64]
    high: NDArray[np.float64]
    limits: tuple[float, float]

    @property
    def heard(self) -> tuple[float, float] | None:
        """Lowest and highest of all; None where nothing was heard."""
        if np.isnan(self.low).all():
            return None
        return float(np.nanmin(self.low)), float(np.nanmax(self.high))


def share_bar(part: Coverage) -> Markup:
    """In band, out of band and not known of one time, as one bar."""
    if not part.elapsed:
        return Markup("")
    wide, _ = BAR
    lengths = (part.in_band, part.known - part.in_band, part.elapsed - part.known)
    shapes, at = [], 0.0
    for length, kind in zip(lengths, ("i", "o", "u"), strict=True):
        size = length / part.elapsed * wide
        if length:
            top, tall = _BARS[kind]
            size = max(size, 1.5)
            shapes.append(_box(kind, min(at, wide - size), top, size, tall))
        at += length / part.elapsed * wide
    return svg(BAR, _shares(lengths, part.elapsed), shapes, "mark")


def sign(kind: Literal["i", "o", "u"]) -> Markup:
    """One state's mark alone, for the legend."""
    top, tall = _BARS[kind]
    return svg((24, BAR[1]), "", [_box(kind, 0.5, top, 23, tall)], "mark")


def _box(kind: str, x: float, y: float, width: float, height: float) -> Markup:
    return Markup('<path class="{}" d="M{} {}h{}v{}h-{}z"/>').format(
        kind, short(x), short(y), short(width), short(height), short(width)
    )


def _shares(lengths: Sequence[int], elapsed: int) -> str:
    named = zip(lengths, ("in band", "out of band", "not known"), strict=True)
    return ", ".join(f"{words.fraction(length / elapsed)} {what}" for length, what in named if length)


# --- a week -----------------------------------------------------------------------------------------------------------


def week(shown: Week) -> Markup:
    """A week of one quantity: the band as a course, what was heard as bars of lowest to highest, thicker where out."""
    heard = shown.heard
    if heard is None:
        return _stretched("week", BUCKETS, WEEK_HIGH, [_strokes("u", [f"M-.5 {WEEK_HIGH - 3}h{BUCKETS}"])])
    scale = _scale(shown.limits, heard)
    top, bottom = (_y(limit, scale) for limit in reversed(shown.limits))
    strokes: dict[str, list[str]] = {"w": [], "x": []}
    for k, (low, high) in enumerate(zip(shown.low.tolist(), shown.high.tolist(), strict=True)):
        if low == low:
            out = low < shown.limits[0] - words.DIFFERENT or high > shown.limits[1] + words.DIFFERENT
            strokes["x" if out else "w"].append(_bar(k, low, high, scale))
    course = Markup('<path class="b" d="M-.5 {}h{}v{}h-{}z"/>').format(top, BUCKETS, bottom - top, BUCKETS)
    return _stretched(
        "week", BUCKETS, WEEK_HIGH, [course, *(_strokes(kind, some) for kind, some in strokes.items() if some)]
    )


def _scale(limits: tuple[float, float], heard: tuple[float, float]) -> tuple[float, float]:
    """The value at the bottom and how many px a unit takes: the band and all that was heard fit."""
    room = (limits[1] - limits[0]) * 0.15
    bottom, top = min(limits[0] - room, heard[0]), max(limits[1] + room, heard[1])
    return bottom, (WEEK_HIGH - 2) / (top - bottom)


def _y(value: float, scale: tuple[float, float]) -> int:
    return round(WEEK_HIGH - 1 - (value - scale[0]) * scale[1])


def _bar(k: int, low: float, high: float, scale: tuple[float, float]) -> str:
    """The bar of the k-th part, at least two px high."""
    top, bottom = _y(high, scale), _y(low, scale)
    return f"M{k} {top}v{max(bottom - top, 2)}"


def _strokes(kind: str, strokes: Iterable[str]) -> Markup:
    return Markup('<path class="{}" d="{}"/>').format(kind, "".join(strokes))


def _stretched(kind: str, wide: int, high: int, parts: Iterable[Markup]) -> Markup:
    """A drawing that is as wide as its style says; what it shows is said in words beside it."""
    shape = Markup('<svg class="mark {}" viewBox="{} 0 {} {}" preserveAspectRatio="none" aria-hidden="true">{}</svg>')
    return shape.format(kind, "-.5" if kind == "week" else 0, wide, high, Markup("").join(parts))


# --- days -------------------------------------------------------------------------------------------------------------


def strip(days: Sequence[DayState]) -> Markup:
    """A cell a day, the last on the right: solid and low in band, to the top where out, a thin line where not known.

    At most STRIP days.
    """
    strokes: dict[DayState, list[str]] = {"in": [], "out": [], "unknown": []}
    at = STRIP - len(days)
    for state, same in groupby(days):
        size = len(list(same))
        strokes[state].append(f"M{at} {MIDDLE[state]}h{size}")
        at += size
    return _stretched("days", STRIP, HIGH, [_strokes(state[0], some) for state, some in strokes.items() if some])


def day_sign(state: DayState) -> Markup:
    """The cell of one state alone, for the legend."""
    return _stretched("days", 12, HIGH, [_strokes(state[0], [f"M0 {MIDDLE[state]}h12"])])
