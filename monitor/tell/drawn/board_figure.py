"""The interactive figure over days, as JSON for plotly.js: board moisture, the surface's humidity, the mould index."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import plotly.graph_objects as go

from monitor.basis.times import DAY
from monitor.tell.drawn.board_chart import DaysChart, DaysPanel, Floats
from monitor.tell.drawn.drawing import BLUE, PURPLE
from monitor.tell.drawn.figures import AXIS, GRID, INK, WOOD, sheet, title_over

CORNERS = 1000  # of a ring on each side, at most
FEW = 8  # days of which each has its name on the axis, and no hour of it
RANGE = "rgba(176,138,91,0.30)"
COLOUR = {"board": WOOD, "skin": BLUE, "mould": PURPLE}
HIGH, SPACE, ABOVE, BELOW = 190, 44, 42, 56  # of a panel, between panels, above and below them [px]


def days_figure_json(chart: DaysChart) -> str:
    """The figure as plotly.js takes it: {"data": ..., "layout": ...}."""
    figure = go.Figure(layout=_layout(chart))
    for number, panel in enumerate(chart.panels):
        figure.add_traces(list(_panel(chart, panel, _axis(number))))
    return figure.to_json()


def _axis(number: int) -> str:
    return "y" if number == 0 else f"y{number + 1}"


def _panel(chart: DaysChart, panel: DaysPanel, axis: str) -> Iterator[go.Scatter]:
    if panel.low is not None and panel.high is not None:
        x, y = _outline(chart, panel.low, panel.high)
        yield go.Scatter(
            x=x, y=y, yaxis=axis, mode="lines", fill="toself", fillcolor=RANGE, line={"width": 0}, hoverinfo="skip"
        )
    if panel.limit is not None:
        yield go.Scatter(
            x=[chart.start, chart.end], y=[panel.limit] * 2, yaxis=axis, mode="lines", hoverinfo="skip",
            line={"color": INK, "width": 1.2, "dash": "8px,4px"},
        )  # fmt: skip
    yield go.Scatter(
        x0=int(chart.t[0]), dx=DAY, y=panel.value.astype(np.float32), yaxis=axis, mode="lines", name=panel.name,
        connectgaps=False, line={"color": COLOUR[panel.name], "width": 1.6},
        hovertemplate="%{x|%Y-%m-%d} UTC<br>%{y:.1f}<extra></extra>",
    )  # fmt: skip


def stretches(known: np.ndarray) -> list[tuple[int, int]]:
    """First and end of every run of days that are known."""
    edges = np.flatnonzero(np.diff(known.astype(np.int8), prepend=0, append=0))
    return list(pairwise(edges.tolist()))[::2]


def _outline(chart: DaysChart, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Along the high and back along the low, a ring for each stretch of known days."""
    x: list[np.ndarray] = []
    y: list[np.ndarray] = []
    for first, end in stretches(~np.isnan(low + high)):
        t, least, most = _envelope(chart.t[first:end].astype(np.float64), low[first:end], high[first:end])
        x += [t, t[::-1], np.array([np.nan])]
        y += [most, least[::-1], np.array([np.nan])]
    return np.concatenate(x), np.concatenate(y).astype(np.float32)


def _envelope(t: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats, Floats]:
    """Of many days the lowest and the highest of a few at a time, so that the ring still holds them all."""
    step = -(-len(t) // CORNERS)
    first = np.arange(0, len(t), step)
    if step == 1:
        return t, low, high
    least, most = np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)
    return np.append(t[first], t[-1]), np.append(least, least[-1]), np.append(most, most[-1])


def _layout(chart: DaysChart) -> dict[str, Any]:
    number = len(chart.panels)
    inner = number * HIGH + (number - 1) * SPACE
    tops = [1.0 - k * (HIGH + SPACE) / inner for k in range(number)]
    layout: dict[str, Any] = {
        **sheet(inner + ABOVE + BELOW, ABOVE, BELOW),
        "xaxis": {
            "type": "date", "range": [chart.start, chart.end], "anchor": _axis(number - 1), "gridcolor": GRID,
            "title": {"text": "UTC days", "standoff": 8}, "tickangle": 0, "tickformat": "%m-%d\n%Y",
            **({"tick0": chart.start, "dtick": DAY} if chart.end - chart.start <= FEW * DAY else {}),
        },
        "shapes": [_mark(at) for at, _ in chart.marks],
        "annotations": [*_titles(chart, tops), *_named(chart)],
    }  # fmt: skip
    for k, panel in enumerate(chart.panels):
        layout[f"yaxis{k + 1 if k else ''}"] = {
            "range": [panel.bottom, panel.top], "domain": [max(tops[k] - HIGH / inner, 0.0), tops[k]],
            "fixedrange": True, **AXIS,
        }  # fmt: skip
    return layout


def _mark(at: int) -> dict[str, Any]:
    line = {"color": INK, "width": 1, "dash": "dot"}
    return {"type": "line", "xref": "x", "yref": "paper", "x0": at, "x1": at, "y0": 0, "y1": 1, "line": line}


def _titles(chart: DaysChart, tops: list[float]) -> Iterator[dict[str, Any]]:
    for panel, top in zip(chart.panels, tops, strict=True):
        yield title_over(top, panel.title)


def _named(chart: DaysChart) -> Iterator[dict[str, Any]]:
    """A mark's word at the top, on the side of its line that has more room."""
    for at, text in chart.marks:
        left = 2 * at > chart.start + chart.end
        yield {
            "x": at, "xref": "x", "y": 1, "yref": "paper", "yanchor": "bottom", "yshift": 16, "text": text,
            "xanchor": "right" if left else "left", "showarrow": False, "font": {"size": 12},
        }  # fmt: skip
