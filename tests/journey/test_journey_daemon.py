"""The running daemon and a real broker: killed, stopped, away, and not allowed what it needs."""

from __future__ import annotations

import json
import time
from pathlib import Path

from mqtt_proxy import Proxy
from processes import STAMPED, Daemon, Message, free_port, publish, soon, write_home

from monitor.basis.values import AIR, Quantity
from monitor.watch.desk import Desk, open_desk

UNSTAMPED = """\
[[source]]
topic = "bare/{sensor}/temperature"
format = "number"
quantity = "air_temperature"
unit = "degC"
"""


def stream(count: int) -> dict[int, tuple[float, float]]:
    """`count` readings of one sensor, a millisecond apart: UTC ms -> degC, %RH."""
    first = int(time.time() * 1000) - 3_600_000
    return {first + n: (15 + n % 1_000 / 100, 40 + n % 997 / 100) for n in range(count)}


def message(t: int, temperature: float, humidity: float) -> Message:
    return "site/hall/climate", json.dumps({"temperature": temperature, "humidity": humidity, "time": t})


def messages(readings: dict[int, tuple[float, float]]) -> list[Message]:
    return [message(t, *values) for t, values in readings.items()]


def kept(home: Path) -> dict[int, tuple[float, ...]]:
    """What is kept of the hall; each time of each channel once."""
    with open_desk(home) as desk:
        both = [desk.store.series("site/hall/climate", quantity) for quantity in AIR]
    for series in both:
        assert len(set(series.t.tolist())) == len(series)
    assert both[0].t.tolist() == both[1].t.tolist()
    return dict(zip(both[0].t.tolist(), zip(*(s.value.tolist() for s in both), strict=True), strict=True))


def heard(desk: Desk) -> int:
    return sum(one.readings for one in desk.store.heard())


def count(home: Path) -> int:
    with open_desk(home) as desk:
        return heard(desk)


def soon_more_than(number: int, home: Path, what: str) -> None:
    """Wait until more readings are kept; at one desk, since sitting down at one takes the daemon's time."""
    with open_desk(home) as desk:
        soon(lambda: heard(desk) > number, what=what)


def soon_kept(number: int, home: Path, what: str = "all of it is kept") -> None:
    with open_desk(home) as desk:
        soon(lambda: heard(desk) == number, what=what)


def refused(home: Path) -> dict[tuple[str, str], int]:
    with open_desk(home) as desk:
        return desk.store.quarantine_counts()


def test_killed_amid_20000_messages_it_keeps_all_after_its_restart_and_none_twice(tmp_path, mosquitto):
    home, sent = write_home(tmp_path / "home", mosquitto.port), stream(20_000)
    daemon = Daemon(home)
    daemon.start(until="connected")
    assert daemon.stop() == 0
    publish(mosquitto.port, messages(sent))
    daemon.start(until="connected")
    for part in (2_000, 10_000):
        soon_more_than(part, home, "a part of it is kept")
        daemon.kill()
        assert part < count(home) < 40_000
        daemon.start()
    soon_kept(40_000, home)
    assert daemon.stop() == 0
    assert kept(home) == sent
    assert refused(home) == {}


def test_sigterm_keeps_all_that_was_acknowledged_and_the_rest_waits_at_the_broker(tmp_path, mosquitto):
    with Proxy(mosquitto.port) as proxy:
        home, sent = write_home(tmp_path / "home", proxy.port), stream(20_000)
        daemon = Daemon(home)
        daemon.start(until="connected")
        assert daemon.stop() == 0
        publish(mosquitto.port, messages(sent))
        daemon.start()
        soon(lambda: proxy.minutes.acknowledged.total() > 5_000, what="a part of it is acknowledged")
        assert daemon.stop() == 0
        acknowledged = {json.loads(payload)["time"] for payload in proxy.minutes.acknowledged if payload[:1] == b"{"}
        there = kept(home)
        assert acknowledged == there.keys()
        assert 5_000 <= len(there) < 20_000
        daemon.start()
        soon_kept(40_000, home)
        assert daemon.stop() == 0
    assert kept(home) == sent


def test_unstamped_readings_that_waited_while_it_was_stopped_are_time_unknown_and_the_next_live_one_is_kept(
    tmp_path, mosquitto
):
    home = write_home(tmp_path / "home", mosquitto.port, UNSTAMPED)
    daemon = Daemon(home)
    daemon.start(until="backlog_over")
    assert daemon.stop() == 0
    publish(mosquitto.port, [("bare/hall/temperature", f"{15 + n / 100}") for n in range(500)])
    daemon.start(until="backlog_over")
    before = int(time.time() * 1000)
    publish(mosquitto.port, [("bare/hall/temperature", "21.5")])
    soon_kept(1, home, "the live one is kept")
    after = int(time.time() * 1000)
    assert daemon.stop() == 0
    assert refused(home) == {("bare/hall/temperature", "time-unknown"): 500}
    with open_desk(home) as desk:
        series = desk.store.series("bare/hall", Quantity.AIR_TEMPERATURE)
    assert series.value.tolist() == [21.5]
    assert before <= series.t[0] <= after


def test_a_daemon_that_may_not_publish_its_marker_says_so_within_15_s_and_loses_nothing(tmp_path, mosquitto_with):
    acl = tmp_path / "acl"
    acl.write_text("topic readwrite site/#\ntopic readwrite bare/#\ntopic read wallclime/#\n", encoding="utf-8")
    acl.chmod(0o600)
    broker = mosquitto_with(acl_file=acl)
    home = write_home(tmp_path / "home", broker.port, STAMPED + UNSTAMPED)
    daemon, sent = Daemon(home), stream(100)
    daemon.start(until="connected")
    publish(broker.port, [("bare/hall/temperature", f"{n}") for n in range(30)])
    said = daemon.wait_for("marker_missing", within=15)
    publish(broker.port, [("bare/hall/temperature", f"{n}") for n in range(30, 50)])
    publish(broker.port, messages(sent))
    soon_kept(200, home, "what has a time is kept")
    assert daemon.stop() == 0
    assert said["level"] == "warning"
    assert said["topic"].startswith("wallclime/")
    assert said["topic"].endswith("/marker")
    assert kept(home) == sent
    assert refused(home) == {("bare/hall/temperature", "time-unknown"): 50}


def test_the_embedded_broker_of_the_daemon_hears_and_keeps(tmp_path):
    port, sent = free_port(), stream(300)
    home = write_home(tmp_path / "home", port)
    daemon = Daemon(home, "--embedded-broker")
    daemon.start(until="backlog_over")
    publish(port, messages(sent))
    soon_kept(600, home)
    told = next(line for line in daemon.lines() if line["event"] == "embedded broker")
    assert daemon.stop() == 0
    assert kept(home) == sent
    assert (told["level"], told["port"]) == ("warning", port)
    assert told["mind"].startswith("The embedded broker keeps nothing over a restart")
