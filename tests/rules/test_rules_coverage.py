"""How long a reading speaks, what is known of the room, where the judged span begins and ends. Worked by hand."""

from dataclasses import replace

import numpy as np
import pytest
from rooms import HUMIDITY, LIVE, MS, PROFILE, TEMPERATURE, Room, Row, assess, course, frame, heard, minutes, steady

from monitor.basis.times import HOUR, MINUTE
from monitor.basis.values import SIMULATED, Origin, OriginKind, Quantity, Series
from monitor.rules.assessment import RULES_VERSION, Assessment, Coverage, Gap
from monitor.rules.frame import Delivery
from monitor.rules.judge import judge
from monitor.rules.stays import Stay

ONE: list[Row] = [(0, 21.0, 50.0)]
FILE = Origin(OriginKind.FILE, "ab" * 32)


def known(rows: list[Row], until: float, **more: object) -> float:
    """Minutes known."""
    return assess(rows, until, **more).span.known / MINUTE


def stayed(rows: list[Row], until: float, start: float, end: float | None) -> Assessment:
    """One sensor that was in the hall for [start, end) minutes."""
    stay = Stay("a", "hall", minutes(start), None if end is None else minutes(end))
    return assess(rows, until, stays=[stay])


# --- a reading speaks for [t, min(next, t + hold, end of its assignment, as_of)) ---


def test_a_reading_speaks_for_its_hold():
    assert known(ONE, 120) == 30
    assert known(ONE, 120, hold=45) == 45


def test_it_speaks_until_as_of():
    found = assess(ONE, 10)
    assert (found.span.known, found.span.elapsed) == (10 * MINUTE, 10 * MINUTE)


def test_it_speaks_until_the_channels_next_usable_reading():
    (found,) = assess([(0, 21.0, 50.0), (20, 21.1, 70.0)], 40).excursions
    assert found.start == minutes(20)


def test_a_reading_of_the_other_channel_does_not_end_it():
    # humidity again at 10 and 40; the temperature of 0 speaks until 30
    assert known([(0, 21.0, 50.0), (10, None, 50.1), (40, None, 50.2)], 90) == 30


def test_what_follows_at_the_end_of_the_hold_leaves_no_gap():
    found = assess([(0, 21.0, 50.0), (30, 21.1, 50.1)], 60)
    assert (found.span.known, found.gaps) == (HOUR, ())


def test_a_millisecond_later_leaves_one():
    found = assess([(0, 21.0, 50.0), (30 + MS, 21.1, 50.1)], 60)
    assert found.gaps == (Gap(minutes(30), minutes(30) + 1, (TEMPERATURE, HUMIDITY)),)
    assert found.span.known == HOUR - 1


def test_it_speaks_until_the_end_of_its_assignment():
    assert stayed(ONE, 60, 0, 20).span.known == 20 * MINUTE


@pytest.mark.parametrize(("start", "spoken"), [(0, 30), (MS, 0)])
def test_an_assignment_starts_with_its_first_instant(start, spoken):
    assert stayed(ONE, 60, start, None).span.known == spoken * MINUTE


@pytest.mark.parametrize(("end", "spoken"), [(10, 10), (10 + MS, 10 + MS)])
def test_an_assignment_ends_before_its_last_instant(end, spoken):
    rows: list[Row] = [(0, 21.0, 50.0), (10, 21.1, 50.1)]
    assert stayed(rows, 60, 0, end).span.known == round(spoken * MINUTE)


def test_a_reading_outside_its_assignment_never_speaks():
    # taken at 0, ten minutes before the sensor came: silence until its next reading at 20
    rows: list[Row] = [(0, 21.0, 50.0), (20, 21.1, 50.1)]
    found = stayed(rows, 60, 10, None)
    assert found.span.known == 30 * MINUTE
    assert found.gaps[0] == Gap(minutes(0), minutes(20), (TEMPERATURE, HUMIDITY))


def test_a_sensor_carried_elsewhere_speaks_only_where_it_is():
    stays = [Stay("a", "hall", minutes(0), minutes(60)), Stay("a", "hall", minutes(120), None)]
    # 0..60 in the hall, 60..120 elsewhere (its readings there are not the hall's), 120..180 in the hall
    found = judge(frame("a", stays=stays), minutes(180), heard(a=steady(180)))
    assert (found.span.known, found.span.elapsed) == (2 * HOUR, 3 * HOUR)


def test_two_sensors_speak_side_by_side_each_with_its_hold():
    fr = frame("a", "b")
    fr = replace(fr, sensors={**fr.sensors, "b": fr.sensors["b"]._replace(hold=60 * MINUTE)})
    # a speaks 0..30, b 20..80
    found = judge(fr, minutes(120), heard(a=ONE, b=[(20, 21.0, 50.0)]))
    assert found.span.known == 80 * MINUTE


# --- the state of the room ---


def test_one_quantity_alone_is_not_known():
    found = assess([(0, 21.0, None)], 20)
    assert (found.now.state, found.span.known, found.span.in_band) == ("unknown", 0, 0)
    assert found.gaps == (Gap(minutes(0), minutes(20), (HUMIDITY,)),)


def test_one_quantity_outside_puts_the_room_out_though_not_all_is_known():
    found = assess([(0, 35.0, None)], 20)
    assert (found.now.state, found.span.known) == ("out", 0)


def test_both_quantities_in_are_in():
    found = assess(ONE, 20)
    assert (found.now.state, found.now.since, found.span.in_band) == ("in", minutes(0), 20 * MINUTE)


def test_quantities_of_two_sensors_make_one_room():
    room = heard(a=[(0, 21.0, None)], b=[(10, None, 50.0)])
    found = judge(frame("a", "b"), minutes(60), room)
    # temperature 0..30, humidity 10..40: both 10..30
    assert (found.span.known, found.span.in_band) == (20 * MINUTE, 20 * MINUTE)


def test_any_sensor_outside_puts_it_out():
    found = judge(frame("a", "b"), minutes(20), heard(a=ONE, b=[(10, 21.0, 34.0)]))
    assert (found.span.in_band, found.span.known, found.now.state) == (10 * MINUTE, 20 * MINUTE, "out")


def test_low_and_high_at_once_are_out_and_known():
    room = heard(a=[(0, 21.0, 70.0)], b=[(0, 21.0, 30.0)])
    found = judge(frame("a", "b"), minutes(20), room)
    assert (found.now.state, found.span.known, found.span.in_band) == ("out", 20 * MINUTE, 0)


def test_in_band_needs_a_living_sensor():
    stuck = [(m, 21.0, 50.0) for m in range(0, 600, 10)]
    found = assess(stuck, 600)
    assert found.now.state == "unknown"
    # somebody spoke, but proves nothing
    assert found.gaps == (Gap(minutes(0), minutes(600), (TEMPERATURE, HUMIDITY), silent=False),)


def test_a_stuck_humidity_beside_a_living_temperature_leaves_the_room_unknown():
    rows = [(m, 21.0 + m % 3 / 10, 50.0) for m in range(0, 1500, 10)]
    found = assess(rows, 1500)
    assert found.gaps == (Gap(minutes(0), minutes(1500), (HUMIDITY,), silent=False),)


def test_what_each_sensor_says_now_is_told():
    found = judge(frame("a", "b"), minutes(20), heard(a=ONE, b=[(10, 21.5, None)])).now
    assert found.values == {"a": {TEMPERATURE: 21.0, HUMIDITY: 50.0}, "b": {TEMPERATURE: 21.5}}
    assert found.last_heard == minutes(10)


def test_the_last_reading_is_remembered_over_days_of_silence():
    found = assess(ONE, 4 * 1440).now
    assert (found.state, found.since, found.values, found.last_heard) == ("unknown", minutes(30), {}, minutes(0))


# --- where the span begins and ends ---


def test_it_begins_at_the_first_delivery():
    deliveries = (Delivery("lot 1", "hall", minutes(60), None), Delivery("lot 2", "hall", minutes(90), None))
    found = judge(replace(frame("a"), deliveries=deliveries), minutes(120), heard(a=steady(120)))
    assert (found.begin, found.span.elapsed) == (minutes(60), HOUR)


def test_a_delivery_before_the_first_reading_begins_it_with_silence():
    found = assess(steady(120, start=60), 120)
    assert (found.begin, found.span.elapsed, found.span.known) == (minutes(0), 2 * HOUR, HOUR)


def test_without_a_delivery_it_begins_at_the_first_usable_reading_of_the_room():
    rows: list[Row] = [(0, 85.0, 999.0), (10, None, 50.0), (20, 21.0, 50.1)]
    found = assess(rows, 50, delivered=None)
    assert (found.begin, found.span.elapsed) == (minutes(10), 40 * MINUTE)


def test_a_reading_at_the_end_of_an_assignment_does_not_begin_it():
    stays = [Stay("a", "hall", minutes(0), minutes(10))]
    assert assess([(10, 21.0, 50.0)], 60, delivered=None, stays=stays).begin is None


@pytest.mark.parametrize(("first", "second"), [(10, 30), (30, 10)])
def test_the_first_of_all_its_sensors_begins_it(first, second):
    room = heard(a=steady(60, start=first), b=steady(60, start=second))
    assert judge(frame("a", "b", delivered=None), minutes(60), room).begin == minutes(10)


def test_readings_from_before_the_assignment_do_not_begin_it():
    stays = [Stay("a", "hall", minutes(15), None)]
    found = assess(steady(60), 60, delivered=None, stays=stays)
    assert found.begin == minutes(20)


def test_with_nothing_heard_and_nothing_delivered_there_is_no_span():
    found = assess([], 60, delivered=None)
    assert (found.begin, found.span, found.now.state) == (None, Coverage(), "unknown")
    assert found.to_json()["coverage"]["in_band_share_of_elapsed"] is None


def test_a_reading_before_the_span_speaks_into_it():
    # taken at 0, the boxes come at 20: known 20..30
    assert known(ONE, 60, delivered=20) == 10


@pytest.mark.parametrize("delivered", [0, 5])
def test_a_delivery_at_as_of_begins_a_span_without_length(delivered):
    found = assess(ONE, delivered, delivered=delivered)
    assert (found.begin, found.span.elapsed) == (minutes(delivered), 0)
    assert (found.before, found.during, found.after) == (None, None, None)


def test_the_close_of_the_job_ends_it():
    fr = replace(frame("a", start=30), close=minutes(60))
    found = judge(fr, minutes(200), heard(a=course(("in", 40), ("wet", 160))))
    assert (found.span.elapsed, found.during) == (HOUR, Coverage(30 * MINUTE, 30 * MINUTE, 10 * MINUTE))


def test_before_the_close_it_is_open():
    found = judge(replace(frame("a"), close=minutes(60)), minutes(50), heard(a=steady(100)))
    assert found.span.elapsed == 50 * MINUTE


# --- as_of ---


def test_a_reading_at_exactly_as_of_is_not_counted():
    rows: list[Row] = [(0, 21.0, 50.0), (20, 21.1, 70.0)]
    assert assess(rows, 20).excursions == ()
    (found,) = assess(rows, 20 + MS).excursions
    assert found.start == minutes(20)


def test_later_readings_change_nothing_as_of_then():
    rows = course(("in", 300), ("wet", 300))
    assert assess(rows, 200).to_json() == assess(rows[:20], 200).to_json()


def test_a_stretch_that_is_flat_only_with_later_readings_is_not_flat_yet():
    rows = [(m, 21.0, 50.0) for m in range(0, 500, 10)]
    # the newest reading before as_of is at 470, then at 480
    assert assess(rows, 480).span.in_band == 8 * HOUR
    assert assess(rows, 480 + MS).span.in_band == 0


# --- coverage by phase ---


def test_coverage_is_told_of_the_span_and_of_each_phase():
    # in 0..600, silent 600..700, wet 700..900, in 900..1200; installation 650..900
    rows = course(("in", 600), ("silent", 100), ("wet", 200), ("in", 300))
    found = assess(rows, 1200, hold=10, start=650, finish=900)
    assert found.before == Coverage(650 * MINUTE, 600 * MINUTE, 600 * MINUTE)
    assert found.during == Coverage(250 * MINUTE, 200 * MINUTE, 0)
    assert found.after == Coverage(300 * MINUTE, 300 * MINUTE, 300 * MINUTE)
    assert found.span == Coverage(1200 * MINUTE, 1100 * MINUTE, 900 * MINUTE)


@pytest.mark.parametrize(
    ("start", "finish", "lengths"),
    [
        (None, None, (120, None, None)),
        (60, None, (60, 60, None)),
        (0, None, (None, 120, None)),
        (0, 0, (None, None, 120)),
        (60, 60, (60, None, 60)),
        (0, 120, (None, 120, None)),
        (120, None, (120, None, None)),
        (0, 30, (None, 30, 90)),
    ],
)
def test_a_phase_without_length_is_null(start, finish, lengths):
    found = assess(steady(120), 120, start=start, finish=finish)
    parts = (found.before, found.during, found.after)
    assert tuple(None if part is None else part.elapsed / MINUTE for part in parts) == lengths


@pytest.mark.parametrize(("until", "phase"), [(59, "before"), (60, "during"), (89, "during"), (90, "after")])
def test_the_phase_is_that_of_as_of(until, phase):
    assert assess(steady(200), until, start=60, finish=90).phase == phase


def test_the_in_band_share_is_given_of_known_time_and_as_a_pair_of_elapsed_time():
    # 10 h: 4 in band, 2 out, 4 unknown. Of known time 4/6; of elapsed time 4/10 with unknown out, 8/10 with it in
    rows = course(("in", 240), ("wet", 120), ("silent", 240))
    found = assess(rows, 600, hold=10).to_json()["coverage"]
    assert found["elapsed_h"] == 10.0
    assert found["known_h"] == 6.0
    assert found["in_band_h"] == 4.0
    assert found["in_band_share_of_known"] == pytest.approx(4 / 6)
    assert found["in_band_share_of_elapsed"] == [0.4, pytest.approx(0.8)]
    assert found["before"]["in_band_share_of_elapsed"] == [0.4, pytest.approx(0.8)]
    assert found["during"] is None
    assert found["after"] is None


def test_a_share_in_band_counts_the_unknown_out_and_in():
    assert Coverage(10, 4, 1).in_band_share == (0.1, 0.7)
    assert Coverage().in_band_share == (0.0, 0.0)


def test_without_known_time_there_is_no_share_of_it():
    assert Coverage(10, 0, 0).to_json()["in_band_share_of_known"] is None


# --- origin ---


def test_the_share_of_each_origin_is_that_of_known_time():
    # a (file) speaks of both quantities for the hour, b (live) for the last half: 120 and 60 sensor minutes
    room = heard(a=steady(60), b=steady(60, start=30))
    room.origins["a"] = FILE
    found = judge(frame("a", "b", hold=10), minutes(60), room)
    assert found.origin_share == {OriginKind.FILE: pytest.approx(2 / 3), OriginKind.LIVE: pytest.approx(1 / 3)}
    assert not found.training


def test_time_that_is_not_known_counts_for_no_origin():
    # b's temperature alone from 60 on makes nothing known
    room = heard(a=steady(60), b=[(m, 21.0, None) for m in range(60, 120, 10)])
    room.origins["b"] = FILE
    assert judge(frame("a", "b", hold=10), minutes(120), room).origin_share == {OriginKind.LIVE: 1.0}


def test_one_channel_may_have_readings_of_several_origins():
    class Mixed(Room):
        def series(self, stream: str, quantity: Quantity, start: int | None = None, end: int | None = None) -> Series:
            found = super().series(stream, quantity, start, end)
            origin = (found.t >= minutes(45)).astype(np.int32)
            return replace(found, origin=origin, origins=(FILE, LIVE))

    room = Mixed()
    room.hear("a", steady(60, step=15))
    found = judge(frame("a", hold=15), minutes(60), room)
    # readings at 0, 15 and 30 are the file's, that at 45 is live
    assert found.origin_share == {OriginKind.FILE: 0.75, OriginKind.LIVE: 0.25}


def test_a_simulated_reading_makes_a_training_job():
    room = Room(origin=SIMULATED)
    room.hear("a", ONE)
    found = judge(frame("a"), minutes(20), room)
    assert found.training
    assert found.to_json()["origin_share"] == {"simulated": 1.0}


def test_nothing_known_has_no_share():
    assert assess([], 60).origin_share == {}


def test_conflicts_are_those_that_the_store_counted():
    assert judge(frame("a"), minutes(60), heard(a=ONE), conflicts=3).to_json()["conflicts"] == 3


# --- gaps ---


def test_a_gap_names_what_was_missing_and_runs_over_midnight():
    day = 1440
    rows = course(("in", day - 30), ("silent", 60), ("in", 60))
    found = assess(rows, day + 90, hold=10)
    assert found.gaps == (Gap(minutes(day - 30), minutes(day + 30), (TEMPERATURE, HUMIDITY)),)


def test_a_gap_in_which_a_stuck_sensor_fell_silent_is_a_silent_one():
    stuck = [(m, 21.0, 50.0) for m in range(0, 490, 10)]
    (found,) = assess(stuck, 600).gaps
    assert found == Gap(minutes(0), minutes(600), (TEMPERATURE, HUMIDITY), silent=True)


def test_a_silent_sensor_beside_a_stuck_one_makes_no_silence():
    stuck = [(m, 21.0, 50.0) for m in range(0, 490, 10)]
    (found,) = judge(frame("a", "b"), minutes(490), heard(a=stuck, b=[])).gaps
    assert not found.silent


def test_out_of_band_time_is_no_gap():
    found = assess(course(("in", 60), ("wet", 60), ("silent", 60)), 180, hold=10)
    assert found.gaps == (Gap(minutes(120), minutes(180), (TEMPERATURE, HUMIDITY)),)


def test_the_profile_is_named_with_its_hash():
    found = assess(ONE, 20).to_json()
    assert found["profile"] == {"name": PROFILE.name, "sha256": PROFILE.sha256}
    assert found["rules_version"] == RULES_VERSION
    assert (found["job"], found["zone"], found["as_of"]) == ("hall wall", "UTC", "2026-01-05T00:20:00Z")
