"""What the broker is told: states that it retains, events, and what becomes of both when it is away."""

from __future__ import annotations

import json
import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from processes import soon
from receivers import retained, watcher

from monitor.basis.alarm import Message
from monitor.basis.errors import BrokerError
from monitor.basis.times import SECOND
from monitor.config.brokers import Broker
from monitor.intake.announce import Announcer, event_topic, job_of, level_of, state_topic

T0 = 1_767_571_200_000  # 2026-01-05T00:00Z
TOLD = Message(
    "a1", "mqtt", "alarm", "den is too dry", "Close the window.", {"what": "dry"}, T0, T0, None, ("x",), ("den",)
)
DEN, HALL = "wallclime/me/job/den/state", "wallclime/me/job/hall/state"


def at(broker, **more) -> Broker:
    return Broker("127.0.0.1", broker.port, "me", more.pop("user", None), None, 60 * SECOND, **more)


def state(job="den", **more):
    return {"job": job, "verdict": "not ready", "as_of": "2026-01-05T00:00:00Z", **more}


@pytest.fixture
def announcer(mosquitto):
    made = Announcer(at(mosquitto), patience=20.0)
    yield made
    made.close()


# --- topics


def test_topics_are_under_the_client_id():
    broker = Broker("h", 1, "me", None, None, 1)
    assert (state_topic(broker, "den"), event_topic(broker)) == (DEN, "wallclime/me/event")


@pytest.mark.parametrize(
    ("job", "level"),
    [
        ("lobby wall", "lobby wall"),
        ("a/b", "a%2Fb"),
        ("+", "%2B"),
        ("#1", "%231"),
        ("50%", "50%25"),
        ("\0", "%00"),
        ("hütte", "hütte"),
    ],
)
def test_a_job_is_one_level_of_a_topic(job, level):
    # MQTT 3.1.1 section 4.7.1: /, # and + have a meaning in a topic, 1.5.3: U+0000 must not stand in a text
    assert (level_of(job), job_of(level)) == (level, job)


@given(st.text(min_size=1))
@example("%2F")
@example("\ud800")
def test_every_name_of_a_job_is_a_level_that_gives_it_back(job):
    level = level_of(job)
    assert job_of(level) == job
    assert level
    assert not re.search("[/+#\x00]", level)
    level.encode()  # no surrogate is left


# --- events


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_an_event_is_one_json_object_that_is_not_retained(mosquitto, protocol):
    told = Announcer(at(mosquitto, protocol=protocol))
    with watcher(mosquitto.port) as heard:
        told.event(TOLD)
        soon(lambda: heard.heard)
    told.close()
    assert heard.said("wallclime/me/event") == [
        {
            "id": "a1",
            "at": "2026-01-05T00:00:00Z",
            "what": "dry",
            "jobs": ["den"],
            "subject": "den is too dry",
            "text": "Close the window.",
        }
    ]
    assert retained(mosquitto.port) == {}


def test_no_broker_is_one_clear_line_and_later_the_event_is_taken(mosquitto, announcer):
    mosquitto.stop(at_once=True)
    with pytest.raises(BrokerError) as caught:
        announcer.event(TOLD)
    where = f"broker 127.0.0.1:{mosquitto.port}"
    assert (
        str(caught.value) == f"{where}: Connection refused. Start the broker, or mend host and port in wallclime.toml"
    )
    mosquitto.start()
    with watcher(mosquitto.port) as heard:
        announcer.event(TOLD)
        soon(lambda: len(heard.heard) == 1)


def test_an_event_that_we_may_not_publish_is_told(mosquitto_with, tmp_path):
    rights = tmp_path / "rights"
    rights.write_text("topic read #\n", encoding="utf-8")
    rights.chmod(0o600)
    broker = mosquitto_with(acl_file=rights)
    announcer = Announcer(at(broker, protocol="5"))
    with pytest.raises(BrokerError) as caught:
        announcer.event(TOLD)
    assert str(caught.value) == (
        f"broker 127.0.0.1:{broker.port}: it takes nothing on 'wallclime/me/event': Not authorized. "
        "Let the user of wallclime.toml write there"
    )


def test_the_daemon_of_the_same_client_id_keeps_its_link(mosquitto, announcer):
    from paho.mqtt.client import Client
    from paho.mqtt.enums import CallbackAPIVersion

    ended = []
    daemon = Client(CallbackAPIVersion.VERSION2, client_id="me")
    daemon.on_disconnect = lambda *_: ended.append(True)
    daemon.connect("127.0.0.1", mosquitto.port)
    daemon.loop_start()
    soon(daemon.is_connected)
    announcer.event(TOLD)
    announcer.rest(0.1)
    assert ended == []
    daemon.on_disconnect = None
    daemon.disconnect()
    daemon.loop_stop()


# --- states


def test_a_state_is_retained_for_whoever_asks_later(mosquitto, announcer):
    announcer.states({"den": state(), "a/b": state("a/b")})
    assert retained(mosquitto.port) == {DEN: state(), "wallclime/me/job/a%2Fb/state": state("a/b")}


def test_only_what_is_new_is_told(mosquitto, announcer):
    announcer.states({"den": state(), "hall": state("hall")})
    with watcher(mosquitto.port) as heard:
        soon(lambda: len(heard.heard) == 2)
        announcer.states({"den": state(as_of="2026-01-05T00:01:00Z"), "hall": state("hall", verdict="ready")})
        announcer.event(TOLD)
        soon(lambda: heard.said("wallclime/me/event"))
    assert len(heard.said(DEN)) == 1
    assert [said["verdict"] for said in heard.said(HALL)] == ["not ready", "ready"]


def test_of_a_job_that_there_is_no_more_nothing_is_retained(mosquitto, announcer):
    announcer.states({"den": state(), "hall": state("hall")})
    announcer.states({"hall": state("hall")})
    assert set(retained(mosquitto.port)) == {HALL}


def test_a_broker_that_forgot_is_told_every_state_anew(mosquitto, announcer):
    announcer.states({"den": state()})
    mosquitto.stop(at_once=True)
    mosquitto.start()  # without persistence: what it retained is gone
    soon(lambda: announcer.rest(0.05) or retained(mosquitto.port) == {DEN: state()})


def test_a_job_that_ended_while_the_broker_was_away_is_ended_there_too(mosquitto_with, tmp_path):
    broker = mosquitto_with(persistence="true", autosave_interval=1, autosave_on_changes="true")
    announcer = Announcer(at(broker), patience=0.2)
    announcer.states({"den": state(), "hall": state("hall")})
    broker.stop()
    with pytest.raises(BrokerError):
        announcer.states({"hall": state("hall")})
    broker.start()
    assert set(retained(broker.port)) == {DEN, HALL}
    announcer.states({"hall": state("hall")})
    announcer.close()
    assert set(retained(broker.port)) == {HALL}


def test_the_json_is_utf_8_and_no_number_is_nan(mosquitto, announcer):
    announcer.states({"hütte": state("hütte")})
    with watcher(mosquitto.port) as heard:
        soon(lambda: heard.heard)
    assert "hütte".encode() in heard.heard[0][1]
    with pytest.raises(ValueError, match="Out of range float values are not JSON compliant"):
        announcer.states({"den": state(share=float("nan"))})
    assert json.loads(heard.heard[0][1])["job"] == "hütte"
