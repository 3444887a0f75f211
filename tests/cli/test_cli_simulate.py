import os
import re
import signal
import socket

import pytest
from homes import NOON

from monitor.basis.clock import SystemClock
from monitor.basis.times import HOUR, MINUTE, parse_time, rfc3339, zone_of
from monitor.basis.units import parse_duration
from monitor.intake.happening import LASTS, Name, parse_event
from monitor.intake.payload import decode
from monitor.intake.simulate import Plan, messages, source_of, topics_of
from monitor.watch.desk import open_desk

ZONE = "America/New_York"
FIRST_JOB = ("heating-failure at 0 h for 30 min", "door at 10 h for 150 min", "outage at 30 h for 2 h")


def settings(wallclime, text):
    wallclime.path.mkdir(exist_ok=True)
    (wallclime.path / "wallclime.toml").write_text(text, encoding="utf-8")


@pytest.fixture
def at_broker(wallclime, mosquitto):
    """The command, with a home whose broker runs."""
    settings(wallclime, f"[broker]\nport = {mosquitto.port}\n")
    return wallclime


def test_help_lists_each_event_and_how_long_it_lasts(wallclime):
    listed = dict(re.findall(r"^  ([a-z-]+) +.*?\((\d+ (?:h|min))\)", wallclime.bare("simulate", "--help").out, re.M))
    assert {name: parse_duration(lasts) for name, lasts in listed.items()} == LASTS
    assert list(listed) == list(Name)


def test_the_past_is_sent_and_said(at_broker, mosquitto):
    result = at_broker.done("simulate", "--hours", 1.5, "--every", "5 min")
    assert result.out == ""
    assert result.err == (
        "an invented room speaks from 2026-01-12T10:30:00Z on, marked as simulated: "
        "site/simulated-1/climate, site/simulated-2/climate\n"
        f"sent 36 messages, all acknowledged by the broker 127.0.0.1:{mosquitto.port}\n"
    )


def test_three_days_are_told_unless_asked_otherwise(at_broker):
    result = at_broker.done(
        "simulate", "--every", "1 h", "--sensor", "attic", "--topic-template", "site/{sensor}/climate"
    )
    assert "from 2026-01-09T12:00:00Z on" in result.err
    assert "sent 72 messages" in result.err


def test_it_goes_on_as_time_goes_by(at_broker):
    at_broker.clock = SystemClock()
    result = at_broker.done("simulate", "--for", "1500 ms", "--every", "1 s", "--sensor", "attic")
    assert re.search(r"^sent [12] messages", result.err, re.M)


class Interrupting(SystemClock):
    """A clock that sends this process a signal when it is asked for the sixth time."""

    def __init__(self, number):
        self.number, self.asked = number, 0

    def now(self):
        self.asked += 1
        if self.asked == 6:
            os.kill(os.getpid(), self.number)
        return super().now()


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_ends_it_with_everything_acknowledged(at_broker, how):
    at_broker.clock, before = Interrupting(how), signal.getsignal(how)
    result = at_broker("simulate", "--live", "--hours", "1", "--every", "1 h")
    assert result.code == 0
    assert re.search(r"^sent [0-4] messages, all acknowledged", result.err, re.M)
    assert signal.getsignal(how) is before


def test_no_broker_is_one_line_and_exit_3(wallclime):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    settings(wallclime, f"[broker]\nport = {port}\n")
    result = wallclime("simulate")
    assert result.code == 3
    assert result.err.splitlines()[1:] == [
        f"broker 127.0.0.1:{port}: Connection refused. Start the broker, or mend host and port in wallclime.toml"
    ]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (
            ["--hours", "168"],
            "--hours: readings so old are not taken from the broker, only those of the last 168 h. "
            "Give fewer, or raise back_fill in wallclime.toml",
        ),
        (
            ["--hours", "inf"],
            "--hours: readings so old are not taken from the broker, only those of the last 168 h. "
            "Give fewer, or raise back_fill in wallclime.toml",
        ),
        (["--every", "0 s"], "--every: '0 s' is too often. Give \"1 s\" or more"),
        (["--every", "often"], '--every: \'often\' is not a duration. Write it like "30 min", "48 h" or "7 d"'),
        (["--for", "ever"], '--for: \'ever\' is not a duration. Write it like "30 min", "48 h" or "7 d"'),
        (
            ["--zone", "Nowhere"],
            '--zone: there is no time zone \'Nowhere\'. Give an IANA name such as "UTC" or "America/New_York"',
        ),
        (
            ["--event", "doors at 1 h"],
            "--event: there is no event 'doors'. Use one of door, dry, heating-failure, outage, back-fill, stuck, "
            "drift, clock-ahead, clock-unset",
        ),
        (
            ["--topic-template", "home/{sensor}"],
            "--topic-template: no source hears 'home/simulated-1'. "
            "Add such a [[source]] to wallclime.toml, or give another --topic-template",
        ),
    ],
)
def test_bad_input_is_one_line_and_exit_2(wallclime, options, message):
    result = wallclime("simulate", *options)
    assert (result.code, result.err) == (2, f"{message}\n")


def test_settings_without_a_source_are_said(wallclime):
    settings(wallclime, "source = []\n")
    assert wallclime("simulate").err == (
        "--topic-template: no source hears 'site/simulated-1/climate'. "
        "Add such a [[source]] to wallclime.toml, or give another --topic-template\n"
    )


# --- the first job of the trial ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=[0, 8, 16])
def begun(request):
    """When the boxes come: the first job tells the same at any time of the day. [UTC ms]"""
    return NOON - 72 * HOUR + request.param * HOUR


def heard(home, begun):
    """Keep what the invented room of the first job says, as the daemon would."""
    with open_desk(home.path, clock=home.clock) as desk:
        topics = topics_of("site/{sensor}/climate", ["den-boxes", "den-wall"])
        source = source_of(desk.settings.sources, "site/den-boxes/climate")
        events = tuple(parse_event(text, list(topics)) for text in FIRST_JOB)
        now, readings = begun + 72 * HOUR, []
        plan = Plan(source, topics, begun, now, every=2 * MINUTE, events=events, zone=zone_of(ZONE))
        state = {"trusted_live": True, "retained": False, "now": now, "newest": None, "back_fill": 168 * HOUR}
        for message in messages(plan):
            readings += decode(source, message.topic, message.payload, arrival=now, **state)
        desk.store.keep_readings(readings, [])


def test_the_first_job_tells_of_a_cold_start_an_open_door_a_gateway_that_was_out_and_a_completion(den, begun):
    den.clock.at_ms = begun + 72 * HOUR
    heard(den, begun)
    came = rfc3339(begun)
    for name in ("den-boxes", "den-wall"):
        den.done("sensor", "add", name, "--topic", f"site/{name}/climate", "--hold", "30 min")
        den.done("sensor", "assign", name, "--job", "den", "--at", came)
    den.done("log", "deliver", "den", "--at", came)
    told = den.assess()

    def hours(text):
        return (parse_time(text, zone_of("UTC"), where="told") - begun) / HOUR

    assert told["origin_share"] == {"simulated": 1.0}
    assert told["conflicts"] == 0
    clock = told["acclimation"]
    # the cold start ends within 3 h, the door opens at 10 h and after 60 min out of band the clock is at zero
    assert [restart["cause"] for restart in clock["restarts"]] == ["out"]
    assert 11 < hours(clock["restarts"][0]["at"]) < 12
    # it starts anew when the door is closed, pauses 1.5 h for the gateway (2 h less the hold) and is there after 48 h
    assert 12.4 < hours(clock["started_at"]) < 13.2
    assert hours(clock["completed_at"]) == pytest.approx(hours(clock["started_at"]) + 49.5, abs=0.2)
    assert clock["counted_h"] == 48
    assert told["coverage"]["elapsed_h"] - told["coverage"]["known_h"] == pytest.approx(1.5, abs=0.1)
    assert {(found["quantity"], found["side"]) for found in told["excursions"]} == {("air_temperature", "low")}
