"""What the alarm knows of sensors and of the house: silences by channel, checks that run out, links, the disk."""

from __future__ import annotations

from collections import namedtuple

import pytest
from desks import T0, furnish, hear, opening, readings, steady
from watching import looks, set_clock, told_desk

from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import SENSORS_CHAIN, Quantity
from monitor.keep.rows import Doing, Scheduled
from monitor.rules.alarm.signals_house import Failure, Link
from monitor.rules.instrument import Point
from monitor.watch.job.jobs import open_job
from monitor.watch.sensing.instruments import Compared, check_sensor
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor, release_sensor, sensor_draft
from monitor.watch.service.alarming import Memory
from monitor.watch.service.vitals import house_of, stuck_since, vitals_of

NOW = T0 + 12 * HOUR


@pytest.fixture
def desk(tmp_path, sit_down):
    told = told_desk(tmp_path / "home", sit_down)
    furnish(told)
    return told


def vitals(desk, now=NOW, stuck=()):
    memory = Memory()
    looks(desk, [now], memory)
    return {one.sensor: one for one in vitals_of(desk, [one.look for one in memory.seen.values()], dict(stuck), now)}


def another(desk, name, place="den", stream=None):
    if stream is None:
        add_sensor(desk, name, f"site/{name}/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
    else:
        desk.store.append(SENSORS_CHAIN, [sensor_draft(desk, name, stream, 30 * MINUTE, MAKER, "robin")])
    assign_sensor(desk, name, place, at=T0, facts={}, who="robin")


def test_a_sensor_is_known_by_where_it_stands_whom_it_serves_and_when_it_spoke(desk):
    hear(desk, steady(T0, 12))
    shelf = vitals(desk)["shelf"]
    assert (shelf.place, shelf.placed, shelf.jobs, shelf.hold) == ("den", T0, ("den",), 30 * MINUTE)
    assert (shelf.stream, shelf.root, shelf.broker) == ("site/shelf/climate", "site", "127.0.0.1:1883")
    assert (shelf.heard, shelf.alone, shelf.flat_since, shelf.battery) == (NOW - 10 * MINUTE, True, None, None)


def test_a_sensor_is_as_silent_as_the_channel_that_fell_silent_first(desk):
    hear(desk, steady(T0, 6))
    warmth = [one for one in readings("site/shelf/climate", steady(T0 + 6 * HOUR, 6)) if one.quantity != "air_humidity"]
    desk.store.keep_readings(warmth)
    assert vitals(desk)["shelf"].heard == T0 + 6 * HOUR - 10 * MINUTE


def test_what_a_sensor_said_elsewhere_before_is_no_word_of_its_place(desk):
    hear(desk, steady(T0, 6))
    set_clock(desk, NOW)
    release_sensor(desk, "shelf", at=T0 + 7 * HOUR, who="robin")
    assign_sensor(desk, "shelf", "den", at=T0 + 8 * HOUR, facts={}, who="robin")
    shelf = vitals(desk)["shelf"]
    assert (shelf.placed, shelf.heard, shelf.last_word) == (T0 + 8 * HOUR, None, T0 + 8 * HOUR)


def test_only_sensors_that_are_to_be_heard_at_open_jobs_count(desk):
    another(desk, "afar", place="barn")
    another(desk, "logger", stream="file:logger")
    assert [(name, one.alone) for name, one in vitals(desk).items()] == [("shelf", True)]
    another(desk, "door")
    assert sorted((name, one.alone) for name, one in vitals(desk).items()) == [("door", False), ("shelf", False)]


def test_two_walls_of_one_room_share_its_sensor(desk):
    open_job(desk, opening("hall", wall_place="den"), who="robin")
    assert vitals(desk)["shelf"].jobs == ("den", "hall")


def test_a_sensor_that_stands_still_has_done_so_since_its_first_such_reading(desk):
    hear(desk, steady(T0, 2))
    hear(desk, [row._replace(temperature=21.0, humidity=50.0) for row in steady(T0 + 2 * HOUR, 10)])
    assert stuck_since(desk, desk.book.frame_at("den", NOW), NOW) == {"shelf": T0 + 2 * HOUR}
    assert vitals(desk, stuck={"shelf": T0 + 2 * HOUR})["shelf"].flat_since == T0 + 2 * HOUR


def test_what_backs_a_sensor_runs_out_with_its_first_check_or_the_makers_word(desk):
    set_clock(desk, T0)
    added = desk.book.sensors()["shelf"].since
    assert vitals(desk)["shelf"].check_until == added + 365 * DAY
    check_sensor(desk, "shelf", "side by side", [compared()], at=None, valid=90 * DAY, adjusted=True, who="robin")
    assert vitals(desk, NOW + HOUR)["shelf"].check_until == NOW + 90 * DAY
    assert vitals(desk, NOW + 100 * DAY)["shelf"].check_until == NOW + 90 * DAY


def compared() -> Compared:
    return Compared(Quantity.AIR_HUMIDITY, Point(50.0, 50.5, 2.0), "beside a better one")


# --- the house -------------------------------------------------------------------------------------


def test_without_a_daemon_nothing_is_known_of_links(desk):
    assert house_of(desk, [], NOW).links == ()


@pytest.mark.parametrize(
    ("link", "told"),
    [
        ({"connected": False, "since": T0, "last_error": "gone"}, Link("127.0.0.1:1883", T0, None, "gone")),
        ({"connected": True, "since": T0, "last_error": ""}, Link("127.0.0.1:1883", None, T0, "")),
        ({"connected": False, "since": None, "last_error": ""}, Link("127.0.0.1:1883", NOW, None, "")),
    ],
)
def test_a_link_is_down_or_up_since_the_daemon_says_so(desk, link, told):
    set_clock(desk, NOW)
    desk.store.stay_awake(desk.store.wake(), {"links": [link]})
    assert house_of(desk, [], NOW).links == (told,)
    assert house_of(desk, [], NOW + HOUR).links == ()  # it is not there any more


def test_works_that_failed_are_told_by_what_they_are(desk):
    works = [
        Scheduled(name, Doing.FAILED, T0, None, T0 + MINUTE, "no room", None) for name in ("seal", "backup", "board")
    ]
    works += [Scheduled(name, Doing.FAILED, T0, None, T0, "-", None) for name in ("judge", "look")]
    works += [Scheduled("tidy", Doing.DONE, T0, T0, T0, "an old error", None)]
    house = house_of(desk, works, NOW)
    assert house.seals == (Failure("seal", T0 + MINUTE, "no room"),)
    assert house.backups == (Failure("backup", T0 + MINUTE, "no room"),)
    assert house.works == (Failure("board", T0 + MINUTE, "no room"),)


def test_what_is_free_is_that_of_the_disk_with_the_record(desk, monkeypatch):
    asked = []
    usage = namedtuple("usage", "free")
    monkeypatch.setattr("shutil.disk_usage", lambda path: asked.append(path) or usage(123))
    assert house_of(desk, [], NOW).free == 123
    assert asked == [desk.settings.home]
