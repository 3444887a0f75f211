"""The daemon: its listeners, their way into the store, and what they write down."""

import threading
from unittest import mock

import pytest
from desks import NOW, clock

from monitor.basis.errors import StoreError
from monitor.basis.times import HOUR, MINUTE
from monitor.basis.values import SENSORS_CHAIN, Kind
from monitor.watch.desk import open_desk
from monitor.watch.service import daemon, parts
from monitor.watch.service.schedule import Every, Schedule, Work

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
        ears = parts.ears_of(desk.settings, parts.Role.ALL, None)
        listeners = [one for _, one in daemon._listening(desk, Schedule(desk), ears, None)]
        heard = [[decoder.topic.text for decoder in listener._decoders] for listener in listeners]
    assert heard == [["low/{sensor}"], ["high/{sensor}"]]


def test_what_no_source_hears_any_more_by_the_wide_filter_is_asked_for_no_more(tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    for more, dropped in (("", ["#"]), ('[[source]]\ntopic = "#"\nformat = "plain"\nbroker = "cellar"\n', [])):
        (home / "wallclime.toml").write_text(TWO_BROKERS + more, encoding="utf-8")
        with open_desk(home, environ={}, clock=clock()) as desk:
            ears = parts.ears_of(desk.settings, parts.Role.ALL, None)
            [(_, cellar), (_, attic)] = daemon._listening(desk, Schedule(desk), ears, None)
        assert (cellar._dropped, attic._dropped) == (dropped, ["#"])


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


def test_a_clock_step_has_every_work_looked_at(desk):
    looked = threading.Event()
    daemon.Keeper(desk, looked.set).clock_stepped(NOW, -3_600_000)
    assert looked.is_set()


def test_a_daemon_that_ends_judges_once_more_and_says_that_it_is_gone(desk):
    schedule, done = Schedule(desk), threading.Event()
    works = [Work("judge", Every(HOUR), lambda _: done.set()), Work("tidy", Every(HOUR), lambda _: None)]
    with daemon._works(desk, schedule, works, desk.store.wake(), {"hears": ["a/#"]}):
        assert [(run.name, run.state) for run in desk.store.scheduled()] == [("judge", "waiting"), ("tidy", "waiting")]
        assert not done.is_set()
    assert done.is_set()
    assert [(run.name, run.state) for run in desk.store.scheduled()] == [("judge", "done"), ("tidy", "waiting")]
    assert desk.store.daemon_state().state == {"stopped": True, "hears": ["a/#"]}


def test_a_full_disk_is_written_down_once_until_there_is_room_again(desk):
    keeper = daemon.Keeper(desk)
    full = StoreError("the disk is full", where="store", mend="Free some space")
    with (
        mock.patch("monitor.watch.service.daemon.is_full", return_value=True),
        mock.patch.object(type(desk.store), "keep_readings", side_effect=full),
    ):
        for _ in range(3):
            with pytest.raises(StoreError):
                keeper.keep([], [])
    assert house(desk) == [(Kind.TROUBLE, {"what": "store: the disk is full. Free some space"})]
    keeper.keep([], [])
    with (
        mock.patch("monitor.watch.service.daemon.is_full", return_value=True),
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
