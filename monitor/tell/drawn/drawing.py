"""Drawings of our own in SVG: the wall that is laid up plank by plank as hours are counted, and the charts for paper.

They need no program to be seen, and say in words and signs what they say in colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from itertools import count
from typing import NamedTuple

import numpy as np
from markupsafe import Markup

from monitor.basis.times import DAY, HOUR, datetime_of, ms_of
from monitor.rules.assessment import ClockReading, State
from monitor.tell import words
from monitor.tell.drawn.chart import NUMBERED, WIDE, Chart, Line, Panel, limit_texts
from monitor.tell.drawn.thin import merged, thin

# after Okabe and Ito, each of another lightness: apart in grey, at least 3:1 on the sheet and on the band
BLUE, BLACK, GREEN, PURPLE = "#00598c", "#1b1916", "#0b9068", "#5e2148"
OUT = "#D55E00"
COLOURS = (BLUE, BLACK, GREEN, PURPLE)
DASHES = ("", "7 3", "2 3", "9 3 2 3")
SIGNS = ("circle", "square", "diamond", "triangle-up")

ROW = 8  # planks in a row of the wall
MOST_PLANKS = 96
PLANK = (70, 22)  # [px]
LEFT, RIGHT, TOP = 46, 10, 36
WIDTH = LEFT + WIDE + RIGHT
PANEL, RIBBON, SPACE = 190, 54, 30
SIGN_WIDE = 7.7  # of the text at a tick, in a wide letter [px]
TICKS = 11  # at most, of the time
HOURS = (1, 2, 3, 6, 12, 24, 48, 96, 168)  # between ticks; of more than weeks they stand at months
POINTS, POINTS_OF_ONE = 4800, 1200  # on paper: of all channels together, and of one


def planks(clock: ClockReading) -> int:
    """How many planks the required hours are drawn as: one an hour, up to 96."""
    return min(MOST_PLANKS, max(1, math.ceil(clock.required / HOUR)))


def wall(clock: ClockReading) -> Markup:
    """The required hours as a wall of planks laid from the bottom up, as many as are counted."""
    number = planks(clock)
    laid = clock.counted * number / clock.required if clock.required else number
    rows = math.ceil(number / ROW)
    wide, high = PLANK
    shapes = []
    for k in range(number):
        row, place = divmod(k, ROW)
        x = place * wide + (wide / 2 if row % 2 else 0) + 1
        y = (rows - 1 - row) * high + 1
        shapes.append(_plank(x, y, min(1.0, max(0.0, laid - k))))
    size = (ROW * wide + wide // 2 + 2, rows * high + 2)
    return svg(size, f"{words.counted(clock)} counted", shapes, "wall")


def _plank(x: float, y: float, laid: float) -> Markup:
    wide, high = PLANK
    outline = Markup('<rect class="plank" x="{}" y="{}" width="{}" height="{}"/>').format(
        short(x), y, wide - 3, high - 3
    )
    if laid <= 0.0:
        return outline
    part = Markup('<rect class="laid" x="{}" y="{}" width="{}" height="{}"/>')
    return part.format(short(x), y, short((wide - 3) * laid), high - 3) + outline


def bar(clock: ClockReading) -> Markup:
    """Counted of required hours as one bar."""
    part = min(1.0, clock.counted / clock.required) if clock.required else 1.0
    outline = Markup('<rect class="plank" x="1" y="1" width="198" height="10"/>')
    laid = Markup('<rect class="laid" x="1" y="1" width="{}" height="10"/>').format(short(198 * part))
    return svg((200, 12), words.counted(clock), [laid, outline], "bar")


def sign(style: int) -> Markup:
    """A sensor's line and sign, for the legend."""
    line = Markup('<path class="line" d="M1 8H47" stroke="{}" stroke-dasharray="{}"/>')
    return svg((48, 16), "", [line.format(_colour(style), _dash(style)), _sign(style, 24, 8)], "sign")


def mark(shape: str, colour: str) -> Markup:
    """A mark that stands alone, an outline, for a legend."""
    drawn = Markup('<path d="{}" fill="none" stroke="{}" stroke-width=".3" transform="translate(24 8)scale(6)"/>')
    return svg((48, 16), "", [drawn.format(shape, colour)], "sign")


def chart(shown: Chart) -> Markup:
    """The chart for paper and for browsers that run no programs."""
    scale = _Scale(shown.start, shown.end)
    ribbon = TOP + PANEL + SPACE
    tops = (TOP, ribbon + RIBBON + SPACE)
    bottom = tops[1] + PANEL
    parts = [_HATCH]
    for panel, top in zip(shown.panels, tops, strict=True):
        parts += _panel(panel, shown, scale, top)
    parts += _ribbon(shown, scale, ribbon)
    parts += _times(shown, scale, bottom)
    parts += _events(shown, scale, bottom)
    return svg((WIDTH, bottom + 40), "Humidity, state of the room and temperature over time", parts, "chart")


class _Scale(NamedTuple):
    start: int
    end: int

    def x(self, at: int) -> float:
        return LEFT + (min(max(at, self.start), self.end) - self.start) / (self.end - self.start) * (
            WIDTH - LEFT - RIGHT
        )


_HATCH = Markup(
    '<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<path d="M0 0V6" stroke="#6b655c" stroke-width="1.6"/></pattern></defs>'
)


def _panel(panel: Panel, shown: Chart, scale: _Scale, top: int) -> Iterator[Markup]:
    def y(value: float) -> float:
        return top + PANEL - (value - panel.low) / (panel.high - panel.low) * PANEL

    yield text_at(LEFT, top - 6, panel.title, "title")
    for limit in panel.limits:
        yield rect("band", scale.x(limit.start), scale.x(limit.end), y(limit.high), y(limit.low))
    for start, end in merged(shown.lanes["unknown"], (shown.end - shown.start) // 400):
        yield rect("unknown", scale.x(start), scale.x(end), top, top + PANEL)
    for start, end in panel.beyond:
        yield rect("outside", scale.x(start), scale.x(end), top, top + PANEL)
    for value in round_values(panel.low, panel.high):
        yield text_at(LEFT - 5, y(value) + 4, f"{value:g}", "value")
        yield rule("grid", LEFT, WIDTH - RIGHT, y(value), y(value))
    for limit in panel.limits:
        for value in (limit.low, limit.high):
            yield rule("limit", scale.x(limit.start), scale.x(limit.end), y(value), y(value))
    for said in limit_texts(panel):
        x = scale.x(said.at) + (-4 if said.late else 4)
        below = 13 if said.side == "high" else -4
        yield text_at(x, y(said.value) + below, f"limit {said.value:.1f} {panel.unit}", "value" if said.late else "")
    most = max(4, min(POINTS_OF_ONE, POINTS // sum(len(panel.lines) for panel in shown.panels))) if panel.lines else 0
    for line in panel.lines:
        yield from _line(
            line, most, [scale.x(at) for at in line.t.tolist()], [y(value) for value in line.value.tolist()]
        )
    for dot in panel.dots:
        yield text_at(scale.x(dot.at), y(dot.value) + 5, "\u2716", "hand")
    if len(panel.outside) <= NUMBERED:
        for out in panel.outside:
            above = -7 if out.side == "high" else 15
            yield text_at((scale.x(out.start) + scale.x(out.end)) / 2, y(out.peak) + above, str(out.number), "number")
    yield frame(top, PANEL)


def _line(line: Line, most: int, x: list[float], y: list[float]) -> Iterator[Markup]:
    kept = thin(line.t, np.array(y), most)
    stretch = np.cumsum(line.anew)[kept]
    pens = np.where(np.diff(stretch, prepend=-1) > 0, "M", "L")
    steps = [f"{pen}{short(x[i])} {short(y[i])}" for pen, i in zip(pens, kept.tolist(), strict=True)]
    shape = Markup('<path class="line" d="{}" stroke="{}" stroke-dasharray="{}"/>')
    yield shape.format("".join(steps), _colour(line.style), _dash(line.style))
    for first, end in _stretches(line.flat):
        yield rule("flat", x[first], x[end - 1], y[first], y[end - 1])
    signs = np.flatnonzero(line.marks)
    for i in signs[:: -(-len(signs) // POINTS_OF_ONE) or 1].tolist():
        yield _sign(line.style, x[i], y[i])


def _stretches(flat: np.ndarray) -> Iterator[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(flat.astype(np.int8), prepend=0, append=0))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _ribbon(shown: Chart, scale: _Scale, top: int) -> Iterator[Markup]:
    yield text_at(LEFT, top - 6, "state of the room (computed)", "title")
    lanes: tuple[State, ...] = ("out", "in", "unknown")
    high = RIBBON / len(lanes)
    for k, state in enumerate(lanes):
        y = top + k * high
        yield text_at(LEFT - 5, y + high - 5, "?" if state == "unknown" else state, "value")
        for start, end in merged(shown.lanes[state], (shown.end - shown.start) // 600):
            yield rect(f"lane {state}", scale.x(start), max(scale.x(end), scale.x(start) + 1), y + 3, y + high - 3)
    yield frame(top, RIBBON)


def _times(shown: Chart, scale: _Scale, bottom: int) -> Iterator[Markup]:
    near = shown.end - shown.start <= TICKS * HOURS[-1] * HOUR
    for at in _round_times(shown) if near else _months(shown):
        local = datetime_of(at + shown.offset)
        x = scale.x(at)
        yield rule("tick", x, x, bottom, bottom + 5)
        text = local.strftime("%H:%M" if local.hour or local.minute else "%Y-%m-%d" if near else "%Y-%m")
        yield text_at(min(x, WIDTH - len(text) * SIGN_WIDE / 2), bottom + 17, text, "time")
    yield text_at(LEFT, bottom + 34, shown.axis, "")


def _events(shown: Chart, scale: _Scale, bottom: int) -> Iterator[Markup]:
    for at in shown.changes:
        yield rule("tick", scale.x(at), scale.x(at), TOP, TOP + 8)
    for event in shown.events:
        x = scale.x(event.at)
        yield rule("event", x, x, 14, bottom)
        yield text_at(x + event.shift, 11, event.letter, "letter")


def _round_times(shown: Chart) -> Iterator[int]:
    step = next(h * HOUR for h in HOURS if (shown.end - shown.start) / (h * HOUR) <= TICKS)
    first = -(-(shown.start + shown.offset) // step) * step - shown.offset if step <= DAY else None
    at = first if first is not None else -(-(shown.start + shown.offset) // DAY) * DAY - shown.offset
    while at <= shown.end:
        yield at
        at += step


def _months(shown: Chart) -> Iterator[int]:
    """The first moments of months, quarters, half years or whole years."""
    first, last = (_month(datetime_of(at + shown.offset)) for at in (shown.start, shown.end))
    step = next(step for step in count(1) if step in (1, 2, 3, 6) or step % 12 == 0 if (last - first) / step <= TICKS)
    for month in range(-(-first // step) * step, last + 1, step):
        at = ms_of(datetime(month // 12, month % 12 + 1, 1, tzinfo=UTC)) - shown.offset
        if shown.start <= at:
            yield at


def _month(at: datetime) -> int:
    return at.year * 12 + at.month - 1


def round_values(low: float, high: float) -> Iterator[float]:
    """Where an axis has its numbers."""
    raw = (high - low) / 6
    size = 10.0 ** math.floor(math.log10(raw))
    step = size * next(times for times in (1, 2, 5, 10) if times * size >= raw)
    for k in range(math.ceil(low / step), math.floor(high / step) + 1):
        yield k * step


def _colour(style: int) -> str:
    return COLOURS[style % len(COLOURS)]


def _dash(style: int) -> str:
    return DASHES[style % len(DASHES)]


def _sign(style: int, x: float, y: float) -> Markup:
    shapes = ("M-3 0A3 3 0 1 0 3 0A3 3 0 1 0 -3 0Z", "M-3 -3H3V3H-3Z", "M0 -4L4 0L0 4L-4 0Z", "M0 -4L4 3H-4Z")
    shape = Markup('<path d="{}" fill="{}" transform="translate({} {})"/>')
    return shape.format(shapes[style % len(shapes)], _colour(style), short(x), short(y))


def rect(kind: str, x0: float, x1: float, y0: float, y1: float) -> Markup:
    """A rectangle of a kind that the page's style knows."""
    shape = Markup('<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>')
    return shape.format(kind, short(x0), short(y0), short(max(x1 - x0, 0.5)), short(y1 - y0))


def rule(kind: str, x0: float, x1: float, y0: float, y1: float) -> Markup:
    """A straight line."""
    return Markup('<path class="{}" d="M{} {}L{} {}"/>').format(kind, short(x0), short(y0), short(x1), short(y1))


def text_at(x: float, y: float, text: str, kind: str) -> Markup:
    """A text, escaped."""
    return Markup('<text class="{}" x="{}" y="{}">{}</text>').format(kind, short(x), short(y), text)


def frame(top: int, high: int) -> Markup:
    """The frame of a panel."""
    return rect("frame", LEFT, WIDTH - RIGHT, top, top + high)


def svg(size: tuple[int, int], title: str, parts: Iterable[Markup], kind: str) -> Markup:
    """A drawing of `size` px; one without a title is skipped by screen readers."""
    label = Markup('role="img" aria-label="{}"').format(title) if title else Markup('aria-hidden="true"')
    shape = Markup('<svg class="{}" viewBox="0 0 {} {}" {}>{}</svg>')
    return shape.format(kind, *size, label, Markup("").join(parts))


def short(value: float) -> str:
    """A coordinate, to a tenth."""
    return f"{value:.1f}".removesuffix(".0")
