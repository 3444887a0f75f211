"""What the chart over days shows: the boards, and the wall's surface, on one axis of UTC days."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.basis.times import DAY, HOUR
from monitor.climate.surface import MOULD_LIMIT_PCT
from monitor.rules.board.estimates import Days
from monitor.tell.pages.views import ReportPage

LEAST = 2  # days in a panel that is drawn
WORTH_DRAWING = 0.05  # of the mould index, which is said in words anyway
Floats = NDArray[np.float64]


class DaysPanel(NamedTuple):
    """One quantity a day, NaN where it is not known; `low` and `high` bound it where it is a range."""

    name: str
    title: str
    value: Floats
    low: Floats | None
    high: Floats | None
    limit: float | None
    bottom: float
    top: float


class DaysChart(NamedTuple):
    """Panels over the noons of UTC days. [ms]"""

    t: NDArray[np.int64]
    panels: tuple[DaysPanel, ...]
    marks: tuple[tuple[int, str], ...]

    @property
    def start(self) -> int:
        """Where the axis begins."""
        return int(self.t[0]) - 12 * HOUR

    @property
    def end(self) -> int:
        """Where it ends."""
        return int(self.t[-1]) + 12 * HOUR


def days_chart_of(page: ReportPage) -> DaysChart | None:
    """The chart of boards and surface; None where there are no two days to draw of either."""
    found = known_days(page)
    panels = [panel for panel in (_boards(found), _humidity(found), _mould(found)) if panel is not None]
    if not panels:
        return None
    heard = np.flatnonzero(np.any([~np.isnan(panel.value) for panel in panels], axis=0))
    drawn = slice(int(heard[0]), int(heard[-1]) + 1)
    t = found["day"][drawn].astype(np.int64) * DAY + 12 * HOUR
    marks = ((page.facts.install_start, "installation"), (page.facts.closed_at, "closed"))
    return DaysChart(
        t,
        tuple(_cut(panel, drawn) for panel in panels),
        tuple((at, text) for at, text in marks if at is not None and t[0] - 12 * HOUR <= at <= t[-1] + 12 * HOUR),
    )


def known_days(page: ReportPage) -> Days:
    """The UTC days that the page's span touches, without what is said of boards where nothing was heard of the room:
    there they only rest."""
    days = page.assessment.days
    if page.cut is not None:
        days = days[(days["day"] >= page.cut.start // DAY) & (days["day"] <= (page.cut.end - 1) // DAY)]
    found = days.copy()
    silent = np.isnan(found["rh_mean"])
    for name in ("board_low", "board", "board_high"):
        found[name][silent] = np.nan
    return found


def _cut(panel: DaysPanel, drawn: slice) -> DaysPanel:
    bounds = [None if edge is None else edge[drawn] for edge in (panel.low, panel.high)]
    return panel._replace(value=panel.value[drawn], low=bounds[0], high=bounds[1])


def _column(days: Days, name: str) -> Floats:
    return np.asarray(days[name], np.float64)


def _enough(value: Floats) -> bool:
    return int((~np.isnan(value)).sum()) >= LEAST


def _boards(days: Days) -> DaysPanel | None:
    value, low, high = (_column(days, name) for name in ("board", "board_low", "board_high"))
    if not _enough(value):
        return None
    bottom, top = float(np.nanmin(low)), float(np.nanmax(high))
    room = max(top - bottom, 0.5) * 0.1
    title = "board moisture, % of dry mass (estimated)"
    return DaysPanel("board", title, value, low, high, None, bottom - room, top + room)


def _humidity(days: Days) -> DaysPanel | None:
    value = _column(days, "skin_rh_mean")
    if not _enough(value):
        return None
    bottom, top = float(np.nanmin(value)), max(float(np.nanmax(value)), MOULD_LIMIT_PCT)
    room = max(top - bottom, 5.0) * 0.1
    title = "humidity at the wall's surface, % (computed)"
    return DaysPanel("skin", title, value, None, None, MOULD_LIMIT_PCT, bottom - room, top + room)


def _mould(days: Days) -> DaysPanel | None:
    value = _column(days, "mould")
    if not _enough(value) or float(np.nanmax(value)) < WORTH_DRAWING:
        return None
    title = "mould index, 0 to 6 (computed, no inspection)"
    return DaysPanel("mould", title, value, None, None, None, 0.0, max(float(np.nanmax(value)) * 1.15, 1.0))
