"""The numbers of a report's figures and tables, read back from the page and held against the Assessment."""

import json
import re

import invented_den as den
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from read_page import numbers, read_page

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import Quantity
from monitor.climate.air import humidity_ratio_g_kg
from monitor.tell.pages.report import render_report
from monitor.tell.pages.views import ChannelLine, Cut

OFFSET = -5 * HOUR  # the axis stands at New York's winter offset
UNITS = {"d": DAY, "h": HOUR, "min": MINUTE, "s": 1000}

pytestmark = pytest.mark.usefixtures("without_the_program")


@pytest.fixture(scope="module")
def page(without_the_program):
    return read_page(render_report(den.page()))


def length(text: str) -> int:
    """The ms of "13 h 35 min"; "-" is none."""
    return sum(round(float(number) * UNITS[unit]) for number, unit in re.findall(r"([\d.]+) (d|h|min|s)\b", text))


def first(text: str) -> float:
    return float(re.search(r"-?\d+(?:\.\d+)?", text)[0])


def boxes(figure: dict, axis: str) -> list[tuple[float, float]]:
    """The spans of time that the filled rectangles of one axis cover, in the order of their traces. [ms]"""
    found = []
    for trace in figure["data"]:
        if trace.get("fill") == "toself" and trace.get("yaxis") == axis:
            x = [at for at in trace["x"] if at is not None]
            found += [(x[k], x[k + 1]) for k in range(0, len(x), 4)]
    return found


# --- the chart over time ------------------------------------------------------------------------------------------


def test_the_lanes_of_the_figure_are_as_long_as_the_coverage_says(page):
    lanes = boxes(page.figure(), "y2")
    unknown, in_band, out = lanes[0], lanes[1:4], lanes[4]
    span = den.ASSESSMENT.span
    assert unknown[1] - unknown[0] == span.elapsed - span.known
    assert sum(end - start for start, end in in_band) == span.in_band
    assert out[1] - out[0] == span.known - span.in_band


def test_the_excursion_of_the_figure_is_that_of_the_assessment(page):
    (found,) = den.ASSESSMENT.excursions
    rectangles = boxes(page.figure(), "y")
    assert (found.start + OFFSET, found.end + OFFSET) in rectangles
    (number,) = [trace for trace in page.figure()["data"] if trace.get("mode") == "text"]
    assert (number["text"], numbers(number["y"]).tolist()) == (["<b>1</b>"], [found.peak])


def test_the_stuck_stretch_of_the_figure_is_that_of_the_readings(page):
    stuck = [t for t in page.figure()["data"] if t.get("line", {}).get("width") == 7]
    assert len(stuck) == 2  # both channels of the one sensor
    for trace in stuck:
        x, y = numbers(trace["x"]), numbers(trace["y"])
        held = x[~np.isnan(y)]
        start, end = den.STUCK[0] + OFFSET, den.STUCK[1] + OFFSET
        assert start <= held.min() < start + 15 * MINUTE  # to a bucket of the thinning
        assert end - 15 * MINUTE < held.max() < end
        assert len(x) == len(held) + 2


def test_the_limits_of_the_figure_are_those_of_the_profile(page):
    limits = [trace for trace in page.figure()["data"] if str(trace.get("name", "")).endswith("limit")]
    assert [numbers(trace["y"]).tolist() for trace in limits] == [
        [35.0] * 2, [65.0] * 2, pytest.approx([60.0] * 2), pytest.approx([85.0] * 2)
    ]  # fmt: skip


def test_the_table_behind_the_chart_holds_the_readings_of_each_local_day(page):
    rows = page.tables["days"][1:]
    humidity = [channel for channel in den.page().channels if channel.quantity is den.RH]
    value = np.concatenate([channel.value for channel in humidity])
    assert sum(int(row[3]) for row in rows) == len(value)
    assert min(first(row[1]) for row in rows) == value.min()
    assert max(first(row[2]) for row in rows) == value.max()


# --- the calendar -------------------------------------------------------------------------------------------------


def test_the_days_of_the_calendar_add_up_to_the_coverage(page):
    span = den.ASSESSMENT.span
    for name, whole in (
        ("elapsed", span.elapsed), ("known", span.known), ("in band", span.in_band),
        ("out of band", span.known - span.in_band), ("not known", span.elapsed - span.known),
    ):  # fmt: skip
        assert sum(length(cell) for cell in page.column("calendar-days", name)) == whole, name


def test_the_planks_of_the_calendar_are_filled_by_the_shares_of_their_days(page):
    html = render_report(den.page())
    drawing = re.search(r'<svg class="chart days".*?</svg>', html, re.DOTALL)[0]
    filled = {
        kind: [
            float(high) for high in re.findall(r"v([\d.]+)", re.search(rf'class="day-{kind}" d="(.*?)"', drawing)[1])
        ]
        for kind in ("in", "out", "unknown")
    }
    assert len(filled["in"]) == 5
    whole = 19  # px that a plank is high
    in_band = [length(cell) for cell in page.column("calendar-days", "in band")]
    elapsed = [length(cell) for cell in page.column("calendar-days", "elapsed")]
    assert filled["in"] == pytest.approx([whole * a / b for a, b in zip(in_band, elapsed, strict=True)], abs=0.05)
    assert filled["out"] == pytest.approx([whole * 130 / 1440], abs=0.05)
    assert filled["unknown"] == pytest.approx([whole * 385 / 1440, whole * 430 / 1440], abs=0.05)


# --- moist air ----------------------------------------------------------------------------------------------------


def test_the_hours_of_the_moist_air_chart_are_all_hours_with_both_quantities(page):
    heard = {
        quantity: {
            int(hour)
            for channel in den.page().channels
            if channel.quantity is quantity
            for hour in np.unique(channel.t[~channel.flat] // HOUR)
        }
        for quantity in (den.T, den.RH)
    }
    hours = len(heard[den.T] & heard[den.RH])
    assert sum(int(cell) for cell in page.column("airhours", "hours before")) == hours
    (marks,) = [trace for trace in json.loads(page.texts["figure-moist"])["data"] if trace["mode"] == "markers"]
    assert sum(marks["customdata"]) == hours
    assert f"of {hours} hours" in page.body


def test_the_band_of_the_moist_air_chart_is_the_profiles_in_grains_a_pound(page):
    band = next(t for t in json.loads(page.texts["figure-moist"])["data"] if t["name"] == "band")
    warm, moist = numbers(band["x"]), numbers(band["y"])
    assert (warm.min(), warm.max()) == pytest.approx((60.0, 85.0), abs=0.01)
    cold, hot = den.BAND.temperature
    # 7000 grains are a pound, so a g/kg is 7 gr/lb
    assert moist.min() == pytest.approx(7.0 * humidity_ratio_g_kg(cold, 35.0), abs=0.01)
    assert moist.max() == pytest.approx(7.0 * humidity_ratio_g_kg(hot, 65.0), abs=0.01)


# --- a part of the record -----------------------------------------------------------------------------------------


def test_a_part_of_the_record_shows_its_own_coverage_and_what_is_cut_to_it():
    start, end = den.WET[0] + 30 * MINUTE, den.SILENT[1] - 2 * HOUR
    found = read_page(render_report(den.page(cut=Cut(start, end))))
    unknown, out = end - den.SILENT[0] - den.HOLD, den.WET[1] - start
    shown, *_, whole = found.tables["coverage"][1:]
    assert shown[0] == "the span shown"
    assert [length(cell) for cell in shown[1:4]] == [end - start, end - start - unknown, end - start - unknown - out]
    assert (whole[0], length(whole[1])) == ("the whole record", den.ASSESSMENT.span.elapsed)
    assert found.tables["excursions"][1][1:4] == [
        "humidity above 65.0 %", "2026-01-06 10:30 to 12:10 -05:00", "1 h 40 min"
    ]  # fmt: skip
    assert found.tables["excursions"][1][-1].endswith(
        "cut to the span: in all 2026-01-06 10:00 to 12:10 -05:00; worst and sum are of the whole"
    )
    assert "1 excursion lasts beyond the span and is cut to it." in found.body
    assert found.column("gaps", "to") == ["2026-01-08 05:10 -05:00"]
    assert length(found.column("gaps", "lasted")[0]) == unknown
    assert sum(length(cell) for cell in found.column("calendar-days", "elapsed")) == end - start


def test_the_verdict_of_a_part_says_of_which_span_it_is_and_that_of_the_whole_stands_beside_it():
    cut = Cut(den.WET[0] + 30 * MINUTE, den.SILENT[1] - 2 * HOUR, "before")
    found = read_page(render_report(den.page(cut=cut)))
    assert found.texts["verdict"] == (
        "north wall of the den: From 2026-01-06 10:30 to 2026-01-08 05:10 -05:00, before the installation, the room "
        "was in band in 94.6 % of known time, 68.9 % to 96.0 % of elapsed time, out of band in 1 excursion, and not "
        "known for 11 h 35 min of 42 h 40 min."
    )
    assert found.texts["whole"] == (
        "NOT READY Of the whole record, as of 2026-01-09 20:40 -05:00: The installation may not start yet: 37.5 h of "
        "48 h are counted, complete 2026-01-10 07:10 -05:00 if the room stays in band."
    )
    assert found.texts["counted"] == "37.5 h of 48 h"
    assert "in band, this part94.6 % of known time; 68.9 % to 96.0 % of elapsed" in "".join(
        found.texts["facts"].split("\n")
    )
    assert "in band, whole record97.7 %" in "".join(found.texts["candour"].split("\n"))
    assert "evidence and the list below are of the whole record." in found.texts["not-cut"]
    assert found.texts["not-cut"].startswith("A part of the record is shown")
    line = next(trace for trace in found.figure()["data"] if trace.get("name") == "den-1 (den)")
    x = numbers(line["x"])
    assert cut.start + OFFSET <= np.nanmin(x)
    assert np.nanmax(x) < cut.end + OFFSET


def test_a_span_in_which_nothing_left_the_band_says_so():
    cut = Cut(den.DELIVERED, den.DELIVERED + 10 * HOUR)
    found = read_page(render_report(den.page(cut=cut)))
    assert (
        "in band in 100.0 % of known time, which is all of it, never out of band in it, and known all 10 h."
        in (found.texts["verdict"])
    )
    assert "None: the room never left the band in known time." in found.body
    assert "excursions" not in found.tables


def test_boards_of_a_part_are_those_of_its_days():
    up = den.board_page(den.days(40))
    part = up._replace(cut=Cut(den.DELIVERED + 4 * DAY, den.DELIVERED + 14 * DAY))
    assert len(read_page(render_report(up)).tables["boarddays"]) - 1 == 40
    assert len(read_page(render_report(part)).tables["boarddays"]) - 1 == 11  # ten days touch eleven of UTC


# --- extremes -----------------------------------------------------------------------------------------------------


@settings(max_examples=12, deadline=None)
@given(
    st.lists(st.integers(0, 40_000), min_size=1, max_size=3, unique=True),
    st.floats(66.0, 99.0).map(lambda value: round(value, 1)),
)
def test_no_extreme_of_a_long_record_is_lost_on_the_page(places, peak):
    t = den.DELIVERED + np.arange(40_001, dtype=np.int64) * MINUTE
    value = 45.0 + np.round(np.sin(np.arange(len(t)) / 300.0), 1)
    value[places[0]] = peak
    value[places[1:]] = 12.5
    line = ChannelLine("den-1", "den", Quantity.AIR_HUMIDITY, t, value, np.zeros(len(t), np.bool_))
    found = read_page(render_report(den.page(channels=(line,))))
    trace = next(trace for trace in found.figure()["data"] if trace.get("name") == "den-1 (den)")
    drawn = dict(zip(numbers(trace["x"]).tolist(), numbers(trace["y"]).tolist(), strict=True))
    assert len(drawn) <= 4_001
    assert drawn[float(t[places[0]] + OFFSET)] == pytest.approx(peak, abs=1e-5)
    assert min(drawn.values()) == pytest.approx(value.min(), abs=1e-5)
    assert f"Humidity read from {value.min():.1f} % to {peak:.1f} %." in found.body
