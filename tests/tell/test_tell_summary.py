"""The page of a month over all walls: its words, its order, its numbers."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import invented_den as den
import pytest
from read_page import read_page

from monitor.basis.alarm import Alarm, Priority, Standing
from monitor.basis.times import DAY, HOUR, zone_of
from monitor.rules.assessment import Coverage
from monitor.rules.install.care import Item
from monitor.tell.pages import summary
from monitor.tell.pages.summary import Summary, WallSpan
from monitor.tell.pages.summary_page import render_summary
from monitor.tell.words import Display

JANUARY = (date(2026, 1, 1), date(2026, 2, 1))
AS_OF = den.AS_OF
US = Display(zone_of("America/New_York"), "us")
WELL = Coverage(100 * HOUR, 100 * HOUR, 100 * HOUR)
WET = Coverage(100 * HOUR, 90 * HOUR, 80 * HOUR)
NASTY = '<script>document.title="taken"</script>\u202e'


def wall(job: str = "north wall", building: str = "mill house", coverage: Coverage = WELL, **more: Any) -> WallSpan:
    said = {"display": US, "profile": den.PROFILE, "as_of": AS_OF, "tag": "NOT READY", "watched": True, **more}
    return WallSpan(job=job, building=building, coverage=coverage, **said)


def page(*walls: WallSpan, **more: Any) -> str:
    return render_summary(Summary(*JANUARY, AS_OF, walls, software="wallclime 0.1.0", **more))


def alarm(what: str, *, notice: bool = False) -> Alarm:
    return Alarm("ab12", what, "north wall", "den", AS_OF, AS_OF, Standing.RETURNED, Priority.HIGH, notice=notice)


def squeezed(text: str) -> str:
    return " ".join(text.split())


def rows(html: str, table: str = "b1") -> list[list[str]]:
    return [[squeezed(cell) for cell in row] for row in read_page(html).tables[table][1:]]


def test_a_month_is_named_and_other_days_are_from_to():
    assert Summary(*JANUARY, AS_OF, ()).title == "January 2026"
    assert Summary(date(2026, 12, 1), date(2027, 1, 1), AS_OF, ()).title == "December 2026"
    assert Summary(date(2026, 1, 5), date(2026, 1, 12), AS_OF, ()).title == "2026-01-05 to 2026-01-11"
    assert Summary(date(2026, 1, 1), date(2026, 3, 1), AS_OF, ()).title == "2026-01-01 to 2026-02-28"


def test_a_wall_whose_sensor_is_gone_is_told_with_the_day_of_it_and_is_counted_apart():
    html = page(wall("a", ended=AS_OF - DAY), wall("b"), wall("c", watched=False))
    assert squeezed(read_page(html).texts["verdict"]) == (
        "January 2026: 3 walls, none left the band, 1 not watched, 1 record ended."
    )
    assert [row[0] for row in rows(html)] == [
        "cNOT READY; NOT WATCHED: no sensor was there",
        "aNOT READY; RECORD ENDED 2026-01-08",
        "bNOT READY",
    ]
    assert "Record ended: one was, until that day." in squeezed(read_page(html).texts["mind"])


def test_the_sentence_on_top_counts_what_left_the_band_and_what_nobody_watched():
    blind = wall("c", coverage=Coverage(100 * HOUR, 0, 0), watched=False)
    told = read_page(page(wall("a"), wall("b", coverage=WET), blind)).texts["verdict"]
    assert squeezed(told) == "January 2026: 3 walls, 1 left the band, 1 not watched."
    assert "2 walls, none left the band." in page(wall("a"), wall("b"))
    assert "January 2026: No wall was open." in page()


def test_a_row_has_the_numbers_of_its_wall():
    done, due = (("dust", AS_OF - DAY),), (Item("dust", AS_OF - 2 * DAY, AS_OF - 2 * DAY), Item("look", 0, AS_OF + DAY))
    told = wall(coverage=WET, excursions=den.ASSESSMENT.excursions, done=done, due=due, alarms=(alarm("air out"),))
    assert rows(page(told)) == [
        [
            "north wallNOT READY",
            # 80 of 90 h known; 80 of 100 h and, unknown counted in, 90 of 100 h
            "88.8 % of known time; 80.0 % to 90.0 % of elapsed time",
            "10 h",
            "90.0 % of 4 d 4 h",
            "1: humidity above 65.0 %, at worst 71.3 % from 2026-01-06 10:00 -05:00",
            "1 alarm: air out",
            "dust 2026-01-08",
            "dust overdue since 2026-01-07, look by 2026-01-10",
        ]
    ]


def test_a_wall_that_is_well_says_so_in_every_cell():
    (row,) = rows(page(wall()))
    assert row[:3] == ["north wallNOT READY", "100.0 % of known time; 100.0 % of elapsed time", "none"]
    assert row[3:] == ["100.0 % of 4 d 4 h", "none", "none", "nothing", "nothing"]


def test_a_notice_is_no_alarm():
    assert summary.alarms(wall(alarms=(alarm("dry winter", notice=True),))) == "none"
    two = (alarm("air out"), alarm("air out"), alarm("sensor silent"))
    assert summary.alarms(wall(alarms=two)) == "3 alarms: air out, sensor silent"


def test_a_wall_without_a_sensor_is_not_watched_and_before_its_begin_nothing_is_judged():
    blind = wall(coverage=Coverage(), watched=False)
    (row,) = rows(page(blind))
    assert row[:4] == ["north wallNOT READY; NOT WATCHED: no sensor was there", "-", "none", "nothing judged yet"]


def test_the_worst_wall_is_first_and_so_is_its_building():
    html = page(wall("a", ""), wall("b", "gate"), wall("c", "gate", WET))
    assert read_page(html).headings == ["gate", "no building named", "How to read this"]
    assert [row[0] for row in rows(html)] == ["cNOT READY", "bNOT READY"]


def test_all_walls_together_are_their_times_added():
    assert summary.covered([wall(), wall(coverage=WET)]) == Coverage(200 * HOUR, 190 * HOUR, 180 * HOUR)
    facts = squeezed(read_page(page(wall(), wall(coverage=WET))).texts["about"])
    assert facts == (
        "in band 94.7 % of known time; 90.0 % to 95.0 % of elapsed time (unknown time counted out, and in) "
        "known 95.0 % alarms 0 care 0 done, 0 overdue written by wallclime 0.1.0"
    )


def test_a_simulated_wall_is_marked_and_the_page_says_so():
    html = page(wall(training=True))
    assert "north wall (TRAINING)" in html
    assert "TRAINING: readings of a wall marked so were simulated." in html
    assert "TRAINING" not in page(wall())


def test_the_page_is_of_one_building_where_one_was_asked_for():
    assert "building mill house" in squeezed(read_page(page(wall(), building="mill house")).texts["about"])


def test_a_wall_that_cant_be_judged_is_named_with_the_reason():
    html = page(unjudged=(("attic", "the log contradicts itself"),))
    assert "No wall was open; 1 can&#39;t be judged." in html
    assert "attic can't be judged: the log contradicts itself" in squeezed(read_page(html).texts["unjudged"])


def test_names_cant_dress_up_the_page():
    html = page(wall(NASTY, NASTY, alarms=(replace(alarm("x"), what=NASTY),)), building=NASTY)
    assert "<script>" not in html
    assert "\u202e" not in html


@pytest.mark.parametrize(("us", "si", "units"), [(2, 1, "us"), (1, 1, "si"), (0, 0, "si")])
def test_it_is_printed_for_most_walls(us: int, si: int, units: str):
    walls = [wall()] * us + [wall(display=Display(zone_of("UTC"), "si"))] * si
    assert summary.units_of(walls) == units


def test_it_fits_a_screen_of_360_pixels(window):
    long = wall("a" * 120, "b" * 120, WET, excursions=den.ASSESSMENT.excursions)
    with window.open(page(long, wall(coverage=WET)), width=360) as opened:
        assert opened.run("document.documentElement.scrollWidth") == 360
