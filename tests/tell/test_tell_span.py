"""What of a record lies in a part of it; days, months and changes of the clock over years; hours of air."""

from itertools import pairwise

import invented_den as den
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from read_page import read_page

from monitor.basis.times import DAY, HOUR, MINUTE, zone_of
from monitor.config.profile import Band
from monitor.rules.assessment import Coverage
from monitor.tell import spanwords, words
from monitor.tell.drawn import calendar_days, moist_air
from monitor.tell.drawn.chart import chart_of
from monitor.tell.pages import cut
from monitor.tell.pages.report import render_report
from monitor.tell.pages.views import Cut
from monitor.tell.words import Display

SI = Display(zone_of("America/New_York"), "si")

pytestmark = pytest.mark.usefixtures("without_the_program")


def long(length: int, **changes):
    """The den heard for so long without a break; all of it in band but the humid hour of the second day."""
    end = den.DELIVERED + length
    assessment = den.ASSESSMENT._replace(as_of=end, gaps=(), **changes)
    runs = ((den.DELIVERED, den.WET[0], "in"), (*den.WET, "out"), (den.WET[1], end, "in"))
    return den.page(channels=(), assessment=assessment, runs=runs)


# --- parts ----------------------------------------------------------------------------------------------------


@given(st.lists(st.integers(1, 30), max_size=20), st.lists(st.integers(0, 40), min_size=1, max_size=10))
def test_lengths_within_stretches_are_those_counted_one_by_one(steps, widths):
    times = np.cumsum(steps).tolist()
    found = list(zip(times[::2], times[1::2], strict=False))
    edges = np.cumsum([0, *widths])
    covered = {at for start, end in found for at in range(start, end)}
    counted = [len(covered & set(range(a, b))) for a, b in pairwise(edges.tolist())]
    assert cut.within(found, edges).tolist() == counted


def test_a_thing_keeps_its_number_and_is_cut_to_the_span():
    other = den.EXCURSION._replace(start=den.WET[1] + 20 * HOUR, end=None, ended_by="open")
    whole = den.page(assessment=den.ASSESSMENT._replace(excursions=(den.EXCURSION, other)))
    early = whole._replace(cut=Cut(den.WET[0] + HOUR, den.WET[1] + HOUR))
    late = whole._replace(cut=Cut(den.WET[1] + HOUR, den.AS_OF))
    middle = whole._replace(cut=Cut(den.WET[1] + HOUR, den.AS_OF - HOUR))
    shown = [[(p.number, p.start, p.end, p.cut) for p in cut.parts(page, page.assessment.excursions)]
             for page in (early, late, middle)]  # fmt: skip
    assert shown == [
        [(1, den.WET[0] + HOUR, den.WET[1], True)],
        [(2, other.start, None, False)],
        [(2, other.start, den.AS_OF - HOUR, True)],
    ]


def test_what_is_out_but_half_known_is_not_known_time():
    half = (den.WET[0], den.WET[0] + HOUR)
    found = cut.coverage(den.page(half_known=(half,)), den.DELIVERED, den.AS_OF)
    assert (found.known, found.in_band) == (den.SPAN.known - HOUR, den.SPAN.in_band)


def test_the_phases_of_a_span_are_those_it_holds_some_of():
    start, finish = den.DELIVERED + 50 * HOUR, den.DELIVERED + 60 * HOUR
    page = den.page(facts=den.FACTS._replace(install_start=start, install_finish=finish))
    assert cut.phases(page) == [
        ("before", den.DELIVERED, start), ("during", start, finish), ("after", finish, den.AS_OF)
    ]  # fmt: skip
    assert cut.phases(page._replace(cut=Cut(start + HOUR, finish))) == [("during", start + HOUR, finish)]


# --- days -----------------------------------------------------------------------------------------------------


def test_days_are_local_and_have_23_and_25_hours_where_the_clocks_are_changed():
    # From memory: the clocks of New York went forward on 8 March 2026 and back on 1 November 2026.
    days = {one.day.isoformat(): one for one in calendar_days.days_of(long(365 * DAY), SI)}
    assert days["2026-01-05"].elapsed == 15 * HOUR + 20 * MINUTE
    assert (days["2026-03-08"].elapsed, days["2026-11-01"].elapsed) == (23 * HOUR, 25 * HOUR)
    assert (days["2026-01-06"].sign, days["2026-01-07"].sign) == ("\u00d7", "")
    assert days["2026-01-05"].moment
    assert sum(one.elapsed for one in days.values()) == 365 * DAY


def test_a_day_says_both_that_it_was_out_of_band_and_that_some_of_it_is_not_known():
    day = calendar_days.Day(None, DAY, DAY - 2 * HOUR, DAY - 3 * HOUR, HOUR, 2 * HOUR)
    assert (day.sign, day.whole) == ("\u00d7?", False)
    assert day._replace(unknown=10 * MINUTE).sign == "\u00d7"


def test_the_tables_of_a_long_calendar_are_of_months_and_of_days_that_were_not_whole():
    page = read_page(render_report(long(400 * DAY)))
    assert page.column("calendar-days", "day") == ["2026-01-06"]
    assert page.column("calendar-days", "out of band") == ["2 h 10 min"]
    months = page.tables["calendar-months"][1:]
    assert [row[0] for row in months] == [*(f"2026-{k:02d}" for k in range(1, 13)), "2027-01", "2027-02"]
    assert sum(int(row[1]) for row in months) == 401
    assert sum(int(row[2]) for row in months) == 400
    assert "In band and known throughout, and not listed: 400 days." in page.body
    assert "Of 401 days 400 were in band and known throughout, at most 399 in a row" in page.body


def test_each_year_has_a_drawing_of_its_own_with_its_finding_as_its_text():
    html = render_report(long(400 * DAY))
    assert html.count('class="chart days"') == 2
    assert 'aria-label="2026: Of 361 days 360 were in band and known throughout' in html


# --- changes of the clock ---------------------------------------------------------------------------------------


def test_ten_years_of_clock_changes_are_ticks_and_a_sentence_not_twenty_events():
    page = long(3652 * DAY)
    chart = chart_of(page, SI, 400)
    assert len(chart.changes) == 20
    assert [event.text for event in chart.events if "clocks" in event.text] == []
    told = read_page(render_report(page))
    assert (
        "Clocks were changed 20 times in this span: short ticks at the top edge mark it; the axis does not" in told.body
    )
    year = chart_of(long(365 * DAY), SI, 400)
    assert len([event for event in year.events if "clocks" in event.text]) == len(year.changes) == 2


def test_of_many_restarts_the_last_are_lettered():
    restarts = tuple(den.CLOCK.restarts[0]._replace(at=den.DELIVERED + k * HOUR) for k in range(1, 40))
    lot = den.LOT._replace(clock=den.CLOCK._replace(restarts=restarts))
    chart = chart_of(den.page(assessment=den.ASSESSMENT._replace(lots=(lot,))), SI, 400)
    assert [event.at for event in chart.events][1:] == [den.DELIVERED + k * HOUR for k in range(34, 40)]


# --- moist air --------------------------------------------------------------------------------------------------


def test_hours_are_told_apart_by_phase_and_each_is_counted_once():
    start, finish = den.DELIVERED + 30 * HOUR, den.DELIVERED + 34 * HOUR
    page = den.page(facts=den.FACTS._replace(install_start=start, install_finish=finish))
    hours = moist_air.hours_of(page)
    chart = moist_air.air_chart_of(page, hours, SI)
    counts = np.bincount(hours.phase).tolist()
    assert chart.phases == (0, 1, 2)
    assert [sum(cell.hours[k] for cell in chart.cells) for k in range(3)] == counts
    assert counts[1] == 4  # the clock hours that begin in it


def test_a_year_of_hours_takes_no_more_cells_than_a_table_can_show():
    hour = np.arange(8760)
    hours = moist_air.Hours(20 + 8 * np.sin(hour / 700), 50 + 30 * np.sin(hour / 11), np.zeros(8760, np.int64))
    chart = moist_air.air_chart_of(den.page(), hours, SI)
    assert len(chart.cells) <= moist_air.CELLS
    assert sum(sum(cell.hours) for cell in chart.cells) == 8760


def test_two_bands_are_drawn_where_the_finished_wall_has_another():
    finish = den.DELIVERED + 34 * HOUR
    facts = den.FACTS._replace(install_start=finish - HOUR, install_finish=finish)
    page = den.page(facts=facts, profile=den.PROFILE._replace(life=Band((30.0, 60.0), (15.0, 30.0))))
    chart = moist_air.air_chart_of(page, moist_air.hours_of(page), SI)
    assert [band.name for band in chart.bands] == ["band before the installation", "band after the installation"]
    assert (chart.bands[1].x.min(), chart.bands[1].x.max()) == (15.0, 30.0)


def test_an_hour_of_a_stuck_sensor_alone_is_not_drawn():
    stuck = tuple(channel._replace(flat=np.ones(len(channel.t), np.bool_)) for channel in den.page().channels)
    assert moist_air.air_chart_of(den.page(), moist_air.hours_of(den.page(channels=stuck)), SI) is None
    assert "moist" not in read_page(render_report(den.page(channels=stuck))).headings


# --- words ------------------------------------------------------------------------------------------------------


def test_many_numbers_are_told_by_the_first_and_the_last():
    assert spanwords.listed([1, 2, 5]) == "1, 2, 5"
    assert spanwords.listed(list(range(3, 12))) == "3 to 11 (9 of them)"


def test_an_episode_of_two_quantities_has_a_worst_value_and_a_sum_of_each():
    cold = den.EXCURSION._replace(quantity=den.T, side="low", peak=15.0, dose=2.0)
    again = den.EXCURSION._replace(peak=66.0, dose=0.6)
    found = (den.EXCURSION, cold, again)
    assert spanwords.worst_of(found, den.PROFILE, SI) == (
        "71.3 % (humidity above 65.0 %); 15.0 degC (temperature below 15.6 degC)"
    )
    assert spanwords.doses(found, SI) == "7.0 %RH-hours; 2.0 K-hours"


def test_a_calendar_of_one_day_says_what_it_was():
    assert spanwords.calendar_finding(1, 1, 0, 0, 1) == "The record is of 1 day, in band and known throughout."
    assert spanwords.calendar_finding(1, 0, 1, 0, 0) == "The record is of 1 day, not in band and known throughout."


def test_a_calendar_says_none_where_there_is_none_and_how_long_the_best_run_was():
    assert spanwords.calendar_finding(9, 5, 0, 4, 3) == (
        "Of 9 days 5 were in band and known throughout, at most 3 in a row; on none the room left the band, on 4 it "
        "was not known for some of the day."
    )
    assert spanwords.calendar_finding(2, 1, 1, 0, 1).startswith("Of 2 days 1 was in band and known throughout; on 1 ")


def test_a_length_is_told_in_whole_seconds():
    assert [spanwords.length(ms) for ms in (0, 400, 5_592, HOUR)] == ["-", "under 1 s", "5 s", "1 h"]


@pytest.mark.parametrize(
    "zone", ["America/Havana", "Africa/Cairo", "Asia/Beirut", "Pacific/Apia", "Australia/Lord_Howe"]
)
def test_every_day_of_a_year_is_there_once_where_the_clocks_are_changed_at_midnight(zone):
    days = calendar_days.days_of(long(365 * DAY), Display(zone_of(zone), "si"))
    dates = [one.day for one in days]
    assert [(after - before).days for before, after in pairwise(dates)] == [1] * (len(dates) - 1)
    assert sum(one.elapsed for one in days) == 365 * DAY
    assert all(22 * HOUR < one.elapsed < 26 * HOUR for one in days[1:-1])


def test_a_length_from_ten_days_on_is_told_in_days_and_no_minute_of_it_is_lost():
    told = [words.length(ms) for ms in (10 * DAY - MINUTE, 10 * DAY, 26_378 * HOUR, 59 * DAY + HOUR + 5 * MINUTE)]
    assert told == ["239 h 59 min", "10 d", "1099 d 2 h", "59 d 1 h 5 min"]


# --- of a part, what is of the whole is told apart ----------------------------------------------------------------


def test_the_worst_of_an_excursion_that_lasts_beyond_the_part_is_said_to_be_of_the_whole():
    whole = den.page()
    part = whole._replace(cut=Cut(den.WET[0], den.WET[0] + 20 * MINUTE))
    beyond = "at worst 71.3 % in the whole excursion, which lasts beyond what is shown."
    assert beyond in read_page(render_report(part)).body
    assert beyond not in read_page(render_report(whole)).body
    inside = whole._replace(cut=Cut(den.WET[0] - HOUR, den.WET[1] + HOUR))
    assert "at worst 71.3 %." in read_page(render_report(inside)).body


def _in_two_bands(**changes):
    finish = den.DELIVERED + 72 * HOUR
    facts = den.FACTS._replace(install_start=finish - HOUR, install_finish=finish)
    profile = den.PROFILE._replace(life=Band((30.0, 60.0), (15.0, 30.0)))
    return den.page(facts=facts, profile=profile, assessment=den.ASSESSMENT._replace(phase="after"), **changes)


def test_both_bands_are_shown_with_when_they_judge_and_of_a_part_that_which_judged_it():
    first = "35.0 % to 65.0 % and 60.0 degF to 85.0 degF until the wall is finished"
    later = "30.0 % to 60.0 % and 59.0 degF to 86.0 degF once it is finished"
    page = _in_two_bands()
    turn = page.facts.install_finish
    cuts = (None, Cut(den.DELIVERED, turn, "before"), Cut(turn, den.AS_OF, "after"))
    shown = [read_page(render_report(page._replace(cut=one))).texts["facts"].replace("\u00b0", "deg") for one in cuts]
    assert [(first in text, later in text) for text in shown] == [(True, True), (True, False), (False, True)]
    assert "finished" not in read_page(render_report(den.page())).texts["facts"]


def test_a_part_of_which_some_is_not_known_has_both_shares_and_one_without_any_known_time_too():
    known, none = Coverage(59 * DAY, 59 * DAY - 3 * HOUR, 58 * DAY), Coverage(DAY, 0, 0)
    told = spanwords.verdict_of_span(den.DELIVERED, den.DELIVERED + 59 * DAY, None, known, 2, SI)
    assert told.endswith(
        "the room was in band in 98.5 % of known time, 98.3 % to 98.5 % of elapsed time, out of band in 2 excursions, "
        "and not known for 3 h of 59 d."
    )
    told = spanwords.verdict_of_span(den.DELIVERED, den.DELIVERED + DAY, None, none, 0, SI)
    assert told.endswith(
        "the room was in band in no known time, 0.0 % to 100.0 % of elapsed time, never out of band in it, and not "
        "known for 24 h of 24 h."
    )
