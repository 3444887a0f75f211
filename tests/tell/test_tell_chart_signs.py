"""What is written in and beside a chart: axis, limits, letters, key, whose it is; and what paper leaves out."""

from __future__ import annotations

import re
from itertools import pairwise

import invented_den as den
import numpy as np
import pytest
from read_page import read_page

from monitor.basis.times import DAY, HOUR, MINUTE, zone_of
from monitor.config.profile import Band
from monitor.tell.drawn import drawing
from monitor.tell.drawn.chart import LETTER, WIDE, chart_of, limit_texts
from monitor.tell.pages.report import render_report
from monitor.tell.pages.views import ChannelLine
from monitor.tell.words import Display

SI = Display(zone_of("America/New_York"), "si")

pytestmark = pytest.mark.usefixtures("without_the_program")


def lasting(length: int, **changes):
    """The den heard at its beginning and once an hour, for so long."""
    end = den.DELIVERED + length
    t = np.arange(den.DELIVERED, end, HOUR, dtype=np.int64)
    line = ChannelLine("den-1", "den", den.RH, t, np.full(len(t), 45.0), np.zeros(len(t), np.bool_))
    assessment = den.ASSESSMENT._replace(as_of=end, gaps=(), excursions=(), episodes=())
    given = {"assessment": assessment, "channels": (line,), "runs": ((den.DELIVERED, end, "in"),), **changes}
    return den.page(**given)


def axis(length: int) -> list[str]:
    drawn = str(drawing.chart(chart_of(lasting(length), SI, 40)))
    return re.findall(r'<text class="time"[^>]*>([^<]*)<', drawn)


# --- the axis of the time -------------------------------------------------------------------------------------


def test_over_years_the_axis_stands_at_quarters_and_half_years_with_their_year():
    assert axis(365 * DAY)[:3] == ["2026-03", "2026-05", "2026-07"]
    assert axis(1100 * DAY) == ["2026-07", "2027-01", "2027-07", "2028-01", "2028-07", "2029-01"]
    assert axis(3652 * DAY)[:2] == ["2027-01", "2028-01"]


def test_over_days_the_axis_has_whole_dates_and_over_hours_times():
    assert axis(108 * HOUR)[:3] == ["12:00", "2026-01-06", "12:00"]
    assert all(re.fullmatch(r"2026-0[123]-\d\d", text) for text in axis(60 * DAY))


@pytest.mark.parametrize("days", [3, 20, 76, 78, 130, 400, 700, 1500, 9000])
def test_no_two_numbers_of_an_axis_touch(days):
    drawn = str(drawing.chart(chart_of(lasting(days * DAY), SI, 40)))
    texts = re.findall(r'<text class="time" x="([\d.]+)" y="[\d.]+">([^<]*)<', drawn)
    edges = [(float(x) - len(t) * 3.6, float(x) + len(t) * 3.6) for x, t in texts]
    assert len(edges) > 1
    assert all(end < start for (_, end), (start, _) in pairwise(edges))


# --- limits and letters ---------------------------------------------------------------------------------------


def test_a_limit_that_stays_is_said_once_and_a_later_one_at_its_end():
    finish = den.DELIVERED + 3 * DAY
    facts = den.FACTS._replace(install_start=finish - HOUR, install_finish=finish)
    life = Band((den.BAND.humidity[0], 60.0), den.BAND.temperature)
    page = lasting(1100 * DAY, facts=facts, profile=den.PROFILE._replace(life=life))
    humidity = chart_of(page, SI, 40).panels[0]
    said = [(one.value, one.side, one.late) for one in limit_texts(humidity)]
    assert said == [(35.0, "low", False), (65.0, "high", False), (60.0, "high", True)]
    drawn = str(drawing.chart(chart_of(page, SI, 40)))
    assert drawn.count(">limit 35.0 %<") == 1
    assert re.search(r'<text class="value" x="946"[^>]*>limit 60.0 %<', drawn)


@pytest.mark.parametrize("first", [1, 107])
def test_letters_never_lie_on_another_nor_beyond_the_drawing(first):
    lots = tuple(
        den.LOT._replace(name=str(k), delivered_at=den.DELIVERED + first * HOUR + k * MINUTE) for k in range(30)
    )
    chart = chart_of(den.page(assessment=den.ASSESSMENT._replace(lots=lots)), SI, 400)
    span = chart.end - chart.start
    places = [(one.at - chart.start) / span * WIDE + one.shift for one in chart.events]
    assert len(places) >= 30
    assert min(b - a for a, b in pairwise(places)) > LETTER - 2
    assert max(places) <= WIDE + 1


def test_more_than_two_changes_of_the_clocks_take_no_letters():
    assert [one.text for one in chart_of(lasting(500 * DAY), SI, 40).events if "clocks" in one.text] == []


def test_of_more_signs_than_fit_on_paper_those_drawn_reach_to_the_end():
    drawn = str(drawing.chart(chart_of(lasting(1100 * DAY), SI, 4000)))
    at = [float(x) for x in re.findall(r'<path d="M-3 0[^"]*" fill="[^"]*" transform="translate\(([\d.]+) ', drawn)]
    assert 100 < len(at) <= drawing.POINTS_OF_ONE
    assert max(at) > drawing.LEFT + 0.99 * WIDE


# --- the key, and whose a picture is --------------------------------------------------------------------------


def test_the_key_lists_what_is_there_and_nothing_else():
    words = ("excursion, with its number", "not known", "stuck: proves nothing")
    calm = render_report(lasting(3 * DAY)).split('<ul class="legend">')[1].split("</ul>")[0]
    full = render_report(den.page()).split('<ul class="legend">')[1].split("</ul>")[0]
    assert [word in calm for word in words] == [False, False, False]
    assert [word in full for word in words] == [True, True, True]


def test_every_figure_says_whose_it_is_of_which_span_and_as_of_when():
    html = render_report(den.board_page())
    found = re.findall(r'<p class="whose">(.*?)</p>', html)
    assert len(found) == len(re.findall(r"<figure\b", html)) == 4
    told = re.sub(r"<[^>]*>", "", found[0]).replace("\u00a0", " ")
    assert told == (
        "north wall of the den: the whole record, 2026-01-05 08:40 to 2026-01-09 20:40 -05:00 (108 h), "
        "as of 2026-01-09 20:40 -05:00"
    )


# --- paper ----------------------------------------------------------------------------------------------------


def test_a_long_table_of_weeks_is_not_printed_and_the_paper_says_where_it_stands():
    html = render_report(lasting(800 * DAY))
    rows = len(read_page(html).tables["days"]) - 1
    assert rows > 62
    said = (
        f"Not printed: {rows} rows. They stand in the .html file of this report, all readings in the CSV of the bundle"
    )
    assert said in read_page(html).body
    assert '<div class="box tall unprinted"' in html
    assert "Not printed" not in render_report(den.page())
