"""Entries of the log -> the frame that readings are judged in, as of an instant."""

from collections.abc import Mapping
from typing import Any

import pytest
from rooms import HUMIDITY, PROFILE, TEMPERATURE, heard, minutes, steady

from monitor.basis.errors import RecordError
from monitor.basis.times import HOUR, MINUTE
from monitor.basis.values import SENSORS_CHAIN, Entry, Kind
from monitor.rules.frame import (
    Delivery,
    Frame,
    Job,
    ProfileText,
    Sensor,
    SensorsLog,
    effective,
    frame_of,
    job_of,
    profiles_of,
    sensors_of,
)
from monitor.rules.instrument import Check
from monitor.rules.judge import judge
from monitor.rules.stays import Stay, stays_of

LATE = minutes(100_000)  # when everything here was entered: the time an entry speaks of is what counts [ms]


class Log:
    """A chain that is written to in order."""

    def __init__(self, chain: str) -> None:
        self.chain = chain
        self.entries: list[Entry] = []

    def add(self, kind: Kind, minute: float, body: Mapping[str, Any], *, corrects: int | None = None) -> int:
        """Write an entry that speaks of `minute`; its number."""
        number = len(self.entries) + 1
        entry = Entry(self.chain, number, kind, minutes(minute), LATE, "Ada", body, corrects, b"", b"")
        self.entries.append(entry)
        return number

    def correct(self, number: int, **body: object) -> None:
        self.add(Kind.CORRECTION, 90_000, {"reason": "misread", **body}, corrects=number)


def opened(minute: float = -60, **more: object) -> Log:
    """A job that was opened at `minute`: its boxes in the shed, its wall in the hall."""
    log = Log("hall wall")
    body = {
        "zone": "Europe/Helsinki",
        "boxes_place": "shed",
        "wall_place": "hall",
        "outdoor_place": "yard",
        "length_m": 4.8,
        "height_m": 2.4,
        "units": "us",
    }
    log.add(Kind.JOB, minute, {**body, **more})
    log.add(Kind.PROFILE, minute, {"text": "first"})
    return log


def sensors(*names: str) -> Log:
    log = Log(SENSORS_CHAIN)
    for name in names:
        log.add(Kind.SENSOR, 80_000, sensor(name))
    return log


def sensor(name: str, hold: int = 30, humidity: float = 5.0) -> dict[str, Any]:
    uncertainty = {"air_temperature": 1, "air_humidity": humidity}
    return {
        "name": name,
        "stream": f"house/{name}",
        "hold_ms": hold * MINUTE,
        "uncertainty": uncertainty,
    }


def assigned(log: Log, name: str, place: str, start: float, end: float | None = None) -> int:
    until = None if end is None else minutes(end)
    return log.add(Kind.ASSIGNMENT, start, {"sensor": name, "place": place, "from": minutes(start), "to": until})


def released(log: Log, name: str, at: float) -> int:
    return log.add(Kind.ASSIGNMENT, at, {"sensor": name, "released": minutes(at)})


def delivered(log: Log, minute: float, lot: str = "lot 1", place: str = "shed", boxes: int | None = 12) -> int:
    return log.add(Kind.DELIVER, minute, {"lot": lot, "place": place, "boxes": boxes})


def installed(log: Log, start: float, finish: float | None = None, lots: tuple[str, ...] = ()) -> int:
    until = None if finish is None else minutes(finish)
    return log.add(Kind.INSTALL, start, {"finish": until, "lots": list(lots)})


def framed(log: Log, sensor_log: Log | None = None, as_of: float = 50_000) -> Frame:
    return frame_of(log.entries, (sensor_log or sensors()).entries, PROFILE, minutes(as_of))


def stays(log: Log) -> list[tuple[str, str, float, float | None]]:
    """Sensor, place, minutes of start and end."""
    found = stays_of(effective(log.entries))
    return [(s.sensor, s.place, _minute(s.start), None if s.end is None else _minute(s.end)) for s in found]


def _minute(at: int) -> float:
    return (at - minutes(0)) / MINUTE


# --- the job and its profiles ---


def test_a_job_is_what_its_first_entry_says():
    assert job_of(opened().entries) == Job(
        name="hall wall",
        zone="Europe/Helsinki",
        boxes_place="shed",
        wall_place="hall",
        outdoor_place="yard",
        length=4.8,
        height=2.4,
        units="us",
        opened=minutes(-60),
    )


def test_a_corrected_job_is_what_the_correction_says():
    log = opened()
    log.correct(1, instead={"length_m": 5.2, "outdoor_place": None})
    job = job_of(log.entries)
    assert (job.length, job.outdoor_place, job.height) == (5.2, None, 2.4)


def test_a_job_without_an_outdoor_place_has_none():
    (first, *_) = opened().entries
    body = {key: value for key, value in first.body.items() if key != "outdoor_place"}
    assert job_of([first._replace(body=body)]).outdoor_place is None


def test_a_job_opened_later_than_as_of_is_judged_all_the_same():
    # the files of last week are imported today: the job, its sensor and their places hold for then as well
    log, sensor_log = opened(minute=80_000), sensors("a")
    assigned(sensor_log, "a", "shed", 0, 600)
    delivered(log, 0)
    found = framed(log, sensor_log, as_of=300)
    assert found.stays == (Stay("a", "shed", minutes(0), minutes(600)),)
    assert found.deliveries == (Delivery("lot 1", "shed", minutes(0), 12),)


def test_every_profile_stands_with_the_time_from_which_it_is_in_force():
    log = opened()
    log.add(Kind.PROFILE, 500, {"text": "third", "reason": "another maker"})
    log.add(Kind.PROFILE, 300, {"text": "second", "reason": "other planks"})
    assert profiles_of(log.entries) == (
        ProfileText("first", minutes(-60), "", "Ada"),
        ProfileText("second", minutes(300), "other planks", "Ada"),
        ProfileText("third", minutes(500), "another maker", "Ada"),
    )


# --- corrections ---


def test_a_correction_may_move_an_entry():
    log = opened()
    number = delivered(log, 100)
    log.correct(number, at=minutes(40))
    assert framed(log).begin == minutes(40)


def test_a_correction_may_replace_what_was_said():
    log = opened()
    number = delivered(log, 100, lot="lot 1", boxes=12)
    log.correct(number, instead={"boxes": 10, "place": "hall"})
    assert framed(log).deliveries == (Delivery("lot 1", "hall", minutes(100), 10),)


def test_a_withdrawn_entry_is_none():
    log = opened()
    number = delivered(log, 100)
    delivered(log, 200, lot="lot 2")
    log.correct(number, withdrawn=True)
    assert [one.lot for one in framed(log).deliveries] == ["lot 2"]


def test_a_second_correction_goes_over_the_first():
    log = opened()
    number = delivered(log, 100)
    log.correct(number, at=minutes(40), instead={"boxes": 10})
    log.correct(number, at=minutes(50))
    assert framed(log).deliveries == (Delivery("lot 1", "shed", minutes(50), 10),)


def test_a_correction_of_what_is_withdrawn_or_was_never_there_changes_nothing():
    log = opened()
    number = delivered(log, 100)
    log.correct(number, withdrawn=True)
    log.correct(number, at=minutes(40))
    log.correct(99, withdrawn=True)
    assert framed(log).deliveries == ()
    assert [entry.number for entry in effective(log.entries)] == [1, 2]


def test_a_correction_is_known_whatever_instant_is_asked_for():
    # entered long after 150, and still: as of 150 the boxes had come at 40
    log = opened()
    number = delivered(log, 100)
    log.correct(number, at=minutes(40))
    assert framed(log, as_of=50).begin == minutes(40)
    log.correct(number, at=minutes(60))
    assert framed(log, as_of=50).begin is None


def test_a_corrected_entry_keeps_its_number():
    log = opened()
    number = delivered(log, 100)
    log.correct(number, at=minutes(40))
    assert [(entry.number, entry.at) for entry in effective(log.entries)][-1] == (number, minutes(40))


# --- sensors ---


def test_a_sensor_is_what_its_entry_says():
    assert sensors_of(sensors("a").entries) == {
        "a": Sensor("a", "house/a", 30 * MINUTE, {TEMPERATURE: 1.0, HUMIDITY: 5.0}, since=minutes(80_000))
    }


def test_a_later_entry_of_the_same_sensor_stands():
    log = sensors("a")
    log.add(Kind.SENSOR, 81_000, sensor("a", hold=90, humidity=2.0))
    found = sensors_of(log.entries)["a"]
    assert (found.hold, found.uncertainty[HUMIDITY], found.since) == (90 * MINUTE, 2.0, minutes(81_000))


def test_what_is_stated_alike_of_sensors_is_held_but_once():
    log = sensors("a", "b")
    log.add(Kind.SENSOR, 80_000, sensor("c", humidity=2.0))
    found = sensors_of(log.entries)
    assert found["a"].uncertainty is found["b"].uncertainty
    assert found["c"].uncertainty == {TEMPERATURE: 1.0, HUMIDITY: 2.0}


def test_jobs_share_a_sensor_of_which_nothing_was_said_since():
    log = SensorsLog(sensors("a").entries)
    assert log.sensor("a", LATE) is log.sensors["a"]


def test_a_check_of_the_log_holds_from_its_time_for_its_sensor():
    log = sensors("a")
    log.add(Kind.ASSIGNMENT, 0, {"sensor": "a", "place": "hall", "from": minutes(0), "to": None})
    body = {"sensor": "a", "quantity": "air_humidity", "level": "salt", "until": minutes(900)}
    log.add(Kind.CHECK, 300, {**body, "slope": 1.0, "offset": -2.0, "uncertainty": 1.5, "as_found": False})
    before, after = (frame_of(opened().entries, log.entries, PROFILE, minutes(at)) for at in (299, 300))
    assert before.sensors["a"].checks == ()
    assert after.sensors["a"].checks == (Check(HUMIDITY, "salt", minutes(300), minutes(900), 1.0, -2.0, 1.5, False),)


# --- assignments ---


def test_an_assignment_stands_until_its_end():
    log = sensors()
    assigned(log, "a", "hall", 0, 600)
    assigned(log, "b", "hall", 60)
    assert stays(log) == [("a", "hall", 0, 600), ("b", "hall", 60, None)]


def test_a_release_ends_it():
    log = sensors()
    assigned(log, "a", "hall", 0)
    released(log, "a", 300)
    assert stays(log) == [("a", "hall", 0, 300)]


def test_a_release_cuts_an_end_that_lies_ahead():
    log = sensors()
    assigned(log, "a", "hall", 0, 600)
    released(log, "a", 300)
    released(log, "a", 500)  # it is nowhere then
    assert stays(log) == [("a", "hall", 0, 300)]


def test_a_release_leaves_other_sensors_and_stays_that_ended_or_come_later():
    log = sensors()
    assigned(log, "a", "hall", 0, 100)
    assigned(log, "a", "shed", 200)
    assigned(log, "b", "hall", 0)
    released(log, "a", 300)
    assert stays(log) == [("a", "hall", 0, 100), ("b", "hall", 0, None), ("a", "shed", 200, 300)]


def test_a_sensor_may_go_where_it_was_released_at_the_very_instant():
    log = sensors()
    assigned(log, "a", "hall", 0)
    released(log, "a", 300)
    assigned(log, "a", "shed", 300)
    assert stays(log) == [("a", "hall", 0, 300), ("a", "shed", 300, None)]


def test_a_stay_that_adjoins_one_at_the_same_place_extends_it():
    log = sensors()
    assigned(log, "a", "hall", 0, 600)
    assigned(log, "a", "hall", 600, 900)
    assert stays(log) == [("a", "hall", 0, 900)]


def test_a_stay_that_overlaps_one_at_the_same_place_extends_it_on_both_sides():
    log = sensors()
    assigned(log, "a", "hall", 300, 600)
    assigned(log, "a", "hall", 0, 700)
    assert stays(log) == [("a", "hall", 0, 700)]
    assigned(log, "a", "hall", 100, 200)
    assert stays(log) == [("a", "hall", 0, 700)]


def test_a_stay_without_an_end_swallows_the_later_one():
    log = sensors()
    assigned(log, "a", "hall", 0)
    assigned(log, "a", "hall", 500, 600)
    assert stays(log) == [("a", "hall", 0, None)]


def test_a_stay_between_two_joins_all_three():
    log = sensors()
    assigned(log, "a", "hall", 0, 100)
    assigned(log, "a", "hall", 200, 300)
    assigned(log, "a", "hall", 100, 200)
    assert stays(log) == [("a", "hall", 0, 300)]


def test_a_stay_apart_from_the_other_stands_beside_it():
    log = sensors()
    assigned(log, "a", "hall", 0, 100)
    assigned(log, "a", "hall", 101, 300)
    assert stays(log) == [("a", "hall", 0, 100), ("a", "hall", 101, 300)]


def test_a_sensor_cannot_be_at_two_places():
    log = sensors()
    assigned(log, "a", "hall", 0)
    assigned(log, "a", "shed", 60)
    with pytest.raises(RecordError) as caught:
        stays(log)
    assert str(caught.value) == (
        "assignment to 'shed': a is at 'hall' from 2026-01-05T00:00:00Z to now. "
        "Release it first: wallclime sensor release a --at TIME"
    )


def test_the_message_names_the_end_of_the_other_stay():
    log = sensors()
    assigned(log, "a", "hall", 60, 120)
    assigned(log, "a", "shed", 0, 61)
    with pytest.raises(RecordError) as caught:
        stays(log)
    assert str(caught.value) == (
        "assignment to 'shed': a is at 'hall' from 2026-01-05T01:00:00Z to 2026-01-05T02:00:00Z. "
        "Release it first: wallclime sensor release a --at TIME"
    )


def test_a_withdrawn_assignment_is_none():
    log = sensors()
    number = assigned(log, "a", "hall", 0)
    assigned(log, "b", "hall", 0)
    log.correct(number, withdrawn=True)
    assert stays(log) == [("b", "hall", 0, None)]


# --- the frame as of an instant ---


def test_entries_that_speak_of_as_of_or_before_count():
    log = opened()
    delivered(log, 100)
    assert framed(log, as_of=100).begin == minutes(100)
    assert framed(log, as_of=99).begin is None


def test_the_first_delivery_begins_the_span_in_whatever_order_they_were_entered():
    log = opened()
    delivered(log, 200, lot="lot 2", place="hall", boxes=None)
    delivered(log, 100)
    found = framed(log)
    assert found.deliveries == (
        Delivery("lot 1", "shed", minutes(100), 12),
        Delivery("lot 2", "hall", minutes(200), None),
    )
    assert found.begin == minutes(100)


def test_an_installation_has_its_start_and_later_its_finish():
    log = opened()
    installed(log, 600)
    assert (framed(log).start, framed(log).finish) == (minutes(600), None)
    installed(log, 600, finish=900, lots=("lot 2", "lot 1"))
    found = framed(log)
    assert (found.start, found.finish, found.lots_used) == (minutes(600), minutes(900), ("lot 2", "lot 1"))


def test_start_and_finish_are_known_from_their_own_time_on():
    log = opened()
    installed(log, 600, finish=900, lots=("lot 1",))
    assert (framed(log, as_of=599).start, framed(log, as_of=599).lots_used) == (None, ())
    assert (framed(log, as_of=600).start, framed(log, as_of=600).finish) == (minutes(600), None)
    assert framed(log, as_of=899).finish is None
    assert framed(log, as_of=900).finish == minutes(900)


@pytest.mark.parametrize("moved", [540, 660])
def test_a_corrected_start_is_the_start_though_the_finish_was_entered_with_the_old_one(moved):
    log = opened()
    number = installed(log, 600)
    installed(log, 600, finish=900)
    log.correct(number, at=minutes(moved))
    found = framed(log)
    assert (found.start, found.finish) == (minutes(moved), minutes(900))
    assert framed(log, as_of=620).start == (minutes(540) if moved == 540 else None)


def test_a_finish_from_before_a_corrected_start_is_none():
    log = opened()
    number = installed(log, 600, finish=900)
    log.correct(number, at=minutes(1000))
    assert (framed(log).start, framed(log).finish) == (minutes(1000), None)


def test_a_withdrawn_installation_is_none():
    log = opened()
    number = installed(log, 600, lots=("lot 1",))
    log.correct(number, withdrawn=True)
    found = framed(log)
    assert (found.start, found.lots_used) == (None, ())


def test_the_close_is_known_from_its_time_on():
    log = opened()
    log.add(Kind.CLOSE, 900, {})
    assert framed(log, as_of=899).close is None
    assert framed(log, as_of=900).close == minutes(900)


def test_other_entries_do_not_bear_on_the_frame():
    log = opened()
    plain = framed(log)
    log.add(Kind.NOTE, 10, {"text": "window open"})
    log.add(Kind.READING, 20, {"values": {"air_temperature": 21.0}, "instrument": "a thermometer"})
    log.add(Kind.IMPORT, 30, {"file": "logger.csv"})
    log.add(Kind.COMPLETION, 40, {"lot": "lot 1", "place": "shed", "completed": minutes(40)})
    log.add(Kind.COMPLETION_REVISED, 50, {"lot": "lot 1", "place": "shed", "was": [], "is": []})
    assert framed(log) == plain


def test_only_sensors_at_the_jobs_places_and_outdoors_are_in_it():
    log, sensor_log = opened(), sensors("a", "b", "c", "d")
    delivered(log, 0, lot="lot 2", place="garage")
    for name, place in (("a", "shed"), ("b", "hall"), ("c", "yard"), ("d", "garage")):
        assigned(sensor_log, name, place, 0)
    found = framed(log, sensor_log)
    assert found.places == ("garage", "hall", "shed")
    assert sorted(found.sensors) == ["a", "b", "c", "d"]
    assert [stay.sensor for stay in found.stays] == ["a", "b", "c", "d"]


def test_a_place_of_a_delivery_that_is_not_known_yet_is_not_heard_yet():
    log, sensor_log = opened(), sensors("d")
    delivered(log, 100, place="garage")
    assigned(sensor_log, "d", "garage", 0)
    assert framed(log, sensor_log, as_of=99).stays == ()


def test_an_assignment_or_release_of_a_later_time_is_not_known_yet():
    log, sensor_log = opened(), sensors("a")
    assigned(sensor_log, "a", "shed", 100)
    released(sensor_log, "a", 300)
    assert framed(log, sensor_log, as_of=99).stays == ()
    assert framed(log, sensor_log, as_of=200).stays == (Stay("a", "shed", minutes(100), None),)
    assert framed(log, sensor_log, as_of=300).stays == (Stay("a", "shed", minutes(100), minutes(300)),)


def test_limits_are_the_bands_or_the_lifes():
    found = framed(opened())
    assert found.limits(HUMIDITY, life=False) == (35.0, 65.0)
    assert found.limits(TEMPERATURE, life=True) == PROFILE.life.temperature


# --- and judged ---


def test_as_of_before_the_delivery_the_room_is_judged_from_its_first_reading():
    log, sensor_log = opened(boxes_place="hall"), sensors("a")
    assigned(sensor_log, "a", "hall", 0)
    delivered(log, 100, place="hall")
    room = heard(**{"house/a": steady(600)})
    early = judge(framed(log, sensor_log, as_of=90), minutes(90), room)
    assert (early.begin, early.lot.delivered_at, early.lot.clock.counted) == (minutes(0), None, 90 * MINUTE)
    later = judge(framed(log, sensor_log, as_of=400), minutes(400), room)
    assert (later.begin, later.lot.delivered_at, later.lot.clock.counted) == (minutes(100), minutes(100), 5 * HOUR)


def test_a_hold_entered_later_holds_for_all_time():
    log, sensor_log = opened(boxes_place="hall"), sensors("a")
    assigned(sensor_log, "a", "hall", 0)
    delivered(log, 0, place="hall")
    room = heard(**{"house/a": [(0, 21.0, 50.0)]})
    assert judge(framed(log, sensor_log, as_of=120), minutes(120), room).span.known == 30 * MINUTE
    sensor_log.add(Kind.SENSOR, 85_000, sensor("a", hold=60))
    assert judge(framed(log, sensor_log, as_of=120), minutes(120), room).span.known == HOUR
