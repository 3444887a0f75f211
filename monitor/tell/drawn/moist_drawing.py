"""The chart of moist air for paper, and for browsers that run no programs."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from markupsafe import Markup

from monitor.tell.drawn.drawing import (
    BLACK,
    BLUE,
    LEFT,
    PURPLE,
    RIGHT,
    WIDTH,
    rect,
    round_values,
    rule,
    short,
    svg,
    text_at,
)
from monitor.tell.drawn.moist_air import AirChart, Ring

TOP, HIGH = 30, 420  # [px]
COLOURS = (BLUE, PURPLE, BLACK)  # before, during, after the installation
SHAPES = ("M-1 0A1 1 0 1 0 1 0A1 1 0 1 0 -1 0Z", "M0 -1.2L1.1 0.8H-1.1Z", "M-0.9 -0.9H0.9V0.9H-0.9Z")
Place = Callable[[float], float]


def air_drawing(chart: AirChart) -> Markup:
    """The drawing, as SVG."""

    def x(value: float) -> float:
        return LEFT + (value - chart.x[0]) / (chart.x[1] - chart.x[0]) * (WIDTH - LEFT - RIGHT)

    def y(value: float) -> float:
        return TOP + HIGH - (value - chart.y[0]) / (chart.y[1] - chart.y[0]) * HIGH

    parts = [text_at(LEFT, TOP - 8, chart.titles[1], "title")]
    parts += _grid(chart, x, y)
    for curve in chart.curves:
        parts += _curve(chart, curve, x, y)
    for band in chart.bands:
        parts.append(Markup('<path class="ring" d="{}Z"/>').format(_path(band, x, y)))
    parts += _marks(chart, x, y)
    parts.append(rect("frame", LEFT, WIDTH - RIGHT, TOP, TOP + HIGH))
    parts.append(text_at(LEFT, TOP + HIGH + 36, chart.titles[0], "title"))
    return svg((WIDTH, TOP + HIGH + 44), "Hours of air by temperature and water in it, and the band", parts, "chart")


def _grid(chart: AirChart, x: Place, y: Place) -> Iterator[Markup]:
    for value in round_values(*chart.x):
        yield rule("grid", x(value), x(value), TOP, TOP + HIGH)
        yield text_at(x(value), TOP + HIGH + 17, f"{value:g}", "time")
    for value in round_values(*chart.y):
        yield rule("grid", LEFT, WIDTH - RIGHT, y(value), y(value))
        yield text_at(LEFT - 5, y(value) + 4, f"{value:g}", "value")


def _curve(chart: AirChart, curve: Ring, x: Place, y: Place) -> Iterator[Markup]:
    inside = np.flatnonzero(curve.y <= chart.y[1])
    if len(inside) < 2:
        return
    cut = Ring(curve.name, curve.x[inside], curve.y[inside])
    yield Markup('<path class="curve" d="{}"/>').format(_path(cut, x, y))
    yield text_at(x(float(cut.x[-1])) - 4, y(float(cut.y[-1])) - 4 if y(float(cut.y[-1])) > TOP + 18 else TOP + 14,
                  curve.name, "value")  # fmt: skip


def _path(ring: Ring, x: Place, y: Place) -> str:
    return "M" + "L".join(f"{short(x(a))} {short(y(b))}" for a, b in zip(ring.x.tolist(), ring.y.tolist(), strict=True))


def _marks(chart: AirChart, x: Place, y: Place) -> Iterator[Markup]:
    most = max(max(cell.hours) for cell in chart.cells)
    shape = Markup('<path class="hours" d="{}" stroke="{}" transform="translate({} {})scale({})" stroke-width="{}"/>')
    for cell in chart.cells:
        for phase in chart.phases:
            if cell.hours[phase]:
                size = mark_size(cell.hours[phase], most)
                at = short(x(cell.warm + chart.step[0] / 2)), short(y(cell.moist + chart.step[1] / 2))
                yield shape.format(SHAPES[phase], COLOURS[phase], *at, short(size), f"{1.6 / size:.2f}")


def mark_size(hours: int, most: int) -> float:
    """Half the width of a mark, its area growing with its hours. [px]"""
    return float(2.0 + 6.0 * (hours / most) ** 0.5)
