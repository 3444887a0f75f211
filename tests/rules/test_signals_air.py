"""What the air of a room has to tell, and the edges of every delay and of the dead band."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from looked_rooms import PATIENCE, Looked, look_at, looked, room_of, seen, whats_of
from rooms import MS, STILL, Room, Row, course, frame, minutes, steady

from monitor.basis.alarm import Alarm, Priority, Signal, Standing
from monitor.basis.times import DAY, HOUR
from monitor.config.alarms import Rapid
from monitor.rules.alarm import whats
from monitor.rules.alarm.look import stake
from monitor.rules.alarm.signals import signals_of
from monitor.rules.assessment import Excursion

LOW, MEDIUM, HIGH = Priority
H = 60  # minutes


def spells_of(rows: list[Row], at: float, **more: object) -> list[Signal]:
    """Of all that is seen, what is out of its band."""
    return [one for one in seen(rows, at, **more) if one.what in whats.OUT.values()]


def out(rows: list[Row], at: float, **more: object) -> list[str]:
    """What of it stands."""
    return whats_of(spells_of(rows, at, **more))


# --- the table: one line a condition ---


@pytest.mark.parametrize(
    ("parts", "what"),
    [
        ([("in", 600)], None),
        ([("in", 600), ("wet", 60)], whats.HUMIDITY_HIGH),
        ([("in", 600), ("dry", 60)], whats.HUMIDITY_LOW),
        ([("in", 600), ("hot", 60)], whats.TEMPERATURE_HIGH),
        ([("in", 600), ("wet", 20)], None),
    ],
)
def test_each_side_of_each_quantity_has_an_alarm_of_its_own(parts, what):
    length = sum(part[1] for part in parts)
    assert out(course(*parts), length) == ([] if what is None else [what])


def test_a_cold_room_is_told_too():
    rows = [(m, 10.0 + m % 3, 50.0) for m in range(0, 120, 10)]
    assert whats.TEMPERATURE_LOW in out(rows, 120)


def test_a_room_that_nobody_hears_has_nothing_to_tell():
    assert seen([], 600) == []


def test_a_closed_job_has_nothing_to_tell():
    made = replace(frame("a", hold=10), close=minutes(650))
    assert signals_of(look_at(room_of(course(("wet", 600))), made, 640)) != ()
    assert signals_of(look_at(room_of(course(("wet", 600))), made, 660)) == ()


def test_an_alarm_says_how_far_how_long_and_what_it_does_to_the_clock():
    (found,) = spells_of(course(("in", 600), ("wet", 60)), 640)
    assert (found.what, found.job, found.where, found.since) == (whats.HUMIDITY_HIGH, "hall wall", "hall", minutes(600))
    assert found.facts == {
        "quantity": "air_humidity", "side": "high", "limit": 65.0, "worst": pytest.approx(70.6),
        "value": pytest.approx(70.6), "outside_ms": 40 * 60_000, "excursions": 1, "phase": "before",
        "counted_ms": 10 * HOUR, "required_ms": 48 * HOUR, "completed": None, "act_by": minutes(660),
    }  # fmt: skip


# --- on-delay ---


def test_exactly_the_on_delay_raises_and_a_millisecond_less_does_not():
    rows = course(("in", 600), ("wet", 60))
    assert out(rows, 630 - MS) == []
    assert out(rows, 630) == [whats.HUMIDITY_HIGH]


def test_the_on_delay_adds_up_over_excursions_nearer_than_the_off_delay():
    rows = course(("in", 600), ("wet", 20), ("in", 20), ("wet", 20))
    (found,) = spells_of(rows, 660)
    assert (found.since, found.facts["outside_ms"], found.facts["excursions"]) == (minutes(600), 40 * 60_000, 2)


def test_excursions_exactly_the_off_delay_apart_are_two_spells():
    rows = course(("in", 600), ("wet", 20), ("in", 30), ("wet", 20))
    assert out(rows, 670) == []


def test_a_door_that_is_opened_every_hour_is_never_told():
    wall = looked(course(*[("in", 50), ("wet", 10)] * 24), range(55, 24 * H, 30))
    assert wall.told(whats.HUMIDITY_HIGH) == []


# --- off-delay and dead band ---


def near(value: float, length: int, start: int, step: int = 10) -> list[Row]:
    """Air at one humidity; the temperature moves, so that nothing stands still."""
    return [(m, 21.0 + 0.1 * (m // step % 7), value) for m in range(start, start + length, step)]


def wet_then(*rows: list[Row]) -> list[Row]:
    """In band for 10 h, too humid for one, then these."""
    return [*course(("in", 600), ("wet", 60)), *(row for part in rows for row in part)]


def test_it_stands_until_the_air_was_well_for_exactly_the_off_delay():
    rows = wet_then(near(50.0, 120, 660))
    assert out(rows, 690 - MS) == [whats.HUMIDITY_HIGH]
    assert out(rows, 690) == []


def test_air_that_came_back_but_not_by_the_dead_band_keeps_it_standing():
    assert out(wet_then(near(63.1, 300, 660)), 900) == [whats.HUMIDITY_HIGH]


def test_exactly_the_dead_band_is_well():
    assert out(wet_then(near(63.0, 300, 660)), 690) == []


def test_it_returns_when_the_air_was_well_by_the_dead_band_for_the_off_delay_in_one():
    rows = wet_then(near(60.0, 20, 660), near(64.0, 10, 680), near(60.0, 60, 690))
    assert out(rows, 720 - MS) == [whats.HUMIDITY_HIGH]
    assert out(rows, 720) == []


def test_what_has_returned_does_not_come_back_because_the_air_nears_the_limit_again():
    rows = wet_then(near(60.0, 40, 660), near(64.0, 60, 700))
    assert out(rows, 700) == out(rows, 750) == []


def test_exactly_the_off_delay_well_inside_is_enough_whatever_comes_after():
    assert out(wet_then(near(60.0, 30, 660), near(64.0, 60, 690)), 700) == []
    assert out(wet_then(near(60.0, 20, 660), near(64.0, 60, 680)), 700) == [whats.HUMIDITY_HIGH]


def test_near_the_limit_for_a_day_is_well_too():
    rows = wet_then(near(64.0, 30 * H, 660))
    assert out(rows, 660 + 24 * H - MS) == [whats.HUMIDITY_HIGH]
    assert out(rows, 660 + 24 * H) == []


def test_a_short_excursion_while_the_air_lingers_is_no_return():
    rows = wet_then(near(64.0, 120, 660), near(66.0, 10, 780), near(64.0, 60, 790))
    for at in (779, 785, 800, 840):
        (found,) = [one for one in seen(rows, at) if one.what == whats.HUMIDITY_HIGH]
        assert (found.ended, found.since) == (None, minutes(600))


def test_the_dead_band_counts_from_the_low_side_too():
    rows = [*course(("in", 600), ("dry", 60)), *near(36.9, 300, 660)]
    assert out(rows, 900) == [whats.HUMIDITY_LOW]
    assert out([*course(("in", 600), ("dry", 60)), *near(37.0, 300, 660)], 900) == []


# --- silence ---


def test_air_that_nobody_hears_any_more_has_not_returned():
    rows = course(("in", 600), ("wet", 60), ("silent", 600))
    assert out(rows, 1200) == [whats.HUMIDITY_HIGH]


def test_after_a_silence_the_air_must_be_known_to_be_well_for_the_off_delay():
    rows = course(("in", 600), ("wet", 60), ("silent", 600), ("in", 60))
    assert out(rows, 1290 - MS) == [whats.HUMIDITY_HIGH]
    assert out(rows, 1290) == []


def test_a_silence_that_begins_when_the_air_was_well_for_the_off_delay_changes_nothing():
    assert out(course(("in", 600), ("wet", 60), ("in", 30), ("silent", 60)), 700) == []
    assert out(course(("in", 600), ("wet", 60), ("in", 20), ("silent", 60)), 700) == [whats.HUMIDITY_HIGH]


def test_humid_silent_humid_is_one_spell():
    rows = course(("in", 600), ("wet", 60), ("silent", 600), ("wet", 60))
    (found,) = spells_of(rows, 1320)
    assert (found.since, found.facts["outside_ms"]) == (minutes(600), 120 * 60_000)


def test_humidity_that_fell_silent_in_a_hot_room_has_not_returned_either():
    # The room is known to be out all the time, so that no gap of the record says that its humidity was not known.
    again = 700 + 30 * H
    hot = [(m, 32.0 + 0.1 * (m // 10 % 7), 70.0 if not 700 <= m < again else None) for m in range(600, again + H, 10)]
    rows = [*steady(600), *hot]
    for at in (850, again - 10, again + H):
        (found,) = [one for one in spells_of(rows, at) if one.what == whats.HUMIDITY_HIGH]
        assert (found.since, found.ended) == (minutes(600), None)


# --- what came and went ---


def test_what_came_and_went_is_told_if_it_was_over_after_the_last_look():
    rows = wet_then(near(50.0, 300, 660))
    (found,) = spells_of(rows, 900, told=689)
    assert (found.what, found.since, found.ended) == (whats.HUMIDITY_HIGH, minutes(600), minutes(660))
    assert seen(rows, 900, told=690) == []


def test_a_daemon_that_was_away_tells_of_a_spell_that_it_never_saw_once():
    rows = course(("in", 600), ("wet", 5 * H), ("in", 60 * H))
    wall = looked(rows, [590, 48 * H, 48 * H + 10, 50 * H])
    assert wall.told(whats.HUMIDITY_HIGH) == ["first"]
    (alarm,) = [one for one in wall.kept.values() if one.what == whats.HUMIDITY_HIGH]
    assert (alarm.standing, alarm.since, alarm.returned) == (Standing.RETURNED, minutes(600), minutes(900))


# --- noise ---


def test_noise_around_a_limit_gives_one_alarm():
    """Twelve hours at 65 %, give or take a %RH a minute, looked at every quarter of an hour: told once."""
    noise = np.random.default_rng(3).normal(65.0, 1.0, 12 * H)
    rows = [*steady(600), *((600 + m, 21.0, float(value)) for m, value in enumerate(noise)), *steady(1500, start=1320)]
    wall = looked(rows, range(600, 1500, 15))
    assert wall.told(whats.HUMIDITY_HIGH) == ["first", "second contact", "returned"]
    assert len([one for one in wall.kept.values() if one.what == whats.HUMIDITY_HIGH]) == 1


# --- nothing of more than four hours is missed ---

PARTS = st.lists(
    st.tuples(st.sampled_from(["in", "in", "wet", "dry", "hot", "silent"]), st.sampled_from([10, 20, 40, 250, 600])),
    min_size=1,
    max_size=12,
)


def covers(alarm: Alarm, one: Excursion) -> bool:
    end = one.end or 0
    mine = alarm.what == whats.OUT[one.quantity, one.side] and alarm.told is not None
    return mine and alarm.since <= one.start and (alarm.returned is None or end <= alarm.returned)


@settings(max_examples=40)
@given(
    parts=PARTS, gaps=st.lists(st.sampled_from([7, 35, 300, 1500, 4400]), min_size=1, max_size=8), hangs=st.booleans()
)
def test_no_excursion_of_more_than_four_hours_is_missed_whenever_somebody_looks(parts, gaps, hangs):
    """Random rooms, boxes or a finished wall in them, and a daemon that is away for up to three days."""
    rows = course(("in", 60), *parts)
    end = 60 + sum(length for _, length in parts) + 60
    times = [60 + total for total in np.cumsum(gaps).tolist() if total < end]
    wall = looked(rows, [60, *times, end], **({"start": 10, "finish": 20} if hangs else {}))
    told = [*(change.alarm for change in wall.changes if change.transition in ("raised", "returned", "over", "back"))]
    done = [one for one in told if one.returned is not None] + [
        one for one in wall.kept.values() if one.returned is None
    ]
    excursions = look_at(wall.room, wall.made, end).found.excursions
    long = [one for one in excursions if one.end is not None and one.end - one.start > 4 * HOUR]
    missed = [one for one in long if not any(covers(alarm, one) for alarm in done)]
    assert missed == []


# --- how pressing ---


def priority(rows: list[Row], at: float, what: str = whats.HUMIDITY_HIGH, **more: object) -> Priority:
    (found,) = [one for one in seen(rows, at, **more) if one.what == what]
    return found.priority


def test_before_the_installation_it_is_as_pressing_as_the_hours_that_it_would_cost():
    assert priority(course(("in", 12 * H), ("wet", 40)), 12 * H + 40) is MEDIUM
    assert priority(course(("in", 24 * H), ("wet", 40)), 24 * H + 40) is HIGH
    assert priority(course(("in", 60 * H), ("wet", 40)), 60 * H + 40) is HIGH


def test_once_the_hours_are_lost_it_is_medium():
    (found,) = spells_of(course(("in", 24 * H), ("wet", 90)), 24 * H + 90)
    assert (found.priority, found.facts["counted_ms"], found.facts["act_by"]) == (MEDIUM, 0, None)


def test_where_no_boxes_lie_it_is_low():
    assert priority(course(("in", 600), ("wet", 60)), 660, delivered=None) is LOW


def test_while_boards_go_up_it_is_medium():
    assert priority(course(("in", 600), ("wet", 60)), 660, start=500) is MEDIUM


def test_what_is_at_stake_is_that_of_the_lot_that_has_most_to_lose():
    look = look_at(room_of(course(("in", 60 * H))), frame("a", hold=10), 60 * H)
    assert stake(look.frame, look.found) is HIGH
    fresh = look.found.lot._replace(clock=look.found.lot.clock._replace(completed_at=None, counted=0))
    both = look.found._replace(lots=(look.found.lot, fresh), governing=1)
    assert stake(look.frame, both) is HIGH
    assert stake(look.frame, look.found._replace(lots=(fresh,))) is MEDIUM


# --- the life of a wall ---

YEAR_ROUND = {"start": 10, "finish": 20, "hold": 180, "profile": STILL}


def season(days: int, humidity: float, swing: float, start: int = 0) -> list[Row]:
    """Readings every three hours that swing about a mean every day."""
    return [
        (start + n * 180, 21.0 + 0.1 * (n % 7), humidity + swing * float(np.sin(np.pi * n / 4)))
        for n in range(days * 8)
    ]


def test_a_dry_winter_is_one_steady_notice_low_first_and_medium_once_the_boards_are_drier_than_the_band():
    # 20 days at 50 %, then 100 at 22 to 36 %: out for most of each day, but in band again every noon.
    day = 24 * H
    rows = [*season(20, 50.0, 4.0), *season(100, 29.0, 7.0, start=20 * day)]
    times = [*range(20 * day, 23 * day, 4 * H), *range(23 * day, 120 * day, 8 * day)]
    wall = looked(rows, times, **YEAR_ROUND)
    told = [change for change in wall.changes if change.tells]
    assert [(change.alarm.what, change.tells) for change in told] == [
        (whats.HUMIDITY_LOW, "first"),
        (whats.HUMIDITY_LOW, "again"),
    ]
    assert [(change.alarm.priority, change.alarm.notice) for change in told] == [(LOW, True), (MEDIUM, True)]
    assert told[0].alarm.id == told[1].alarm.id
    assert told[1].alarm.facts["board_pct"] < told[1].alarm.facts["board_edge_pct"]


def every_hour(days: float, humidity: float, start: int = 0, hours: int = 1) -> list[Row]:
    return [
        (start + n * 60 * hours, 21.0 + 0.1 * (n % 7), humidity + 0.2 * (n % 5))
        for n in range(round(days * 24) // hours)
    ]


def with_outages(rows: list[Row]) -> list[Row]:
    """Two hours of silence every fifth day."""
    return [row for row in rows if row[0] % (5 * 24 * H) >= 2 * H]


@pytest.mark.parametrize("hold", [60, 30])
def test_a_dry_season_ends_in_spite_of_outages_and_of_readings_an_hour_apart(hold):
    day = 24 * H
    rows = [*every_hour(20, 50.0), *every_hour(10, 25.0, 20 * day), *every_hour(40, 50.0, 30 * day)]
    rows += every_hour(5, 25.0, 70 * day)
    times = range(19 * day, 75 * day, 36 * H)
    wall = looked(with_outages(rows), times, **{**YEAR_ROUND, "hold": hold})
    assert wall.told(whats.HUMIDITY_LOW).count("first") == 2
    first, second = [one for one in wall.kept.values() if one.what == whats.HUMIDITY_LOW]
    assert (first.standing, second.since >= minutes(70 * day)) == (Standing.NORMAL, True)


def test_hours_outside_are_told_of_a_finished_wall_once_they_are_four():
    rows = course(("in", 48 * H), ("wet", 5 * H))
    hangs = {"start": 10, "finish": 20}
    assert whats_of(seen(rows, 52 * H - MS, **hangs)) == []
    (found,) = seen(rows, 52 * H, **hangs)
    assert (found.what, found.priority, found.notice) == (whats.HUMIDITY_HIGH, LOW, True)


def test_what_began_before_the_finish_has_not_returned_with_it():
    rows = course(("in", 600), ("wet", 300))
    before, after = spells_of(rows, 650, start=500), spells_of(rows, 670, start=500, finish=660)
    assert [(one.since, one.notice) for one in before + after] == [(minutes(600), False), (minutes(600), True)]


def test_the_life_of_a_wall_begins_with_its_finish():
    rows = course(("in", 600), ("wet", 300), ("in", 300), ("wet", 300))
    assert [one.since for one in seen(rows, 1500, start=500, finish=1000)] == [minutes(1200)]


def burst(rows: list[Row], start: int, length: int) -> list[Row]:
    return [*rows, *((start + m, 20.0 + 0.1 * (m % 7), 92.0 + 0.1 * (m % 5)) for m in range(0, length, 10))]


def test_a_burst_pipe_is_a_high_alarm_within_the_hour():
    rows = burst(steady(48 * H), 48 * H, 180)
    hangs = {"start": 10, "finish": 20}
    assert whats_of(seen(rows, 48 * H + 30, **hangs)) == [whats.RAPID]
    assert whats_of(seen(rows, 49 * H - MS, **hangs)) == []
    found = {one.what: one for one in seen(rows, 49 * H, **hangs)}
    assert (found[whats.SUDDEN_DAMP].priority, found[whats.SUDDEN_DAMP].notice) == (HIGH, False)
    assert found[whats.SUDDEN_DAMP].since == minutes(48 * H)


def test_a_bath_of_half_an_hour_is_none():
    rows = [*burst(steady(48 * H), 48 * H, 30), *steady(51 * H, start=48 * H + 30)]
    hangs = {"start": 10, "finish": 20}
    assert all(whats.SUDDEN_DAMP not in whats_of(seen(rows, 48 * H + m, **hangs)) for m in range(10, 180, 10))


# --- frost ---


def cold(value: float, length: int = 120) -> list[Row]:
    return [*steady(600), *((600 + m, value, 45.0 + 0.1 * (m % 7)) for m in range(0, length, 10))]


def test_below_five_degrees_pipes_may_freeze_and_at_five_they_do_not():
    assert whats.FROST in whats_of(seen(cold(4.9), 660))
    assert whats.FROST not in whats_of(seen(cold(5.0), 660))


def test_frost_has_its_on_delay_and_is_high_wherever_the_wall_stands():
    assert whats.FROST not in whats_of(seen(cold(4.0), 630 - MS))
    for more in ({}, {"start": 10}, {"start": 10, "finish": 20}, {"delivered": None}):
        assert priority(cold(4.0), 630, whats.FROST, **more) is HIGH


def test_frost_returns_by_the_dead_band():
    rows = cold(4.0, 60)
    near_it = [*rows, *((660 + m, 5.4, 45.0 + 0.1 * (m % 7)) for m in range(0, 240, 10))]
    away = [*rows, *((660 + m, 5.5, 45.0 + 0.1 * (m % 7)) for m in range(0, 240, 10))]
    assert whats.FROST in whats_of(seen(near_it, 800))
    assert whats.FROST not in whats_of(seen(away, 700))


def gone_silent(rows: list[Row], end: int) -> list[Row]:
    """And nothing but humidity from then on."""
    return [*rows, *((m, None, 45.0 + 0.1 * (m // 10 % 7)) for m in range(rows[-1][0] + 10, end, 10))]


@pytest.mark.parametrize("speaks", [False, True])
def test_frost_that_nobody_hears_any_more_is_not_over(speaks):
    rows = cold(3.0)
    rows = gone_silent(rows, 45 * H) if speaks else rows
    wall = looked(rows, [600, 660, *range(720, 45 * H, 60)])
    assert "returned" not in wall.told(whats.FROST)
    (alarm,) = [one for one in wall.kept.values() if one.what == whats.FROST]
    assert alarm.standing is Standing.UNACKNOWLEDGED
    for at in (20 * H, 44 * H):
        (found,) = [one for one in seen(rows, at) if one.what == whats.FROST]
        assert (found.holds, found.facts["value"]) == (at == 44 * H, None)
        assert found.facts["unheard_since"] == pytest.approx(minutes(710), abs=11 * 60_000)


def test_frost_is_over_once_somebody_hears_that_it_is_after_a_silence_of_days():
    rows = [*cold(3.0), *steady(50 * H, start=45 * H)]
    wall = looked(rows, [600, 660, *range(720, 50 * H, 60)])
    assert wall.told(whats.FROST)[-1] == "returned"
    (alarm,) = [one for one in wall.kept.values() if one.what == whats.FROST]
    assert (alarm.returned or 0) >= minutes(45 * H)


def test_a_silence_of_days_raises_no_frost():
    wall = looked(steady(600), range(600, 50 * H, 120))
    assert wall.told(whats.FROST) == []


def test_sudden_damp_that_nobody_hears_any_more_is_not_over():
    rows = burst(steady(48 * H), 48 * H, 180)
    wall = looked(rows, range(49 * H, 80 * H, 60), start=10, finish=20)
    assert wall.told(whats.SUDDEN_DAMP)
    assert "returned" not in wall.told(whats.SUDDEN_DAMP)


# --- if this goes on ---


def rising(per_h: float, last: float = 62.0, length: int = 600) -> list[Row]:
    return [(m, 21.0 + 0.1 * (m // 10 % 7), last + per_h * (m - length) / 60) for m in range(0, length, 10)]


def test_air_that_leaves_its_band_within_hours_is_told_before_it_does():
    (found,) = seen(rising(1.5), 600)  # 3 %RH to go at 1.5 an hour: two hours
    assert (found.what, found.priority) == (whats.HUMIDITY_HEADING_HIGH, LOW)
    assert found.facts["soonest"] == pytest.approx(minutes(720), abs=20 * 60_000)
    assert found.facts["sensor"] == "a"


def test_what_leaves_later_than_the_patience_looks_ahead_is_not_told():
    assert seen(rising(0.5), 600) == []


def test_with_half_of_the_hours_at_stake_a_forecast_is_medium():
    rows = [*steady(30 * H), *((30 * H + m, t, rh) for m, t, rh in rising(1.5))]
    assert priority(rows, 40 * H, whats.HUMIDITY_HEADING_HIGH) is MEDIUM


def test_no_forecast_where_nothing_hangs_on_hours():
    assert seen(rising(1.5), 600, delivered=None) == []
    assert seen(rising(1.5), 600, start=10, finish=20) == []


def test_no_forecast_while_the_quantity_is_out_already():
    rows = [*course(("wet", 60)), *((60 + m, t, rh) for m, t, rh in rising(-6.0, last=35.5, length=300))]
    assert whats.HUMIDITY_HEADING_LOW not in whats_of(seen(rows, 60 + 10, told=0))


# --- rapid ---


def jump(per_h: float, length: int = 60) -> list[Row]:
    return [*steady(600), *((600 + m, 21.0 + 0.1 * (m % 7), 50.0 + per_h * m / 60) for m in range(0, length, 5))]


def test_a_fast_change_that_takes_the_air_out_of_its_band_is_told():
    found = {one.what: one for one in seen(jump(20.0), 655)}
    assert found[whats.RAPID].priority is LOW
    assert found[whats.RAPID].facts["per_hour"] == pytest.approx(20.0, abs=1.0)
    assert found[whats.RAPID].where == "hall: air_humidity"


def test_a_slower_one_is_not_and_one_that_stays_in_band_is_not():
    assert whats.RAPID not in whats_of(seen(jump(14.0), 655))
    assert whats.RAPID not in whats_of(seen(jump(-15.5, 30), 625))


def test_a_slow_sensor_is_judged_by_its_last_three_readings():
    rows = [(m * H, 21.0 + 0.1 * (m % 7), 45.0 + (0.0 if m < 10 else 16.0 * (m - 9))) for m in range(12)]
    assert whats.RAPID in whats_of(seen(rows, 11 * H + 1, hold=180))


def test_a_fast_change_that_is_a_return_is_not_told_besides():
    rows = [
        *course(("in", 600), ("wet", 60)),
        *((660 + m, 21.0 + 0.1 * (m % 7), 62.0 - 0.45 * m) for m in range(0, 90, 5)),
    ]
    wall = looked(rows, range(640, 700, 5))
    assert "returned" in wall.told(whats.HUMIDITY_HIGH)
    assert wall.told(whats.RAPID) == []


def test_two_readings_make_no_rate_and_none_do_not_either():
    look = look_at(room_of([(0, 21.0, 40.0), (10, 21.1, 60.0)]), frame("a", hold=10), 15)
    eager = replace(look, patience=PATIENCE._replace(rapid=Rapid(0.1, 0.1)))
    assert whats.RAPID not in whats_of(signals_of(eager))
    assert whats.RAPID not in whats_of(signals_of(replace(eager, said={})))


# --- several sensors ---


def test_a_second_sensor_that_is_still_out_keeps_the_spell_open():
    room = Room()
    room.hear("a", course(("in", 600), ("wet", 60), ("in", 120)))
    room.hear("b", course(("in", 600), ("wet", 120), ("in", 60)))
    look = look_at(room, frame("a", "b", hold=10), 715)
    (found,) = [one for one in signals_of(look) if one.what == whats.HUMIDITY_HIGH]
    assert (found.ended, found.facts["outside_ms"]) == (None, 115 * 60_000)


def test_the_same_room_gives_the_same_signals_whoever_looked_before():
    rows = wet_then(near(64.0, 300, 660))
    often, once = looked(rows, range(600, 900, 10)), Looked(room_of(rows), frame("a", hold=10))
    assert signals_of(look_at(often.room, often.made, 900)) == signals_of(look_at(once.room, once.made, 900))


def test_what_lingers_is_looked_for_in_the_last_day_only():
    look = look_at(room_of(wet_then(near(64.0, 30 * H, 660))), frame("a", hold=10), 1000)
    assert min(recent.t.min() for recent in look.said.values()) >= look.found.as_of - DAY
