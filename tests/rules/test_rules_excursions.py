"""Excursions of the record: strict, without delay, dead band or rounding. Every dose is worked by hand."""

from dataclasses import replace

import pytest
from rooms import (
    BAND,
    HUMIDITY,
    MS,
    PROFILE,
    TEMPERATURE,
    Row,
    assess,
    course,
    frame,
    heard,
    minutes,
    steady,
)

from monitor.basis.times import HOUR
from monitor.config.profile import Band
from monitor.rules.assessment import Episode, Excursion
from monitor.rules.excursion import episodes
from monitor.rules.frame import Delivery
from monitor.rules.judge import judge
from monitor.rules.stays import Stay


def told(found: Excursion) -> tuple[str, str, float, float | None, str]:
    """Quantity, side, minutes of start and end, and how it ended."""
    end = None if found.end is None else (found.end - minutes(0)) / 60_000
    return found.quantity.value, found.side, (found.start - minutes(0)) / 60_000, end, found.ended_by


def two(a: list[Row], b: list[Row], until: float, **more: object) -> tuple[Excursion, ...]:
    return judge(frame("a", "b", **more), minutes(until), heard(a=a, b=b)).excursions  # type: ignore[arg-type]


# --- what it is ---


def test_a_tenth_of_a_percent_for_a_minute_is_an_excursion():
    (found,) = assess([(0, 21.0, 50.0), (10, 21.1, 65.1), (11, 21.0, 64.9)], 20).excursions
    assert told(found) == ("air_humidity", "high", 10, 11, "return")


def test_on_the_limit_is_none():
    assert assess([(0, 21.0, 65.0), (10, 21.1, 35.0), (20, 21.0, 65.0)], 40).excursions == ()


def test_peak_and_dose_of_a_high_one():
    # 5 %RH for 30 min + 7 for 60 + 3 for 30 = 2.5 + 7 + 1.5 = 11 %RH.h
    rows = [(0, 21.0, 70.0), (30, 21.1, 72.0), (60, 21.0, 72.0), (90, 21.1, 68.0), (120, 21.0, 60.0)]
    (found,) = assess(rows, 140).excursions
    assert told(found) == ("air_humidity", "high", 0, 120, "return")
    assert found.peak == 72.0
    assert found.dose == pytest.approx(11.0, abs=1e-9)


def test_peak_and_dose_of_a_low_one():
    # limit 15.5556 degC: 13.5556 is 2 K below for 15 min, 12.5556 is 3 K below for 30 min: 0.5 + 1.5 = 2 K.h
    limit = (60 - 32) / 1.8
    rows = [(0, limit - 2, 50.0), (15, limit - 3, 50.1), (45, limit + 1, 50.2)]
    (found,) = assess(rows, 60).excursions
    assert told(found) == ("air_temperature", "low", 0, 45, "return")
    assert found.peak == pytest.approx(limit - 3, abs=1e-12)
    assert found.dose == pytest.approx(2.0, abs=1e-9)


def test_the_dose_runs_to_as_of_while_it_is_open():
    (found,) = assess([(0, 21.0, 70.0)], 12).excursions
    assert told(found) == ("air_humidity", "high", 0, None, "open")
    assert found.dose == pytest.approx(1.0, abs=1e-9)  # 5 %RH for 0.2 h


def test_the_sensor_furthest_out_gives_peak_and_dose():
    # a 70 from 0 to 30, b 75 from 10 to 20: 5 for 10 min, 10 for 10, 5 for 10 = 200 %RH.min = 3.333 %RH.h
    a, b = [(0, 21.0, 70.0), (30, 21.1, 60.0)], [(10, 21.0, 75.0), (20, 21.1, 60.0)]
    (found,) = two(a, b, 40)
    assert told(found) == ("air_humidity", "high", 0, 30, "return")
    assert found.peak == 75.0
    assert found.dose == pytest.approx(200 / 60, abs=1e-9)


def test_it_goes_on_whichever_sensors_carry_it():
    # a is dry 0..20, b is dry 10..40
    a, b = [(0, 21.0, 30.0), (20, 21.1, 50.0)], [(10, 21.0, 33.0), (40, 21.1, 50.0)]
    (found,) = two(a, b, 50)
    assert told(found) == ("air_humidity", "low", 0, 40, "return")
    assert found.peak == 30.0
    assert found.dose == pytest.approx((20 * 5 + 20 * 2) / 60, abs=1e-9)


def test_low_and_high_of_one_quantity_can_hold_at_once():
    a, b = [(0, 21.0, 70.0), (20, 21.1, 50.0)], [(10, 21.0, 30.0), (30, 21.1, 50.0)]
    assert [told(one) for one in two(a, b, 40)] == [
        ("air_humidity", "high", 0, 20, "return"),
        ("air_humidity", "low", 10, 30, "return"),
    ]


def test_low_that_turns_high_is_two():
    found = assess([(0, 21.0, 30.0), (10, 21.1, 70.0), (20, 21.0, 50.0)], 30).excursions
    assert [told(one) for one in found] == [
        ("air_humidity", "low", 0, 10, "return"),
        ("air_humidity", "high", 10, 20, "return"),
    ]


def test_they_stand_in_order_of_start_quantity_and_side():
    a = [(0, 35.0, 30.0), (20, 21.0, 50.0), (25, 35.0, 50.0)]
    b = [(0, 10.0, 70.0), (20, 21.1, 50.1)]
    assert [told(one)[:3] for one in two(a, b, 30)] == [
        ("air_humidity", "high", 0),
        ("air_humidity", "low", 0),
        ("air_temperature", "high", 0),
        ("air_temperature", "low", 0),
        ("air_temperature", "high", 25),
    ]


# --- how it ends ---


def test_silence_ends_it_when_the_hold_runs_out():
    (found,) = assess([(0, 21.0, 70.0), (60, 21.1, 50.0)], 80).excursions
    assert told(found) == ("air_humidity", "high", 0, 30, "silence")


def test_a_return_at_the_very_instant_the_hold_runs_out_is_a_return():
    (found,) = assess([(0, 21.0, 70.0), (30, 21.1, 50.0)], 40).excursions
    assert told(found) == ("air_humidity", "high", 0, 30, "return")


def test_it_ends_in_silence_when_a_sensor_that_was_outside_falls_silent_beside_one_inside():
    a, b = [(0, 21.0, 70.0)], [(0, 21.0, 50.0), (20, 21.1, 50.2), (40, 21.0, 50.1)]
    (found,) = two(a, b, 60)
    assert told(found) == ("air_humidity", "high", 0, 30, "silence")


def test_only_those_outside_in_its_last_instant_are_asked():
    # a falls silent at 30 while b is outside until 40: in the last instant only b was, and b speaks on
    a, b = [(0, 21.0, 70.0)], [(20, 21.0, 72.0), (40, 21.1, 50.0)]
    (found,) = two(a, b, 60)
    assert told(found) == ("air_humidity", "high", 0, 40, "return")


def test_one_that_returns_and_one_that_falls_silent_together_end_in_silence():
    a, b = [(0, 21.0, 70.0)], [(10, 21.0, 72.0), (30, 21.1, 50.0)]
    (found,) = two(a, b, 60)
    assert told(found) == ("air_humidity", "high", 0, 30, "silence")


def test_an_open_one_has_no_end():
    (found,) = assess([(0, 21.0, 70.0), (20, 21.1, 71.0)], 40).excursions
    assert found.to_json()["end"] is None
    assert found.ended_by == "open"


def test_one_whose_hold_runs_out_at_as_of_is_open():
    (found,) = assess([(0, 21.0, 70.0)], 30).excursions
    assert told(found) == ("air_humidity", "high", 0, None, "open")
    (found,) = assess([(0, 21.0, 70.0)], 30 + MS).excursions
    assert told(found) == ("air_humidity", "high", 0, 30, "silence")


def test_the_close_of_the_job_leaves_it_open():
    fr = replace(frame("a"), close=minutes(20))
    (found,) = judge(fr, minutes(60), heard(a=[(0, 21.0, 70.0), (25, 21.1, 50.0)])).excursions
    assert told(found) == ("air_humidity", "high", 0, None, "open")
    assert found.dose == pytest.approx(5 / 3, abs=1e-9)  # 5 %RH for 20 min


# --- low, silence, low ---


def linked(rows: list[Row], until: float) -> list[bool]:
    return [found.continues for found in assess(rows, until).excursions]


def test_low_silence_low_is_linked():
    assert linked([(0, 21.0, 30.0), (100, 21.1, 31.0)], 120) == [False, True]


def test_what_was_known_in_between_breaks_the_link():
    assert linked([(0, 21.0, 30.0), (60, 21.1, 50.0), (100, 21.0, 31.0)], 120) == [False, False]
    assert linked([(0, 21.0, 30.0), (60, 21.1, 70.0), (100, 21.0, 31.0)], 120) == [False, False, False]


def test_high_after_low_and_silence_is_not_linked():
    assert linked([(0, 21.0, 30.0), (100, 21.1, 70.0)], 120) == [False, False]


def test_a_return_is_never_linked():
    assert linked([(0, 21.0, 30.0), (10, 21.1, 50.0), (20, 21.0, 30.0)], 30) == [False, False]


def test_a_sensor_inside_while_the_other_falls_silent_breaks_the_link():
    a, b = [(0, 21.0, 30.0), (100, 21.1, 30.0)], [(0, 21.0, 50.0), (25, 21.1, 50.1)]
    assert [one.continues for one in two(a, b, 120)] == [False, False]


def test_a_third_after_another_silence_is_linked_as_well():
    rows = [(0, 21.0, 30.0), (100, 21.1, 31.0), (200, 21.0, 30.0)]
    assert linked(rows, 220) == [False, True, True]


def test_a_stuck_sensor_inside_does_not_break_the_link():
    # b says 50 for 9 h on end: that the room was in band is not known
    a = [(0, 21.0, 30.0), (300, 21.1, 31.0)]
    b = [(m, 21.0, 50.0) for m in range(0, 550, 10)]
    assert [one.continues for one in two(a, b, 540)] == [False, True]


# --- phase, limits, places ---


@pytest.mark.parametrize(
    ("start", "phase"), [(99, "before"), (100, "during"), (199, "during"), (200, "after"), (300, "after")]
)
def test_its_phase_is_that_of_its_start(start, phase):
    rows = [(0, 21.0, 50.0), (start, 21.1, 70.0), (start + 20, 21.0, 50.0)]
    (found,) = assess(rows, 400, start=100, finish=200).excursions
    assert found.phase == phase


def test_the_start_of_the_installation_does_not_cut_it():
    (found,) = assess(course(("wet", 120)), 120, hold=10, start=60, finish=90).excursions
    assert told(found) == ("air_humidity", "high", 0, None, "open")
    assert found.phase == "before"


def test_an_unfinished_installation_is_during_ever_after():
    rows = [(0, 21.0, 50.0), (3000, 21.1, 70.0)]
    (found,) = assess(rows, 3010, start=100).excursions
    assert found.phase == "during"


def test_the_delivery_cuts_it():
    (found,) = assess(course(("wet", 120)), 120, hold=10, delivered=60).excursions
    assert told(found) == ("air_humidity", "high", 60, None, "open")


def with_life(low: float, high: float):
    return PROFILE._replace(life=Band((low, high), BAND.temperature))


def test_from_the_finish_on_the_limits_are_those_of_the_wall():
    # 68 %RH is above 65 and within 70: high until the finish at 60
    rows = [(m, 21.0, 68.0 + 0.1 * (m % 20 == 0)) for m in range(0, 120, 10)]
    (found,) = assess(rows, 120, start=30, finish=60, profile=with_life(30, 70)).excursions
    assert told(found) == ("air_humidity", "high", 0, 60, "return")
    # 3.1 %RH in the even tens of minutes, 3.0 in the odd: 3.05 %RH.h in the hour
    assert found.dose == pytest.approx(3.05, abs=1e-9)


def test_the_wall_may_ask_for_more():
    # 62 %RH is 2 above 60 from the finish at 60 on: 2 %RH for 1 h
    rows = [(m, 21.0 + m % 3 / 10, 62.0) for m in range(0, 120, 10)]
    (found,) = assess(rows, 120, start=30, finish=60, profile=with_life(40, 60)).excursions
    assert told(found) == ("air_humidity", "high", 60, None, "open")
    assert (found.phase, found.peak) == ("after", 62.0)
    assert found.dose == pytest.approx(2.0, abs=1e-9)


def test_without_a_finish_the_installations_limits_go_on():
    rows = [(m, 21.0 + m % 3 / 10, 62.0) for m in range(0, 120, 10)]
    assert assess(rows, 120, start=30, profile=with_life(40, 60)).excursions == ()


def moved(shed: list[Row], hall: list[Row], start: float | None) -> tuple[Excursion, ...]:
    """Boxes in the shed with sensor a, the wall in the hall with sensor b."""
    stays = (Stay("a", "shed", minutes(0), None), Stay("b", "hall", minutes(0), None))
    fr = frame("a", "b", hold=10, stays=stays, start=start)
    fr = replace(fr, job=fr.job._replace(boxes_place="shed"), deliveries=(Delivery("lot 1", "shed", minutes(0), None),))
    return judge(fr, minutes(120), heard(a=shed, b=hall)).excursions


def test_before_the_installation_the_boxes_place_is_judged_from_then_on_the_walls():
    dry, fine = course(("dry", 120)), course(("in", 120))
    (found,) = moved(dry, fine, start=60)
    # at the start the shed is no longer heard
    assert told(found) == ("air_humidity", "low", 0, 60, "silence")
    (found,) = moved(fine, dry, start=60)
    assert told(found) == ("air_humidity", "low", 60, None, "open")
    assert found.phase == "during"
    assert moved(fine, dry, start=None) == ()


def test_one_that_holds_in_both_places_is_one():
    (found,) = moved(course(("dry", 120)), course(("dry", 120)), start=60)
    assert told(found) == ("air_humidity", "low", 0, None, "open")


# --- beyond uncertainty ---


@pytest.mark.parametrize(
    ("temperature", "humidity", "beyond"),
    [
        (21.0, 69.9, False),
        (21.0, 70.0, False),
        (21.0, 70.1, True),
        (21.0, 30.1, False),
        (21.0, 29.9, True),
        (14.6, 50.0, False),
        (14.5, 50.0, True),
    ],
)
def test_it_holds_beyond_uncertainty_when_it_is_further_out_than_u(temperature, humidity, beyond):
    # U is 5 %RH and 1 degC: beyond 70 and 30 %RH, and below 15.556 - 1 = 14.556 degC
    (found,) = assess([(0, temperature, humidity)], 30).excursions
    assert found.beyond_uncertainty is beyond


def test_one_instant_beyond_is_enough():
    (found,) = assess([(0, 21.0, 66.0), (10, 21.1, 71.0), (20, 21.0, 66.0)], 40).excursions
    assert found.beyond_uncertainty


def test_the_sensors_own_uncertainty_counts():
    # b is good to 1 %RH: 67 is beyond it. a, good to 5, is not beyond at 69
    a, b = [(0, 21.0, 69.0)], [(0, 21.0, 67.0)]
    fr = frame("a", "b")
    exact = fr.sensors["b"]._replace(uncertainty={TEMPERATURE: 1.0, HUMIDITY: 1.0})
    room = heard(a=a, b=b)
    assert not judge(fr, minutes(30), room).excursions[0].beyond_uncertainty
    fr = replace(fr, sensors={**fr.sensors, "b": exact})
    assert judge(fr, minutes(30), room).excursions[0].beyond_uncertainty


# --- episodes, and the days ---


def excursion(start: float, end: float | None) -> Excursion:
    stop = None if end is None else minutes(end)
    how = "open" if end is None else "return"
    return Excursion(HUMIDITY, "high", minutes(start), stop, how, 70.0, 1.0, "before", "good", False)


def test_less_than_6_hours_apart_is_one_episode():
    found = episodes([excursion(0, 10), excursion(10 + 6 * 60 - MS, 400), excursion(400 + 6 * 60, 900)])
    assert found == (
        Episode(minutes(0), minutes(400), (0, 1)),
        Episode(minutes(760), minutes(900), (2,)),
    )


def test_an_episode_ends_with_the_excursion_that_ends_last():
    assert episodes([excursion(0, 500), excursion(10, 20), excursion(600, 700)]) == (
        Episode(minutes(0), minutes(700), (0, 1, 2)),
    )


def test_an_episode_with_an_open_excursion_is_open():
    assert episodes([excursion(0, None), excursion(10, 20)]) == (Episode(minutes(0), None, (0, 1)),)
    assert episodes([excursion(0, 10), excursion(20, None)]) == (Episode(minutes(0), None, (0, 1)),)


def test_no_midnight_cuts_it():
    day = 24 * 60
    rows = course(("in", day - 60), ("wet", 120 + day), ("in", 60))
    (found,) = assess(rows, 2 * day + 120, hold=10).excursions
    assert told(found) == ("air_humidity", "high", day - 60, 2 * day + 60, "return")
    # 26 h of 5.0, 5.2, 5.4, 5.6, 5.8 in turn, ten minutes each: 156 readings, 31 turns of 27.0 and one 5.0
    assert found.dose == pytest.approx((31 * 27.0 + 5.0) / 6, abs=1e-9)


@pytest.mark.parametrize(("then", "how"), [("in", "return"), ("silent", "silence")])
def test_one_that_ends_at_midnight_ends_there(then, how):
    day = 24 * 60
    (found,) = assess(course(("in", day - 60), ("wet", 60), (then, 60)), day + 60, hold=10).excursions
    assert told(found) == ("air_humidity", "high", day - 60, day, how)


def test_one_reading_in_band_before_midnight_parts_two():
    day = 24 * 60
    found = assess(course(("wet", day - 10), ("in", 10), ("wet", 60)), day + 60, hold=10).excursions
    assert [told(one)[2:] for one in found] == [(0, day - 10, "return"), (day, None, "open")]


def test_one_that_starts_at_midnight_starts_there():
    day = 24 * 60
    (found,) = assess(course(("in", day), ("wet", 60), ("in", 60)), day + 120, hold=10).excursions
    assert told(found) == ("air_humidity", "high", day, day + 60, "return")


def test_the_json_names_all_of_it():
    (found,) = assess([(0, 21.0, 71.0), (12, 21.1, 50.0)], 20).excursions
    assert found.to_json() == {
        "quantity": "air_humidity",
        "side": "high",
        "start": "2026-01-05T00:00:00Z",
        "end": "2026-01-05T00:12:00Z",
        "ended_by": "return",
        "peak": 71.0,
        "dose": pytest.approx(1.2, abs=1e-9),  # 6 %RH for 0.2 h
        "phase": "before",
        "quality": "good",
        "beyond_uncertainty": True,
        "continues": False,
    }


def test_a_living_room_has_none():
    assert assess(steady(600), 600).excursions == ()
    assert assess(steady(600), 600).span.in_band == 10 * HOUR
