"""Sensors as an installer meets them: the command that adds each, and what can hardly be right."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.basis.clock import SetClock
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import BACK_FILL, LIVE, Quantity, Reading
from monitor.rules.install.wall import rectangle
from monitor.watch.desk import Desk, open_desk
from monitor.watch.job.jobs import Opening, close_job, open_job
from monitor.watch.sensing.found import FEW, add_command, doubts, looks, strangers
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor

NOW = 1_767_600_000_000  # 2026-01-05T08:00Z
T, RH = Quantity.AIR_TEMPERATURE, Quantity.AIR_HUMIDITY


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    with open_desk(tmp_path, environ={}, clock=SetClock(NOW)) as opened:
        yield opened


def new_job(desk: Desk, name: str) -> None:
    shape = rectangle(4.2, 2.4)
    open_job(desk, Opening(name, "UTC", shape, "si", "laminate-planks"), who="robin")


def hear(desk: Desk, stream: str, temperature: float, humidity: float = 50.0, *, back: int = MINUTE, late: int = 0):
    origin = BACK_FILL if late else LIVE
    t = NOW - back - late
    desk.store.keep_readings([
        Reading(stream, T, t, temperature, "degC", t + late, origin),
        Reading(stream, RH, t, humidity, "%", t + late, origin),
    ])  # fmt: skip


def place(desk: Desk, name: str, stream: str, where: str, *, since: int = DAY) -> None:
    add_sensor(desk, name, stream, hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    assign_sensor(desk, name, where, at=NOW - since, facts={}, who="robin")


def test_the_command_names_a_sensor_after_the_level_that_tells_something_and_the_only_open_job(desk):
    for job in ("den", "hall's wall"):
        new_job(desk, job)
    assert add_command(desk, "flat7/den/sensor/state").endswith(" den --topic flat7/den/sensor/state --job JOB")
    close_job(desk, "den", at=None, reason="done", who="robin")
    assert add_command(desk, "state") == ("wallclime sensor add sensor-1 --topic state --job 'hall'\"'\"'s wall'")
    hear(desk, "a/shelf/state", 20.0)
    place(desk, "shelf", "a/shelf/state", "den")
    assert add_command(desk, "b/shelf/state").startswith("wallclime sensor add shelf-2 --topic b/shelf/state ")
    assert add_command(desk, "b/$(rm)\n/x y").startswith("wallclime sensor add xy --topic 'b/$(rm)\\n/x y' ")


def test_a_job_without_a_sensor_is_told_of_the_first_that_are_heard_and_one_with_a_sensor_of_none(desk):
    new_job(desk, "den")
    assert strangers(desk, "den") == []
    for number in range(FEW + 2):
        hear(desk, f"flat7/n{number}/state", 20.0)
    found = strangers(desk, "den")
    assert found[0] == "heard and at no place yet: wallclime sensor add n0 --topic flat7/n0/state --job den"
    assert found[FEW:] == ["and 2 more: wallclime sensor seen"]
    place(desk, "n0", "flat7/n0/state", "den")
    assert strangers(desk, "den") == []


def test_of_a_job_that_is_closed_nothing_is_asked(desk):
    new_job(desk, "den")
    hear(desk, "flat7/a/state", 20.0)
    assert len(strangers(desk, "den")) == 1
    close_job(desk, "den", at=None, reason="done", who="robin")
    assert (strangers(desk, "den"), doubts(desk, "den")) == ([], [])


def test_units_that_look_wrong_are_told_with_the_option(desk):
    hear(desk, "flat7/hall/state", 63.1, 0.58)
    assert looks(desk, "flat7/hall/state") == [
        "63.1: these look like degrees Fahrenheit, --unit degF",
        "0.58: these look like fractions, --unit fraction",
    ]
    assert add_command(desk, "flat7/hall/state").endswith(" --unit degF --unit fraction")


def test_sensors_of_one_place_that_say_what_no_room_says_are_named_with_their_entries(desk):
    new_job(desk, "den")
    for name, warmth, humidity in (("a", 17.2, 50.0), ("b", 12.3, 69.0)):
        hear(desk, f"x/{name}", warmth, humidity)
        place(desk, name, f"x/{name}", "den")
    assert doubts(desk, "den") == []  # 4.9 K and 19 % apart
    hear(desk, "x/c", 12.1)
    place(desk, "c", "x/c", "den")
    assert doubts(desk, "den") == [
        "that can hardly be one room's air: a 17.2 degC, b 12.3 degC, c 12.1 degC. Is each of them beside the boxes? "
        "One that has left: wallclime sensor release NAME; one that never was there: wallclime sensor withdraw NUMBER "
        "(a 2, b 4, c 6)"
    ]


def test_a_sensor_that_is_silent_is_not_held_against_one_that_speaks(desk):
    new_job(desk, "den")
    hear(desk, "x/a", 17.2)
    hear(desk, "x/b", 4.1, back=2 * HOUR)
    for name in "ab":
        place(desk, name, f"x/{name}", "den")
    assert doubts(desk, "den") == []


def test_a_clock_that_is_behind_is_told_and_a_file_that_was_read_late_is_not(desk):
    new_job(desk, "den")
    hear(desk, "x/a", 17.2, late=HOUR)
    hear(desk, "x/b", 17.2, late=0)
    for name in "ab":
        place(desk, name, f"x/{name}", "den")
    assert doubts(desk, "den") == [
        "a: its clock is 1 h behind, so that its readings stand at a wrong time and say nothing of now; set it "
        "(hour, zone, summer time)"
    ]
