"""wallclime doctor on a set-up that is broken: what it says is wrong, and the mend."""

import errno
import http.server
import json
import os
import socket
import sqlite3
import subprocess
import threading

import pytest
from homes import NOON, Home
from processes import STAMPED, free_port

import monitor
from monitor.basis.clock import SetClock
from monitor.basis.errors import StoreError
from monitor.basis.times import DAY, MINUTE
from monitor.basis.values import LIVE, Quantity, Reading, Refused
from monitor.intake.roundtrip import round_trip
from monitor.keep import connect
from monitor.watch.desk import open_desk

HERE = {"host": "127.0.0.1:1883", "client_id": "house"}
LINK = {"broker": "127.0.0.1", "client_id": "house", "last_error": "", "connected": True, "marker_missing": False}


def found(home: Home, *names: str):
    """What the doctor finds of `names`: verdict, evidence, mend."""
    checks = {
        one["name"]: (one["verdict"], one["evidence"], one["mend"]) for one in json.loads(home("doctor", "--json").out)
    }
    return checks[names[0]] if len(names) == 1 else [checks.get(name) for name in names]


def settle(home: Home, *tables: str) -> None:
    (home.path / "wallclime.toml").write_text("\n".join(tables), encoding="utf-8")


def awake(home: Home, started: int, last: int, **state: object) -> None:
    database = sqlite3.connect(home.path / "wallclime.db")
    row = (NOON - started, NOON - last, json.dumps({"version": monitor.__version__, "links": [LINK], **state}))
    database.execute("INSERT INTO awake (started, last, state) VALUES (?, ?, ?)", row)
    database.commit()
    database.close()


def secret(home: Home, name: str, text: str) -> None:
    (home.path / name).write_text(text)
    (home.path / name).chmod(0o600)


# --- the store


def test_a_store_that_another_process_holds_is_told(den, monkeypatch):
    monkeypatch.setattr(connect, "SQLITE", ("PRAGMA busy_timeout = 50", *connect.SQLITE[1:]))
    holder = sqlite3.connect(den.path / "wallclime.db", isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    try:
        assert found(den, "writing") == (
            "fail", f"{den.path}/wallclime.db: another process has held it for 10 s",
            "Wait for it to finish or stop it, then try again",
        )  # fmt: skip
    finally:
        holder.close()
    assert found(den, "writing") == ("pass", "the store can be written", "")


def test_a_store_that_may_only_be_read_is_told(den, monkeypatch):
    may = os.access
    monkeypatch.setattr(
        os, "access", lambda path, mode: may(path, mode) and not mode & os.W_OK
    )  # for root everything is
    assert found(den, "store") == (
        "fail", f"{den.path}/wallclime.db: it can't be written",
        "Let this user write the file and the folder it stands in",
    )  # fmt: skip


def test_a_store_that_turns_read_only_is_told(den, monkeypatch):
    what, mend = "it can't be written", "Let this user write the file and the folder it stands in"
    error = StoreError(what, where="store", mend=mend)
    monkeypatch.setattr("monitor.keep.store.Store.try_writing", lambda _: (_ for _ in ()).throw(error))
    assert found(den, "writing") == ("fail", f"store: {what}", mend)


# --- the clock


class Kept(SetClock):
    def offset(self):
        return -3


def test_whether_a_time_source_keeps_the_clock_is_told(den):
    assert found(den, "clock source") == (
        "unknown", "no time source is known to keep it, so how far it is off is not known",
        "Let NTP set it, such as with: timedatectl set-ntp true",
    )  # fmt: skip
    den.clock = Kept(NOON)
    assert found(den, "clock source") == ("pass", "a time source keeps it; it is off by -3 ms", "")


# --- the daemon


def test_a_daemon_of_another_version_is_told(den):
    awake(den, DAY, 0, version="0.0.1")
    assert found(den, "daemon") == (
        "fail", f"it is wallclime 0.0.1, this command {monitor.__version__}", "Start it anew",
    )  # fmt: skip


def test_two_daemons_that_share_a_client_id_are_told(den):
    awake(den, DAY, 2_000)
    awake(den, 10 * MINUTE, 1_000)
    assert found(den, "daemon") == (
        "fail", "2 run at once, and take the client id 'house' at 127.0.0.1 from each other",
        "Stop all but one of them, or give each a client_id of its own",
    )  # fmt: skip


def test_one_that_was_killed_before_the_other_began_or_has_another_client_id_is_no_fault(den):
    awake(den, DAY, MINUTE)
    awake(den, MINUTE - 1_000, 1_000)
    awake(den, DAY, 1_500, links=[{**LINK, "client_id": "other"}])
    awake(den, DAY, 1_500, stopped=True)
    assert found(den, "daemon")[0] == "pass"


# --- the dead-man's URL


@pytest.fixture
def dead_man(den):
    secret(den, "url", "http://127.0.0.1:1/hush")
    settle(den, '[dead_man]\nurl_file = "url"\n')
    return den


def test_a_dead_mans_url_that_is_called_is_well_and_the_doctor_does_not_call_it(dead_man):
    awake(dead_man, DAY, 0, dead_man={"called": NOON - 3 * MINUTE - 400, "trouble": ""})
    assert found(dead_man, "dead-man's URL") == ("pass", "it was called 3 min ago", "")


@pytest.mark.parametrize(
    ("state", "verdict", "evidence", "mend"),
    [
        ({"dead_man": {"called": NOON - DAY, "trouble": "it answers 500"}}, "fail", "it is not called: it answers 500",
         "Look at what stands still; if it is the URL, mend the one in its url_file and start the daemon anew"),
        ({"dead_man": {"called": NOON - 10 * MINUTE, "trouble": ""}}, "fail",
         "it was called 10 min ago, and is due every 5 min", "Look at the daemon's log"),
        ({"dead_man": {"called": None, "trouble": ""}}, "unknown", "it was not called yet",
         "Wait a moment: the daemon has just begun"),
        ({}, "fail", "the daemon that runs does not know of it", "Start it anew"),
        ({"stopped": True}, "unknown", "the daemon calls it, and does not run", "Start it: wallclime serve"),
    ],
)  # fmt: skip
def test_a_dead_mans_url_that_is_not_called_is_told_without_naming_it(dead_man, state, verdict, evidence, mend):
    awake(dead_man, DAY, 0, **state)
    assert found(dead_man, "dead-man's URL") == (verdict, evidence, mend)
    assert "hush" not in dead_man("doctor").out


# --- the health port


class Answers(http.server.BaseHTTPRequestHandler):
    def do_GET(self):
        self.send_response(self.server.status)
        self.end_headers()
        self.wfile.write(self.server.said)

    def log_message(self, *_):
        """Nothing."""


@pytest.fixture
def port():
    with http.server.HTTPServer(("127.0.0.1", 0), Answers) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        server.status, server.said = 200, b"ok\n"
        yield server
        server.shutdown()
        thread.join()


def test_the_health_port_of_a_running_daemon_is_asked(den, port, monkeypatch):
    where = f"127.0.0.1:{port.server_port}"
    settle(den, f"[health]\nport = {port.server_port}\n")
    awake(den, DAY, 0)
    assert found(den, "health port") == ("pass", f"{where} answers that it lives", "")
    mend = "Start the daemon anew if it began before; else another program may have the port"
    port.status, port.said = 503, b"the scheduled work stands still\n"
    assert found(den, "health port") == ("fail", "the scheduled work stands still", mend)
    port.status = 404
    assert found(den, "health port") == ("fail", f"{where} does not answer as the daemon does", mend)
    settle(den, f"[health]\nport = {(nobody := free_port())}\n")
    assert found(den, "health port") == ("fail", f"127.0.0.1:{nobody} does not answer as the daemon does", mend)
    settle(den, f"[health]\nport = {port.server_port}\n")
    port.status, port.said = 200, b"ok\n"
    import importlib.util

    there = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "prometheus_client" else there(name))
    assert found(den, "health port") == (
        "unknown", "it answers, but has no metrics", "Install them: pip install 'wallclime[metrics]'",
    )  # fmt: skip


def test_a_health_port_that_another_program_has_is_told_while_no_daemon_runs(den):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        where = f"127.0.0.1:{taken.getsockname()[1]}"
        settle(den, f"[health]\nport = {taken.getsockname()[1]}\n")
        assert found(den, "health port") == (
            "fail", f"{where} can't be had: {os.strerror(errno.EADDRINUSE)}",
            "Give [health] another port, or stop what has it",
        )  # fmt: skip
    assert found(den, "health port") == (
        "unknown", "the daemon answers there, and does not run", "Start it: wallclime serve",
    )  # fmt: skip


# --- contacts


@pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")  # by the library that is asked
def test_a_contact_without_a_url_is_told(den):
    settle(den, '[[contact]]\nname = "office"\n')
    verdict, evidence, mend = found(den, "contact office")
    assert (verdict, evidence) == ("fail", "contact office: it has no URL")
    assert mend == "Give its url_file in wallclime.toml, or $WALLCLIME_CONTACT_OFFICE to whoever starts wallclime"
    den.environ["WALLCLIME_CONTACT_OFFICE"] = "json://127.0.0.1:1/hush"
    assert found(den, "contact office") == (
        "pass", "it has a URL; whether it is reached shows: wallclime alarm test", "",
    )  # fmt: skip
    assert "hush" not in den("doctor").out


# --- topics


def test_of_each_topic_it_is_told_whether_it_was_ever_heard(den):
    senml = '[[source]]\ntopic = "senml/{gateway}"\nformat = "senml"\nprefix = "senml/{gateway}/"\n'
    settle(den, STAMPED, STAMPED.replace("site/", "roof/"), STAMPED.replace("site/", "hall/"), senml)
    names = [f"topic {name}/{{sensor}}/climate" for name in ("site", "roof", "hall")]
    at = NOON - MINUTE
    with open_desk(den.path, environ={}, clock=den.clock) as desk:
        streams = ["site/shelf/climate", "site/lamp/climate", "senml/attic/one"]
        readings = [Reading(stream, Quantity.AIR_TEMPERATURE, at, 21.0, "degC", at, LIVE) for stream in streams]
        refused = [Refused("roof/shelf/climate", reason, "no", b"x", at) for reason in ("unreadable", "not-a-number")]
        desk.store.keep_readings(readings, refused)
    site, roof, hall, attic = found(den, *names, "topic senml/{gateway}")
    assert site == ("pass", "heard of 2 sensors, last 2026-01-12T11:59:00Z", "")
    assert attic == ("pass", "heard of 1 sensor, last 2026-01-12T11:59:00Z", "")
    assert roof == (
        "fail", "what came there was refused: not-a-number, unreadable", "See why with: wallclime quarantine list",
    )  # fmt: skip
    assert hall == (
        "unknown", "nothing was ever heard there",
        "Compare it with what the sensors publish on; listen with: mosquitto_sub -v -t 'hall/+/climate'",
    )  # fmt: skip


def test_where_every_topic_is_heard_one_on_which_nobody_speaks_is_no_fault_once_something_was_heard(den):
    settle(den, f"[broker]\nport = {free_port()}\n")
    site, every = "topic site/{sensor}/climate", "topic #"
    mend = "Compare it with what the sensors publish on; listen with: mosquitto_sub -v -t '{}'"
    nothing = "nothing was ever heard there"
    assert found(den, site, every) == [
        ("unknown", nothing, mend.format("site/+/climate")),
        ("unknown", nothing, mend.format("#")),
    ]
    with open_desk(den.path, environ={}, clock=den.clock) as desk:
        at = NOON - MINUTE
        desk.store.keep_readings([Reading("flat7/a/state", Quantity.AIR_TEMPERATURE, at, 21.0, "degC", at, LIVE)])
    assert found(den, site, every) == [
        ("pass", "nothing was heard there; what is heard comes on other topics", ""),
        ("pass", "heard of 1 sensor, last 2026-01-12T11:59:00Z", ""),
    ]


def test_one_topic_at_two_brokers_is_two_checks(den):
    brokers = "".join(f'[[broker]]\nname = "{name}"\nport = {free_port()}\n' for name in ("attic", "cellar"))
    sources = "".join(f'{STAMPED}broker = "{name}"\n' for name in ("attic", "cellar"))
    settle(den, brokers, sources)
    at = "topic site/{sensor}/climate at "
    assert [one[0] for one in found(den, f"{at}attic", f"{at}cellar")] == ["unknown", "unknown"]


# --- the broker


def passwords(folder, **users):
    file = folder / "passwords"
    file.write_text("".join(f"{user}:{word}\n" for user, word in users.items()))
    file.chmod(0o600)
    subprocess.run(["mosquitto_passwd", "-U", file], check=True)
    return file


def ask(home: Home, port: int, word: str = "right") -> tuple[str, str, str]:
    secret(home, "word", word)
    settle(home, f'[broker]\nport = {port}\nclient_id = "house"\nuser = "hall"\npassword_file = "word"\n', STAMPED)
    return found(home, f"broker 127.0.0.1:{port}")


def test_a_wrong_password_and_a_right_that_lacks_are_told_with_their_mend(den, mosquitto_with, tmp_path, monkeypatch):
    monkeypatch.setitem(round_trip.__kwdefaults__, "within", 1.5)
    acl = tmp_path / "acl"
    acl.write_text("user hall\ntopic readwrite site/#\ntopic read wallclime/#\n")
    acl.chmod(0o600)
    more = {"allow_anonymous": "false", "password_file": passwords(tmp_path, hall="right"), "acl_file": acl}
    broker = mosquitto_with(**more)
    where = f"broker 127.0.0.1:{broker.port}"
    assert ask(den, broker.port, "wrong") == (
        "fail", f"{where}: it refuses us: Not authorized",
        "Check user in wallclime.toml and $WALLCLIME_BROKER_PASSWORD",
    )  # fmt: skip
    assert ask(den, broker.port) == (
        "fail", f"{where}: what was published on 'wallclime/house/marker' did not come back in 1.5 s",
        "Let the user of wallclime.toml write and read there",
    )  # fmt: skip
