"""Small drawings for pages of many walls: what a time was made of, a week of the air, a quarter of a year day by day.

In band, out of band and not known differ by shape, not by colour alone: a course that lies low and solid, a block that
stands up to the top, and a thin outline. The styles are those of marks.css.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from monitor.rules.assessment import Coverage
from monitor.tell import words
from monitor.tell.drawing import short, svg

DayState = Literal["in", "out", "unknown"]

BAR = (120, 12)  # [px]
WEEK = (126, 30)  # [px]
BUCKETS = 42  # of a week, four hours each
_BARS = {"i": (4, 8), "o": (0, 12), "u": (6, 5)}  # top and height in a bar [px]
DAY_WIDTH = 2  # of a strip [px]
HIGH = 12  # of a strip [px]


@dataclass(frozen=True, slots=True)
class Week:
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


def week(shown: Week, title: str) -> Markup:
    """A week of one quantity: the band as a course, what was heard as bars from lowest to highest, taller where out."""
    heard = shown.heard
    if heard is None:
        return svg(WEEK, f"{title}: nothing heard", [_course(shown.limits, _scale(shown.limits, shown.limits))], "mark")
    scale = _scale(shown.limits, heard)
    pieces = [_course(shown.limits, scale)]
    inside, outside = [], []
    for k, (low, high) in enumerate(zip(shown.low.tolist(), shown.high.tolist(), strict=True)):
        if low == low:
            out = low < shown.limits[0] - words.DIFFERENT or high > shown.limits[1] + words.DIFFERENT
            (outside if out else inside).append(_stroke(k, low, high, scale))
    pieces += [_path(kind, strokes) for kind, strokes in (("w", inside), ("x", outside)) if strokes]
    return svg(WEEK, title, pieces, "mark")


def _scale(limits: tuple[float, float], heard: tuple[float, float]) -> tuple[float, float]:
    """The value at the bottom and how many px a unit takes: the band and all that was heard fit."""
    room = (limits[1] - limits[0]) * 0.15
    bottom, top = min(limits[0] - room, heard[0]), max(limits[1] + room, heard[1])
    return bottom, (WEEK[1] - 2) / (top - bottom)


def _y(value: float, scale: tuple[float, float]) -> float:
    return WEEK[1] - 1 - (value - scale[0]) * scale[1]


def _course(limits: tuple[float, float], scale: tuple[float, float]) -> Markup:
    top, bottom = _y(limits[1], scale), _y(limits[0], scale)
    return _box("b", 0, top, WEEK[0], bottom - top)


def _stroke(k: int, low: float, high: float, scale: tuple[float, float]) -> str:
    """A bar at least a px and a half high."""
    width = WEEK[0] / BUCKETS
    bottom, top = _y(low, scale), _y(high, scale)
    lack = max(0.0, 1.5 - (bottom - top)) / 2
    return f"M{short((k + 0.5) * width)} {short(top - lack)}V{short(bottom + lack)}"


def _path(kind: str, strokes: Iterable[str]) -> Markup:
    return Markup('<path class="{}" d="{}"/>').format(kind, "".join(strokes))


# --- days -------------------------------------------------------------------------------------------------------------


def strip(days: Sequence[DayState], title: str) -> Markup:
    """A cell a day, oldest first: low and solid in band, up to the top where it was out, an outline where not known."""
    paths: dict[DayState, list[str]] = {"in": [], "out": [], "unknown": []}
    at = 0
    for state, same in groupby(days):
        size = len(list(same)) * DAY_WIDTH
        top, tall = {"in": (5, 7), "out": (0, 12), "unknown": (9.5, 2)}[state]
        paths[state].append(f"M{at} {top}h{size}v{tall}h-{size}z")
        at += size
    kinds = (("in", "i"), ("out", "o"), ("unknown", "u"))
    shapes = [_path(kind, paths[state]) for state, kind in kinds if paths[state]]  # type: ignore[index]
    return svg((max(at, DAY_WIDTH), HIGH), title, shapes, "mark days")
