"""What systemd, other clients of the broker and a dead-man's URL hear of the daemon."""

import re
import resource
import signal
import socket
import sqlite3
import sys
import threading
import time
from types import SimpleNamespace

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from processes import STAMPED, WALLCLIME, Daemon, free_port, soon, write_home

from monitor.basis.errors import StoreError
from monitor.intake.mqtt import Status
from monitor.watch.service.notify import Supervisor, supervisor
from monitor.watch.service.presence import Presence, stands, watched_over
from monitor.watch.service.pulse import Pulse


class Systemd:
    """A socket as systemd listens on it, and what was sent there."""

    def __init__(self, address: str) -> None:
        self.address = address
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(f"\0{address[1:]}" if address.startswith("@") else address)
        self._socket.setblocking(False)
        self._lines: list[str] = []

    def lines(self) -> list[str]:
        while True:
            try:
                self._lines += self._socket.recv(65_536).decode().split("\n")
            except BlockingIOError:
                return self._lines

    def count(self, line: str) -> int:
        return self.lines().count(line)

    def close(self) -> None:
        self._socket.close()


@pytest.fixture
def systemd(tmp_path):
    heard = Systemd(str(tmp_path / "notify"))
    most = resource.getrlimit(resource.RLIMIT_CORE)
    resource.setrlimit(resource.RLIMIT_CORE, (0, most[1]))  # as the unit has it: no image of a daemon that aborts
    yield heard
    resource.setrlimit(resource.RLIMIT_CORE, most)
    heard.close()


# --- the word to systemd


def test_without_a_socket_nobody_is_told():
    assert supervisor({}) is None
    assert supervisor({"NOTIFY_SOCKET": "vsock:2:1234"}) is None  # no socket of this computer


def test_the_watchdog_is_asked_for_in_microseconds_and_of_one_process():
    # sd_watchdog_enabled(3): $WATCHDOG_USEC is the time, $WATCHDOG_PID whom it is meant for.
    asked = {"NOTIFY_SOCKET": "/run/notify", "WATCHDOG_USEC": "30000000"}
    assert supervisor(asked) == Supervisor("/run/notify", 30.0)
    assert supervisor(asked | {"WATCHDOG_PID": "7"}, pid=7) == Supervisor("/run/notify", 30.0)
    assert supervisor(asked | {"WATCHDOG_PID": "7"}, pid=8) == Supervisor("/run/notify", None)
    assert supervisor({"NOTIFY_SOCKET": "/run/notify", "WATCHDOG_USEC": "0"}) == Supervisor("/run/notify", None)


def test_an_abstract_address_is_reached_and_no_value_begins_a_line(systemd):
    abstract = Systemd(f"@wallclime-{time.monotonic_ns()}")
    for heard in (systemd, abstract):
        told = supervisor({"NOTIFY_SOCKET": heard.address})
        told.tell("READY=1", "STATUS=the end\nWATCHDOG=1")
        assert heard.lines() == ["READY=1", "STATUS=the end WATCHDOG=1"]
    abstract.close()


# --- the pulse


def link(host="attic", **status):
    listener = SimpleNamespace(turned=time.monotonic(), status=Status(**status))
    return SimpleNamespace(host=host, port=1883), listener


def taken():
    """A store that takes what is written to it."""


def busy():
    raise StoreError("another process has held it for 10 s", where="store", mend="Wait")


def test_a_broker_that_was_tried_does_not_keep_the_daemon_from_being_ready():
    assert not Pulse([link(subscribed=True), link(connected=True)], taken).asked()
    assert Pulse([link(subscribed=True), link(last_error="refused")], taken).asked()
    assert Pulse([link(subscribed=True), link(connected=True, marker_missing=True)], taken).asked()
    assert Pulse([], taken).asked()


def test_it_drains_until_a_marker_has_come_back_and_not_where_none_comes_back():
    waits = {"connected": True, "marker": "awaited"}
    assert Pulse([link(connected=True, marker="returned"), link("cellar", **waits)], taken).draining()
    assert Pulse([link()], taken).draining()  # it was not asked yet
    gone = {"last_error": "refused", "marker": "awaited"}
    for other in ({**waits, "subscribed": True, "marker": "returned"}, {**waits, "marker_missing": True}, gone):
        assert not Pulse([link(**other)], taken).draining()


def test_a_thread_that_stands_still_for_a_minute_is_named():
    pulse = Pulse([link("attic"), link("cellar")], taken)
    assert list(pulse.still()) == []
    pulse.links[1][1].turned -= 61
    pulse.worked -= 61
    assert list(pulse.still()) == [
        "the thread that hears cellar:1883 stands still",
        "the scheduled work stands still",
    ]


def test_a_store_that_takes_no_note_is_told_until_it_takes_one():
    answers = [busy, taken]
    pulse = Pulse([], lambda: answers.pop(0)())
    with pytest.raises(StoreError):
        pulse.beat()
    assert pulse.unwritten() == "store: another process has held it for 10 s. Wait"
    pulse.beat()
    assert pulse.unwritten() == ""
    pulse.wrote -= 61
    assert pulse.unwritten() == "nothing was written to the store for 60 s"


def test_the_status_is_what_is_wrong_else_who_is_heard():
    assert stands(Pulse([link(subscribed=True, kept=3), link("cellar", subscribed=True, kept=4)], taken)) == (
        "hears attic:1883, cellar:1883; 7 readings kept since the start"
    )
    away = link("cellar", last_error="broker cellar:1883: Connection refused")
    assert stands(Pulse([link(subscribed=True), away, link("hall")], taken)) == (
        "broker cellar:1883: Connection refused / no connection to hall:1883 yet / hears attic:1883; "
        "0 readings kept since the start"
    )


# --- the presence, looked at without its thread


def presence(pulse, systemd, watchdog=0.01):
    return Presence(Supervisor(systemd.address, watchdog), pulse)


def test_ready_is_told_once_and_the_status_when_it_changes(systemd):
    pulse = Pulse([link(connected=True)], taken)
    told = presence(pulse, systemd, None)
    assert list(told.due()) == ["STATUS=no connection to attic:1883 yet; 0 readings kept since the start"]
    pulse.links[0][1].status = Status(connected=True, subscribed=True)
    assert list(told.due()) == ["READY=1", "STATUS=hears attic:1883; 0 readings kept since the start"]
    assert list(told.due()) == []


def test_no_sign_of_life_while_a_listener_stands_still_or_the_store_takes_nothing(systemd, caplog):
    answers = [taken, busy, busy, taken]
    pulse = Pulse([link(subscribed=True)], lambda: answers.pop(0)())
    told = presence(pulse, systemd)

    def due(turns=True):
        time.sleep(0.01)
        if turns:
            pulse.links[0][1].turned = time.monotonic()
        return "WATCHDOG=1" in list(told.due())

    assert due()
    assert not due(turns=False)  # the store is not even asked
    assert not due()
    assert not due()
    assert due()
    said = [(record.getMessage(), record.fields["why"]) for record in caplog.records]
    assert said == [
        ("no_sign_of_life", "the thread that hears attic:1883 stands still"),
        ("no_sign_of_life", "store: another process has held it for 10 s. Wait"),
    ]


def test_no_sign_of_life_while_scheduled_work_stands_still(systemd, caplog):
    pulse = Pulse([link(subscribed=True)], taken)
    told = presence(pulse, systemd)
    time.sleep(0.01)
    pulse.links[0][1].turned = time.monotonic()
    pulse.worked -= 61
    assert "WATCHDOG=1" not in list(told.due())
    assert [record.fields["why"] for record in caplog.records] == ["the scheduled work stands still"]


def test_a_fault_of_another_kind_is_no_sign_of_life_either(systemd, caplog):
    def broken():
        raise ZeroDivisionError("oh")

    pulse = Pulse([link(subscribed=True)], broken)
    told = presence(pulse, systemd)
    time.sleep(0.01)
    pulse.links[0][1].turned = time.monotonic()
    assert "WATCHDOG=1" not in list(told.due())
    assert [record.fields["why"] for record in caplog.records] == ["ZeroDivisionError('oh')"]


def test_half_of_the_time_must_be_over_before_the_next_sign(systemd):
    told = presence(Pulse([link(subscribed=True)], taken), systemd, 60.0)
    assert "WATCHDOG=1" not in list(told.due())


def test_when_systemd_does_not_listen_that_is_logged_and_nothing_else_happens(tmp_path, caplog):
    stop = threading.Event()
    with watched_over(Supervisor(str(tmp_path / "nobody")), Pulse([], taken), stop):
        soon(lambda: caplog.records, what="it is logged")
    assert caplog.records[0].getMessage() == "systemd_not_told"
    assert caplog.records[0].fields["error"] == "[Errno 2] No such file or directory"


def test_without_a_supervisor_there_is_no_thread():
    before = threading.active_count()
    with watched_over(None, Pulse([], taken), threading.Event()):
        assert threading.active_count() == before


# --- the real daemon

STANDS_STILL = """
import pathlib, sys, time
from monitor.intake.mqtt import Listener
turn = Listener._turn
def until_then(self):
    while pathlib.Path(sys.argv[2], "stand still").exists():
        time.sleep(0.05)
    turn(self)
Listener._turn = until_then
from cli.main import main
main()
"""


def watched(home, systemd, monkeypatch, *, usec=4_000_000, program=None):
    monkeypatch.setenv("NOTIFY_SOCKET", systemd.address)
    monkeypatch.setenv("WATCHDOG_USEC", str(usec))
    monkeypatch.delenv("WATCHDOG_PID", raising=False)
    daemon = Daemon(home)
    if program is not None:
        daemon._command = [sys.executable, "-c", program, *daemon._command[len(WALLCLIME) :]]
    return daemon


def test_a_daemon_gives_no_sign_of_life_while_its_listener_stands_still_or_its_store_is_locked(
    tmp_path, mosquitto, systemd, monkeypatch
):
    home = write_home(tmp_path / "home", mosquitto.port)
    daemon = watched(home, systemd, monkeypatch, usec=1_000_000, program=STANDS_STILL)

    def lives(what):
        before = systemd.count("WATCHDOG=1")
        soon(lambda: systemd.count("WATCHDOG=1") > before + 1, what=what)

    def gives_no_sign():
        before = systemd.count("WATCHDOG=1")
        time.sleep(1.2)  # two would be due by then
        return systemd.count("WATCHDOG=1") == before

    daemon.start()
    soon(lambda: "READY=1" in systemd.lines(), what="it is ready")
    lives("it lives")
    (home / "stand still").touch()
    soon(gives_no_sign, what="it gives no sign")
    (home / "stand still").unlink()
    lives("it lives again")
    holder = sqlite3.connect(home / "wallclime.db", isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    soon(gives_no_sign, what="it gives no sign")
    holder.execute("ROLLBACK")
    holder.close()
    lives("it lives once more")
    assert daemon.stop() == 0
    doubts = {line["why"] for line in daemon.lines() if line["event"] == "no_sign_of_life"}
    assert f"the thread that hears 127.0.0.1:{mosquitto.port} stands still" in doubts
    assert systemd.lines()[-2:] == ["STOPPING=1", "STATUS=ends: what was read is kept, what is due is judged"]
    assert systemd.count("READY=1") == 1


def test_a_daemon_whose_broker_is_away_is_ready_and_says_so_and_ended_by_a_watchdog_it_tells_where_it_stood(
    tmp_path, systemd, monkeypatch
):
    port = free_port()
    daemon = watched(write_home(tmp_path / "home", port), systemd, monkeypatch)
    daemon.start()
    soon(lambda: "READY=1" in systemd.lines(), what="it is ready")
    away = f"STATUS=broker 127.0.0.1:{port}: Connection refused. Start the broker, or mend host and port in wallclime"
    soon(lambda: any(line.startswith(away) for line in systemd.lines()), what="it says so")
    daemon._process.send_signal(signal.SIGABRT)  # what systemd sends when no sign of life comes (systemd.service(5))
    assert daemon._process.wait(20) == -signal.SIGABRT
    said = daemon._log.read_text()
    assert "Fatal Python error: Aborted" in said
    where = set(re.findall(r"monitor/[\w/]+\.py", said))
    assert {"monitor/intake/mqtt.py", "monitor/watch/service/presence.py"} <= where


TWO = """\
[log]
format = "json"
[[broker]]
name = "cellar"
port = {0}
client_id = "house-cellar"
[[broker]]
name = "attic"
port = {1}
client_id = "house-attic"
"""


class Watcher:
    """A client that hears the presence of every daemon at a broker."""

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[str, bytes]] = []
        subscribed = threading.Event()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = lambda _c, _d, message: self.heard.append((message.topic, message.payload))
        self._client.on_subscribe = lambda *_: subscribed.set()
        self._client.connect("127.0.0.1", port)
        self._client.subscribe("wallclime/+/presence", 1)
        self._client.loop_start()
        assert subscribed.wait(20)

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


def test_at_each_of_several_brokers_the_presence_is_retained_and_its_last_will_is_offline(tmp_path, mosquitto_with):
    cellar, attic = mosquitto_with(), mosquitto_with()
    home = tmp_path / "home"
    home.mkdir()
    sources = STAMPED + 'broker = "cellar"\n' + STAMPED.replace("site/", "roof/") + 'broker = "attic"\n'
    (home / "wallclime.toml").write_text(TWO.format(cellar.port, attic.port) + sources)
    daemon = Daemon(home)
    at = {"cellar": Watcher(cellar.port), "attic": Watcher(attic.port)}
    topic = "wallclime/house-{}/presence".format

    def says(name, *payloads):
        soon(lambda: at[name].heard == [(topic(name), said) for said in payloads], what=f"{name} says {payloads}")

    try:
        daemon.start()
        over = {f"127.0.0.1:{broker.port}" for broker in (cellar, attic)}
        soon(
            lambda: {x["broker"] for x in daemon.lines() if x["event"] == "backlog_over"} == over, what="both are heard"
        )
        says("cellar", b"online")
        says("attic", b"online")
        daemon.kill()
        says("cellar", b"online", b"offline")
        says("attic", b"online", b"offline")
        daemon.start()
        says("attic", b"online", b"offline", b"online")
        attic.stop()
        soon(lambda: any(line["event"] == "broker" for line in daemon.lines()), what="one broker is missed")
        late = Watcher(cellar.port)
        soon(lambda: late.heard == [(topic("cellar"), b"online")], what="it is retained, the other broker's end aside")
        late.close()
        assert daemon.stop() == 0
        says("cellar", b"online", b"offline", b"online", b"offline")
    finally:
        for watcher in at.values():
            watcher.close()
