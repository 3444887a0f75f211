"""What becomes of one alarm, state by state: what the random test with its model leaves out, and every message."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from monitor.basis.alarm import HOUSE, Alarm, Priority, Signal, Standing, alarm_id
from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.config.alarms import Patience
from monitor.rules.alarm import whats
from monitor.rules.alarm.alarms import (
    AHEAD,
    LATE,
    SETTLES,
    Change,
    acknowledge,
    most_pressing,
    shelve,
    step,
    told_from,
    worse,
)

NOW = 1_767_571_200_000  # 2026-01-05T00:00Z
LOW, MEDIUM, HIGH = Priority
PATIENCE = Patience()


def signal(
    what: str = whats.HUMIDITY_HIGH, since: int = NOW - HOUR, priority: Priority = MEDIUM, **more: object
) -> Signal:
    return Signal(what, "hall wall", "hall", since, priority, **more)  # type: ignore[arg-type]


def ended(hours_ago: float, length: float = 5.0, **more: object) -> Signal:
    """A spell that ended so many hours before NOW."""
    end = NOW - round(hours_ago * HOUR)
    return signal(since=end - round(length * HOUR), ended=end, **more)


class Wall:
    """A wall that is looked at: what is remembered of its alarms, as a store would."""

    def __init__(self) -> None:
        self.kept: dict[str, Alarm] = {}

    def look(self, *signals: Signal, at: int = NOW, unseen: Sequence[str] = ()) -> list[Change]:
        changes = step(list(self.kept.values()), signals, at, PATIENCE, unseen=unseen)
        for change in changes:
            self.kept[change.alarm.id] = change.alarm
        return list(changes)

    def told(self, *signals: Signal, at: int = NOW) -> list[str]:
        return [str(change.tells) for change in self.look(*signals, at=at) if change.tells]

    @property
    def alarm(self) -> Alarm:
        (alarm,) = self.kept.values()
        return alarm


def raised(**more: object) -> Alarm:
    wall = Wall()
    wall.look(signal(**more))  # type: ignore[arg-type]
    return wall.alarm


# --- what an alarm is ---


def test_an_alarm_is_known_by_ten_digits_of_its_what_job_where_and_when():
    # printf 'mould|hall wall|hall|1767571200000' | sha256sum
    assert alarm_id("mould", "hall wall", "hall", NOW) == "683fb2d4a2"


def test_a_new_alarm_asks_for_an_answer_and_is_told():
    (change,) = Wall().look(signal(facts={"worst": 71.0}))
    alarm = change.alarm
    assert (change.transition, change.tells) == ("raised", "first")
    assert (alarm.standing, alarm.since, alarm.raised, alarm.told) == (Standing.UNACKNOWLEDGED, NOW - HOUR, NOW, NOW)
    assert (alarm.priority, alarm.facts, alarm.notice) == (MEDIUM, {"worst": 71.0}, False)


def test_an_alarm_comes_back_from_json_as_it_went():
    alarm = shelve(raised(facts={"jobs": ["a"]}), NOW + HOUR, "painters", "ann", NOW, at_most=DAY).alarm
    assert Alarm.from_json(alarm.to_json()) == alarm


def test_a_restart_announces_nothing():
    wall = Wall()
    assert wall.told(signal()) == ["first"]
    wall.kept = {key: Alarm.from_json(one.to_json()) for key, one in wall.kept.items()}
    assert wall.look(signal(), at=NOW + MINUTE) == []


def test_two_places_have_an_alarm_each():
    other = replace(signal(), where="attic")
    assert [change.alarm.where for change in Wall().look(signal(), other)] == ["attic", "hall"]


def test_changes_come_in_the_order_of_their_keys_whatever_the_order_of_the_signals():
    one, other = signal(whats.MOULD), signal(whats.FROST)
    assert Wall().look(one, other) == Wall().look(other, one)


# --- told again ---


def test_exactly_after_re_raise_it_is_told_again_and_not_before():
    wall = Wall()
    wall.look(signal(priority=LOW))
    assert wall.told(signal(priority=LOW), at=NOW + PATIENCE.re_raise - 1) == []
    assert wall.told(signal(priority=LOW), at=NOW + PATIENCE.re_raise) == ["again"]
    assert wall.told(signal(priority=LOW), at=NOW + PATIENCE.re_raise + MINUTE) == []


def test_what_is_acknowledged_is_not_told_again():
    wall = Wall()
    wall.look(signal())
    wall.kept = {key: acknowledge(one, "ann", NOW).alarm for key, one in wall.kept.items()}
    assert wall.told(signal(), at=NOW + 3 * PATIENCE.re_raise) == []


@pytest.mark.parametrize(
    ("priority", "after"), [(HIGH, PATIENCE.escalate_after // 4), (MEDIUM, PATIENCE.escalate_after)]
)
def test_a_second_contact_hears_once_of_what_nobody_acknowledged_of_what_is_high_sooner(priority, after):
    wall = Wall()
    wall.look(signal(priority=priority))
    assert wall.told(signal(priority=priority), at=NOW + after - 1) == []
    assert wall.told(signal(priority=priority), at=NOW + after) == ["second contact"]
    assert wall.told(signal(priority=priority), at=NOW + after + HOUR) == []


def test_what_is_low_is_never_passed_on():
    wall = Wall()
    wall.look(signal(priority=LOW))
    assert "second contact" not in wall.told(signal(priority=LOW), at=NOW + 20 * HOUR)


def test_what_got_worse_is_told_again_and_asks_anew():
    wall = Wall()
    wall.look(signal())
    wall.kept = {key: acknowledge(one, "ann", NOW).alarm for key, one in wall.kept.items()}
    (change,) = wall.look(signal(priority=HIGH), at=NOW + HOUR)
    assert (change.transition, change.tells, change.alarm.standing) == ("worse", "again", Standing.UNACKNOWLEDGED)


def test_what_was_passed_on_and_got_worse_is_passed_on_again():
    wall = Wall()
    wall.look(signal())
    assert wall.told(signal(), at=NOW + 2 * HOUR) == ["second contact"]
    assert wall.told(signal(priority=HIGH), at=NOW + 3 * HOUR) == ["again"]
    assert wall.told(signal(priority=HIGH), at=NOW + 3 * HOUR + 30 * MINUTE) == ["second contact"]


def test_what_got_better_and_worse_again_is_not_told_twice():
    wall = Wall()
    told = [wall.told(signal(priority=p), at=NOW + n * MINUTE) for n, p in enumerate((HIGH, LOW, HIGH, LOW))]
    assert told == [["first"], [], [], []]
    assert wall.alarm.priority is HIGH


# --- returned, back, over ---


def test_what_nobody_acknowledged_stays_listed_as_returned_for_a_week():
    wall = Wall()
    wall.look(signal())
    (change,) = wall.look(at=NOW + HOUR)
    assert (change.transition, change.tells, change.alarm.standing) == ("returned", "returned", Standing.RETURNED)
    assert wall.look(at=NOW + HOUR + 7 * DAY - 1) == []
    (change,) = wall.look(at=NOW + HOUR + 7 * DAY)
    assert (change.transition, change.tells, change.alarm.standing) == ("over", None, Standing.NORMAL)


def test_what_was_acknowledged_is_over_when_it_returns():
    wall = Wall()
    wall.look(signal())
    wall.kept = {key: acknowledge(one, "ann", NOW).alarm for key, one in wall.kept.items()}
    (change,) = wall.look(at=NOW + HOUR)
    assert (change.tells, change.alarm.standing, change.alarm.returned) == ("returned", Standing.NORMAL, NOW + HOUR)


def test_what_comes_back_is_the_same_alarm_and_is_told_if_its_return_was():
    wall = Wall()
    wall.look(signal())
    wall.look(at=NOW + HOUR)
    (change,) = wall.look(signal(since=NOW + 2 * HOUR), at=NOW + 3 * HOUR)
    assert (change.transition, change.tells, change.alarm.id) == ("back", "again", wall.alarm.id)
    assert (change.alarm.since, change.alarm.returned) == (NOW + 2 * HOUR, None)


def test_what_goes_untold_comes_back_untold_within_re_raise_and_is_told_after_it():
    wall, heading = Wall(), signal(whats.HUMIDITY_HEADING_HIGH)
    assert wall.told(heading) == ["first"]
    assert wall.told(at=NOW + HOUR) == []
    assert wall.alarm.standing is Standing.RETURNED
    assert wall.told(heading, at=NOW + HOUR + MINUTE) == []
    assert wall.told(at=NOW + 4 * HOUR) == []
    assert wall.alarm.standing is Standing.RETURNED
    assert wall.told(heading, at=NOW + PATIENCE.re_raise) == ["again"]


def test_a_flapping_forecast_that_gets_worse_is_told():
    wall = Wall()
    wall.look(signal(whats.HUMIDITY_HEADING_HIGH, priority=LOW))
    wall.look(at=NOW + HOUR)
    assert wall.told(signal(whats.HUMIDITY_HEADING_HIGH, priority=MEDIUM), at=NOW + 2 * HOUR) == ["again"]


# --- what has no delay of its own ---


@pytest.mark.parametrize("what", sorted(whats.FLAPS))
def test_what_comes_and_goes_at_every_look_is_one_alarm_and_a_bounded_number_of_changes(what):
    wall, changes = Wall(), []
    for n in range(3 * 24 * 60):
        at = NOW + n * MINUTE
        changes += wall.look(*([signal(what, since=at, priority=LOW)] if n % 2 else []), at=at)
    assert len(wall.kept) == 1
    assert len([one for one in changes if one.transition in ("returned", "back")]) <= 14  # doubling, then one a day
    assert len(changes) <= 18


def test_somebody_who_acknowledges_what_comes_and_goes_is_not_told_anew_each_hour():
    wall, told = Wall(), 0
    for n in range(24 * 60):
        at = NOW + n * MINUTE
        told += len(wall.told(*([signal(whats.STORE_FILLING, since=at)] if n % 2 else []), at=at))
        asks = [one for one in wall.kept.values() if one.standing is Standing.UNACKNOWLEDGED]
        wall.kept.update((one.id, acknowledge(one, "ann", at).alarm) for one in asks)
    assert told <= 12  # raised and returned, after 1, 2, 4, 8 and 16 hours


def test_what_has_no_delay_of_its_own_stands_for_exactly_an_hour_at_least():
    wall = Wall()
    wall.look(signal(whats.STORE_FILLING, since=NOW))
    assert wall.look(at=NOW + HOUR - 1) == []
    assert wall.told(at=NOW + HOUR) == ["returned"]


def test_what_is_within_the_dead_band_raises_nothing_brings_nothing_back_and_lets_nothing_go():
    wall, near = Wall(), signal(whats.STORE_FILLING, holds=True)
    assert wall.look(near) == []
    wall.look(signal(whats.STORE_FILLING))
    assert wall.look(near, at=NOW + 90 * MINUTE) == []
    assert wall.told(near, at=NOW + 2 * HOUR) == ["second contact"]  # it still stands
    wall.look(at=NOW + 5 * HOUR)
    assert wall.alarm.standing is Standing.RETURNED
    assert wall.look(near, at=NOW + 6 * HOUR) == []


# --- sensors that speak again ---


def silent(sensor: str) -> Signal:
    return Signal(whats.SILENT, HOUSE, sensor, NOW - 2 * HOUR, MEDIUM)


def test_sensors_that_speak_again_one_by_one_are_told_together_at_the_half_hour():
    wall, sensors = Wall(), [silent(f"s{n}") for n in range(5)]
    wall.look(*sensors)
    for n in range(5):  # one more a minute speaks again
        assert wall.told(*sensors[n + 1 :], at=NOW + (61 + n) * MINUTE) == []
    assert {one.standing for one in wall.kept.values()} == {Standing.RETURNED}
    assert wall.told(at=NOW + 90 * MINUTE - 1) == []
    assert wall.told(at=NOW + 90 * MINUTE) == ["returned"] * 5
    assert wall.told(at=NOW + 120 * MINUTE) == []


def test_an_acknowledged_silence_is_over_once_its_end_is_told():
    wall = Wall()
    wall.look(silent("a"))
    wall.kept = {key: acknowledge(one, "ann", NOW).alarm for key, one in wall.kept.items()}
    wall.look(at=NOW + 61 * MINUTE)
    (change,) = wall.look(at=NOW + 90 * MINUTE)
    assert (change.transition, change.tells, change.alarm.standing) == ("over", "returned", Standing.NORMAL)


def test_a_sensor_that_falls_silent_again_before_its_end_was_told_is_not_told_anew():
    wall = Wall()
    wall.look(silent("a"))
    wall.look(at=NOW + 61 * MINUTE)
    assert wall.told(silent("a"), at=NOW + 70 * MINUTE) == []
    assert wall.alarm.standing is Standing.UNACKNOWLEDGED


def test_a_shelved_silence_does_not_tell_that_it_ended():
    wall = Wall()
    wall.look(silent("a"))
    shelved(wall)
    wall.look(at=NOW + 61 * MINUTE)
    assert wall.told(at=NOW + 5 * HOUR) == []


# --- what could not be seen ---


def test_alarms_of_a_job_that_could_not_be_judged_stay_as_they_are():
    wall = Wall()
    wall.look(signal())
    assert wall.look(at=NOW + HOUR, unseen=["hall wall"]) == []


def test_what_is_inhibited_raises_nothing_and_returns_nothing():
    silent = Signal(whats.SILENT, HOUSE, "a", NOW - HOUR, MEDIUM)
    behind = replace(silent, inhibited=True)
    wall = Wall()
    assert wall.look(behind) == []
    wall.look(silent)
    assert wall.look(behind, at=NOW + HOUR) == []
    assert wall.alarm.standing is Standing.UNACKNOWLEDGED


def test_a_clock_that_went_back_by_some_minutes_changes_nothing_of_what_knows_a_later_time():
    wall = Wall()
    wall.look(signal(), at=NOW + 2 * HOUR)
    assert wall.look(at=NOW + 2 * HOUR - AHEAD) == []


def test_a_clock_that_ran_ahead_and_was_set_right_announces_nothing_and_leaves_no_alarm_dead():
    wall = Wall()
    wall.look(signal(), at=NOW + 365 * DAY)
    (change,) = wall.look(signal(), at=NOW)
    assert (change.transition, change.tells, change.alarm.raised, change.alarm.told) == ("corrected", None, NOW, NOW)
    assert wall.look(signal(), at=NOW + MINUTE) == []
    assert wall.told(signal(), at=NOW + PATIENCE.escalate_after) == ["second contact"]
    assert wall.told(at=NOW + 3 * HOUR) == ["returned"]
    assert wall.told(signal(), at=NOW + 4 * HOUR) == ["again"]


def test_what_was_over_by_a_clock_that_ran_ahead_is_raised_anew_once_it_is_so_again():
    wall = Wall()
    wall.look(signal(), at=NOW + 365 * DAY)
    wall.kept = {key: acknowledge(one, "ann", NOW + 365 * DAY).alarm for key, one in wall.kept.items()}
    wall.look(at=NOW + 365 * DAY + HOUR)
    assert wall.look(at=NOW)[0].transition == "corrected"
    assert wall.told(signal(since=NOW + HOUR), at=NOW + 2 * HOUR) == ["first"]


def test_a_shelf_of_a_clock_that_ran_ahead_ends_as_late_as_one_may():
    wall = Wall()
    wall.look(signal())
    wall.kept = {key: replace(one, shelved_until=NOW + 365 * DAY) for key, one in wall.kept.items()}
    wall.look(signal(), at=NOW + MINUTE)
    assert wall.alarm.shelved_until == NOW + MINUTE + PATIENCE.shelve_at_most


# --- what came and went while nobody looked ---


def test_a_spell_that_came_and_went_unseen_is_told_as_returned():
    wall = Wall()
    (change,) = wall.look(ended(10))
    alarm = change.alarm
    assert (change.transition, change.tells, alarm.standing) == ("raised", "first", Standing.RETURNED)
    assert (alarm.since, alarm.returned, alarm.told) == (NOW - 15 * HOUR, NOW - 10 * HOUR, NOW)


def test_several_unseen_spells_are_one_alarm_from_the_first_to_the_last():
    wall = Wall()
    (change,) = wall.look(
        ended(30, facts={"worst": 1}), ended(20, 9.0, facts={"worst": 2}), ended(1, facts={"worst": 3})
    )
    alarm = change.alarm
    assert (alarm.since, alarm.returned) == (NOW - 35 * HOUR, NOW - HOUR)
    assert alarm.facts == {"worst": 2, "spells": 3}  # the longest has the word


def test_an_unseen_spell_is_told_once_however_often_it_is_looked_at():
    wall = Wall()
    wall.look(ended(10))
    assert wall.look(ended(10), at=NOW + MINUTE) == []
    wall.kept = {key: acknowledge(one, "ann", NOW + MINUTE).alarm for key, one in wall.kept.items()}
    assert wall.look(ended(10), at=NOW + 2 * MINUTE) == []


def test_an_unseen_spell_before_the_one_that_stands_is_told_with_it():
    (change,) = Wall().look(ended(10), signal())
    assert (change.alarm.standing, change.alarm.since) == (Standing.UNACKNOWLEDGED, NOW - 15 * HOUR)
    assert change.alarm.facts == {"spells": 2}


def test_an_unseen_spell_after_one_that_had_returned_is_told():
    wall = Wall()
    wall.look(signal(since=NOW - 50 * HOUR), at=NOW - 49 * HOUR)
    wall.look(at=NOW - 48 * HOUR)
    (change,) = wall.look(ended(10))
    assert (change.transition, change.tells, change.alarm.standing) == ("back", "first", Standing.RETURNED)


def test_an_alarm_that_stood_returns_when_its_spell_ended_and_not_when_somebody_looked():
    wall = Wall()
    wall.look(signal(since=NOW - 50 * HOUR), at=NOW - 49 * HOUR)
    (change,) = wall.look(ended(10, 40.0))
    assert (change.transition, change.alarm.returned) == ("returned", NOW - 10 * HOUR)


def test_an_older_spell_does_not_say_when_the_one_that_stood_ended():
    wall = Wall()
    wall.look(signal(since=NOW - 2 * HOUR), at=NOW - HOUR)
    (change,) = wall.look(ended(10))
    assert (change.transition, change.alarm.returned) == ("returned", NOW)


def test_told_is_what_ended_since_the_first_look_and_a_week_before_the_last():
    assert told_from(NOW - DAY, NOW) == NOW - DAY
    assert told_from(NOW - 99 * DAY, NOW) == NOW - LATE
    assert told_from(NOW + 365 * DAY, NOW) == NOW  # by a clock that ran ahead


# --- notices ---


def test_a_notice_is_told_once_and_asks_nothing():
    wall = Wall()
    (change,) = wall.look(signal(whats.COMPLETE, notice=True))
    assert (change.tells, change.alarm.standing, change.alarm.notice) == ("first", Standing.ACKNOWLEDGED, True)
    assert wall.look(signal(whats.COMPLETE, notice=True), at=NOW + 9 * DAY) == []


def test_a_notice_that_goes_goes_untold_and_comes_back_untold():
    wall, notice = Wall(), signal(whats.READY, notice=True)
    wall.look(notice)
    (gone,) = wall.look(at=NOW + MINUTE)
    assert (gone.transition, gone.tells, gone.alarm.standing) == ("over", None, Standing.NORMAL)
    (back,) = wall.look(notice, at=NOW + 2 * MINUTE)
    assert (back.transition, back.tells) == ("raised", None)


def test_a_notice_that_began_anew_is_another_one_and_told():
    wall = Wall()
    wall.look(signal(whats.RESTARTED, notice=True))
    changes = wall.look(signal(whats.RESTARTED, since=NOW, notice=True), at=NOW + MINUTE)
    assert [(change.transition, change.tells) for change in changes] == [("over", None), ("raised", "first")]
    assert len(wall.kept) == 2


def test_a_notice_that_began_half_an_hour_sooner_or_later_than_told_is_corrected_without_a_word():
    wall = Wall()
    wall.look(signal(whats.COMPLETE, since=NOW - DAY, notice=True))
    (change,) = wall.look(signal(whats.COMPLETE, since=NOW - DAY + SETTLES, notice=True), at=NOW + MINUTE)
    assert (change.transition, change.tells, change.alarm.since) == ("corrected", None, NOW - DAY + SETTLES)
    told = wall.told(signal(whats.COMPLETE, since=NOW - DAY - 1, notice=True), at=NOW + 2 * MINUTE)
    assert told == ["first"]


def test_a_notice_that_comes_back_with_its_beginning_corrected_is_not_told():
    wall = Wall()
    wall.look(signal(whats.COMPLETE, notice=True))
    wall.look(at=NOW + MINUTE)
    (change,) = wall.look(signal(whats.COMPLETE, since=NOW - HOUR + MINUTE, notice=True), at=NOW + 2 * MINUTE)
    assert (change.transition, change.tells) == ("raised", None)


def test_a_notice_that_got_worse_is_told_again_once():
    wall = Wall()
    told = [
        wall.told(signal(whats.HUMIDITY_LOW, priority=p, notice=True), at=NOW + n * MINUTE)
        for n, p in enumerate((LOW, MEDIUM, LOW, MEDIUM))
    ]
    assert told == [["first"], ["again"], [], []]


def test_unseen_spells_that_ask_nothing_are_told_and_over():
    (change,) = Wall().look(ended(10, notice=True))
    assert (change.tells, change.alarm.standing) == ("first", Standing.NORMAL)


def test_an_unseen_notice_and_one_that_stands_are_two():
    changes = Wall().look(ended(200, notice=True), signal(notice=True))
    assert [change.alarm.standing for change in changes] == [Standing.NORMAL, Standing.ACKNOWLEDGED]
    assert len({change.alarm.id for change in changes}) == 2


def test_a_notice_that_becomes_an_alarm_asks_for_an_answer():
    wall = Wall()
    wall.look(signal(notice=True))
    (change,) = wall.look(signal(), at=NOW + MINUTE)
    assert (change.transition, change.tells, change.alarm.standing) == ("worse", "again", Standing.UNACKNOWLEDGED)


def test_an_alarm_that_becomes_a_notice_is_over_and_told_as_one():
    # The wall is finished while its room is dry: from then on the boards have time.
    wall = Wall()
    wall.look(signal())
    over, notice = wall.look(signal(notice=True), at=NOW + MINUTE)
    assert (over.transition, over.tells, over.alarm.standing) == ("over", None, Standing.NORMAL)
    assert (notice.tells, notice.alarm.notice, notice.alarm.standing) == ("first", True, Standing.ACKNOWLEDGED)


def test_an_inhibited_notice_is_not_told():
    assert Wall().look(signal(notice=True, inhibited=True)) == []


# --- held back by a flood ---


@pytest.mark.parametrize("notice", [False, True])
def test_what_a_flood_held_back_is_told_at_a_later_look(notice):
    wall = Wall()
    wall.look(signal(notice=notice))
    wall.kept = {key: replace(one, told=None) for key, one in wall.kept.items()}
    assert wall.told(signal(notice=notice), at=NOW + MINUTE) == ["first"]
    assert wall.told(signal(notice=notice), at=NOW + 2 * MINUTE) == []


def test_what_was_never_told_does_not_tell_that_it_returned():
    wall = Wall()
    wall.look(signal())
    wall.kept = {key: replace(one, told=None) for key, one in wall.kept.items()}
    assert wall.told(at=NOW + HOUR) == []


# --- shelved ---


def shelved(wall: Wall, hours: int = 24) -> None:
    wall.kept = {
        key: shelve(one, NOW + hours * HOUR, "painters", "ann", NOW, at_most=7 * DAY).alarm
        for key, one in wall.kept.items()
    }


def test_what_is_shelved_is_not_told_whatever_becomes_of_it():
    wall = Wall()
    wall.look(signal())
    shelved(wall)
    assert wall.told(signal(priority=HIGH), at=NOW + HOUR) == []
    assert wall.told(at=NOW + 2 * HOUR) == []
    assert wall.told(signal(since=NOW + 3 * HOUR), at=NOW + 4 * HOUR) == []


def test_what_still_stands_when_its_shelf_ends_is_told():
    wall = Wall()
    wall.look(signal())
    shelved(wall)
    (change,) = wall.look(signal(), at=NOW + 24 * HOUR)
    assert (change.transition, change.tells) == ("unshelved", "again")
    assert (change.alarm.shelved_until, change.alarm.shelved_by, change.alarm.shelved_reason) == (None, "", "")


def test_what_is_gone_when_its_shelf_ends_is_not_told():
    wall = Wall()
    wall.look(signal())
    shelved(wall)
    wall.look(at=NOW + HOUR)
    (change,) = wall.look(at=NOW + 24 * HOUR)
    assert (change.transition, change.tells, change.alarm.standing) == ("unshelved", None, Standing.RETURNED)


def test_a_shelved_alarm_that_was_acknowledged_stays_on_the_shelf_when_it_returns():
    wall = Wall()
    wall.look(signal())
    wall.kept = {key: acknowledge(one, "ann", NOW).alarm for key, one in wall.kept.items()}
    shelved(wall)
    (change,) = wall.look(at=NOW + HOUR)
    assert (change.alarm.standing, change.tells) == (Standing.RETURNED, None)


def test_exactly_the_longest_shelf_is_allowed():
    assert shelve(raised(), NOW + DAY, "painters", "ann", NOW, at_most=DAY).alarm.shelved_until == NOW + DAY


# --- refused ---


def refusal(call: object) -> str:
    with pytest.raises(RecordError) as caught:
        call()  # type: ignore[operator]
    return str(caught.value)


def test_what_is_over_has_nothing_to_acknowledge_or_to_shelve():
    over = replace(raised(), id="0123456789", standing=Standing.NORMAL)
    assert refusal(lambda: acknowledge(over, "ann", NOW)) == (
        "alarm 0123456789: 'humidity high' is over already. There is nothing to acknowledge: wallclime alarm list"
    )
    assert refusal(lambda: shelve(over, NOW + HOUR, "painters", "ann", NOW, at_most=DAY)) == (
        "alarm 0123456789: 'humidity high' is over already. There is nothing to shelve: wallclime alarm list"
    )


def test_a_notice_has_nothing_to_acknowledge_or_to_shelve():
    notice = replace(raised(), id="0123456789", notice=True)
    assert refusal(lambda: acknowledge(notice, "ann", NOW)) == (
        "alarm 0123456789: 'humidity high' is a notice, which asks for no answer. There is nothing to acknowledge"
    )
    assert refusal(lambda: shelve(notice, NOW + HOUR, "painters", "ann", NOW, at_most=DAY)) == (
        "alarm 0123456789: 'humidity high' is a notice, which is told once. There is nothing to shelve"
    )


def test_nobody_acknowledges_twice():
    seen = replace(acknowledge(raised(), "ann", NOW).alarm, id="0123456789")
    assert refusal(lambda: acknowledge(seen, "bob", NOW + HOUR)) == (
        "alarm 0123456789: 'humidity high' is acknowledged already: ann acknowledged it 2026-01-05T00:00:00Z. "
        "There is nothing left to do"
    )


@pytest.mark.parametrize(("until", "said"), [(0, "2026-01-05T00:00:00Z"), (DAY + 1, "2026-01-06T00:00:00.001Z")])
def test_a_shelf_ends_later_than_now_and_not_too_late(until, said):
    alarm = replace(raised(), id="0123456789")
    assert refusal(lambda: shelve(alarm, NOW + until, "painters", "ann", NOW, at_most=DAY)) == (
        f"alarm 0123456789: 'humidity high' can't be shelved until {said}. "
        "Give a later time than now; an alarm is shelved for at most 24 h, until 2026-01-06T00:00:00Z"
    )


def test_nothing_is_shelved_without_a_reason():
    alarm = replace(raised(), id="0123456789")
    assert refusal(lambda: shelve(alarm, NOW + HOUR, "  ", "ann", NOW, at_most=DAY)) == (
        "alarm 0123456789: 'humidity high' is not shelved without a reason. Say why: --reason \"painters are at work\""
    )


# --- priorities ---


def test_high_is_worse_than_medium_and_medium_than_low():
    pairs = [(one, other) for one in Priority for other in Priority if worse(one, other)]
    assert pairs == [(MEDIUM, LOW), (HIGH, LOW), (HIGH, MEDIUM)]
    assert (most_pressing([LOW, HIGH, MEDIUM]), most_pressing([])) == (HIGH, LOW)
