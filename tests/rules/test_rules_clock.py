"""The acclimation clock, worked by hand. Rows every 10 min with a hold of 10 min: the room is as told, to the ms."""

from dataclasses import replace

import pytest
from rooms import MS, PROFILE, Row, course, frame, heard, minutes, steady

from monitor.basis.times import HOUR, MINUTE
from monitor.config.profile import Acclimation
from monitor.rules.assessment import Assessment, ClockReading, Completion, Lot, Restart
from monitor.rules.frame import Delivery, Frame
from monitor.rules.judge import judge
from monitor.rules.stays import Stay

H = 60  # minutes in an hour


def lot(*parts: tuple[str, float], until: float | None = None, **more: object) -> Lot:
    """The governing lot of a room that went as told, judged at its end or at `until`."""
    end = sum(length for _, length in parts) if until is None else until
    return judge(frame("a", hold=10, **more), minutes(end), heard(a=course(*parts))).lot  # type: ignore[arg-type]


def clock(*parts: tuple[str, float], until: float | None = None, **more: object) -> ClockReading:
    return lot(*parts, until=until, **more).clock


def at(minute: float, cause: str) -> Restart:
    return Restart(minutes(minute), cause)  # type: ignore[arg-type]


# --- steady runs ---


def test_a_run_counts_from_its_start_once_it_is_half_an_hour_long():
    early, steady_now = clock(("in", 30 - MS)), clock(("in", 30))
    assert (early.started_at, early.counted) == (None, 0)
    assert (steady_now.started_at, steady_now.counted) == (minutes(0), 30 * MINUTE)


def test_the_count_grows_with_the_run():
    assert clock(("in", 100)).counted == 100 * MINUTE


def test_a_run_that_breaks_before_half_an_hour_counts_nothing():
    found = clock(("in", 20), ("wet", 10), ("in", 29), ("wet", 10))
    assert (found.started_at, found.counted, found.restarts) == (None, 0, ())


def test_unknown_time_is_not_in_band():
    assert clock(("in", 60), ("silent", 60)).counted == 60 * MINUTE


def test_48_hours_complete_at_the_instant_they_are_reached():
    before, reached = clock(("in", 48 * H - MS)), clock(("in", 48 * H))
    assert before.completed_at is None
    assert reached.completed_at == minutes(48 * H)
    assert reached.history == (Completion(minutes(0), minutes(48 * H)),)


def test_a_completed_clock_shows_the_required_hours():
    found = clock(("in", 60 * H))
    assert (found.counted, found.required, found.completed_at) == (48 * HOUR, 48 * HOUR, minutes(48 * H))


def test_completion_waits_for_the_run_to_be_steady():
    # 47 h 50 min + 20 min of silence; the next run reaches 48 h after 10 min, but is steady after 30
    parts = (("in", 47 * H + 50), ("silent", 20))
    assert clock(*parts, ("in", 30 - MS)).completed_at is None
    assert clock(*parts, ("in", 30)).completed_at == minutes(47 * H + 50 + 20 + 30)
    assert clock(*parts, ("in", 90)).completed_at == minutes(47 * H + 50 + 20 + 30)


# --- delivery ---


def test_the_count_begins_at_the_delivery():
    found = clock(("in", 100), delivered=40)
    assert (found.started_at, found.counted) == (minutes(40), 60 * MINUTE)


def test_what_was_in_band_before_the_delivery_does_not_make_a_run_steady():
    found = clock(("in", 100), until=89, delivered=60)
    assert (found.started_at, found.counted) == (None, 0)


def test_without_a_delivery_the_clock_counts_from_the_first_usable_reading():
    refused: list[Row] = [(0, 85.0, 999.0), (10, None, 105.1)]
    room = heard(a=refused + course(("in", 60), start=20))
    found = judge(frame("a", hold=10, delivered=None), minutes(80), room)
    assert found.begin == minutes(20)
    assert (found.lot.delivered_at, found.lot.name, found.lot.place) == (None, "", "hall")
    assert (found.lot.clock.started_at, found.lot.clock.counted) == (minutes(20), HOUR)


def test_silence_after_the_delivery_puts_nothing_back():
    # three hours of silence after the delivery put nothing back: the clock had not started
    found = clock(("silent", 180), ("in", 60))
    assert (found.started_at, found.counted, found.restarts) == (minutes(180), HOUR, ())


# --- breaks: out of band ---


def test_out_for_exactly_60_minutes_pauses():
    found = clock(("in", 600), ("wet", 60), ("in", 60))
    assert (found.started_at, found.counted, found.restarts) == (minutes(0), 660 * MINUTE, ())


def test_out_for_a_millisecond_more_puts_it_back_to_zero_at_60_minutes():
    found = clock(("in", 600), ("wet", 60 + MS), ("in", 60))
    assert found.restarts == (at(660, "out"),)
    assert (found.started_at, found.counted) == (minutes(660 + MS), HOUR)


def test_a_pause_delays_the_completion_by_its_length():
    # 10 h + 50 min out + 38 h
    assert clock(("in", 600), ("wet", 50), ("in", 40 * H)).completed_at == minutes(48 * H + 50)


def test_out_of_band_time_of_one_break_adds_up_over_runs_that_are_not_steady():
    # 40 out, 20 in, then 20 of the next 40 make 60: at 600 + 40 + 20 + 20
    found = clock(("in", 600), ("wet", 40), ("in", 20), ("hot", 40), ("in", 60))
    assert found.restarts == (at(680, "out"),)
    assert (found.started_at, found.counted) == (minutes(700), HOUR)


def test_out_of_band_time_adds_up_over_silence():
    found = clock(("in", 600), ("wet", 40), ("silent", 30), ("dry", 30), ("in", 60))
    assert found.restarts == (at(690, "out"),)


def test_a_steady_run_between_makes_two_breaks():
    found = clock(("in", 600), ("wet", 40), ("in", 30), ("wet", 40), ("in", 60))
    assert (found.counted, found.restarts) == (690 * MINUTE, ())


def test_a_break_puts_the_clock_back_once():
    found = clock(("in", 600), ("wet", 300), ("silent", 300), ("wet", 300))
    assert found.restarts == (at(660, "out"),)
    assert (found.started_at, found.counted) == (None, 0)


def test_each_break_may_put_it_back():
    found = clock(("in", 60), ("wet", 70), ("in", 60), ("wet", 70), ("in", 60))
    assert found.restarts == (at(120, "out"), at(250, "out"))
    assert (found.started_at, found.counted) == (minutes(260), HOUR)


# --- breaks: unproven ---


def test_a_break_of_exactly_120_minutes_pauses():
    found = clock(("in", 600), ("silent", 120), ("in", 60))
    assert (found.counted, found.restarts) == (660 * MINUTE, ())


def test_a_millisecond_more_is_unproven():
    found = clock(("in", 600), ("silent", 120 + MS), ("in", 60))
    assert found.restarts == (at(720, "unproven"),)
    assert (found.started_at, found.counted) == (minutes(720 + MS), HOUR)


def test_the_whole_break_counts_against_120_minutes_known_or_not():
    # 50 silent + 20 in, not steady + 30 out + 21 silent = 121; out is only 30
    found = clock(("in", 600), ("silent", 50), ("in", 20), ("wet", 30), ("silent", 21), ("in", 60))
    assert found.restarts == (at(720, "unproven"),)


def test_the_limit_can_be_passed_inside_a_run_that_is_not_steady():
    # 100 silent + 29 in + out: passed 20 min into the short run
    found = clock(("in", 600), ("silent", 100), ("in", 29), ("wet", 10), ("in", 60))
    assert found.restarts == (at(720, "unproven"),)


def test_both_at_the_same_instant_are_out():
    # 60 silent + 60 out: the 60 of out-of-band time and the 120 of the break are passed together
    found = clock(("in", 600), ("silent", 60), ("wet", 60 + MS), ("in", 60))
    assert found.restarts == (at(720, "out"),)


def test_the_earlier_of_the_two_limits_names_the_cause():
    # 70 silent + 60 out: the break passes 120 when 50 min are out
    assert clock(("in", 600), ("silent", 70), ("wet", 61)).restarts == (at(720, "unproven"),)
    # 50 silent + 61 out: 60 of out-of-band time at 110 min of the break
    assert clock(("in", 600), ("silent", 50), ("wet", 80)).restarts == (at(710, "out"),)


# --- the pending run ---


def test_a_run_not_yet_steady_is_part_of_the_break_and_may_put_the_clock_back():
    pending = clock(("in", 600), ("silent", 100), ("in", 30 - MS))
    assert pending.restarts == (at(720, "unproven"),)
    assert (pending.started_at, pending.counted) == (None, 0)


def test_that_restart_is_withdrawn_when_the_run_becomes_steady():
    found = clock(("in", 600), ("silent", 100), ("in", 30))
    assert found.restarts == ()
    assert (found.started_at, found.counted) == (minutes(0), 630 * MINUTE)


def test_a_restart_from_before_the_pending_run_stands():
    found = clock(("in", 600), ("silent", 121), ("in", 30))
    assert found.restarts == (at(720, "unproven"),)
    assert found.started_at == minutes(721)


def test_a_pending_run_does_not_count_yet():
    assert clock(("in", 600), ("silent", 10), ("in", 20)).counted == 600 * MINUTE


# --- lapse ---


def test_a_completion_lapses_when_a_later_break_passes_a_limit():
    found = clock(("in", 50 * H), ("wet", 61), ("in", 60))
    assert found.restarts == (at(51 * H, "out"),)
    assert found.history == (Completion(minutes(0), minutes(48 * H), minutes(51 * H)),)
    assert (found.completed_at, found.started_at, found.counted) == (None, minutes(50 * H + 61), HOUR)


def test_a_short_break_after_the_completion_changes_nothing():
    found = clock(("in", 50 * H), ("wet", 60), ("in", 60))
    assert (found.completed_at, found.restarts) == (minutes(48 * H), ())
    assert found.history == (Completion(minutes(0), minutes(48 * H)),)


def test_the_history_lists_every_completion():
    found = clock(("in", 48 * H), ("silent", 121), ("in", 49 * H))
    first = Completion(minutes(0), minutes(48 * H), minutes(50 * H))
    second = Completion(minutes(50 * H + 1), minutes(98 * H + 1))
    assert found.history == (first, second)
    assert found.completed_at == second.completed_at
    assert found.restarts == (at(50 * H, "unproven"),)


def test_a_lapse_in_a_pending_run_is_withdrawn_too():
    parts = (("in", 48 * H), ("silent", 100))
    assert clock(*parts, ("in", 25)).completed_at is None
    assert clock(*parts, ("in", 25)).history[0].lapsed_at == minutes(50 * H)
    assert clock(*parts, ("in", 30)).completed_at == minutes(48 * H)
    assert clock(*parts, ("in", 30)).history[0].lapsed_at is None


# --- installation ---


def test_the_installation_stops_the_clock():
    found = clock(("in", 60 * H), start=20 * H)
    assert (found.counted, found.completed_at, found.projected_at) == (20 * HOUR, None, None)


def test_nothing_lapses_after_the_installation_started():
    found = clock(("in", 49 * H), ("wet", 20 * H), start=49 * H, finish=60 * H)
    assert (found.completed_at, found.restarts) == (minutes(48 * H), ())


def test_a_break_under_way_at_the_start_is_judged_up_to_the_start():
    assert clock(("in", 600), ("wet", 200), start=660).restarts == ()
    assert clock(("in", 600), ("wet", 200), start=660 + MS).restarts == (at(660, "out"),)


def test_a_run_not_yet_steady_at_the_start_of_the_installation_never_is():
    # 29 min before the start; that the room stays in band after it does not help
    found = clock(("in", 600), ("silent", 100), ("in", 600), start=729)
    assert found.restarts == (at(720, "unproven"),)
    assert (found.started_at, found.counted) == (None, 0)


def test_a_completion_at_the_very_start_of_the_installation_is_one():
    assert clock(("in", 60 * H), start=48 * H).completed_at == minutes(48 * H)
    assert clock(("in", 60 * H), start=48 * H - MS).completed_at is None


# --- strict and guarded ---


def test_the_strict_clock_forgives_nothing():
    found = lot(("in", 600), ("silent", 10), ("in", 49 * H))
    assert found.clock.completed_at == minutes(48 * H + 10)
    assert found.strict.restarts == (at(600, "unproven"),)
    assert found.strict.started_at == minutes(610)
    assert found.strict.completed_at == minutes(610 + 48 * H)


def test_the_strict_clock_names_out_as_the_cause():
    assert lot(("in", 600), ("wet", 10), ("in", 60)).strict.restarts == (at(600, "out"),)


def test_the_strict_clock_counts_every_run():
    found = lot(("in", 20)).strict
    assert (found.started_at, found.counted) == (minutes(0), 20 * MINUTE)


def test_a_profile_of_three_zeros_is_the_strict_clock():
    rule = PROFILE._replace(acclimation=Acclimation(48 * HOUR, 0, 0, 0))
    found = lot(("in", 600), ("silent", 10), ("in", 300), ("wet", 10), ("in", 20), profile=rule)
    assert found.clock == found.strict
    assert found.clock.restarts == (at(600, "unproven"), at(910, "out"))


def damp(humidity: float, temperature: float, hours: int) -> list[Row]:
    """A living room near a limit, never beyond the two values."""
    return [(m, temperature - 0.01 * (m // 10 % 2), humidity - 0.01 * (m // 10 % 3)) for m in range(0, hours * H, 10)]


@pytest.mark.parametrize(("humidity", "temperature"), [(60.0, 21.0), (50.0, 28.4)])
def test_within_the_limits_drawn_in_by_u_the_completion_holds_beyond_uncertainty(humidity, temperature):
    # U is 5 %RH and 1 degC: 65 - 5 = 60 %RH, and 29.444 - 1 = 28.444 degC, inclusive
    found = judge(frame("a", hold=10), minutes(49 * H), heard(a=damp(humidity, temperature, 49))).lot
    assert found.guarded.completed_at == found.clock.completed_at == minutes(48 * H)
    assert found.beyond_uncertainty


@pytest.mark.parametrize(("humidity", "temperature"), [(60.1, 21.0), (50.0, 28.5)])
def test_beyond_them_only_the_plain_clock_completes(humidity, temperature):
    found = judge(frame("a", hold=10), minutes(49 * H), heard(a=damp(humidity, temperature, 49))).lot
    assert found.clock.completed_at == minutes(48 * H)
    assert found.guarded.completed_at is None
    assert not found.beyond_uncertainty


def test_the_low_limits_are_drawn_in_upwards():
    # 35 + 5 = 40 %RH and 15.556 + 1 = 16.556 degC
    for humidity, temperature, counted in ((40.1, 16.6, HOUR), (39.9, 16.6, 0), (40.1, 16.5, 0)):
        rows = [(m, temperature + 0.01 * (m % 20), humidity + 0.001 * (m % 30)) for m in range(0, 60, 10)]
        found = judge(frame("a", hold=10), minutes(60), heard(a=rows)).lot
        assert (found.clock.counted, found.guarded.counted) == (HOUR, counted)


def test_far_inside_the_limits_the_guarded_clock_is_the_plain_one():
    found = lot(("in", 600), ("wet", 20), ("in", 600), ("silent", 200), ("in", 300))
    assert found.clock.counted == 300 * MINUTE
    assert found.clock.restarts == (at(1340, "unproven"),)  # 600 + 20 + 600 + 120
    assert found.guarded == found.clock


def test_the_guarded_clock_goes_back_where_the_plain_one_does_not():
    rows = course(("in", 600)) + [(m, 21.0 + m % 3 / 10, 62.0 + m % 7 / 10) for m in range(600, 700, 10)]
    found = judge(frame("a", hold=10), minutes(700), heard(a=rows)).lot
    assert found.clock.restarts == ()
    assert found.guarded.restarts == (at(660, "out"),)


# --- lots ---


def lots(*deliveries: Delivery, used: tuple[str, ...] = (), **more: object) -> Frame:
    return replace(frame("a", hold=10, **more), deliveries=deliveries, lots_used=used)  # type: ignore[arg-type]


ONE = Delivery("lot 1", "hall", minutes(0), 12)
TWO = Delivery("lot 2", "hall", minutes(10 * H), 3)


def two_places(until: float, **more: object) -> Assessment:
    """lot 1 lies in the hall, which is in band; lot 2 in the shed, which is too dry in its first five hours."""
    stays = (Stay("a", "hall", minutes(0), None), Stay("b", "shed", minutes(0), None))
    deliveries = (ONE, Delivery("lot 2", "shed", minutes(0), None))
    fr = replace(frame("a", "b", hold=10, stays=stays, **more), deliveries=deliveries)  # type: ignore[arg-type]
    room = heard(a=course(("in", 60 * H)), b=course(("dry", 5 * H), ("in", 55 * H)))
    return judge(fr, minutes(until), room)


def test_every_lot_has_its_own_clock_and_the_one_furthest_back_is_the_jobs():
    found = judge(lots(ONE, TWO), minutes(20 * H), heard(a=course(("in", 20 * H))))
    assert [one.clock.counted for one in found.lots] == [20 * HOUR, 10 * HOUR]
    assert [one.clock.started_at for one in found.lots] == [minutes(0), minutes(10 * H)]
    assert found.lot.name == "lot 2"
    assert found.begin == minutes(0)


def test_of_completed_lots_the_one_completed_last_is_the_jobs():
    found = judge(lots(ONE, TWO), minutes(60 * H), heard(a=course(("in", 60 * H))))
    assert [one.clock.completed_at for one in found.lots] == [minutes(48 * H), minutes(58 * H)]
    assert found.lot.name == "lot 2"


def test_a_lot_under_way_is_further_back_than_a_completed_one():
    found = judge(lots(TWO, ONE), minutes(50 * H), heard(a=course(("in", 50 * H))))
    assert (found.lot.name, found.lot.clock.counted) == ("lot 2", 40 * HOUR)


def test_the_lots_that_will_be_used_govern():
    found = judge(lots(ONE, TWO, used=("lot 1",)), minutes(20 * H), heard(a=course(("in", 20 * H))))
    assert (found.lot.name, found.lot.clock.counted) == ("lot 1", 20 * HOUR)


def test_a_run_that_ends_with_the_delivery_of_a_lot_is_none_of_its():
    two = TWO._replace(at=minutes(60))
    found = judge(lots(ONE, two), minutes(120), heard(a=course(("in", 60), ("wet", 60))))
    assert [one.strict.restarts for one in found.lots] == [(at(60, "out"),), ()]


def test_a_lot_lying_elsewhere_is_judged_by_the_air_there():
    found = two_places(10 * H)
    assert [(one.place, one.clock.counted) for one in found.lots] == [("hall", 10 * HOUR), ("shed", 5 * HOUR)]
    assert found.lot.name == "lot 2"
    # the room of the job is the place of its boxes: coverage and excursions are the hall's
    assert (found.span.in_band, found.excursions) == (10 * HOUR, ())


def test_its_clock_stops_at_the_installation_as_well():
    found = two_places(30 * H, start=20 * H)
    assert [one.clock.counted for one in found.lots] == [20 * HOUR, 15 * HOUR]


def test_a_delivery_entered_twice_has_one_clock():
    found = judge(lots(ONE, ONE), minutes(20 * H), heard(a=course(("in", 20 * H))))
    assert [one.clock.counted for one in found.lots] == [20 * HOUR, 20 * HOUR]


# --- projected time ---


def test_the_projected_time_is_what_is_left_from_now():
    # 10 h counted: 38 h are left
    assert clock(("in", 600)).projected_at == minutes(48 * H)


def test_a_run_that_has_just_become_steady_is_counted_once():
    assert clock(("in", 30)).projected_at == minutes(48 * H)


def test_a_pause_moves_it():
    assert clock(("in", 600), ("wet", 30), ("in", 60)).projected_at == minutes(48 * H + 30)


def test_there_is_none_while_the_room_is_not_in_band():
    assert clock(("in", 600), ("wet", 10)).projected_at is None
    assert clock(("in", 600), ("silent", 10)).projected_at is None


def test_a_run_that_is_not_steady_yet_will_count_once_it_is():
    # 600 counted, run from 630: 48 h are full when it is 38 h long
    assert clock(("in", 600), ("wet", 30), ("in", 10)).projected_at == minutes(630 + 38 * H)
    # 47 h 50 min counted: the run would fill it in 10 min, but is steady after 30
    parts = (("in", 47 * H + 50), ("wet", 10), ("in", 20))
    assert clock(*parts).projected_at == minutes(48 * H + 30)


def test_there_is_none_before_the_clock_runs_and_none_after_it_is_complete():
    assert clock(("in", 20)).projected_at is None
    assert clock(("in", 49 * H)).projected_at is None


def test_a_closed_job_has_none():
    fr = replace(frame("a", hold=10), close=minutes(600))
    found = judge(fr, minutes(900), heard(a=steady(900))).lot.clock
    assert (found.counted, found.projected_at) == (600 * MINUTE, None)


# --- what is said of it ---


def test_the_json_is_in_hours_and_rfc_3339():
    found = lot(("in", 48 * H), ("silent", 121), ("in", 60)).to_json()
    assert found["counted_h"] == 1.0
    assert found["required_h"] == 48.0
    assert found["started_at"] == "2026-01-07T02:01:00Z"
    assert found["completed_at"] is None
    assert found["restarts"] == [{"at": "2026-01-07T02:00:00Z", "cause": "unproven"}]
    assert found["history"] == [
        {
            "started_at": "2026-01-05T00:00:00Z",
            "completed_at": "2026-01-07T00:00:00Z",
            "lapsed_at": "2026-01-07T02:00:00Z",
        }
    ]
    assert found["strict"]["completed_at"] is None
    assert found["guarded"]["completed_at"] is None
