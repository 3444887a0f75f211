"""A month over all walls: what is gathered of each, in its own zone, and what is refused."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from desks import DAY, HOUR, NOW, T0, furnish, hear, opening, steady

from monitor.basis.errors import RecordError
from monitor.basis.times import ms_of
from monitor.rules.assessment import Coverage
from monitor.tell.pages.summary import by_building, known, stands, worst, worst_first
from monitor.tell.pages.summary import opening as told_first
from monitor.watch.desk import Desk
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import close_job, open_job, say_building
from monitor.watch.job.life import care
from monitor.watch.judging import assess
from monitor.watch.papers import summary
from monitor.watch.papers.summary import midnight, month_named, summary_of
from monitor.watch.sensing.sensors import release_sensor

JANUARY = (date(2026, 1, 1), date(2026, 2, 1))
WEEK = (date(2026, 1, 5), date(2026, 1, 12))


def damp(hours: float, start: int, end: int) -> list:
    """A room that is damp in [start, end)."""
    return [row._replace(humidity=70.0) if start <= row.t < end else row for row in steady(T0, hours)]


def test_a_month_is_named_by_its_year_and_number():
    assert month_named("2026-12") == (date(2026, 12, 1), date(2027, 1, 1))


@pytest.mark.parametrize("text", ["2026-13", "January", "2026-1", "1999-01"])
def test_what_is_no_month_is_refused(text: str):
    with pytest.raises(RecordError) as refused:
        month_named(text)
    assert str(refused.value) == f'--month: {text!r} is no month. Write it like "2027-01"'


def test_the_time_of_a_span_is_the_assessments(desk: Desk):
    furnish(desk)
    hear(desk, damp(100, T0 + 30 * HOUR, T0 + 33 * HOUR))
    (wall,) = summary_of(desk, *JANUARY).walls
    # from the delivery at T0 to now: 12 d; heard for 100 h, the last reading speaks 30 min; damp for 3 h
    assert wall.coverage == Coverage(12 * DAY, 100 * HOUR + 20 * 60_000, 97 * HOUR + 20 * 60_000)
    assert (wall.out, wall.as_of, wall.watched) == (3 * HOUR, NOW, True)
    assert known(wall) == "34.8 % of 12 d"
    assert worst(wall) == "humidity above 65.0 %, at worst 70.0 % from 2026-01-06 06:00 +00:00"


def test_a_week_is_cut_at_its_midnights(desk: Desk):
    furnish(desk)
    hear(desk, damp(12 * 24, T0 + 6 * DAY + 23 * HOUR, T0 + 7 * DAY + HOUR))
    (wall,) = summary_of(desk, *WEEK).walls
    assert wall.coverage == Coverage(7 * DAY, 7 * DAY, 7 * DAY - HOUR)
    assert len(wall.excursions) == 1  # of the two hours one is in this week


def test_walls_are_told_by_building_worst_first_and_one_without_a_sensor_is_not_watched(desk: Desk):
    furnish(desk)
    furnish(desk, job="attic", sensor=None)
    furnish(desk, job="cellar", sensor="floor")
    say_building(desk, "cellar", "mill house", who="robin")
    hear(desk, steady(T0, 288))
    hear(desk, damp(288, T0 + DAY, T0 + 2 * DAY), stream="site/floor/climate")
    found = summary_of(desk, *JANUARY)
    assert [wall.job for wall in worst_first(found.walls)] == ["cellar", "attic", "den"]
    assert list(by_building(worst_first(found.walls))) == ["mill house", ""]
    attic = found.walls[0]
    assert stands(attic) == "NOT READY; NOT WATCHED: no sensor was there"
    assert (attic.watched, attic.coverage.known) == (False, 0)
    assert known(attic) == "0.0 % of 12 d"
    assert told_first(found) == "3 walls, 1 left the band, 1 not watched."
    assert [wall.job for wall in summary_of(desk, *JANUARY, building="mill house").walls] == ["cellar"]


def test_care_that_was_done_and_falls_due_is_told(desk: Desk):
    furnish(desk)
    hear(desk, steady(T0, 288))
    start = Installing(T0 + 4 * DAY, finish=T0 + 5 * DAY, not_ready=True, reason="a test")
    install(desk, "den", start, who="robin")
    care(desk, "den", "dust", "", at=T0 + 6 * DAY, who="robin")
    (wall,) = summary_of(desk, *JANUARY).walls
    assert wall.done == (("dust", T0 + 6 * DAY),)
    assert [item.what for item in wall.due] == ["dust"]  # every 14 days; wiping and looking over are further off


def test_a_wall_that_was_closed_or_not_yet_opened_is_not_in_it(desk: Desk):
    furnish(desk)
    close_job(desk, "den", at=T0 + 2 * DAY, reason="sold", who="robin")
    open_job(desk, opening("loft"), who="robin")
    assert [wall.job for wall in summary_of(desk, *WEEK).walls] == ["den"]
    assert [wall.job for wall in summary_of(desk, date(2026, 1, 8), date(2026, 2, 1)).walls] == ["loft"]
    assert summary_of(desk, date(2025, 12, 1), date(2026, 1, 1)).walls == ()


def test_days_to_come_and_a_building_without_a_wall_are_refused(desk: Desk):
    furnish(desk)
    with pytest.raises(RecordError) as early:
        summary_of(desk, date(2026, 2, 1), date(2026, 3, 1))
    assert str(early.value) == "summary: 2026-02-01 is still to come. Name days that have begun"
    with pytest.raises(RecordError) as nowhere:
        summary_of(desk, *JANUARY, building="mill house")
    assert str(nowhere.value) == (
        "--building: no wall is in 'mill house'. wallclime job list shows the buildings there are"
    )


def test_a_wall_that_cant_be_judged_is_named_and_the_others_are_told(desk: Desk, monkeypatch: pytest.MonkeyPatch):
    for job in ("attic", "den"):
        furnish(desk, job=job, sensor=None)

    def judged(at_desk: Desk, job: str, **more: int) -> object:
        if job == "attic":
            raise RecordError("the log contradicts itself", where="log of attic", mend="Correct it")
        return assess(at_desk, job, **more)

    monkeypatch.setattr(summary, "assess", judged)
    found = summary_of(desk, *JANUARY)
    assert [wall.job for wall in found.walls] == ["den"]
    assert found.unjudged == (("attic", "the log contradicts itself"),)
    assert told_first(found) == "1 wall, none left the band, 1 not watched, 1 can't be judged."


def test_a_wall_is_watched_in_the_days_that_a_sensor_was_there_and_its_record_ends_with_it(desk: Desk):
    furnish(desk)
    hear(desk, steady(T0, 6 * 24))
    release_sensor(desk, "shelf", at=T0 + 6 * DAY, who="robin")
    (whole,), (after,) = summary_of(desk, *WEEK).walls, summary_of(desk, date(2026, 1, 12), date(2026, 1, 19)).walls
    assert (stands(whole), whole.ended) == ("NOT READY; RECORD ENDED 2026-01-11", T0 + 6 * DAY)
    assert told_first(summary_of(desk, *WEEK)) == "1 wall, none left the band, 1 record ended."
    assert stands(after) == "NOT READY; NOT WATCHED: no sensor was there"
    (before,) = summary_of(desk, date(2026, 1, 5), date(2026, 1, 11)).walls
    assert stands(before) == "NOT READY"


def test_a_day_begins_at_the_first_of_two_midnights_and_where_there_is_none_when_the_clocks_are_changed():
    # tz database, rules of Lebanon: clocks go from 00:00 to 01:00 on the last Sunday of March, +02:00 before
    assert midnight(date(2026, 3, 29), ZoneInfo("Asia/Beirut")) == ms_of(datetime(2026, 3, 28, 22, tzinfo=UTC))
    # rules of Cuba: from 01:00 back to 00:00 on the first Sunday of November, -04:00 before
    assert midnight(date(2026, 11, 1), ZoneInfo("America/Havana")) == ms_of(datetime(2026, 11, 1, 4, tzinfo=UTC))
