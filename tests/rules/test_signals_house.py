"""What sensors and the house have to tell: the table of conditions and its edges."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from monitor.basis.alarm import HOUSE, Alarm, Priority, Signal
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.config.alarms import Patience
from monitor.rules.alarm import whats
from monitor.rules.alarm.alarms import Change, step
from monitor.rules.alarm.signals_house import CHECK_AHEAD, LINK_AFTER, Failure, House, Link, Vitals, house, sensors

NOW = 1_767_571_200_000  # 2026-01-05T00:00Z
LOW, MEDIUM, HIGH = Priority
PATIENCE = Patience()
SILENT_AFTER = PATIENCE.silent_after
SETTLED = SILENT_AFTER + 10 * MINUTE  # with the time that its neighbours get


def sensor(name: str = "a", **more: object) -> Vitals:
    known: dict[str, object] = {
        "stream": f"mill/{name}", "place": "hall", "placed": NOW - 9 * DAY, "hold": 30 * MINUTE, "jobs": ("hall wall",),
        "broker": "broker", "heard": NOW - MINUTE,
    }  # fmt: skip
    return Vitals(sensor=name, **{**known, **more})  # type: ignore[arg-type]


def seen(*vitals: Vitals, links: tuple[Link, ...] = (), stakes: Mapping[str, Priority] | None = None) -> list[Signal]:
    return list(sensors(vitals, links, {"hall wall": HIGH} if stakes is None else stakes, NOW, PATIENCE))


def raised(*vitals: Vitals, **more: object) -> list[str]:
    return [signal.what for signal in seen(*vitals, **more) if not signal.inhibited]  # type: ignore[arg-type]


# --- silent ---


def test_a_sensor_that_speaks_has_nothing_to_tell():
    assert seen(sensor()) == []


def test_exactly_the_patience_is_not_silent_yet():
    assert seen(sensor(heard=NOW - SILENT_AFTER)) == []
    assert [signal.what for signal in seen(sensor(heard=NOW - SILENT_AFTER - 1))] == [whats.SILENT]


def test_a_silence_is_raised_once_its_neighbours_have_had_the_time_to_show_that_they_are_silent_too():
    assert raised(sensor(heard=NOW - SETTLED + 1)) == []
    assert raised(sensor(heard=NOW - SETTLED)) == [whats.SILENT]


def test_all_behind_one_gateway_are_raised_in_one_look():
    # Last words over the five minutes of the grouping: the first one's time has come, so has everybody's.
    vitals = [sensor(f"s{n}", heard=NOW - SETTLED + n * MINUTE) for n in range(6)]
    assert raised(*vitals) == [whats.SILENT] * 6
    assert raised(*vitals[1:]) == []


def test_a_sensor_with_a_long_hold_is_silent_after_that():
    assert seen(sensor(hold=4 * HOUR, heard=NOW - 4 * HOUR)) == []
    assert raised(sensor(hold=4 * HOUR, heard=NOW - 6 * HOUR)) == [whats.SILENT]


def test_a_sensor_that_never_spoke_is_silent_since_it_was_put_there():
    (signal,) = seen(sensor(heard=None, placed=NOW - DAY))
    assert (signal.since, signal.facts["ever"], signal.facts["last_heard"]) == (NOW - DAY, False, None)


def test_words_from_before_it_was_put_there_do_not_count():
    assert seen(sensor(heard=NOW - 9 * DAY, placed=NOW - MINUTE)) == []


def test_a_silence_belongs_to_the_sensor_and_names_what_hangs_on_it():
    (signal,) = seen(sensor(heard=NOW - 2 * HOUR))
    assert signal.key == (whats.SILENT, HOUSE, "a")
    assert signal.since == NOW - 2 * HOUR
    assert signal.facts == {
        "place": "hall", "broker": "broker", "root": "mill", "jobs": ["hall wall"], "alone": True,
        "last_heard": NOW - 2 * HOUR, "hold_ms": 30 * MINUTE, "ever": True,
    }  # fmt: skip


def test_a_silence_is_as_pressing_as_what_its_jobs_would_lose_and_low_where_another_speaks():
    quiet = {"heard": NOW - 2 * HOUR, "jobs": ("attic wall", "hall wall")}
    stakes = {"attic wall": LOW, "hall wall": HIGH}
    assert [signal.priority for signal in seen(sensor(**quiet), stakes=stakes)] == [HIGH]
    assert [signal.priority for signal in seen(sensor(alone=False, **quiet), stakes=stakes)] == [LOW]
    assert [signal.priority for signal in seen(sensor(**quiet), stakes={})] == [LOW]


def test_a_link_that_is_down_inhibits_the_silences_behind_it_and_no_others():
    down = Link("broker", down_since=NOW - HOUR)
    quiet = sensor(heard=NOW - 2 * HOUR)
    assert [signal.inhibited for signal in seen(quiet, links=(down,))] == [True]
    assert [signal.inhibited for signal in seen(sensor(heard=NOW - 2 * HOUR, broker="other"), links=(down,))] == [False]


def test_a_link_that_came_back_leaves_its_sensors_the_time_to_speak():
    quiet = sensor(heard=NOW - 2 * HOUR)
    assert raised(quiet, links=(Link("broker", up_since=NOW - SILENT_AFTER + 1),)) == []
    assert raised(quiet, links=(Link("broker", up_since=NOW - SILENT_AFTER),)) == [whats.SILENT]


# --- flat, battery, check ---


def test_a_sensor_that_stands_still_is_flat_since_then():
    (signal,) = seen(sensor(flat_since=NOW - DAY))
    assert (signal.what, signal.since, signal.priority) == (whats.FLAT, NOW - DAY, HIGH)


def test_what_is_silent_is_not_flat_besides():
    assert [s.what for s in seen(sensor(heard=NOW - DAY, flat_since=NOW - 2 * DAY))] == [whats.SILENT]


def test_a_battery_is_low_below_the_limit_and_not_at_it():
    assert seen(sensor(battery=22.0)) == []
    assert [one.holds for one in seen(sensor(battery=20.0))] == [True]  # within the dead band: raises nothing
    (signal,) = seen(sensor(battery=19.9))
    assert (signal.what, signal.priority, signal.holds) == (whats.BATTERY_LOW, LOW, False)
    assert (signal.facts["battery"], signal.facts["limit"]) == (19.9, 20.0)


def test_a_check_is_asked_for_two_weeks_before_it_runs_out_and_again_when_it_has():
    until = NOW + CHECK_AHEAD
    assert seen(sensor(check_until=until + 1)) == []
    (ahead,) = seen(sensor(check_until=until))
    assert (ahead.what, ahead.since, ahead.notice, ahead.facts["run_out"]) == (whats.CHECK_DUE, NOW, True, False)
    (over,) = seen(sensor(check_until=NOW))
    assert (over.since, over.notice, over.facts["run_out"]) == (NOW, True, True)


# --- the house ---


def told(stakes: Mapping[str, Priority] | None = None, told_from: int = NOW - DAY, **fares: object) -> list[Signal]:
    return list(house(House(**fares), stakes or {}, NOW, PATIENCE, told_from))  # type: ignore[arg-type]


def test_a_house_that_fares_well_has_nothing_to_tell():
    assert told(links=[Link("broker", up_since=NOW)], free=10**12) == []


def test_a_link_is_told_after_five_minutes_as_pressing_as_what_hangs_on_it():
    assert told(links=[Link("broker", down_since=NOW - LINK_AFTER + 1)]) == []
    (signal,) = told(links=[Link("broker", down_since=NOW - LINK_AFTER, error="refused")])
    assert (signal.key, signal.priority) == ((whats.LINK_DOWN, HOUSE, "broker"), MEDIUM)
    assert (signal.since, signal.facts) == (NOW - LINK_AFTER, {"error": "refused"})
    (signal,) = told({"hall wall": HIGH}, links=[Link("broker", down_since=NOW - HOUR)])
    assert signal.priority is HIGH


@pytest.mark.parametrize(
    ("kind", "what", "priority"),
    [("seals", whats.SEAL_FAILED, MEDIUM), ("backups", whats.BACKUP_FAILED, MEDIUM), ("works", whats.WORK_FAILED, LOW)],
)
def test_what_failed_is_told_by_its_name(kind, what, priority):
    (signal,) = told(**{kind: [Failure("nightly", NOW - HOUR, "disk full")]})
    assert (signal.key, signal.since, signal.priority) == ((what, HOUSE, "nightly"), NOW - HOUR, priority)
    assert signal.facts == {"name": "nightly", "error": "disk full"}


def test_a_disk_fills_up_below_the_limit_and_is_high_below_a_quarter_of_it():
    limit = PATIENCE.disk_below
    assert told(free=round(1.1 * limit)) == []
    assert [signal.holds for signal in told(free=limit)] == [True]  # within the dead band: raises nothing
    assert [signal.priority for signal in told(free=limit - 1)] == [MEDIUM]
    assert [signal.priority for signal in told(free=limit // 4 - 1)] == [HIGH]


@pytest.mark.parametrize(("what", "near"), [("free", 1_000_000_000), ("battery", 20.0)])
def test_noise_around_a_limit_gives_one_alarm_and_one_change(what, near):
    kept: dict[str, Alarm] = {}
    changes: list[Change] = []
    for n in range(60):
        value = near * (0.995 if n % 3 == 1 else 1.005)
        signals = told(free=round(value)) if what == "free" else seen(sensor(battery=value))
        changes += step(list(kept.values()), signals, NOW + n * MINUTE, PATIENCE)
        kept.update((one.alarm.id, one.alarm) for one in changes)
    assert [one.transition for one in changes] == ["raised"]


def test_an_absence_is_a_notice_if_it_was_longer_than_a_sensor_may_be_silent():
    begin = NOW - 3 * HOUR
    assert told(away=[(begin, begin + SILENT_AFTER - 1)]) == []
    (signal,) = told(away=[(begin, begin + SILENT_AFTER)])
    assert (signal.what, signal.since, signal.notice) == (whats.AWAY, begin, True)
    assert signal.facts == {"from": begin, "to": begin + SILENT_AFTER}


def test_of_several_absences_the_last_is_told_and_none_that_is_long_past():
    long_ago, lately = (NOW - 3 * DAY, NOW - 2 * DAY), (NOW - 9 * HOUR, NOW - 7 * HOUR)
    assert [signal.since for signal in told(away=[long_ago, lately])] == [lately[0]]
    assert told(away=[long_ago]) == []
