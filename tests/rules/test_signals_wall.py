"""What a job has to tell beside its air: clock, readiness, boxes, the wall's surface, care, neighbours."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from looked_rooms import look_at, looked, room_of, seen
from rooms import HUMIDITY, STILL, TEMPERATURE, course, frame, minutes, steady

from monitor.basis.alarm import Priority, Signal
from monitor.basis.times import DAY, HOUR
from monitor.rules.alarm import whats
from monitor.rules.alarm.look import Look
from monitor.rules.alarm.signals import signals_beside, signals_of
from monitor.rules.alarm.signals_house import House, Link, Vitals
from monitor.rules.assessment import Condition
from monitor.rules.board.estimates import DAYS, CoreReading, SkinReading
from monitor.rules.hand import Drift
from monitor.rules.install.care import Item
from monitor.rules.trend import Slope

LOW, MEDIUM, HIGH = Priority
H = 60  # minutes


def hall(at: float = 10 * H, **more: object) -> Look:
    """A hall in band, boxes in it, looked at so many minutes after T0."""
    return look_at(room_of(steady(round(at))), frame("a", **{"hold": 10, **more}), at)  # type: ignore[arg-type]


def one(look: Look, what: str) -> Signal:
    (found,) = [signal for signal in signals_of(look) if signal.what == what]
    return found


def none(look: Look, what: str) -> bool:
    return all(signal.what != what for signal in signals_of(look))


# --- the clock ---


def test_a_completion_is_a_notice_since_it_came():
    (found,) = [s for s in seen(course(("in", 50 * H)), 50 * H) if s.what == whats.COMPLETE]
    assert (found.since, found.priority, found.notice) == (minutes(48 * H), LOW, True)
    assert found.facts == {
        "lot": "lot 1", "counted_ms": 48 * HOUR, "required_ms": 48 * HOUR, "beyond_uncertainty": True,
    }  # fmt: skip


def test_a_completion_before_anybody_looked_is_no_news():
    assert all(signal.what != whats.COMPLETE for signal in seen(course(("in", 50 * H)), 50 * H, told=48 * H))


def test_a_clock_that_was_put_back_is_told_once_each_time_with_its_cause():
    rows = course(("in", 20 * H), ("wet", 90), ("in", 20 * H), ("silent", 150), ("in", 10 * H))
    wall = looked(rows, range(19 * H, 54 * H, 2 * H))
    told = [change.alarm for change in wall.changes if change.tells and change.alarm.what == whats.RESTARTED]
    assert [(alarm.facts["cause"], alarm.since) for alarm in told] == [
        ("out", minutes(21 * H)),
        ("unproven", minutes(41 * H + 30 + 120)),
    ]
    assert {(alarm.priority, alarm.notice) for alarm in told} == {(MEDIUM, True)}


def test_a_completion_that_lapsed_is_told_and_not_as_a_restart_besides():
    rows = course(("in", 50 * H), ("wet", 90), ("in", 2 * H))
    found = {signal.what: signal for signal in seen(rows, 53 * H)}
    assert found[whats.LAPSED].since == minutes(51 * H)
    assert (found[whats.LAPSED].priority, found[whats.LAPSED].notice) == (MEDIUM, True)
    assert found[whats.LAPSED].facts["completed"] == minutes(48 * H)
    assert whats.RESTARTED not in found


def test_a_restart_after_a_lapse_has_the_last_word():
    rows = course(("in", 50 * H), ("wet", 90), ("in", 10 * H), ("wet", 90), ("in", 2 * H))
    wall = looked(rows, range(49 * H, 64 * H, H))
    assert (wall.told(whats.LAPSED), wall.told(whats.RESTARTED)) == (["first"], ["first"])
    (restart,) = [one for one in wall.kept.values() if one.what == whats.RESTARTED]
    assert restart.since == minutes(62 * H + 30)


def test_a_completion_after_a_lapse_is_another_one():
    rows = course(("in", 50 * H), ("wet", 90), ("in", 50 * H))
    wall = looked(rows, range(46 * H, 102 * H, 3 * H))
    assert wall.told(whats.COMPLETE) == ["first", "first"]


def test_the_clock_has_nothing_to_tell_once_the_installation_began():
    names = {signal.what for signal in seen(course(("in", 60 * H)), 60 * H, start=50 * H)}
    assert not names & {whats.COMPLETE, whats.RESTARTED, whats.LAPSED, whats.READY}


# --- readiness ---


def with_conditions(look: Look, **verdicts: str) -> Look:
    """Its readiness, where the conditions named (with _ for a blank) are as told, and all others pass."""
    told = {name.replace("_", " "): verdict for name, verdict in verdicts.items()}
    conditions = tuple(
        Condition(one.name, told.get(one.name, "pass"), "as the test has it")  # type: ignore[arg-type]
        for one in look.found.readiness
    )
    return replace(look, found=look.found._replace(readiness=conditions))


def test_ready_is_a_notice_of_its_completion():
    found = one(with_conditions(hall(50 * H)), whats.READY)
    assert (found.since, found.notice, found.facts) == (minutes(48 * H), True, {"lot": "lot 1"})


def test_without_a_completion_nothing_is_ready():
    assert none(with_conditions(hall(40 * H)), whats.READY)


def test_a_condition_that_fails_after_it_was_told_asks_for_a_hand():
    failing = with_conditions(hall(50 * H), site_check="fail", wall_moisture="unknown")
    assert none(failing, whats.NO_LONGER_READY)
    found = one(replace(failing, told_ready=True), whats.NO_LONGER_READY)
    assert (found.priority, found.notice) == (MEDIUM, False)
    assert found.facts == {"conditions": {"site check": "as the test has it", "wall moisture": "as the test has it"}}


@pytest.mark.parametrize("name", ["air_in_band_now", "sensors_fresh", "sensors_not_flat", "sensors_agree"])
def test_what_another_alarm_tells_of_takes_no_readiness_back(name):
    failing = with_conditions(hall(50 * H), **{name: "fail"})
    assert none(failing, whats.READY)
    told = replace(failing, told_ready=True)
    assert none(told, whats.NO_LONGER_READY)
    assert one(told, whats.READY).since == minutes(48 * H)  # so that it does not come and go with every door


def test_every_condition_that_readiness_leaves_to_others_is_one():
    names = {condition.name for condition in hall().found.readiness}
    assert {"acclimation complete", "air in band now", "sensors fresh", "sensors not flat", "sensors agree"} <= names


# --- boxes ---


def with_boxes(look: Look, low: float | None, high: float | None, measured: float | None = None) -> Look:
    lot = look.found.lot._replace(core=CoreReading(low, high, measured, 21.0, None))
    return replace(look, found=look.found._replace(lots=(lot,)))


def air(t: float, rh: float, **more: object) -> Look:
    look = hall(**more)  # type: ignore[arg-type]
    now = replace(look.found.now, values={"a": {TEMPERATURE: t, HUMIDITY: rh}})
    return replace(look, found=look.found._replace(now=now))


def test_boxes_surely_below_the_dew_point_are_told():
    # 20 degC, 50 %RH: dew point 9.3 degC, WMO-No. 8 (Magnus): 243.12 * 1.4361 / (17.62 - ...) by hand
    found = one(with_boxes(air(20.0, 50.0), 4.0, 9.0), whats.BOXES_COLD)
    assert (found.priority, found.notice) == (LOW, False)
    assert found.facts == {"boxes": 9.0, "dew_point": pytest.approx(9.3, abs=0.1), "measured": False}


def test_boxes_that_may_be_warmer_are_not():
    assert none(with_boxes(air(20.0, 50.0), 4.0, 9.6), whats.BOXES_COLD)


def test_what_was_measured_in_them_outranks_the_estimate():
    assert none(with_boxes(air(20.0, 50.0), 4.0, 9.0, measured=12.0), whats.BOXES_COLD)
    assert one(with_boxes(air(20.0, 50.0), 11.0, 14.0, measured=8.0), whats.BOXES_COLD).facts["measured"] is True


def test_below_zero_vapour_settles_as_frost():
    # -5 degC, 80 %RH over water: frost point about -6.9 degC, dew point -7.8 degC
    assert one(with_boxes(air(-5.0, 80.0), -9.0, -7.2), whats.BOXES_COLD).facts["dew_point"] == pytest.approx(
        -6.9, abs=0.2
    )


@pytest.mark.parametrize(("t", "rh"), [(200.0, 50.0), (-60.0, 50.0)])
def test_what_is_no_air_of_a_room_has_no_dew_point(t, rh):
    assert none(with_boxes(air(t, rh), -50.0, -49.0), whats.BOXES_COLD)


def test_air_without_any_water_has_none_either():
    assert none(with_boxes(air(20.0, 0.0), -90.0, -80.0), whats.BOXES_COLD)


def test_boxes_are_no_matter_once_the_boards_go_up_nor_without_a_word_on_how_they_lie():
    assert none(with_boxes(air(20.0, 50.0, start=60), 4.0, 5.0), whats.BOXES_COLD)
    assert none(air(20.0, 50.0), whats.BOXES_COLD)
    assert none(with_boxes(air(20.0, 50.0), None, None), whats.BOXES_COLD)


# --- the wall's surface ---


def with_surface(look: Look, *, month: float | None = None, mould: float = 0.0, **days: list[float]) -> Look:
    """The wall's skin, with the columns of its last days as told."""
    length = max(len(column) for column in days.values())
    rows = np.zeros(length, DAYS)
    rows["day"] = np.arange(length) + 20_000
    rows["skin_rh_mean"], rows["mould"] = 60.0, 0.0
    for name, column in days.items():
        rows[name] = column
    skin = SkinReading(12.0, 81.0, month, 0, 0, mould, 0)
    return replace(look, found=look.found._replace(skin=skin, packed_days=rows.tobytes()))


def wall(**more: object) -> Look:
    return hall(start=20, finish=30, **more)  # type: ignore[arg-type]


def test_water_on_a_cold_wall_is_high_where_boards_hang_and_medium_where_they_do_not():
    found = one(with_surface(wall(), wet=[0, 1, 2]), whats.SURFACE_WET)
    assert (found.priority, found.since, found.facts) == (HIGH, 20_001 * DAY, {"hours": 3})
    assert one(with_surface(hall(), wet=[0, 1, 2]), whats.SURFACE_WET).priority is MEDIUM


def test_two_hours_of_mist_in_two_days_are_left_alone():
    assert none(with_surface(wall(), wet=[9, 1, 1]), whats.SURFACE_WET)


def test_three_damp_days_are_low_and_a_damp_month_is_medium():
    found = one(with_surface(wall(), skin_rh_mean=[70, 80.1, 81, 82]), whats.SURFACE_DAMP)
    assert (found.priority, found.since) == (LOW, 20_001 * DAY)
    assert found.facts == {"humidity": 81.0, "month": None, "limit": 80.0}
    assert one(with_surface(wall(), month=80.1, skin_rh_mean=[81, 82, 83]), whats.SURFACE_DAMP).priority is MEDIUM


@pytest.mark.parametrize("days", [[81, 82], [81, 80, 82], [82, 81, 60], [np.nan, 82, 83]])
def test_fewer_damp_days_are_left_alone(days):
    assert none(with_surface(wall(), skin_rh_mean=days), whats.SURFACE_DAMP)


@pytest.mark.parametrize(("index", "priority"), [(1.0, MEDIUM), (2.9, MEDIUM), (3.0, HIGH)])
def test_mould_is_told_from_the_first_growth_and_is_high_once_it_is_seen(index, priority):
    found = one(with_surface(wall(), mould=index, wet=[0, 0, 0]), whats.MOULD)
    assert (found.priority, found.facts) == (priority, {"index": index})


def test_mould_is_told_since_the_day_that_it_began():
    look = with_surface(wall(), mould=1.2, wet=[0, 0, 0])
    rows = look.found.days.copy()
    rows["mould"] = [0.4, 1.0, 1.2]
    found = one(replace(look, found=look.found._replace(packed_days=rows.tobytes())), whats.MOULD)
    assert found.since == 20_001 * DAY
    assert one(look, whats.MOULD).since == 20_002 * DAY  # its days say nothing: today


def test_no_growth_is_told_below_an_index_of_one_nor_of_a_wall_whose_surface_nobody_knows():
    assert none(with_surface(wall(), mould=0.99, wet=[0]), whats.MOULD)
    assert wall().found.skin is None


# --- care ---


def cared(*items: Item) -> list[Signal]:
    look = replace(wall(), items=items)
    return [signal for signal in signals_of(look) if signal.what in (whats.CARE_DUE, whats.INSPECTION_DUE)]


def test_care_is_told_when_it_is_due_and_once_more_when_it_is_overdue():
    now = minutes(10 * H)
    assert cared(Item("dust", now + 1, now + 1)) == []
    (due,) = cared(Item("dust", now, now))
    assert (due.what, due.where, due.since, due.notice) == (whats.CARE_DUE, "dust", now, True)
    assert due.facts == {"care": "dust", "opens": now, "due": now, "last": None, "overdue": False}
    (late,) = cared(Item("dust", now - 1, now - 1))
    assert (late.since, late.facts["overdue"]) == (now - 1, True)


def test_an_inspection_is_told_when_its_time_opens_and_again_when_it_is_over():
    now = minutes(10 * H)
    (opens,) = cared(Item("inspection, first winter", now - DAY, now + DAY))
    assert (opens.what, opens.since, opens.facts["overdue"]) == (whats.INSPECTION_DUE, now - DAY, False)
    (late,) = cared(Item("inspection, first winter", now - 2 * DAY, now - DAY))
    assert (late.since, late.facts["overdue"]) == (now - DAY, True)


def test_what_was_done_is_not_asked_for():
    now = minutes(10 * H)
    assert cared(Item("inspection, first winter", now - DAY, now + DAY, now, over=True)) == []


# --- neighbours ---


def test_sensors_that_have_disagreed_for_an_hour_are_told_medium_before_and_low_in_the_life_of_the_wall():
    for look, priority in ((hall(), MEDIUM), (wall(), LOW)):
        found = one(with_conditions(look, sensors_agree="unknown"), whats.DISAGREEING)
        assert (found.priority, found.where) == (priority, "hall")
        assert set(found.facts) == {"evidence", "values"}
        assert set(found.facts["values"]["a"]) == {"air_temperature", "air_humidity"}


def test_sensors_that_nobody_hears_do_not_disagree():
    look = look_at(room_of(course(("in", 60), ("silent", 600))), frame("a", hold=10), 600)
    assert none(look, whats.DISAGREEING)


def test_a_sensor_that_moved_away_from_its_neighbour_beyond_their_uncertainty_is_told():
    far = Drift("b", "a", HUMIDITY, 20, Slope(8.0, 7.0, 9.0), 7.0)
    near = far._replace(by=Slope(7.0, 6.0, 8.0))
    found = one(replace(hall(), drifts=(far, near)), whats.DRIFTING)
    assert (found.where, found.priority) == ("b beside a: air_humidity", LOW)
    assert found.facts == {
        "quantity": "air_humidity", "sensor": "b", "neighbour": "a", "days": 20, "by": 8.0, "combined": 7.0,
    }  # fmt: skip


# --- all together ---


def test_a_silence_is_as_pressing_as_the_job_that_hangs_on_it():
    look, now = hall(30 * H), minutes(30 * H)
    quiet = Vitals(
        sensor="a", stream="mill/a", place="hall", placed=0, hold=10 * 60_000, jobs=("hall wall",), heard=now - 2 * HOUR
    )
    fares = House(links=[Link("broker", down_since=now - HOUR)])
    found = signals_beside([look], [quiet], fares, now, look.patience, look.told_from)
    assert [(signal.what, signal.priority) for signal in found] == [(whats.SILENT, HIGH), (whats.LINK_DOWN, HIGH)]


def test_a_room_in_band_in_which_nothing_happens_has_nothing_to_tell():
    assert signals_of(hall(30 * H)) == ()
    assert signals_of(hall(30 * H, start=20, finish=30, profile=STILL)) == ()
