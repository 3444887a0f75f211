"""What the daemon writes down of the jobs: whoever settled what was heard, what time alone completes, what failed."""

import threading
from unittest import mock

import pytest
from desks import NOW, T0, clock, furnish, hear, steady

from monitor.basis.errors import StoreError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import SENSORS_CHAIN, Kind, Refused
from monitor.watch import daemon
from monitor.watch.desk import open_desk
from monitor.watch.judging import assess, settle


def completions(desk):
    return [entry.at for entry in desk.book.log("den") if entry.kind is Kind.COMPLETION]


def test_what_another_process_has_settled_is_written_down_all_the_same(desk):
    furnish(desk)
    looked = {}
    daemon.judge_what_was_heard(desk, looked)
    hear(desk, steady(T0, 50))
    settle(desk)  # as a status does
    daemon.judge_what_was_heard(desk, looked)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_a_completion_that_time_alone_brings_is_written_down(desk):
    furnish(desk)
    hear(desk, steady(T0, 48))  # the last reading at 47:50 speaks for 30 min
    looked = {}
    desk.clock.move(T0 + 48 * HOUR - 5 * MINUTE - desk.clock.now())
    daemon.judge_what_was_heard(desk, looked)
    assert completions(desk) == []
    desk.clock.move(6 * MINUTE)
    daemon.judge_what_was_heard(desk, looked)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_a_job_that_can_not_be_judged_is_tried_again_the_next_time(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    looked = {}
    away = StoreError("away", where="store", mend="wait")
    with mock.patch("monitor.watch.daemon.note_completions", side_effect=away):
        daemon.judge_what_was_heard(desk, looked)
    assert (completions(desk), looked) == ([], {})
    daemon.judge_what_was_heard(desk, looked)
    assert completions(desk) == [T0 + 48 * HOUR]


def test_a_job_that_heard_nothing_new_is_not_judged_again(desk):
    furnish(desk)
    hear(desk, steady(T0, 50))
    looked = {}
    daemon.judge_what_was_heard(desk, looked)
    with mock.patch("monitor.watch.daemon.note_completions") as judged:
        daemon.judge_what_was_heard(desk, looked)
    assert not judged.called
    assert assess(desk, "den").as_of == NOW


# --- listeners and the way into the store ---

TWO_BROKERS = """
[[broker]]
name = "cellar"
host = "127.0.0.1"
port = 1
[[broker]]
name = "attic"
host = "127.0.0.1"
port = 2
[[source]]
topic = "low/{sensor}"
format = "json"
temperature = { at = "/t", unit = "degC" }
broker = "cellar"
[[source]]
topic = "high/{sensor}"
format = "json"
temperature = { at = "/t", unit = "degC" }
broker = "attic"
"""


def house(desk):
    return [(entry.kind, dict(entry.body)) for entry in desk.book.entries(SENSORS_CHAIN)]


def test_each_broker_has_a_listener_of_its_own_sources(tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    (home / "wallclime.toml").write_text(TWO_BROKERS, encoding="utf-8")
    with open_desk(home, environ={}, clock=clock()) as desk:
        listeners = daemon._listeners(desk)
        heard = [[decoder.topic.text for decoder in listener._decoders] for listener in listeners]
    assert heard == [["low/{sensor}"], ["high/{sensor}"]]


class Standing:
    """A listener that runs until it is told to stop, or dies at once."""

    def __init__(self, error=None):
        self.error, self.ended = error, False

    def run(self, stop):
        if self.error is not None:
            raise self.error
        stop.wait(10)
        self.ended = True


def test_when_one_listener_dies_the_others_end_and_its_error_is_told():
    one = Standing()
    with pytest.raises(ZeroDivisionError):
        daemon._run([one, Standing(ZeroDivisionError())], threading.Event())
    assert one.ended


def test_a_clock_step_is_an_entry_of_the_log(desk):
    daemon.Keeper(desk).clock_stepped(NOW - MINUTE, -3_600_000)
    (entry,) = desk.book.entries(SENSORS_CHAIN)
    assert (entry.kind, entry.at, dict(entry.body)) == (Kind.CLOCK, NOW - MINUTE, {"by_ms": -3_600_000})


def test_a_full_disk_is_written_down_once_until_there_is_room_again(desk):
    keeper = daemon.Keeper(desk)
    full = StoreError("the disk is full", where="store", mend="Free some space")
    with (
        mock.patch("monitor.watch.daemon.is_full", return_value=True),
        mock.patch.object(type(desk.store), "keep_readings", side_effect=full),
    ):
        for _ in range(3):
            with pytest.raises(StoreError):
                keeper.keep([], [])
    assert house(desk) == [(Kind.TROUBLE, {"what": "store: the disk is full. Free some space"})]
    keeper.keep([], [])
    with (
        mock.patch("monitor.watch.daemon.is_full", return_value=True),
        mock.patch.object(type(desk.store), "keep_readings", side_effect=full),
        pytest.raises(StoreError),
    ):
        keeper.keep([], [])
    assert len(house(desk)) == 2


def test_any_other_failure_of_the_store_is_no_full_disk(desk):
    busy = StoreError("busy", where="store", mend="wait")
    with mock.patch.object(type(desk.store), "keep_readings", side_effect=busy), pytest.raises(StoreError):
        daemon.Keeper(desk).keep([], [])
    assert house(desk) == []


def test_the_quarantine_is_kept_within_bounds_and_what_goes_is_counted(desk):
    desk.store.keep_readings([], [Refused("t", "unreadable", "no", b"x", NOW - 500 * DAY)])
    daemon.tidy(desk)
    assert desk.store.quarantine() == []
    assert desk.store.quarantine_loss() == {"unreadable": 1}


def test_a_day_that_is_due_is_closed_and_said(desk, caplog):
    hear(desk, steady(T0, 24))
    desk.clock.at_ms = T0 + DAY + 2 * HOUR
    with caplog.at_level("INFO", "wallclime"):
        daemon.seal_days(desk)
        daemon.seal_days(desk)
    [head] = desk.store.heads()
    [said] = [record for record in caplog.records if record.getMessage() == "sealed"]
    assert (said.fields["closes"], said.fields["head"], said.fields["leaves"]) == ("2026-01-05", 1, head.size)
