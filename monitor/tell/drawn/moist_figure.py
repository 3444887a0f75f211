"""The chart of moist air as JSON for plotly.js."""

from __future__ import annotations

from collections.abc import Iterator

import plotly.graph_objects as go

from monitor.tell.drawn.figures import AXIS, BAND, GREY, INK, sheet, title_over
from monitor.tell.drawn.moist_air import PHASES, AirChart
from monitor.tell.drawn.moist_drawing import COLOURS, mark_size
from monitor.tell.words import PHASE

SYMBOLS = ("circle-open", "triangle-up-open", "square-open")
HEIGHT = 520  # [px]


def air_figure_json(chart: AirChart) -> str:
    """The figure as plotly.js takes it: {"data": ..., "layout": ...}."""
    figure = go.Figure([*_grounds(chart), *_marks(chart)], _layout(chart))
    return figure.to_json()


def _grounds(chart: AirChart) -> Iterator[go.Scatter]:
    for band in chart.bands:
        yield go.Scatter(
            x=band.x.round(2), y=band.y.round(2), mode="lines", fill="toself", fillcolor=BAND, name=band.name,
            line={"color": INK, "width": 1.4, "dash": "8px,4px"}, hoverinfo="skip",
        )  # fmt: skip
    for curve in chart.curves:
        yield go.Scatter(
            x=curve.x.round(2), y=curve.y.round(3), mode="lines", name=curve.name, hoverinfo="skip",
            line={"color": GREY, "width": 1.6 if curve.name == "100 %" else 0.8},
        )  # fmt: skip


def _marks(chart: AirChart) -> Iterator[go.Scatter]:
    most, (warm, moist) = max(max(cell.hours) for cell in chart.cells), chart.units
    for phase in chart.phases:
        cells, named = [cell for cell in chart.cells if cell.hours[phase]], PHASE[PHASES[phase]]
        yield go.Scatter(
            x=[cell.warm + chart.step[0] / 2 for cell in cells], y=[cell.moist + chart.step[1] / 2 for cell in cells],
            mode="markers", name=PHASES[phase], customdata=[cell.hours[phase] for cell in cells],
            marker={
                "symbol": SYMBOLS[phase], "color": COLOURS[phase], "line": {"width": 1.6},
                "size": [round(2 * mark_size(cell.hours[phase], most), 1) for cell in cells],
            },
            hovertemplate=f"%{{customdata}} h around %{{x:.1f}} {warm}, %{{y:.1f}} {moist}<extra>{named}</extra>",
        )  # fmt: skip


def _layout(chart: AirChart) -> dict[str, object]:
    return {
        **sheet(HEIGHT, 34, 56),
        "xaxis": AXIS | {"range": list(chart.x), "title": {"text": chart.titles[0], "standoff": 8}},
        "yaxis": AXIS | {"range": list(chart.y)},
        "annotations": [title_over(1, chart.titles[1]), *_named(chart)],
    }


def _named(chart: AirChart) -> Iterator[dict[str, object]]:
    """Each curve's humidity where it leaves the chart."""
    for curve in chart.curves:
        inside = curve.y <= chart.y[1]
        if inside.sum() > 1:
            yield {
                "x": float(curve.x[inside][-1]), "y": float(curve.y[inside][-1]), "text": curve.name,
                "showarrow": False, "xanchor": "right", "yanchor": "bottom" if bool(inside[-1]) else "top",
                "font": {"size": 11},
            }  # fmt: skip
