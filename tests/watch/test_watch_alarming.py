"""The look: what is told of rooms in trouble, once and in one commit, whatever restarts, races or breaks."""

from __future__ import annotations

import math
from dataclasses import replace
from unittest import mock

import pytest
from desks import T0, furnish, hear, kinds, opening, steady
from watching import OFFICE, events, every, humid, later, looks, messages, set_clock, steps, subjects, told_desk

from monitor.basis.alarm import MQTT, Priority, Signal, Standing
from monitor.basis.errors import RecordError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import LIVE, SENSORS_CHAIN, SIMULATED, Kind, Quantity, Reading
from monitor.keep.rows import Doing, Scheduled
from monitor.rules.alarm import whats
from monitor.tell.alarm.alarm_facts import how_bad
from monitor.watch import alarm_acts
from monitor.watch.alarm_acts import acknowledge_alarms, named, send_test, shelve_alarm, unshelve_alarm
from monitor.watch.book import Book
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import close_job, open_job
from monitor.watch.papers.shown import display
from monitor.watch.sensing.sensors import MAKER, add_sensor, assign_sensor, release_sensor
from monitor.watch.service import alarming, sight
from monitor.watch.service.alarming import Memory, look, note_settings, states_of
from monitor.watch.standing import standing_alarms

WET = T0 + 30 * HOUR


@pytest.fixture
def home(tmp_path, sit_down):  # sit_down has made it
    return tmp_path / "home"


@pytest.fixture
def desk(home, sit_down):
    """The den, whose boxes came at T0, and an office that is told."""
    told = told_desk(home, sit_down)
    furnish(told)
    return told


def soak(desk, hours=3.0, by=22.0):
    """Air in band for 30 hours, then too damp for some, then in band again for 6."""
    hear(desk, steady(T0, 30))
    hear(desk, humid(steady(WET, hours), by))
    hear(desk, steady(WET + round(hours * HOUR), 6))


def finish(desk, at=T0 + HOUR):
    set_clock(desk, at)
    install(desk, "den", Installing(at - 30 * MINUTE, at, not_ready=True, reason="guests"), who="robin")


# --- rooms in trouble ------------------------------------------------------------------------------


def test_a_damp_spell_is_raised_after_the_on_delay_told_once_and_told_when_it_has_returned(desk):
    soak(desk)
    found = steps(looks(desk, every(WET, WET + 4 * HOUR)))
    damp = [transition for what, transition in found if what == whats.HUMIDITY_HIGH]
    assert damp == ["raised", "escalated", "returned"]
    of_it = [one for one in subjects(desk) if "too damp" in one]
    assert of_it == ["URGENT: air too damp, den", "Over: air too damp, den"]
    [alarm] = [one for one in desk.store.alarms() if one.what == whats.HUMIDITY_HIGH]
    assert (alarm.since, alarm.standing, alarm.returned) == (WET, Standing.RETURNED, WET + 3 * HOUR)


def test_an_opened_door_is_told_to_nobody(desk):
    soak(desk, hours=0.2)
    assert looks(desk, every(WET, WET + 90 * MINUTE, 10 * MINUTE)) == []
    assert messages(desk) == messages(desk, MQTT) == []


def test_a_burst_pipe_behind_a_finished_wall_is_urgent(desk):
    finish(desk)
    soak(desk, by=43.0)
    looks(desk, every(WET, WET + 2 * HOUR))
    [urgent] = [one for one in messages(desk) if one.subject.startswith("URGENT")]
    assert urgent.subject == "URGENT: sudden damp, maybe water, den"
    assert "Mind: Keep out of the water until the power is off" in urgent.text


def test_a_dry_winter_is_one_notice_however_often_the_air_crosses_the_limit(desk):
    finish(desk)
    hear(desk, steady(T0, 48, step=20))
    for day in range(2, 30):  # by day 32 %, at night 42 %
        hear(desk, humid(steady(T0 + day * DAY, 12, step=20), -18.0))
        hear(desk, humid(steady(T0 + day * DAY + 12 * HOUR, 12, step=20), -8.0))
    looks(desk, every(T0 + 2 * DAY, T0 + 29 * DAY, 60 * HOUR))
    assert [one for one in subjects(desk) if "too dry" in one] == []  # all have expired by now, so:
    told = [one for one in desk.store.alarm_history() if one.what == whats.HUMIDITY_LOW]
    assert [(one.notice, one.priority) for one in told] == [(True, Priority.LOW)]
    raised = [e for e in desk.store.entries("den") if e.kind is Kind.ALARM and e.body["what"] == whats.HUMIDITY_LOW]
    assert [entry.body["transition"] for entry in raised] == ["raised"]


def test_a_gateway_that_is_out_is_one_message_of_all_its_sensors(desk):
    hear(desk, steady(T0, 30))
    for number in range(5):
        name = f"far-{number}"
        add_sensor(desk, name, f"site/{name}/climate", hold=30 * MINUTE, uncertainty=MAKER, who="robin")
        assign_sensor(desk, name, "den", at=T0, facts={}, who="robin")
        hear(desk, steady(T0, 30), stream=f"site/{name}/climate")
    looks(desk, every(WET + 40 * MINUTE, WET + 80 * MINUTE, 10 * MINUTE))
    [told] = [one for one in messages(desk) if "silent" in one.subject]
    assert told.subject.endswith("6 sensors silent, all below site")
    assert told.jobs == ("den",)


def test_a_sensor_that_stands_still_is_told(desk):
    hear(desk, [row._replace(temperature=21.0, humidity=50.0) for row in steady(T0, 12)])
    looks(desk, [T0 + 12 * HOUR])
    assert [one for one in subjects(desk) if "stuck" in one] == [
        "Alarm: sensor stuck on one number, sensor shelf in den"
    ]


def test_a_battery_that_is_low_is_told_with_what_is_left(desk):
    hear(desk, steady(T0, 12))
    at = T0 + 11 * HOUR
    charge = Reading("site/shelf/climate", Quantity.BATTERY, at, 0.129, "1", at, LIVE)
    desk.store.keep_readings([charge])
    looks(desk, [T0 + 12 * HOUR])
    [told] = [one for one in messages(desk) if "battery" in one.subject]
    assert "How bad: 12 % left\n" in told.text


def test_a_check_that_runs_out_is_a_notice(desk):
    hear(desk, steady(T0 + 360 * DAY, 12))
    looks(desk, [T0 + 360 * DAY + 12 * HOUR])
    assert "Note: instrument check due, sensor shelf in den" in subjects(desk)


def test_care_that_falls_due_is_a_notice(desk):
    finish(desk)
    hear(desk, steady(T0 + 40 * DAY, 12))
    looks(desk, [T0 + 40 * DAY + 12 * HOUR])
    assert "Note: care due, den" in [one.subject.partition(", ")[0] + ", den" for one in messages(desk)]


# --- the house -------------------------------------------------------------------------------------


def test_a_broker_that_is_away_is_told_and_not_each_sensor_behind_it(desk):
    hear(desk, steady(T0, 30))
    set_clock(desk, WET)
    number = desk.store.wake()

    def linked(up: bool, since: int) -> None:
        desk.store.stay_awake(number, {"links": [{"connected": up, "since": since, "last_error": "it is gone"}]})

    for at in every(WET, WET + 90 * MINUTE, 10 * MINUTE):
        set_clock(desk, at)
        linked(False, WET)
        look(desk)
    assert subjects(desk) == ["URGENT: broker out of reach, broker 127.0.0.1:1883"]
    assert "How bad: it is gone\n" in messages(desk)[0].text
    hear(desk, steady(WET + 2 * HOUR, 3))
    for at in every(WET + 2 * HOUR, WET + 4 * HOUR, 20 * MINUTE):
        set_clock(desk, at)
        linked(True, WET + 2 * HOUR)
        look(desk)
    assert [one for one in subjects(desk) if "silent" in one] == []
    assert "Over: broker out of reach, broker 127.0.0.1:1883" in subjects(desk)


@pytest.mark.parametrize(
    ("name", "what", "told"),
    [
        ("seal", whats.SEAL_FAILED, "sealing failed, this wallclime"),
        ("backup", whats.BACKUP_FAILED, "backup failed, this wallclime"),
        ("board", whats.WORK_FAILED, "scheduled work failed, this wallclime, board"),
    ],
)
def test_scheduled_work_that_fails_is_told_by_what_it_is(desk, name, what, told):
    failed = Scheduled(name, Doing.FAILED, T0, None, T0 + MINUTE, "it can't be written", None)
    set_clock(desk, T0 + 20 * MINUTE)
    changes = look(desk, Memory(), lambda: [failed])
    assert steps(changes) == [(what, "raised")]
    assert subjects(desk)[0].endswith(told)
    assert "How bad: it can't be written\n" in messages(desk)[0].text
    assert "it can't be written" not in str(messages(desk, MQTT))
    set_clock(desk, T0 + 50 * MINUTE)
    assert steps(look(desk, Memory(), lambda: [failed._replace(state=Doing.DONE)])) == [(what, "returned")]


def test_work_that_only_a_wall_keeps_from_its_end_is_told_by_the_wall_alone(desk):
    failed = Scheduled("judge", Doing.FAILED, T0, None, T0 + MINUTE, "a job can't be judged", None)
    assert look(desk, Memory(), lambda: [failed]) == []


def test_a_disk_that_fills_is_told(home, sit_down):
    desk = told_desk(home, sit_down, '[alarm]\ndisk_below = "1 TB"\n' + OFFICE)
    look(desk)
    assert subjects(desk) == ["URGENT: disk filling up, this wallclime"]


def test_that_nobody_listened_is_a_notice_once(desk):
    hear(desk, steady(T0, 30))
    set_clock(desk, T0)
    desk.store.wake()
    set_clock(desk, T0 + 20 * HOUR)
    number = desk.store.wake()
    for at in every(T0 + 20 * HOUR, T0 + 22 * HOUR):
        set_clock(desk, at)
        desk.store.stay_awake(number, {})
        look(desk)
    assert [one for one in subjects(desk) if "recorder" in one] == ["Note: the recorder was away, this wallclime"]


# --- once ------------------------------------------------------------------------------------------


def test_a_restart_announces_nothing_again(desk, sit_down):
    soak(desk)
    looks(desk, every(WET, WET + HOUR))
    told, log = subjects(desk), kinds(desk)
    for _ in range(3):
        again = sit_down()
        note_settings(again)
        assert look(again) == []
    assert (subjects(desk), kinds(desk)) == (told, log)


def test_a_look_that_remembers_nothing_finds_the_same(home, sit_down):
    desk = told_desk(home, sit_down)
    furnish(desk)
    soak(desk)
    found, times = [], every(WET, WET + 4 * HOUR)
    for number, at in enumerate(times):
        set_clock(desk, at)
        found += look(desk, None if number % 2 else Memory())
    assert [one for one in steps(found) if one[0] == whats.HUMIDITY_HIGH] == [
        (whats.HUMIDITY_HIGH, each) for each in ("raised", "escalated", "returned")
    ]
    assert (whats.RESTARTED, "raised") in steps(found)


def test_a_job_that_heard_nothing_new_is_not_judged_again_for_some_minutes(desk, monkeypatch):
    hear(desk, steady(T0, 30))
    judged = []
    monkeypatch.setattr(sight, "assess_in_round", lambda at, job, *more: judged.append(job) or ASSESS(at, job, *more))
    looks(desk, every(WET, WET + 12 * MINUTE, MINUTE))
    assert len(judged) == 3  # at 0, 5 and 10 min


ASSESS = sight.assess_in_round


def test_what_ended_before_the_first_look_is_no_news(home, sit_down):
    desk = told_desk(home, sit_down, at=WET + 6 * HOUR)
    furnish(desk)
    soak(desk)
    found = looks(desk, [WET + 6 * HOUR])
    assert whats.HUMIDITY_HIGH not in {one.alarm.what for one in found}


def test_a_daemon_that_first_looked_with_a_clock_a_year_ahead_tells_of_all_once_it_is_set_right(home, sit_down):
    desk = told_desk(home, sit_down, at=T0 + 365 * DAY)
    looks(desk, [T0 + 365 * DAY])
    set_clock(desk, T0)
    furnish(desk)
    hear(desk, steady(T0, 60))
    found = looks(desk, every(T0 + 46 * HOUR, T0 + 50 * HOUR))
    assert next(one for one in steps(found) if one[0] == whats.COMPLETE) == (whats.COMPLETE, "raised")
    assert len([one for one in found if one.alarm.what == whats.COMPLETE and one.tells]) == 1


def test_an_alarm_that_was_raised_with_a_clock_a_year_ahead_returns_once_it_is_set_right(desk):
    soak(desk)
    looks(desk, [WET + HOUR])
    ahead = WET + 365 * DAY
    looks(desk, [ahead])
    found = looks(desk, every(WET + 2 * HOUR, WET + 4 * HOUR))
    assert (whats.HUMIDITY_HIGH, "returned") in steps(found)
    assert all(one.raised <= WET + 4 * HOUR for one in desk.store.alarms())


def test_two_that_look_at_once_tell_it_once(desk, monkeypatch):
    soak(desk)
    set_clock(desk, WET + HOUR)
    first = []

    def meanwhile(*said):
        if not first:
            first.append(True)
            monkeypatch.setattr(alarming, "vitals_of", VITALS)
            first.append(steps(look(desk)))
        return VITALS(*said)

    monkeypatch.setattr(alarming, "vitals_of", meanwhile)
    assert look(desk) == []
    assert (whats.HUMIDITY_HIGH, "raised") in first[1]
    assert sum("too damp" in one for one in subjects(desk)) == 1


VITALS = alarming.vitals_of


def moved(*_said, **_more):
    raise alarming.MovedError


def test_two_daemons_that_never_let_each_other_end_are_told_so(desk, monkeypatch):
    soak(desk)
    set_clock(desk, WET + HOUR)
    monkeypatch.setattr(alarming, "record", moved)
    with pytest.raises(RecordError) as refused:
        look(desk)
    assert str(refused.value) == "alarms: others record alarms all the time. Run one wallclime serve on this store"


def test_a_wall_that_cannot_be_judged_stops_no_other_and_is_told(desk, monkeypatch):
    open_job(desk, opening("attic"), who="robin")
    soak(desk)

    def breaks(at, job, *more):
        if job == "attic":
            raise ZeroDivisionError("a fault of ours")
        return ASSESS(at, job, *more)

    monkeypatch.setattr(sight, "assess_in_round", breaks)
    found = steps(looks(desk, every(WET, WET + HOUR)))
    assert (whats.UNJUDGED, "raised") in found
    assert (whats.HUMIDITY_HIGH, "raised") in found
    [told] = [one for one in messages(desk) if "attic" in one.jobs]
    assert told.subject == "Alarm: wall can't be judged, attic"
    assert "How bad: a fault of ours\n" in told.text
    monkeypatch.undo()
    assert (whats.UNJUDGED, "returned") in steps(looks(desk, [WET + 2 * HOUR]))


def test_a_wall_of_which_nothing_can_be_told_stops_no_other_either(desk, monkeypatch):
    open_job(desk, opening("attic"), who="robin")
    soak(desk)

    def breaks(one):
        if one.found.job == "attic":
            raise ValueError("no air of a room")
        return SIGNALS(one)

    monkeypatch.setattr(sight, "signals_of", breaks)
    found = steps(looks(desk, [WET + HOUR]))
    assert {(whats.UNJUDGED, "raised"), (whats.HUMIDITY_HIGH, "raised")} <= set(found)


SIGNALS = sight.signals_of


def test_a_job_that_is_closed_ends_its_alarms_without_a_word(desk):
    soak(desk)
    looks(desk, every(WET, WET + HOUR))
    told = len(messages(desk))
    close_job(desk, "den", who="robin", at=None, reason="sold")
    found = looks(desk, [WET + HOUR + MINUTE])
    assert (whats.HUMIDITY_HIGH, "over") in steps(found)
    assert len(messages(desk)) == told
    assert [one for one in desk.store.alarms() if one.job == "den"] == []


@pytest.mark.parametrize("leave", ["released", "closed", "moved"])
def test_a_sensor_that_leaves_is_over_without_a_word(desk, leave):
    hear(desk, steady(T0, 30))
    assert (whats.SILENT, "raised") in steps(looks(desk, every(WET, WET + 2 * HOUR)))
    told = len(messages(desk))
    if leave == "closed":
        close_job(desk, "den", who="robin", at=None, reason="sold")
    elif leave == "moved":
        open_job(desk, opening("attic"), who="robin")
        release_sensor(desk, "shelf", at=WET + 2 * HOUR, who="robin")
        assign_sensor(desk, "shelf", "attic", at=WET + 2 * HOUR, facts={}, who="robin")
    else:
        release_sensor(desk, "shelf", at=WET + 2 * HOUR, who="robin")
    found = steps(looks(desk, every(WET + 2 * HOUR + MINUTE, WET + 3 * HOUR, 10 * MINUTE)))
    assert [one for one in found if one[0] == whats.SILENT] == [(whats.SILENT, "over")]
    assert "silent" not in str(subjects(desk)[told:])
    [gone] = [one for one in desk.store.alarm_history() if one.what == whats.SILENT and not one.standing.active]
    assert how_bad(gone, display(desk, "den")) == "it no longer stands there"


def test_a_sensor_that_speaks_again_is_told_with_since_when(desk):
    hear(desk, steady(T0, 30))
    looks(desk, every(WET, WET + 2 * HOUR))
    hear(desk, steady(WET + 2 * HOUR, 3))
    looks(desk, every(WET + 2 * HOUR + 10 * MINUTE, WET + 4 * HOUR))
    [over] = [one for one in messages(desk) if one.subject.startswith("Over: sensor silent")]
    assert "How bad: it speaks again since 2026-01-06" in over.text


def test_while_its_wall_cannot_be_judged_a_silent_sensor_stays_silent(desk, monkeypatch):
    hear(desk, steady(T0, 30))
    looks(desk, every(WET, WET + 2 * HOUR))
    monkeypatch.setattr(sight, "assess_in_round", lambda _at, _job, *_more: 1 / 0)
    found = steps(looks(desk, every(WET + 3 * HOUR, WET + 4 * HOUR)))
    assert whats.SILENT not in [what for what, transition in found if transition in ("over", "returned")]


@pytest.mark.parametrize("what", ["job", "building"])
def test_a_job_that_cannot_be_read_stops_no_alarm_of_another(desk, monkeypatch, what):
    open_job(desk, opening("attic"), who="robin")
    soak(desk)
    read = getattr(Book, what)

    def breaks(book, job):
        if job == "attic":
            raise KeyError("zone")
        return read(book, job)

    monkeypatch.setattr(Book, what, breaks)
    assert (whats.HUMIDITY_HIGH, "raised") in steps(looks(desk, [WET + HOUR]))
    assert "too damp, den" in str(subjects(desk))


def test_a_log_that_cannot_be_read_is_a_wall_that_cannot_be_judged(desk, monkeypatch):
    open_job(desk, opening("attic"), who="robin")
    soak(desk)
    read = Book.log

    def breaks(book, job):
        if job == "attic":
            raise KeyError("zone")
        return read(book, job)

    monkeypatch.setattr(Book, "log", breaks)
    found = looks(desk, [WET + HOUR])
    assert {(whats.UNJUDGED, "raised"), (whats.HUMIDITY_HIGH, "raised")} <= set(steps(found))
    [told] = [one for one in messages(desk) if "attic" in one.jobs]
    assert told.subject == "Alarm: wall can't be judged, attic"


def test_neighbours_are_compared_once_a_day_of_the_job(desk):
    hear(desk, steady(T0, 50))
    memory = Memory()
    with mock.patch("monitor.watch.service.sight.drifts", return_value=()) as compared:
        looks(desk, [T0 + hour * HOUR for hour in range(1, 26)], memory)
    assert compared.call_count == 2  # at the first look, and once in the 24 h after it


def test_what_is_remembered_of_a_job_goes_when_it_is_closed(desk):
    hear(desk, steady(T0, 30))
    memory = Memory()
    looks(desk, [WET], memory)
    assert set(memory.seen) == set(memory.drifts) == {"den"}
    close_job(desk, "den", who="robin", at=None, reason="sold")
    looks(desk, [WET + MINUTE], memory)
    assert (memory.seen, memory.drifts) == ({}, {})


def test_care_that_was_due_before_anybody_was_told_here_is_listed_and_told_by_the_digest_alone(home, sit_down):
    desk = sit_down()
    furnish(desk)
    finish(desk)
    desk = told_desk(home, sit_down, at=T0 + 400 * DAY)
    hear(desk, steady(T0 + 400 * DAY - HOUR, 1))
    found = looks(desk, [T0 + 400 * DAY])
    assert [one for one in steps(found) if one[0] in (whats.CARE_DUE, whats.INSPECTION_DUE)] != []
    assert [one for one in subjects(desk) if "due" in one and "check" not in one] == []
    assert [one for one in desk.store.alarms() if one.what == whats.CARE_DUE] != []


# --- what is recorded ------------------------------------------------------------------------------


def test_entries_alarm_and_messages_say_the_same(desk):
    soak(desk)
    changes = looks(desk, every(WET, WET + HOUR))
    entries = [entry for entry in desk.store.entries("den") if entry.kind is Kind.ALARM]
    assert [(e.body["alarm"], e.body["transition"], e.who) for e in entries] == [
        (one.alarm.id, one.transition, "wallclime") for one in changes if one.alarm.job == "den"
    ]
    assert events(desk) == [one.transition for one in changes]
    assert all(one.jobs == ("den",) and one.alarms for one in messages(desk))


def test_the_figures_of_an_alarm_that_stands_are_those_of_now(desk):
    soak(desk)
    looks(desk, every(WET, WET + 2 * HOUR))
    [alarm] = [one for one in desk.store.alarms() if one.what == whats.HUMIDITY_HIGH]
    assert alarm.facts["outside_ms"] == 2 * HOUR


def test_a_figure_that_is_no_number_stops_no_alarm(desk, monkeypatch):
    facts = {"limit": 5.0, "value": math.nan, "beside": [math.inf, {"a": (1.0, "b")}]}
    seen = Signal(whats.FROST, "den", "den", T0, Priority.HIGH, facts)
    monkeypatch.setattr(sight, "signals_of", lambda _look: (seen,))
    looks(desk, [T0 + HOUR])
    [alarm] = desk.store.alarms()
    assert alarm.facts == {"limit": 5.0, "value": None, "beside": [None, {"a": [1.0, "b"]}]}
    assert "How bad: the limit is 5.0 degC\n" in messages(desk)[0].text


def test_quiet_hours_hold_back_what_is_not_high_and_say_as_of_when_it_is(home, sit_down):
    desk = told_desk(home, sit_down, OFFICE + 'quiet = ["22:00", "06:30"]\n', at=T0)
    furnish(desk)
    hear(desk, steady(T0, 5))
    hear(desk, humid(steady(T0 + 5 * HOUR, 6), 22.0))  # from 05:00 on
    looks(desk, every(T0 + 5 * HOUR, T0 + 6 * HOUR, 10 * MINUTE))
    assert messages(desk) == []
    [told] = [one for one in later(desk) if "too damp" in one.subject]
    assert told.not_before == T0 + 6 * HOUR + 30 * MINUTE
    assert "Kept back for your quiet hours: so it was 2026-01-05 05:30 +00:00.\n" in told.text


def test_what_came_and_went_in_quiet_hours_is_told_once_as_over(home, sit_down):
    desk = told_desk(home, sit_down, OFFICE + 'quiet = ["22:00", "09:00"]\n', at=T0)
    furnish(desk)
    hear(desk, steady(T0, 3))
    hear(desk, humid(steady(T0 + 3 * HOUR, 0.9), 22.0))
    hear(desk, steady(T0 + 3 * HOUR + 54 * MINUTE, 4))
    looks(desk, every(T0 + 3 * HOUR, T0 + 6 * HOUR))
    assert [one.subject for one in later(desk) if "too damp" in one.subject] == ["Over: air too damp, den"]


def test_contacts_hear_of_their_jobs_and_a_second_one_of_what_nobody_acknowledged(home, sit_down):
    several = OFFICE + 'jobs = ["attic"]\n[[contact]]\nname = "site"\n[[contact]]\nname = "boss"\nsecond = true\n'
    desk = told_desk(home, sit_down, several)
    furnish(desk)
    soak(desk)
    looks(desk, every(WET, WET + 2 * HOUR))
    assert [one for one in subjects(desk, "office") if "damp" in one] == []
    assert any("too damp" in one for one in subjects(desk, "site"))
    assert subjects(desk, "boss") == ["URGENT, nobody answered: air too damp, den"]


def test_a_second_contact_is_told_who_answered_and_nobody_else_is(home, sit_down):
    desk = told_desk(home, sit_down, OFFICE + '[[contact]]\nname = "boss"\nsecond = true\n')
    furnish(desk)
    soak(desk)
    looks(desk, every(WET, WET + 2 * HOUR))
    before = len(messages(desk))
    acknowledge_alarms(desk, (), "Ada")
    *_, told = messages(desk, "boss")
    assert (told.subject, told.kind) == ("Seen by Ada: air too damp, den", "seen")
    assert told.text.splitlines()[:2] == ["Seen by Ada: air too damp", "Where: den"]
    assert "To do" not in told.text
    assert "alarm ack" not in told.text
    assert len(messages(desk)) == before


def test_what_was_passed_on_to_nobody_is_acknowledged_without_a_word(home, sit_down):
    desk = told_desk(home, sit_down, OFFICE + '[[contact]]\nname = "boss"\nsecond = true\n')
    furnish(desk)
    soak(desk)
    looks(desk, [WET + 40 * MINUTE])
    acknowledge_alarms(desk, (), "Ada")
    assert messages(desk, "boss") == []


def test_a_training_job_says_so_in_every_message(home, sit_down):
    desk = told_desk(home, sit_down)
    furnish(desk)
    hear(desk, steady(T0, 30), origin=SIMULATED)
    hear(desk, humid(steady(WET, 3), 22.0), origin=SIMULATED)
    looks(desk, every(WET, WET + HOUR))
    assert all("This is a training job" in one.text for one in messages(desk) if one.jobs == ("den",))


def test_the_state_of_each_open_job_is_there_for_machines(desk):
    open_job(desk, opening("attic"), who="robin")
    soak(desk)
    memory = Memory()
    looks(desk, every(WET, WET + HOUR), memory)
    states = states_of(desk, memory)
    assert sorted(states) == ["attic", "den"]
    told = states["den"]
    assert {name: told[name] for name in ("job", "verdict", "phase", "room", "required_h", "training", "as_of")} == {
        "job": "den",
        "verdict": "not ready",
        "phase": "before",
        "room": "out",
        "required_h": 48.0,
        "training": False,
        "as_of": "2026-01-06T07:00:00Z",
    }
    assert (whats.HUMIDITY_HIGH, "den") in [(one["what"], one["where"]) for one in told["alarms"]]
    assert states_of(desk, Memory())["den"]["verdict"] is None  # nobody has looked yet


# --- what people do --------------------------------------------------------------------------------


@pytest.fixture
def damp(desk):
    """The den while it is too damp, and the alarm of that."""
    soak(desk)
    looks(desk, every(WET, WET + HOUR))
    return next(one for one in desk.store.alarms() if one.what == whats.HUMIDITY_HIGH)


def test_an_alarm_is_acknowledged_by_the_beginning_of_its_id(desk, damp):
    [found] = acknowledge_alarms(desk, [damp.id[:6].upper()], "robin")
    assert (found.standing, found.acknowledged_by, found.acknowledged_at) == (
        Standing.ACKNOWLEDGED, "robin", WET + HOUR,
    )  # fmt: skip
    assert desk.store.entries("den")[-1].who == "robin"
    assert events(desk).count("acknowledged") == 1
    told = len(messages(desk))
    looks(desk, every(WET + HOUR, WET + 3 * HOUR))
    assert not any("nobody answered" in one.subject for one in messages(desk)[told:])


def test_all_that_wait_are_acknowledged_at_once(desk, damp):
    assert {one.what for one in acknowledge_alarms(desk, [], "robin")} >= {whats.HUMIDITY_HIGH}
    assert acknowledge_alarms(desk, [], "robin") == []


def test_an_id_that_stands_for_none_or_several_is_refused(desk, damp):
    for text, what in (("zzz", "no alarm of that id stands"), ("", "no alarm of that id stands")):
        with pytest.raises(RecordError) as refused:
            acknowledge_alarms(desk, [text], "robin")
        assert str(refused.value) == f"alarm {text!r}: {what}. See wallclime alarm list for their ids"
    both = [replace(damp, id=f"{number}{damp.id[1:]}", where=str(number)) for number in (1, 2)]
    alike = [replace(one, id=f"ffff{number}") for number, one in enumerate(both)]
    with pytest.raises(RecordError) as refused:
        named(alike, "ffff")
    assert str(refused.value) == "alarm 'ffff': several alarms begin so. See wallclime alarm list for their ids"


def test_a_shelved_alarm_is_told_to_nobody_until_its_time(desk, damp):
    found = shelve_alarm(desk, damp.id, WET + 2 * HOUR, "painters are at work", "robin")
    assert (found.shelved_until, found.shelved_by) == (WET + 2 * HOUR, "robin")
    told = len([one for one in messages(desk) if "damp" in one.subject])
    changes = looks(desk, every(WET + HOUR, WET + 2 * HOUR))
    assert (whats.HUMIDITY_HIGH, "unshelved") in steps(changes)
    assert len([one for one in messages(desk) if "damp" in one.subject]) == told + 1


def test_an_alarm_is_taken_off_the_shelf_once(desk, damp):
    shelve_alarm(desk, damp.id, WET + 2 * HOUR, "painters are at work", "robin")
    assert unshelve_alarm(desk, damp.id, "ada").shelved_until is None
    assert desk.store.entries("den")[-1].body["transition"] == "unshelved"
    with pytest.raises(RecordError) as refused:
        unshelve_alarm(desk, damp.id, "ada")
    assert str(refused.value) == f"alarm {damp.id}: it is not shelved. Nothing needs to be done"


def test_who_acts_while_others_record_is_asked_to_try_again(desk, damp, monkeypatch):
    monkeypatch.setattr(alarm_acts, "record", moved)
    with pytest.raises(RecordError) as refused:
        acknowledge_alarms(desk, [damp.id], "robin")
    assert str(refused.value) == "alarms: others record alarms all the time. Give the command again"


def test_a_status_has_a_line_on_what_stands_at_the_job(desk, damp):
    [line] = standing_alarms(desk, "den")
    assert line.startswith("URGENT: air too damp, den, since 2026-01-06 06:00 +00:00: now")
    assert standing_alarms(desk, None) == [line]
    assert standing_alarms(desk, "attic") == []


def test_a_test_goes_to_every_contact_and_the_broker_or_to_one(desk):
    assert [one.contact for one in send_test(desk, None)] == ["office", MQTT]
    [one] = send_test(desk, "office")
    assert (one.kind, one.subject) == ("test", "Test: you are reached")
    assert [each.kind for each in messages(desk)] == ["test"]  # within one millisecond it is the same
    with pytest.raises(RecordError) as refused:
        send_test(desk, "nobody")
    assert str(refused.value) == "alarm test: there is no contact 'nobody'. Contacts are: office"


# --- the settings ----------------------------------------------------------------------------------


def test_a_change_of_the_settings_is_written_down_once(home, sit_down):
    desk = told_desk(home, sit_down)
    assert note_settings(desk) is None
    assert [entry.kind for entry in desk.store.entries(SENSORS_CHAIN)] == [Kind.ALARM_SETTINGS]
    (home / "wallclime.toml").write_text('[alarm]\non_delay_humidity = "45 min"\n', encoding="utf-8")
    changed = note_settings(sit_down())
    assert changed is not None
    was, now = (changed.body[name]["on_delay_humidity_ms"] for name in ("before", "after"))
    assert (was, now) == (30 * MINUTE, 45 * MINUTE)


def test_what_sensors_said_is_not_remembered_and_is_read_anew_for_a_wall_that_need_not_be_judged(desk, monkeypatch):
    soak(desk)
    memory, asked = Memory(), []

    def signals_of(one):
        asked.append({key: recent.t.tolist() for key, recent in one.said.items()})
        return (Signal(whats.FROST, "den", "den", T0, Priority.HIGH, {"limit": 5.0, "value": 1.0}),)

    monkeypatch.setattr(sight, "signals_of", signals_of)
    looks(desk, [WET + HOUR, WET + HOUR + 1], memory)  # the second sees that it was written down
    assert memory.seen["den"].look.said == {}
    monkeypatch.setattr(sight, "assess_in_round", lambda _at, _job, *_more: 1 / 0)  # it is not asked for
    looks(desk, [WET + HOUR + MINUTE], memory)
    assert len(asked) == 3
    assert asked[1] == asked[2]
    assert [len(times) >= 144 for times in asked[2].values()] == [True, True]  # a day of one every 10 min
