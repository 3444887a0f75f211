"""Readings judged with the check in force at their time: corrections move verdicts, uncertainties move doubts."""

from dataclasses import replace

import pytest
from rooms import HUMIDITY, Room, Shelf, frame, minutes, steady

from monitor.rules.instrument import Check
from monitor.rules.judge import judge

DAY = 1440


def checked(offset: float, start: float, end: float, *, u: float = 2.0, as_found: bool = False, slope: float = 1.0):
    check = Check(HUMIDITY, "salt", minutes(start), minutes(end), slope, offset, u, as_found)
    fr = frame("a")
    return replace(fr, sensors={"a": fr.sensors["a"]._replace(checks=(check,))})


def room(humidity: float = 50.0, days: int = 3) -> Room:
    found = Room()
    found.hear("a", steady(days * DAY, humidity=humidity))
    return found


def test_a_correction_makes_an_excursion_of_what_was_read_in_band():
    # 50 to 50.8 %RH as read, 16 added from minute 600 on: 66 to 66.8, above the band by 1 to 1.8
    found = judge(checked(16.0, 600, 9 * DAY), minutes(DAY), room())
    (excursion,) = found.excursions
    assert (excursion.quantity, excursion.side, excursion.start) == (HUMIDITY, "high", minutes(600))
    assert excursion.peak == 66.8
    assert excursion.dose == sum(1.0 + 0.2 * (m // 10 % 5) for m in range(600, DAY, 10)) / 6
    assert not excursion.beyond_uncertainty  # 1.8 is within the 2.0 that the check leaves


def test_a_line_turns_what_was_read_as_well_as_moving_it():
    # 1.4 x 50.0 - 4.0 = 66.0 to 1.4 x 50.8 - 4.0 = 67.12
    found = judge(checked(-4.0, 600, 9 * DAY, slope=1.4), minutes(DAY), room())
    assert found.excursions[0].peak == pytest.approx(67.12, abs=1e-9)


def test_what_is_beyond_the_uncertainty_hangs_on_the_check():
    found = judge(checked(16.0, 600, 9 * DAY, u=1.5), minutes(DAY), room())
    assert found.excursions[0].beyond_uncertainty


def test_after_its_end_a_check_corrects_nothing():
    found = judge(checked(16.0, 600, 700), minutes(DAY), room())
    assert [(one.start, one.end) for one in found.excursions] == [(minutes(600), minutes(700))]


def test_an_as_found_check_speaks_for_the_time_before_it():
    found = judge(checked(16.0, 600, 9 * DAY, as_found=True), minutes(DAY), room())
    assert [one.start for one in found.excursions] == [minutes(0)]


def test_the_guarded_clock_counts_with_the_uncertainty_that_the_check_leaves():
    # 41 to 41.8 %RH: inside 40 to 60 (5 %RH drawn in) and inside 37 to 63 (2 %RH)
    assert judge(frame("a"), minutes(3 * DAY), room(37.5)).lot.guarded.completed_at is None
    assert judge(checked(0.0, -10, 9 * DAY), minutes(3 * DAY), room(37.5)).lot.guarded.completed_at is not None


def test_a_corrected_humidity_stays_between_nothing_and_all():
    found = judge(checked(80.0, 0, 9 * DAY), minutes(DAY), room())
    assert found.excursions[0].peak == 100.0


def test_checkpoints_before_a_check_stand_and_those_after_it_are_made_anew():
    heard, shelf, fr = room(days=4), Shelf(), frame("a")
    judge(fr, minutes(4 * DAY), heard, shelf)
    kept = dict(shelf.rows)
    late = checked(16.0, 2 * DAY + 600, 9 * DAY)
    assert judge(late, minutes(4 * DAY), heard, shelf).to_json() == judge(late, minutes(4 * DAY), heard).to_json()
    assert [m for m in kept if kept[m] is shelf.rows[m]] == [minutes(DAY), minutes(2 * DAY)]
