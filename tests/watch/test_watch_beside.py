"""Neighbours over weeks, from the store to the page and the status."""

from __future__ import annotations

from desks import HUMIDITY, MINUTE, NOW, furnish, hear, steady

from monitor.basis.times import DAY
from monitor.rules.frame import Frame
from monitor.watch.desk import Desk
from monitor.watch.papers.pages import report_page
from monitor.watch.sensing.beside import drifts
from monitor.watch.sensing.instruments import Compared, Point, check_sensor
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor

DAYS = 20
START = NOW - DAYS * DAY


def neighbours(desk: Desk, per_day: float) -> None:
    """Two sensors at the den's place for 20 days; "door" moves away from "shelf" by `per_day`."""
    furnish(desk, at=START)
    add_sensor(desk, "door", "site/door/climate", hold=60 * MINUTE, uncertainty=MAKER, who="robin")
    assign_sensor(desk, "door", "den", at=START, facts={}, who="robin")
    rows = steady(START, DAYS * 24, step=30)
    hear(desk, rows)
    moving = [row._replace(humidity=row.humidity + per_day * ((row.t - START) // DAY)) for row in rows]
    hear(desk, moving, stream="site/door/climate")


def frame(desk: Desk) -> Frame:
    return desk.book.frame("den", desk.book.parsed(desk.book.profile("den", NOW).text, "den"), NOW)


def test_a_drift_between_neighbours_is_named_in_the_report(desk: Desk):
    neighbours(desk, -0.1)
    (found,) = report_page(desk, "den").drifts
    assert (found.sensor, found.neighbour, found.quantity) in {("shelf", "door", HUMIDITY), ("door", "shelf", HUMIDITY)}
    assert round(abs(found.by.middle), 6) == 2.0  # 20 days of 0.1 a day
    assert round(found.combined, 2) == 7.07  # two makers' statements of 5 %RH
    assert not found.beyond


def test_sensors_that_stay_together_and_one_alone_have_no_drift(desk: Desk):
    neighbours(desk, 0.0)
    assert drifts(desk, frame(desk), NOW) == ()


def test_a_check_begins_the_comparison_anew(desk: Desk):
    neighbours(desk, -0.1)
    compared = [Compared(HUMIDITY, Point(48.0, 50.0, 2.0), "beside a second instrument")]
    check_sensor(
        desk, "door", "side by side", compared, at=NOW - 5 * DAY, valid=None, adjusted=True, who="robin"
    )  # fmt: skip
    assert drifts(desk, frame(desk), NOW) == ()
