"""A logger's file for another place of the job than the room of the time: the one outdoors."""

from __future__ import annotations

import pytest
from desks import T0, csv, furnish, opening, steady

from monitor.basis.errors import RecordError
from monitor.basis.times import HOUR
from monitor.intake.loggerguess import Columns
from monitor.watch.desk import Desk
from monitor.watch.job.jobs import open_job
from monitor.watch.judging import assess
from monitor.watch.sensing.imports import plan_import, run_import

COLUMNS = Columns(time=("when",), temperature="temp", humidity="rh")


def test_a_file_may_be_of_the_place_outdoors_and_no_room_is_judged_by_it(desk: Desk, tmp_path):
    furnish(desk, sensor=None)
    open_job(desk, opening("hall", boxes_place="den", wall_place="den", outdoor_place="yard"), who="robin")
    path = csv(tmp_path / "a.csv", steady(T0, 5))
    plan = plan_import(desk, "hall", path, COLUMNS, sensor="logger", hold=None, progress=lambda _: None, place="yard")
    assert plan.place == "yard"
    assert run_import(desk, plan, who="robin", progress=lambda _: None).new == 60
    assert [stay.place for stay in desk.book.stays()] == ["yard"]
    assert assess(desk, "hall").begin is None


def test_a_place_that_the_job_does_not_have_is_refused_before_the_file_is_looked_at(desk: Desk, tmp_path):
    open_job(desk, opening("hall", boxes_place="den", wall_place="hall", outdoor_place="yard"), who="robin")
    with pytest.raises(RecordError) as refused:
        plan_import(
            desk, "hall", tmp_path / "none", COLUMNS, sensor="a", hold=None, progress=lambda _: None, place="yrad"
        )
    assert str(refused.value) == "--place: 'yrad' is no place of job hall. It has 'den', 'hall', 'yard'"


def brought(desk: Desk, path, **more) -> str:
    """Import a file of the logger "core"; what it is taken to have heard."""
    plan = plan_import(desk, "den", path, COLUMNS, sensor="core", hold=None, progress=lambda _: None, **more)
    run_import(desk, plan, who="robin", progress=lambda _: None)
    return plan.role


def test_a_file_may_be_of_a_logger_in_the_boxes_and_the_room_is_not_judged_by_it(desk: Desk, tmp_path):
    furnish(desk, sensor=None)
    assert brought(desk, csv(tmp_path / "a.csv", steady(T0, 5)), role="box") == "box"
    assert brought(desk, csv(tmp_path / "b.csv", steady(T0 + 5 * HOUR, 5))) == "box"
    assert [(stay.place, stay.role) for stay in desk.book.stays()] == [("den", "box")]
    assert assess(desk, "den").now.values == {}


def test_a_logger_that_was_in_the_boxes_does_not_hear_the_air_in_the_next_file(desk: Desk, tmp_path):
    furnish(desk, sensor=None)
    brought(desk, csv(tmp_path / "a.csv", steady(T0, 5)), role="box")
    with pytest.raises(RecordError) as refused:
        brought(desk, csv(tmp_path / "b.csv", steady(T0 + 5 * HOUR, 5)), role="air")
    assert str(refused.value) == (
        "sensor core: at 'den' it was said to hear the box, not the air. Leave --as out, or give the sensor a new name"
    )
