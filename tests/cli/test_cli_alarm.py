"""wallclime alarm: what the command line shows and takes, and the line on alarms in a status."""

from __future__ import annotations

import shutil

import pytest
from homes import COLUMNS, DELIVERED, NOON, OPEN_DEN, Home, csv_of, steady

from monitor.basis.clock import SetClock
from monitor.basis.times import HOUR, MINUTE
from monitor.watch.desk import open_desk
from monitor.watch.service.alarming import look, note_settings

FROM = NOON - 2 * HOUR  # too damp from then on
CONTACT = '[[contact]]\nname = "office"\nzone = "America/New_York"\n'


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A den in New York that has been too damp for two hours, and its alarm; to be copied."""
    home = Home(tmp_path_factory.mktemp("damp") / "home")
    home.path.mkdir()
    (home.path / "wallclime.toml").write_text(CONTACT, encoding="utf-8")
    home.done(*OPEN_DEN)
    home.done("log", "deliver", "den", "--at", "2026-01-05T08:00")
    hours = (FROM - DELIVERED) / HOUR
    rows = [*steady(DELIVERED, hours), *steady(FROM, 2, humidity=70.0)]
    home.done("import", "den", home.file("den.csv", csv_of(rows)), "--sensor", "shelf", *COLUMNS, "--zone", "UTC")
    looked(home)
    return home.path


@pytest.fixture
def den(wallclime, made):
    """A copy of it."""
    shutil.copytree(made, wallclime.path)
    return wallclime


def looked(home, at=NOON):
    """Let a daemon look at a home once."""
    home.clock.at_ms = at
    with open_desk(home.path, environ={}, clock=SetClock(at)) as desk:
        note_settings(desk)
        look(desk)


def damp(home):
    return next(one for one in home.done("alarm", "list", "--json").json() if one["what"] == "humidity high")


def test_without_an_alarm_the_list_says_so(wallclime):
    assert wallclime.done("alarm", "list").out == "No alarm stands.\n"
    assert wallclime.done("alarm", "list", "--json").json() == []


def test_the_list_shows_what_stands_in_the_jobs_units_and_zone(den):
    id_ = damp(den)["id"]
    assert den.done("alarm", "list", "den").out.startswith(
        f"{id_}  medium: air too damp, den, since 2026-01-12 05:00 -05:00: now 70.2\n"
        "            %, at worst 70.8 %, the limit is 65.0 %; outside for 2 h\n"
        "            nobody has acknowledged it\n"
        "            > Find where the damp comes from, then dry the room: warm it a\n"
    )


def test_the_list_for_machines_has_times_in_utc(den):
    found = damp(den)
    assert {name: found[name] for name in ("job", "where", "since", "standing", "priority", "returned")} == {
        "job": "den",
        "where": "den",
        "since": "2026-01-12T10:00:00Z",
        "standing": "unacknowledged",
        "priority": "medium",
        "returned": None,
    }


def test_a_status_has_a_line_on_what_stands(den):
    line = "mind: Alarm: air too damp, den, since 2026-01-12 05:00 -05:00: now 70.2 %"
    assert line in den.done("status").err
    assert line in den.done("status", "den").err


def test_an_alarm_is_acknowledged_and_said_to_be(den):
    id_ = damp(den)["id"]
    told = den.done("alarm", "ack", id_[:5], "--by", "robin")
    assert told.err.startswith(f"{id_} acknowledged: air too damp, den, since 2026-01-12 05:00 -05:00: now")
    assert told.err.endswith("(acknowledged by robin 2026-01-12 07:00 -05:00)\n")
    assert damp(den)["acknowledged_at"] == "2026-01-12T12:00:00Z"
    again = den("alarm", "ack", id_)
    assert (again.code, again.err) == (
        2,
        f"alarm {id_}: 'humidity high' is acknowledged already: robin acknowledged it 2026-01-12T12:00:00Z. "
        "There is nothing left to do\n",
    )


def test_all_that_wait_are_acknowledged_at_once(den):
    assert "air too damp" in den.done("alarm", "ack", "--all").err
    assert den.done("alarm", "ack", "--all").err == "no alarm waits to be acknowledged\n"


@pytest.mark.parametrize("words", [(), ("abc", "--all")])
def test_which_are_acknowledged_must_be_clear(wallclime, words):
    assert wallclime("alarm", "ack", *words).err == (
        "alarm ack: it is not clear which. Give ids, or --all for all that wait\n"
    )


def test_an_alarm_is_shelved_for_a_time_or_until_one_in_the_zone_of_its_job(den):
    id_ = damp(den)["id"]
    for words in (("--for", "3 d"), ("--until", "2026-01-15T07:00")):
        told = den.done("alarm", "shelve", id_, *words, "--reason", "painters are at work", "--by", "robin")
        assert told.err.endswith("(shelved until 2026-01-15 07:00 -05:00 by robin: painters are at work)\n")
        assert damp(den)["shelved_until"] == "2026-01-15T12:00:00Z"
    assert "air too damp" not in den.done("status").err
    assert "no longer shelved" in den.done("alarm", "unshelve", id_).err
    assert den("alarm", "unshelve", id_).err == f"alarm {id_}: it is not shelved. Nothing needs to be done\n"


@pytest.mark.parametrize("words", [(), ("--for", "3 d", "--until", "2026-01-15")])
def test_until_when_an_alarm_is_shelved_must_be_clear(wallclime, words):
    refused = wallclime("alarm", "shelve", "abc", "--reason", "painters", *words)
    assert refused.err == 'alarm shelve: it is not clear until when. Give --until TIME or --for "3 d"\n'


def test_no_alarm_is_shelved_for_longer_than_the_settings_have_it(den):
    refused = den("alarm", "shelve", damp(den)["id"], "--for", "8 d", "--reason", "painters")
    assert refused.code == 2
    assert "an alarm is shelved for at most 168 h, until 2026-01-19T12:00:00Z" in refused.err


def test_a_test_is_on_its_way_and_says_who_is_to_deliver_it(den):
    told = den.done("alarm", "test").err.splitlines()
    assert [line.partition(": message")[0] for line in told[:2]] == ["on its way to office", "on its way to mqtt"]
    assert told[2] == "mind: wallclime serve was never here; it delivers messages"
    assert den("alarm", "test", "nobody").err == "alarm test: there is no contact 'nobody'. Contacts are: office\n"


def test_the_history_has_what_is_over_too_and_can_begin_later(den):
    den.done("alarm", "ack", "--all")
    looked(den, NOON + 12 * HOUR)
    den.clock.at_ms = NOON + 12 * HOUR
    told = [one["what"] for one in den.done("alarm", "history", "den", "--json").json()]
    assert "humidity high" in told
    assert den.done("alarm", "history", "--since", "2026-01-13T07:00", "--json").json() == []
    assert "acknowledged by " in den.done("alarm", "history").out
    assert den("alarm", "history", "hall").err.startswith("job hall: there is no job 'hall'")


def test_the_log_of_the_job_tells_what_became_of_the_alarm(den):
    den.done("alarm", "ack", "--all", "--by", "robin")
    shown = den.done("log", "list", "den").out
    assert "alarm, wallclime" in shown
    assert "acknowledged, medium: air too damp, den" in " ".join(shown.split())
    assert "alarm, robin" in shown


def test_a_terminal_that_knows_ascii_alone_is_shown_nothing_else(den):
    den.encoding = "ascii"
    den.clock.at_ms += MINUTE
    assert den.done("alarm", "list").out.isascii()
