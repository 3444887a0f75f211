"""The chart over days for paper, and for browsers that run no programs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from markupsafe import Markup

from monitor.basis.times import DAY, datetime_of
from monitor.tell.drawn.board_chart import DaysChart, DaysPanel
from monitor.tell.drawn.board_figure import COLOUR, stretches
from monitor.tell.drawn.drawing import LEFT, RIGHT, TOP, WIDTH, frame, round_values, rule, short, svg, text_at
from monitor.tell.drawn.thin import thin

PANEL, SPACE = 150, 34  # [px]
DATE = 76  # a date in a wide letter [px]
POINTS = 1200
STEPS = (1, 2, 7, 14, 28, 91, 182, 364, 728)  # between numbers on the axis [d]


def days_drawing(chart: DaysChart) -> Markup:
    """The drawing, as SVG."""
    parts: list[Markup] = []
    for number, panel in enumerate(chart.panels):
        parts += _panel(chart, panel, TOP + number * (PANEL + SPACE))
    bottom = TOP + len(chart.panels) * (PANEL + SPACE) - SPACE
    parts += _times(chart, bottom)
    for at, text in chart.marks:
        x, late = _x(chart, at), 2 * at > chart.start + chart.end  # "value" ends at its place
        parts += [rule("event", x, x, 16, bottom), text_at(x, 13, text, "value" if late else "")]
    return svg((WIDTH, bottom + 40), "Boards and the wall's surface over days", parts, "chart")


def _x(chart: DaysChart, at: int) -> float:
    return LEFT + (at - chart.start) / (chart.end - chart.start) * (WIDTH - LEFT - RIGHT)


def _panel(chart: DaysChart, panel: DaysPanel, top: int) -> Iterator[Markup]:
    def y(value: float) -> float:
        return top + PANEL - (value - panel.bottom) / (panel.top - panel.bottom) * PANEL

    yield text_at(LEFT, top - 6, panel.title, "title")
    for value in round_values(panel.bottom, panel.top):
        yield text_at(LEFT - 5, y(value) + 4, f"{value:g}", "value")
        yield rule("grid", LEFT, WIDTH - RIGHT, y(value), y(value))
    if panel.limit is not None:
        yield rule("limit", LEFT, WIDTH - RIGHT, y(panel.limit), y(panel.limit))
        yield text_at(LEFT + 4, y(panel.limit) - 4, f"limit {panel.limit:g} %", "")
    for first, end in stretches(~np.isnan(panel.value)):
        kept = first + thin(chart.t[first:end], panel.value[first:end], POINTS)
        x = [short(_x(chart, at)) for at in chart.t[kept].tolist()]
        if panel.low is not None and panel.high is not None:
            up = [f"{a} {short(y(b))}" for a, b in zip(x, panel.high[kept].tolist(), strict=True)]
            down = [f"{a} {short(y(b))}" for a, b in zip(x, panel.low[kept].tolist(), strict=True)]
            yield Markup('<path class="range" d="M{}Z"/>').format("L".join([*up, *down[::-1]]))
        steps = "L".join(f"{a} {short(y(b))}" for a, b in zip(x, panel.value[kept].tolist(), strict=True))
        yield Markup('<path class="line" d="M{}" stroke="{}"/>').format(steps, COLOUR[panel.name])
    yield frame(top, PANEL)


def _times(chart: DaysChart, bottom: int) -> Iterator[Markup]:
    days = (chart.end - chart.start) // DAY
    step = next((step for step in STEPS if days / step <= 11), STEPS[-1])
    for at in range(chart.start, chart.end + 1, step * DAY):
        x = _x(chart, at)
        yield rule("tick", x, x, bottom, bottom + 5)
        yield text_at(min(x, WIDTH - DATE / 2), bottom + 17, datetime_of(at).strftime("%Y-%m-%d"), "time")
    yield text_at(LEFT, bottom + 34, "UTC days", "")
