"""How long the report of ten years of minutes takes, beside what it can't do without.

    python tests/bench/report_speed.py [--days 3652]

One room, a reading of temperature and humidity a minute (10.5 million in all) in a store of its own on disk, planks on
the wall from the fourth day on, damp summers and dry winters. The yardstick is the Assessment (from its checkpoints)
and the figures: the air's readings read for the span, thinned and made into the three figures of the page. The report
is all of it: page and HTML. In processor time, so that others on the computer count little; medians of three.
Limits: 1.5 times the yardstick; 3 MB.
Exit status: 0 within the limits, 1 beyond one, 2 usage.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "watch"))

import numpy as np
from desks import HUMIDITY, T0, TEMPERATURE, furnish

from monitor.basis.clock import SetClock
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import LIVE, Reading
from monitor.rules.replay import heard
from monitor.tell import moist_air, words
from monitor.tell.board_chart import days_chart_of
from monitor.tell.board_figure import days_figure_json
from monitor.tell.chart import chart_of
from monitor.tell.figures import figure_json
from monitor.tell.moist_figure import air_figure_json
from monitor.tell.report import POINTS_OF_ONE, render_report
from monitor.tell.views import ReportPage
from monitor.watch.desk import Desk, open_desk
from monitor.watch.installing import Installing, install
from monitor.watch.judging import assess
from monitor.watch.pages import report_page

LIMIT, MOST = 1.5, 3_000_000
STREAM = "site/shelf/climate"


def fill(desk: Desk, days: int) -> None:
    """A job and its readings, a month at a time, with a silence of some hours every 17 days."""
    furnish(desk)
    begun = Installing(T0 + 72 * HOUR, finish=T0 + 90 * HOUR, not_ready=True, reason="guests")
    install(desk, "den", begun, who="robin")
    rng = np.random.default_rng(1)
    for first in range(0, days, 30):
        k = np.arange(first * 1440, min(first + 30, days) * 1440)
        k = k[k % (1440 * 17) >= 200]
        season, night = (np.sin(k * (2 * np.pi / period)) for period in (365.25 * 1440, 1440))
        air = {
            TEMPERATURE: (21 + 3 * season + night + rng.normal(0, 0.1, len(k)), "degC"),
            HUMIDITY: (50 + 16 * season - 3 * night + rng.normal(0, 0.5, len(k)), "%"),
        }
        times = (T0 + k * MINUTE).tolist()
        readings = [
            Reading(STREAM, quantity, t, value, unit, t, LIVE)
            for quantity, (values, unit) in air.items()
            for t, value in zip(times, values.round(2).tolist(), strict=True)
        ]
        desk.store.keep_readings(readings)


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


def seconds(what: Callable[[], object]) -> float:
    """Processor time of a call, the median of three. [s]"""
    spent = []
    for _ in range(3):
        begin = time.process_time()
        what()
        spent.append(time.process_time() - begin)
    return statistics.median(spent)


def main() -> int:
    """Time all three and print them."""
    parser = argparse.ArgumentParser(description="How long the report of ten years of minutes takes.")
    parser.add_argument("--days", type=int, default=3652, help="length of the record")
    days = parser.parse_args().days
    with (
        tempfile.TemporaryDirectory() as home,
        open_desk(Path(home), environ={}, clock=SetClock(T0 + days * DAY)) as desk,
    ):
        fill(desk, days)
        page = report_page(desk, "den")  # leaves the checkpoints that a daemon would have left
        parts = {
            "assess": seconds(lambda: assess(desk, "den")),
            "figures": seconds(lambda: figures(desk, page)),
            "report": seconds(lambda: render_report(report_page(desk, "den"))),
        }
        anew = seconds(lambda: assess(desk, "den", recompute=True))
        size = len(render_report(page).encode())
    for name, spent in parts.items():
        print(f"{name:8} {spent:7.2f} s")
    print(f"an Assessment without checkpoints takes {anew:.2f} s")
    ratio = parts["report"] / (parts["assess"] + parts["figures"])
    print(f"report / (assess + figures): {ratio:.2f} (limit {LIMIT}); {size / 1e6:.2f} MB (limit {MOST / 1e6:g})")
    return 0 if ratio <= LIMIT and size <= MOST else 1


if __name__ == "__main__":
    sys.exit(main())
