"""How long the report of ten years of minutes takes, beside what it can't do without; out of rows and of sealed days.

    python tests/bench/report_speed.py

The room is that of years.py: a reading of temperature and humidity a minute, planks on the wall from the fourth day on;
once as rows of SQLite, once in compacted days. The yardstick is the Assessment (from its checkpoints) and the figures:
the air's readings read for the span, thinned and made into the three figures of the page. The report is all of it: page
and HTML. In processor time, so that others on the computer count little.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import yard
import years
from desks import T0
from yard import Row

from monitor.basis.clock import SetClock
from monitor.basis.times import DAY
from monitor.rules.replay import heard
from monitor.tell import words
from monitor.tell.drawn import moist_air
from monitor.tell.drawn.board_chart import days_chart_of
from monitor.tell.drawn.board_figure import days_figure_json
from monitor.tell.drawn.chart import chart_of
from monitor.tell.drawn.figures import figure_json
from monitor.tell.drawn.moist_figure import air_figure_json
from monitor.tell.pages.report import POINTS_OF_ONE, render_report
from monitor.tell.pages.views import ReportPage
from monitor.watch.desk import Desk, open_desk
from monitor.watch.judging import assess
from monitor.watch.papers.pages import report_page

LIMIT, MOST, RUNS = 1.5, 3.0, 3
KINDS = {"sealed days": True, "rows": False}


def figures(desk: Desk, page: ReportPage) -> None:
    """The readings of the whole span read, and the figures made of what `page` has of them."""
    found, display = page.assessment, words.display_of(page.assessment, page.facts.units)
    heard(desk.book.frame_at("den", found.as_of), found.as_of, desk.store, found.begin or 0, found.as_of)
    chart, days = chart_of(page, display, POINTS_OF_ONE), days_chart_of(page)
    air = moist_air.air_chart_of(page, moist_air.hours_of(page), display)
    if chart is None or air is None or days is None:
        sys.exit("the record is too short to be drawn")
    figure_json(chart)
    air_figure_json(air)
    days_figure_json(days)


def told(kind: str, days: int = years.TEN_YEARS) -> Iterator[Row]:
    """How long, and how large."""
    clock = SetClock(T0 + days * DAY)
    with tempfile.TemporaryDirectory() as home, open_desk(Path(home), environ={}, clock=clock) as desk:
        years.fill(desk, days, compacted=KINDS[kind])
        page = report_page(desk, "den")  # leaves the checkpoints that a daemon would have left
        judging, drawing, telling = yard.medians(
            lambda: assess(desk, "den"),
            lambda: figures(desk, page),
            lambda: render_report(report_page(desk, "den")),
            runs=RUNS,
        )
        size = len(render_report(page).encode()) / 1e6
    said = f"{telling:.2f} s; assess {judging:.2f} s, figures {drawing:.2f} s"
    yield Row(f"report of ten years, {kind}", "assess and its figures", telling / (judging + drawing), LIMIT, said=said)
    yield Row(f"report of ten years, {kind}", "its file", size, MOST, "MB")


def rows() -> Iterator[Row]:
    """Both kinds of store."""
    for kind in KINDS:
        yield from told(kind)


if __name__ == "__main__":
    sys.exit(yard.main(__doc__, rows))
