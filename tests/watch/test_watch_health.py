"""What the daemon answers on its port: whether it lives, whether it is ready, figures; and what it answers nobody."""

import contextlib
import http.client
import re
import shutil
import socket
import threading
import time
from collections import namedtuple
from dataclasses import replace
from types import SimpleNamespace
from unittest import mock

import pytest
from desks import HUMIDITY, NOW, TEMPERATURE, furnish, hear, steady
from hypothesis import example, given
from hypothesis import strategies as st
from processes import Daemon, free_port, publish, soon, write_home
from prometheus_client.parser import text_string_to_metric_families

from monitor.basis.alarm import Alarm, Priority, Standing
from monitor.basis.errors import StoreError
from monitor.basis.times import DAY, HOUR, MINUTE
from monitor.basis.values import LIVE, Reading, Refused
from monitor.config.alarms import DeadMan, Health
from monitor.config.brokers import Broker
from monitor.intake.mqtt import Status
from monitor.keep.rows import Doing, Scheduled
from monitor.watch.evidence.sealing import seal_now
from monitor.watch.service import answers, health
from monitor.watch.service.answers import pages_of
from monitor.watch.service.deadman import Switch
from monitor.watch.service.health import answering, page_of
from monitor.watch.service.pulse import Pulse
from monitor.watch.service.ready import Told, not_ready
from monitor.watch.service.works import judge_what_was_heard

UP = {"connected": True, "subscribed": True}


def link(name="", host="attic", **status):
    broker = Broker(host, 1883, "house", None, None, 60_000, name)
    return broker, SimpleNamespace(turned=time.monotonic(), status=Status(**status))


def pulse(*links):
    return Pulse(links or [link(**UP)], lambda: None)


# --- the server


@contextlib.contextmanager
def served(pages, host="127.0.0.1"):
    port = free_port()
    with answering(Health(port, host), pages):
        soon(lambda: _open(host, port), what="it answers")
        yield port


def _open(host, port):
    with contextlib.suppress(OSError), socket.create_connection((host, port), timeout=5):
        return True
    return False


def get(port, path, method="GET", host="127.0.0.1", **headers):
    link = http.client.HTTPConnection(host, port, timeout=20)
    try:
        link.request(method, path, headers=headers)
        answer = link.getresponse()
        return answer.status, answer.read().decode(), answer.headers
    finally:
        link.close()


def raw(port, *pieces, every=0.0):
    """What is answered to bytes; all of it until the server hangs up."""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as out:
        for piece in pieces:
            with contextlib.suppress(OSError):  # it may have hung up already
                out.sendall(piece)
            time.sleep(every)
        got = b""
        with contextlib.suppress(ConnectionResetError):
            while more := out.recv(65_536):
                got += more
        return got.decode()


ALL_IS_WELL = {"/livez": page_of(lambda: iter(()))}


def test_where_nothing_is_wrong_the_answer_is_ok():
    with served(ALL_IS_WELL) as port:
        status, body, headers = get(port, "/livez?verbose")
    assert (status, body) == (200, "ok\n")
    assert headers["Content-Type"] == "text/plain; charset=utf-8"
    assert headers["Connection"] == "close"


def test_each_reason_is_a_line_of_a_503():
    with served({"/readyz": page_of(lambda: iter(["the disk\nis full", "no broker"]))}) as port:
        assert get(port, "/readyz")[:2] == (503, "the disk is full\nno broker\n")


def test_there_are_its_pages_and_no_folder():
    with served(ALL_IS_WELL) as port:
        for path in ("/", "/../wallclime.toml", "//livez", "http://127.0.0.1/livez", "/livez/"):
            assert get(port, path)[:2] == (404, "there is: /livez\n")


def test_nothing_but_get_is_answered():
    with served(ALL_IS_WELL) as port:
        for method in ("POST", "PUT", "DELETE", "OPTIONS"):
            assert get(port, "/livez", method)[:2] == (405, "there is nothing but GET\n")


def test_a_page_that_calls_this_computer_by_another_name_is_refused():
    # a name that somebody else bent to 127.0.0.1 stands in Host (DNS rebinding)
    with served(ALL_IS_WELL) as port:
        assert get(port, "/livez", Host="evil.invalid")[0] == 403
        assert get(port, "/livez", Host="127.0.0.1.evil.invalid:80")[0] == 403
        for own in ("localhost", "LOCALHOST:9464", "127.0.0.1", "[::1]:9464", "127.0.0.2"):
            assert get(port, "/livez", Host=own)[0] == 200
        assert raw(port, b"GET /livez HTTP/1.0\r\n\r\n").startswith("HTTP/1.1 200 OK\r\n")


def test_it_answers_on_ipv6_where_that_is_asked_for():
    with served(ALL_IS_WELL, "::1") as port:
        assert get(port, "/livez", host="::1")[0] == 200


@pytest.mark.parametrize(
    ("request_", "status"),
    [
        (b"\r\n\r\n", 400),
        (b"GET /livez\r\n\r\n", 400),
        (b"GET /livez FTP/1.1\r\n\r\n", 400),
        (b"\xff\xfe \x00 HTTP/1.1\r\n\r\n", 405),
        (b"GET /\xff HTTP/1.1\r\n\r\n", 404),
        (b"GET /livez HTTP/1.1\r\nHost: \xff\r\n\r\n", 403),
        (b"GET /livez HTTP/1.1\r\nhost: localhost\r\nHost: evil.invalid\r\n\r\n", 403),
    ],
)
def test_what_is_no_request_is_answered_in_a_line(request_, status):
    with served(ALL_IS_WELL) as port:
        assert raw(port, request_).startswith(f"HTTP/1.1 {status} ")


WORDS = st.sampled_from(
    [b"GET", b"POST", b" ", b"/livez", b"/", b"HTTP/1.1", b"\r\n", b"Host: ", b"localhost", b"x:1", b"["]
)


@given(st.binary(max_size=300) | st.lists(WORDS, max_size=12).map(b"".join))
@example(b"GET /livez HTTP/1.1\r\nHost: [::1\r\n\r\n")
def test_whatever_is_sent_has_an_answer(head):
    for sent in (head, head + b"\r\n\r\n", b"GET /livez HTTP/1.1\r\nHost: " + head + b"\r\n\r\n"):
        answer = health._answered(sent, ALL_IS_WELL)
        assert answer.status[:3] in ("200", "400", "403", "404", "405", "408", "431")
        assert answer.body.endswith(b"\n")


def test_a_long_head_and_a_slow_one_end_and_the_next_caller_is_answered(monkeypatch):
    monkeypatch.setattr(health, "WITHIN", 0.3)
    with served(ALL_IS_WELL) as port:
        assert raw(port, b"GET /livez HTTP/1.1\r\n", b"X: " + b"x" * 20_000)[:12] in ("HTTP/1.1 431", "")
        assert raw(port, *[b"G"] * 6, every=0.1)[:12] in ("HTTP/1.1 408", "")
        assert raw(port, b"GET /livez HTTP/1.1\r\n")[:12] == "HTTP/1.1 408"
        assert get(port, "/livez")[0] == 200


def test_a_caller_that_goes_away_or_reads_nothing_does_no_harm(monkeypatch):
    monkeypatch.setattr(health, "WITHIN", 0.3)
    large = health.Answer("200 OK", health.TEXT, b"x" * 30_000_000)
    with served({"/livez": page_of(lambda: iter(())), "/large": lambda: large}) as port:
        socket.create_connection(("127.0.0.1", port)).close()
        with socket.create_connection(("127.0.0.1", port)) as deaf:
            deaf.sendall(b"GET /large HTTP/1.1\r\n\r\n")
            assert get(port, "/livez")[0] == 200


def test_an_error_of_ours_is_a_503_and_a_fault_a_500_that_tells_nothing(caplog):
    def busy():
        raise StoreError("another process has held it", where="store", mend="Wait")

    def broken():
        raise ZeroDivisionError("private")

    with served({"/busy": busy, "/broken": broken}) as port:
        assert get(port, "/busy")[:2] == (503, "store: another process has held it. Wait\n")
        assert get(port, "/broken")[:2] == (500, "a fault of wallclime: see its log\n")
    assert [one.fields["error"] for one in caplog.records if one.getMessage() == "fault"] == [
        "ZeroDivisionError('private')"
    ]


def test_a_port_that_is_taken_is_told_once_and_tried_again(monkeypatch, caplog):
    monkeypatch.setattr(health, "_AGAIN", 0.05)
    taken = socket.create_server(("127.0.0.1", 0))
    port = taken.getsockname()[1]
    with taken, answering(Health(port), ALL_IS_WELL):
        soon(lambda: caplog.records, what="it is told")
        time.sleep(0.2)
        taken.close()
        soon(lambda: _open("127.0.0.1", port) and get(port, "/livez")[0] == 200, what="it answers now")
    said = [(one.getMessage(), one.fields["error"]) for one in caplog.records if one.levelname == "ERROR"]
    assert said == [("health_port", "Address already in use")]


def test_without_health_in_the_settings_there_is_no_thread():
    before = threading.active_count()
    with answering(None, ALL_IS_WELL):
        assert threading.active_count() == before


# --- ready


def test_a_daemon_that_hears_and_writes_is_ready_and_a_silent_sensor_is_no_reason(desk):
    furnish(desk)
    assert list(not_ready(desk, pulse())) == []


def test_each_thing_that_keeps_it_from_keeping_is_a_reason(desk, monkeypatch):
    hear(desk, steady(NOW + DAY, 1))
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(1, 1, 100 * 2**20))
    missing = link(host="hall", connected=True, subscribed=True, marker_missing=True)
    made = pulse(link(last_error="broker attic:1883: Connection refused"), link(host="cellar"), missing)
    made.links[0][1].turned -= 61
    made.trouble = "store: it can't be written"
    assert list(not_ready(desk, made)) == [
        "the thread that hears attic:1883 stands still",
        "store: it can't be written",
        "broker attic:1883: Connection refused",
        "no connection to cellar:1883 yet",
        "hall:1883 does not let the daemon publish on its own topic: what has no time is refused",
        "the clock says 2026-01-17T00:00:00Z, 24 h 50 min before the newest thing in the store",
        f"100 MiB are free in {desk.settings.home}, fewer than 200",
    ]


def test_a_store_that_can_not_be_read_is_a_reason(desk, monkeypatch):
    away = StoreError("it can't be opened", where="store", mend="Look")
    monkeypatch.setattr(type(desk.store), "newest_arrival", lambda _: (_ for _ in ()).throw(away))
    assert list(not_ready(desk, pulse())) == ["store: it can't be opened. Look"]


# --- figures


def all_told(desk, *links, runs=(), looked=None):
    switch = Switch(desk._replace(settings=replace(desk.settings, dead_man=DeadMan("https://hush.invalid"))))
    switch.called = NOW - 5_000
    return Told(desk, pulse(*links), lambda: list(runs), looked or {}, switch)


def scraped(made):
    """The families of /metrics by name, and the text."""
    answer = pages_of(made)["/metrics"]()
    assert answer.kind.startswith("text/plain; version=")
    text = answer.body.decode()
    return {family.name: family for family in text_string_to_metric_families(text)}, text


def values(family):
    return {tuple(sample.labels.values()): sample.value for sample in family.samples}


@pytest.fixture
def house(desk):
    """A desk with all that figures are made of."""
    furnish(desk, at=NOW - 3 * DAY)
    hear(desk, steady(NOW - 3 * DAY, 72))
    hear(desk, steady(NOW - HOUR, 1), stream="site/stranger/climate")
    kelvin = Reading("site/shelf/climate", TEMPERATURE, NOW - MINUTE, 295.15, "K", NOW - MINUTE, LIVE)
    share = Reading("site/shelf/climate", HUMIDITY, NOW - MINUTE, 0.5, "1", NOW - MINUTE, LIVE)
    secret = Refused("secret/topic", "unreadable", "no", b"secret payload", NOW)
    desk.store.keep_readings([kelvin, share], [secret, Refused("x", "too-old", "", b"", NOW)])
    standing = {"raised": NOW, "standing": Standing.UNACKNOWLEDGED, "priority": Priority.HIGH}
    alarm = Alarm("0123456789", "humidity high", "den", "den", NOW - HOUR, **standing)
    not_standing = [
        replace(alarm, id="returned", standing=Standing.RETURNED),
        replace(alarm, id="a notice", standing=Standing.ACKNOWLEDGED, notice=True),
        replace(alarm, id="shelved", shelved_until=NOW + HOUR),
    ]
    desk.store.record_alarms([], [alarm, *not_standing], [])
    seal_now(desk, "by hand")
    return desk


def test_the_figures_are_those_of_the_house(house):
    looked = {}
    judge_what_was_heard(house, looked)
    runs = [Scheduled("seal", Doing.DONE, ended=NOW - 1_000), Scheduled("tidy", Doing.FAILED, failed=NOW, error="no")]
    cellar = link("cellar", kept=7, refused=2, held=1, last_message_at=NOW - 500, **UP)
    found, _ = scraped(all_told(house, cellar, link(), runs=runs, looked=looked))
    figures = {name: values(family) for name, family in found.items()}
    now = NOW / 1000
    both = {("cellar",): 1, ("attic:1883",): 0}
    assert figures["wallclime_broker_connected"] == figures["wallclime_broker_subscribed"] == both
    assert figures["wallclime_broker_last_message_timestamp_seconds"] == {("cellar",): now - 0.5}
    assert figures["wallclime_readings_kept"] == {("cellar",): 7, ("attic:1883",): 0}
    assert figures["wallclime_messages_refused"][("cellar",)] == 2
    assert figures["wallclime_messages_held"][("cellar",)] == 1
    assert figures["wallclime_sensor_last_reading_timestamp_seconds"] == {("shelf",): now - 60}
    assert figures["wallclime_sensor_air_temperature_celsius"] == {("shelf",): pytest.approx(22.0)}
    assert figures["wallclime_sensor_air_humidity_ratio"] == {("shelf",): pytest.approx(0.5)}
    assert figures["wallclime_job_in_band"] == {("den",): 1}
    assert figures["wallclime_job_ready"] == {("den",): 0}
    assert figures["wallclime_job_acclimation_counted_seconds"] == {("den",): 48 * 3600}
    assert figures["wallclime_job_acclimation_required_seconds"] == {("den",): 48 * 3600}
    assert figures["wallclime_job_judged_timestamp_seconds"] == {("den",): now}
    assert figures["wallclime_alarms"] == {("den", "high"): 1}
    assert figures["wallclime_scheduled_work_failed"] == {("seal",): 0, ("tidy",): 1}
    assert figures["wallclime_scheduled_work_last_end_timestamp_seconds"] == {("seal",): now - 1}
    assert figures["wallclime_quarantined_messages"] == {("unreadable",): 1, ("too-old",): 1}
    assert figures["wallclime_outbox_messages"] == {("waiting",): 0, ("sent",): 0, ("dead",): 0}
    assert figures["wallclime_last_head_timestamp_seconds"] == {(): now}
    assert figures["wallclime_days_not_sealed"] == {(): 0}
    assert figures["wallclime_dead_man_last_call_timestamp_seconds"] == {(): now - 5}
    assert figures["wallclime_clock_offset_seconds"] == {}
    assert figures["wallclime_store_size_bytes"][()] > 10_000
    assert figures["wallclime_disk_free_bytes"][()] > 0


def test_a_value_that_no_longer_speaks_is_absent_and_its_time_stays(house):
    house.clock.move(HOUR)
    found, _ = scraped(all_told(house))
    assert "wallclime_sensor_air_temperature_celsius" not in found
    assert values(found["wallclime_sensor_last_reading_timestamp_seconds"]) == {("shelf",): (NOW - MINUTE) / 1000}


def test_names_units_and_help_are_as_prometheus_has_them(house):
    # prometheus.io/docs/practices/naming: one prefix, base units in the plural as a suffix, _total for what only grows.
    looked = {}
    judge_what_was_heard(house, looked)
    found, text = scraped(all_told(house, runs=[Scheduled("seal", ended=NOW)], looked=looked))
    for name, family in found.items():
        assert re.fullmatch(r"wallclime(_[a-z]+)+", name)
        assert family.documentation.endswith(".")
        assert not re.search(r"percent|millisecond|_ms\b|minutes|hours|fahrenheit|kibi|mega", name)
        if "timestamp" in name:
            assert name.endswith("_timestamp_seconds")
        if family.type == "counter":
            assert f"# TYPE {name}_total counter" in text
        for sample in family.samples:
            assert set(sample.labels) <= {"sensor", "job", "broker", "work", "reason", "state", "priority", "version"}


def test_no_topic_payload_or_stranger_is_in_the_figures(house):
    _, text = scraped(all_told(house))
    assert not [word for word in ("secret", "stranger", "site/", "hush") if word in text]


def test_a_name_of_a_sensor_can_not_forge_a_line(house):
    name = 'shelf"} 1\nwallclime_forged 1\n\\'
    heard = next(one for one in house.store.heard() if one.name)._replace(name=name)
    with mock.patch.object(type(house.store), "heard", return_value=[heard]):
        found, _ = scraped(all_told(house))
    assert values(found["wallclime_sensor_last_reading_timestamp_seconds"]) == {(name,): (NOW - MINUTE) / 1000}
    assert "wallclime_forged" not in found


def test_without_prometheus_client_the_page_says_what_to_install(desk, monkeypatch):
    monkeypatch.setattr(answers.importlib.util, "find_spec", lambda _: None)
    with served(pages_of(all_told(desk))) as port:
        assert get(port, "/metrics")[:2] == (
            503,
            "/metrics: metrics need the package prometheus-client. Install it: pip install 'wallclime[metrics]'\n",
        )


def test_nothing_is_left_in_the_librarys_own_registry(desk):
    from prometheus_client import REGISTRY

    scraped(all_told(desk))
    assert not [family.name for family in REGISTRY.collect() if family.name.startswith("wallclime")]


# --- the daemon


def test_a_daemon_answers_from_its_start_to_its_end(tmp_path, mosquitto):
    home, port = write_home(tmp_path / "home", mosquitto.port), free_port()
    file = home / "wallclime.toml"
    file.write_text(f"{file.read_text()}[health]\nport = {port}\n")
    daemon = Daemon(home)
    daemon.start(until="health_answers")
    soon(lambda: get(port, "/readyz")[:2] == (200, "ok\n"), what="it is ready")
    assert get(port, "/livez")[:2] == (200, "ok\n")
    now = int(time.time() * 1000)
    publish(mosquitto.port, [("site/hall/climate", f'{{"temperature": 21, "humidity": 50, "time": {now}}}')])
    kept = f'wallclime_readings_kept_total{{broker="127.0.0.1:{mosquitto.port}"}} 2.0'
    soon(lambda: kept in get(port, "/metrics")[1], what="two readings are counted")
    mosquitto.stop()
    soon(lambda: get(port, "/readyz")[0] == 503, what="it is not ready without its broker")
    assert get(port, "/livez")[0] == 200
    assert daemon.stop() == 0
    assert not _open("127.0.0.1", port)
