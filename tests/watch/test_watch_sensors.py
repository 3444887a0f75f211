"""Sensors: the hold that was heard, the address of a topic, and where each of them is."""

from __future__ import annotations

from pathlib import Path

import pytest
from desks import HUMIDITY, NOW, T0, TEMPERATURE, Row, clock, furnish, hear, steady

from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR, MINUTE, SECOND
from monitor.basis.values import LIVE, SENSORS_CHAIN, Reading
from monitor.watch.desk import Desk, open_desk
from monitor.watch.sensing import sensors
from monitor.watch.sensing.sensors import (
    MAKER,
    add_sensor,
    assign_sensor,
    checked_hold,
    proposed_hold,
    release_sensor,
    seen,
)

SHELF = "site/shelf/climate"


def every(minutes: float, count: int, start: int = T0) -> list[Row]:
    return [Row(start + round(k * minutes * MINUTE), 21.0, 50.0) for k in range(count)]


def add(desk: Desk, name: str = "shelf", topic: str = SHELF, **more: object) -> None:
    add_sensor(desk, name, topic, **{"hold": None, "uncertainty": MAKER, "who": "robin", **more})  # type: ignore[arg-type]


# --- hold -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("minutes", "hold"), [(1, 30), (10, 30), (20, 60), (60, 180), (200, 240)])
def test_a_hold_is_three_intervals_from_30_minutes_to_4_hours(desk: Desk, minutes, hold):
    hear(desk, every(minutes, 30))
    assert proposed_hold(desk, SHELF) == hold * MINUTE


def test_of_two_channels_the_slower_one_sets_the_hold(desk: Desk):
    slow = [Reading(SHELF, HUMIDITY, row.t, 50.0, "%", row.t, LIVE) for row in every(30, 10)]
    fast = [Reading(SHELF, TEMPERATURE, row.t, 21.0, "degC", row.t, LIVE) for row in every(10, 30)]
    desk.store.keep_readings(slow + fast)
    assert proposed_hold(desk, SHELF) == 90 * MINUTE


def test_only_the_newest_intervals_set_the_hold(desk: Desk, monkeypatch):
    monkeypatch.setattr(sensors, "RECENT", 20)
    hear(desk, every(60, 20))
    hear(desk, every(5, 20, start=T0 + 2 * DAY))
    assert proposed_hold(desk, SHELF) == 30 * MINUTE


def test_a_sensor_that_was_not_heard_is_proposed_30_minutes(desk: Desk):
    assert proposed_hold(desk, SHELF) == 30 * MINUTE


@pytest.mark.parametrize("hold", [SECOND, 30 * MINUTE, 7 * DAY])
def test_a_hold_that_is_given_holds(hold):
    assert checked_hold(hold) == hold


@pytest.mark.parametrize("hold", [0, SECOND - 1, 7 * DAY + 1, 10**30])
def test_a_hold_that_no_reading_can_have_is_refused(hold):
    with pytest.raises(RecordError) as refused:
        checked_hold(hold)
    assert str(refused.value) == ('--hold: a reading can\'t speak for so long or so short a time. Give "1 s" to "7 d"')


# --- add --------------------------------------------------------------------------------------------------------------


def test_a_bare_number_topic_is_that_of_its_device(tmp_path: Path):
    (tmp_path / "wallclime.toml").write_text(
        '[[source]]\ntopic = "bare/{sensor}/temperature"\nformat = "number"\n'
        'quantity = "air_temperature"\nunit = "degF"\n',
        encoding="utf-8",
    )
    with open_desk(tmp_path, environ={}, clock=clock()) as desk:
        add(desk, "loft", "bare/loft/temperature")
        assert desk.book.sensors()["loft"].stream == "bare/loft"


def test_a_sensor_that_was_heard_is_added_by_its_address_though_no_source_covers_it(desk: Desk):
    hear(desk, every(10, 3), stream="old/topic")
    add(desk, "old", "old/topic")
    assert desk.book.sensors()["old"].stream == "old/topic"


def test_an_entry_says_hold_and_uncertainty(desk: Desk):
    add(desk, hold=HOUR)
    (entry,) = desk.store.entries(SENSORS_CHAIN)
    assert entry.body == {
        "name": "shelf",
        "stream": SHELF,
        "hold_ms": HOUR,
        "uncertainty": {"air_temperature": 1.0, "air_humidity": 5.0},
        "check": "maker",
    }


def test_an_uncertainty_of_50_is_the_most_and_nan_is_none(desk: Desk):
    add(desk, uncertainty={HUMIDITY: 50.0})
    for wrong in (50.1, float("nan")):
        with pytest.raises(RecordError, match="is not above 0 and at most 50"):
            add(desk, "loft", "site/loft/climate", uncertainty={HUMIDITY: wrong})


# --- assign and release -----------------------------------------------------------------------------------------------


def test_a_stay_again_at_the_same_place_joins_the_first(desk: Desk):
    add(desk)
    for at in (T0 + HOUR, T0, T0 + DAY):
        assign_sensor(desk, "shelf", "hall", at=at, facts={}, who="robin")
    (stay,) = desk.book.stays()
    assert (stay.start, stay.end) == (T0, None)


def test_a_sensor_leaves_and_comes_in_the_same_instant(desk: Desk):
    add(desk)
    assign_sensor(desk, "shelf", "hall", at=T0, facts={}, who="robin")
    release_sensor(desk, "shelf", at=T0 + HOUR, who="robin")
    assign_sensor(desk, "shelf", "loft", at=T0 + HOUR, facts={}, who="robin")
    assert [(stay.place, stay.start, stay.end) for stay in desk.book.stays()] == [
        ("hall", T0, T0 + HOUR),
        ("loft", T0 + HOUR, None),
    ]


def test_a_sensor_cant_be_released_where_its_stay_begins_or_has_ended(desk: Desk):
    add(desk)
    assign_sensor(desk, "shelf", "hall", at=T0, facts={}, who="robin")
    release_sensor(desk, "shelf", at=T0 + HOUR, who="robin")
    for at in (T0, T0 + HOUR, T0 - 1, NOW):
        with pytest.raises(RecordError, match="it is at no place at"):
            release_sensor(desk, "shelf", at=at, who="robin")


def test_a_release_may_be_moved_forward_by_another(desk: Desk):
    add(desk)
    assign_sensor(desk, "shelf", "hall", at=T0, facts={}, who="robin")
    for hours in (5, 3):
        release_sensor(desk, "shelf", at=T0 + hours * HOUR, who="robin")
    (stay,) = desk.book.stays()
    assert stay.end == T0 + 3 * HOUR


def test_an_assignment_from_before_completes_a_clock_and_says_so(desk: Desk):
    furnish(desk, sensor=None)
    hear(desk, steady(T0, 60))
    add(desk)
    assign_sensor(desk, "shelf", "den", at=T0, facts={}, who="robin")
    assert [entry.kind.value for entry in desk.store.entries("den")][-1] == "completion"


def test_what_is_seen_has_its_place_of_now(desk: Desk):
    add(desk)
    hear(desk, steady(T0, 1))
    hear(desk, steady(T0, 1), stream="site/loft/climate")
    assign_sensor(desk, "shelf", "hall", at=T0, facts={}, who="robin")
    found = [(one.heard.stream, one.heard.name, one.place) for one in seen(desk)]
    assert found == [("site/loft/climate", None, None), (SHELF, "shelf", "hall")]
    release_sensor(desk, "shelf", at=NOW, who="robin")
    assert [one.place for one in seen(desk)] == [None, None]


def test_what_was_heard_under_other_sources_is_seen_though_nobody_would_read_it_now(desk: Desk):
    at, stream, payload = desk.clock.now(), "flat7/x", '{"in": {"temp": 20}, "out": {"temp": 2}}'
    desk.store.keep_readings([Reading(stream, TEMPERATURE, at, 20.0, "degC", at, LIVE)])
    desk.store.stay_awake(desk.store.wake(), {"latest": {stream: [stream, payload]}})
    [found] = seen(desk)
    assert (found.topic, found.payload, found.read_as) == (stream, payload, "")
