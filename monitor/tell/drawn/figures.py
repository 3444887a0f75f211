"""The interactive figure: humidity, the room's state and temperature over one time axis, as JSON for plotly.js.

Plotly reads a little HTML in its texts, so every text of a user is escaped here; ids of the page are never of names.
Its axes know no zones: they are fed with times moved to the zone's offset at the start, and the axis says so.
"""

from __future__ import annotations

import html
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from monitor.basis.times import DAY
from monitor.rules.assessment import State
from monitor.tell import words
from monitor.tell.drawn.chart import NUMBERED, Chart, Line, Panel, limit_texts
from monitor.tell.drawn.drawing import COLOURS, OUT, SIGNS

DASHES = ("solid", "dash", "dot", "dashdot")
INK, GRID, BAND, GREY = "#1b1916", "#e3ddd1", "rgba(176,138,91,0.16)", "#6b655c"
WOOD = "#8a6238"
AXIS: dict[str, Any] = {"gridcolor": GRID, "zeroline": False, "showline": True, "linecolor": GREY}  # of a value
ROWS = ((0.58, 1.0), (0.44, 0.53), (0.0, 0.39))  # of the figure's height: humidity, state, temperature
LANES: tuple[State, ...] = ("unknown", "in", "out")
HEIGHT = 620  # [px]


def figure_json(chart: Chart) -> str:
    """The figure as plotly.js takes it: {"data": ..., "layout": ...}."""
    figure = go.Figure(layout=_layout(chart))
    for panel, axis in zip(chart.panels, ("y", "y3"), strict=True):
        figure.add_traces([*_grounds(chart, panel, axis), *_limits(chart, panel, axis)])
        for line in panel.lines:
            figure.add_traces(list(_line(chart, panel, line, axis)))
        figure.add_traces([*_numbers(chart, panel, axis), *_dots(chart, panel, axis)])
    figure.add_traces(list(_ribbon(chart)))
    return figure.to_json()


def text(said: str) -> str:
    """A text of a user for plotly: every sign of it is shown, none is markup."""
    return html.escape(words.visible(said), quote=False)


def _grounds(chart: Chart, panel: Panel, axis: str) -> Iterator[go.Scatter]:
    low, high = panel.low, panel.high
    bands = [(limit.start, limit.end, limit.low, limit.high) for limit in panel.limits]
    yield from _boxes(chart, bands, axis, fillcolor=BAND)
    unknown = [(start, end, low, high) for start, end in chart.lanes["unknown"]]
    yield from _boxes(chart, unknown, axis, fillpattern=_hatch(GREY))
    outside = [(start, end, low, high) for start, end in panel.beyond]
    edge = {"color": OUT, "width": 1 if len(outside) <= NUMBERED else 0}
    yield from _boxes(chart, outside, axis, fillcolor="rgba(213,94,0,0.20)", line=edge)


def _limits(chart: Chart, panel: Panel, axis: str) -> Iterator[go.Scatter]:
    x = _at(chart, [at for limit in panel.limits for at in (limit.start, limit.end)])
    for side in ("low", "high"):
        y = [getattr(limit, side) for limit in panel.limits for _ in range(2)]
        yield go.Scatter(
            x=x, y=y, yaxis=axis, mode="lines", name=f"{side} limit", hoverinfo="y+name",
            line={"color": INK, "width": 1.2, "dash": "8px,4px"},
        )  # fmt: skip


def _line(chart: Chart, panel: Panel, line: Line, axis: str) -> Iterator[go.Scatter]:
    colour, name = COLOURS[line.style % len(COLOURS)], text(f"{line.sensor} ({line.place})")
    where = np.flatnonzero(line.anew)[1:]
    x = np.insert(_at(chart, line.t), where, np.nan)
    y = np.insert(line.value.astype(np.float32), where, np.nan)
    shape = {"color": colour, "width": 1.6, "dash": DASHES[line.style % len(DASHES)]}
    hover = "%{x|%Y-%m-%d %H:%M} " + chart.axis[8:17] + f"<br>%{{y:.1f}} {panel.unit}<extra>%{{fullData.name}}</extra>"
    yield go.Scatter(x=x, y=y, yaxis=axis, mode="lines", name=name, line=shape, connectgaps=False, hovertemplate=hover)
    if line.flat.any():
        flat = np.insert(line.flat, where, False)
        kept = flat | np.append(flat[1:], False) | np.insert(flat[:-1], 0, False)  # and one more on each side
        yield go.Scatter(
            x=x[kept], y=np.where(flat, y, np.float32(np.nan))[kept], yaxis=axis, mode="lines", opacity=0.45,
            line={"color": GREY, "width": 7}, hoverinfo="skip",
        )  # fmt: skip
    marks = line.marks
    yield go.Scatter(
        x=_at(chart, line.t[marks]), y=line.value[marks], yaxis=axis, mode="markers", hoverinfo="skip",
        marker={"symbol": SIGNS[line.style % len(SIGNS)], "color": colour, "size": 7},
    )  # fmt: skip


def _numbers(chart: Chart, panel: Panel, axis: str) -> Iterator[go.Scatter]:
    if 0 < len(panel.outside) <= NUMBERED:
        yield go.Scatter(
            x=_at(chart, [(out.start + out.end) // 2 for out in panel.outside]), y=[out.peak for out in panel.outside],
            yaxis=axis, mode="text", text=[f"<b>{out.number}</b>" for out in panel.outside], hoverinfo="skip",
            textposition=["top center" if out.side == "high" else "bottom center" for out in panel.outside],
            textfont={"color": INK, "size": 13},
        )  # fmt: skip


def _dots(chart: Chart, panel: Panel, axis: str) -> Iterator[go.Scatter]:
    if panel.dots:
        yield go.Scatter(
            x=_at(chart, [dot.at for dot in panel.dots]), y=[dot.value for dot in panel.dots], yaxis=axis,
            mode="markers", marker={"symbol": "x", "color": INK, "size": 9},
            text=[text(dot.label) for dot in panel.dots],
            hovertemplate=f"%{{y:.1f}} {panel.unit}<br>%{{text}}<extra>by hand</extra>",
        )  # fmt: skip


def _ribbon(chart: Chart) -> Iterator[go.Scatter]:
    fills: dict[State, dict[str, Any]] = {
        "in": {"fillcolor": WOOD},
        "out": {"fillcolor": OUT},
        "unknown": {"fillpattern": _hatch(GREY), "line": {"color": GREY, "width": 1}},
    }
    for number, state in enumerate(LANES):
        runs = [(start, end, number - 0.36, number + 0.36) for start, end in chart.lanes[state]]
        yield from _boxes(chart, runs, "y2", **fills[state])


def _boxes(
    chart: Chart, boxes: Sequence[tuple[int, int, float, float]], axis: str, **look: Any
) -> Iterator[go.Scatter]:
    """Rectangles (start, end, low, high) as one trace, if there are any: hundreds of shapes would be slow."""
    corners = [(start, end, end, start, None, low, low, high, high, None) for start, end, low, high in boxes]
    x = [None if at is None else at + chart.offset for corner in corners for at in corner[:5]]
    y = [value for corner in corners for value in corner[5:]]
    look.setdefault("line", {"width": 0})
    if boxes:
        yield go.Scatter(x=x, y=y, yaxis=axis, mode="lines", fill="toself", hoverinfo="skip", **look)


def _hatch(colour: str) -> dict[str, Any]:
    return {"shape": "/", "fgcolor": colour, "bgcolor": "rgba(0,0,0,0)", "size": 7, "solidity": 0.18}


def _at(chart: Chart, t: NDArray[np.int64] | Sequence[int]) -> NDArray[np.float64]:
    return np.asarray(t, np.float64) + chart.offset


def sheet(height: int, above: int, below: int) -> dict[str, Any]:
    """The layout that all our figures share: of `height`, with room above and below the panels. [px]"""
    return {
        "template": {},
        "height": height,
        "margin": {"l": 40, "r": 8, "t": above, "b": below},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "#fffdf9",
        "font": {"family": "system-ui, sans-serif", "size": 12, "color": INK},
        "showlegend": False,
        "hovermode": "closest",
    }


def title_over(top: float, said: str) -> dict[str, Any]:
    """A panel's title above its left corner; `top`: of the panel, as a part of the figure's height."""
    return {
        "x": 0, "xref": "paper", "xanchor": "left", "y": top, "yref": "paper", "yanchor": "bottom", "text": said,
        "showarrow": False, "font": {"size": 12},
    }  # fmt: skip


def _layout(chart: Chart) -> dict[str, Any]:
    return {
        **sheet(HEIGHT, 42, 78),
        **_axes(chart),
        "shapes": [
            *(_event_line(chart, event.at) for event in chart.events),
            *(_change_tick(chart, at) for at in chart.changes),
        ],
        "annotations": [*_letters(chart), *_titles(chart), *_limit_texts(chart)],
    }


def _axes(chart: Chart) -> dict[str, Any]:
    stops = [
        {"dtickrange": [None, DAY - 1], "value": "%H:%M\n%Y-%m-%d"},
        {"dtickrange": [DAY, None], "value": "%m-%d\n%Y"},
    ]
    time = {
        "type": "date", "range": [chart.start + chart.offset, chart.end + chart.offset], "anchor": "y3",
        "title": {"text": chart.axis.replace(" (", "<br>("), "standoff": 8}, "gridcolor": GRID,
        "tickformatstops": stops, "tickangle": 0,
    }  # fmt: skip
    frame = {"fixedrange": True, **AXIS}
    lanes = {"range": [-0.6, 2.6], "tickvals": [0, 1, 2], "ticktext": ["?", "in", "out"], "showgrid": False}
    humidity, temperature = ({"range": [panel.low, panel.high]} for panel in chart.panels)
    values: tuple[dict[str, Any], ...] = (humidity, lanes, temperature)
    names = ("yaxis", "yaxis2", "yaxis3")
    rows = zip(names, values, ROWS, strict=True)
    return {"xaxis": time} | {name: frame | value | {"domain": domain} for name, value, domain in rows}


def _event_line(chart: Chart, at: int) -> dict[str, Any]:
    x = at + chart.offset
    line = {"color": INK, "width": 1, "dash": "dot"}
    return {"type": "line", "xref": "x", "yref": "paper", "x0": x, "x1": x, "y0": 0, "y1": 1, "line": line}


def _change_tick(chart: Chart, at: int) -> dict[str, Any]:
    """A short tick at the top edge where the zone's clocks were changed."""
    x = at + chart.offset
    line = {"color": INK, "width": 1}
    return {"type": "line", "xref": "x", "yref": "paper", "x0": x, "x1": x, "y0": 0.985, "y1": 1, "line": line}


def _letters(chart: Chart) -> Iterator[dict[str, Any]]:
    for event in chart.events:
        yield {
            "x": event.at + chart.offset, "xref": "x", "y": 1, "yref": "paper", "yanchor": "bottom", "yshift": 14,
            "xshift": event.shift, "name": "letter", "text": f"<b>{event.letter}</b>", "showarrow": False,
            "font": {"size": 12},
        }  # fmt: skip


def _titles(chart: Chart) -> Iterator[dict[str, Any]]:
    titles = (chart.panels[0].title, "state of the room (computed)", chart.panels[1].title)
    for title, (_, top) in zip(titles, ROWS, strict=True):
        yield title_over(top, title)


def _limit_texts(chart: Chart) -> Iterator[dict[str, Any]]:
    for panel, axis in zip(chart.panels, ("y", "y3"), strict=True):
        for said in limit_texts(panel):
            yield {
                "x": said.at + chart.offset, "xref": "x", "xanchor": "right" if said.late else "left",
                "y": said.value, "yref": axis, "yanchor": "top" if said.side == "high" else "bottom",
                "text": f"limit {said.value:.1f} {panel.unit}", "showarrow": False, "font": {"size": 11},
            }  # fmt: skip
