import os
import signal
import time

import pytest
from hearing import NOW, OUT, SOURCES, H, Log, Memory, T, listening, publish, soon, timed

from monitor.basis.clock import SetClock
from monitor.basis.times import DAY, SECOND
from monitor.config.settings import Broker, Field, Service, Source
from monitor.intake import mqtt
from monitor.intake.mqtt import SHOWN, Listener
from monitor.intake.payload import Decoder

pytestmark = pytest.mark.usefixtures("in_a_hurry")


# --- the plain way


def test_a_live_message_is_kept_at_its_arrival_and_what_cant_be_read_beside_it(mosquitto):
    memory = Memory()
    with listening(mosquitto, memory) as listener:
        publish(
            mosquitto,
            ("home/7/climate", '{"t":21.5,"h":45}'),
            ("bare/8/temperature", "x"),
            ("bare/8/temperature", "70"),
        )
        soon(lambda: listener.status.kept == 3)
        status = listener.status
    assert [(r.stream, r.quantity, r.t, r.value, r.unit) for r in memory.readings] == [
        ("home/7/climate", T, NOW, 21.5, "degC"),
        ("home/7/climate", H, NOW, 45.0, "%"),
        ("bare/8", T, NOW, 70.0, "degF"),
    ]
    assert [tuple(refused) for refused in memory.refused] == [
        ("bare/8/temperature", "not-a-number", "x is not a number. Send a plain number with a decimal point", b"x", NOW)
    ]
    assert (status.connected, status.since, status.refused, status.last_message_at) == (True, NOW, 1, NOW)
    assert (status.marker, status.marker_missing, status.held, status.last_error) == ("returned", False, 0, "")
    assert listener.status.connected is False


def test_a_message_of_qos_0_is_kept_too(mosquitto):
    memory = Memory()
    with listening(mosquitto, memory):
        publish(mosquitto, ("home/7/climate", '{"t":21.5}', 0))
        soon(lambda: memory.values() == [21.5])


def test_the_refused_bytes_of_a_too_large_message_are_cut_to_what_is_looked_at(mosquitto):
    memory = Memory()
    with listening(mosquitto, memory):
        publish(mosquitto, ("home/7/climate", b"x" * 70_000))
        soon(lambda: memory.refused)
    (refused,) = memory.refused
    assert refused.raw == b"x" * 65_536
    assert refused.detail == "70000 bytes, the most is 65536. Send one reading a message"


def test_the_first_source_that_covers_a_topic_reads_it(mosquitto):
    memory = Memory()
    sources = (SOURCES[0], Source("home/{other}/climate", "number", {T: Field("", "degC")}, "other"))
    with listening(mosquitto, memory, sources=sources):
        publish(mosquitto, ("home/7/climate", '{"t":21.5}'))
        soon(lambda: memory.refused or memory.readings)
    assert memory.values() == [21.5]


def test_a_topic_of_an_earlier_setting_that_the_broker_still_serves_is_refused_not_lost(mosquitto):
    memory = Memory()
    with listening(mosquitto, Memory()):
        pass
    with listening(mosquitto, memory, sources=SOURCES[1:]):
        publish(mosquitto, ("home/7/climate", '{"t":21.5}'))
        soon(lambda: memory.refused)
    assert memory.reasons() == ["no-source"]


def test_where_every_topic_is_heard_what_is_no_sensor_is_passed_over_and_what_was_one_is_refused(mosquitto):
    memory, log = Memory(), Log()
    sources = (SOURCES[1], Source("#", "plain", {}, "{sensor}"))
    publish(mosquitto, ("flat7/old/state", '{"temperature": 3}', 1, True))  # kept by the broker, of nobody knows when
    with listening(mosquitto, memory, sources=sources, log=log) as listener:
        publish(
            mosquitto,
            ("flat7/plug/state", '{"power": 12}'),
            ("flat7/hall/availability", "online"),
            ("wallclime/another/job/hall/state", '{"temperature": 20}'),
            timed(20.5),
            ("flat7/hall/state", '{"temperature": 17.2, "humidity": 58}'),
            ("flat7/hall/state", "offline"),
            ("flat7/hall/state", '{"temperature": 17.3, "humidity": 58}'),
        )
        soon(lambda: listener.status.kept == 5)
    assert memory.values() == [20.5, 17.2, 58.0, 17.3, 58.0]
    assert [(refused.topic, refused.reason, refused.raw) for refused in memory.refused] == [
        ("flat7/hall/state", "unreadable", b"offline")
    ]
    assert [fields["address"] for _, event, fields in log if event == "new sensor"] == ["timed/7", "flat7/hall/state"]


def test_of_a_long_payload_the_begin_is_remembered_for_people(mosquitto):
    memory, padded = Memory(), f'{{"t": 20.5, "time": {NOW}, "more": "{"x" * 60_000}"}}'
    with listening(mosquitto, memory) as listener:
        publish(mosquitto, ("timed/7", padded))
        soon(lambda: memory.readings)
        assert listener.latest == {"timed/7": ("timed/7", padded.encode()[:SHOWN])}


# --- batches


def test_a_batch_ends_when_it_is_full(mosquitto):
    memory = Memory()
    with listening(mosquitto, memory, batch=3, linger=3_600_000):
        publish(mosquitto, *[timed(value) for value in range(8)])  # and the marker makes nine
        soon(lambda: len(memory.values()) == 8)
    assert max(len(values) for values, _ in memory.calls) <= 3


def test_a_batch_ends_at_half_the_window_where_the_broker_sends_no_more_before_it_is_acknowledged(mosquitto):
    # max_inflight_messages is 20 by default: waiting for 500 would be waiting for ever
    memory = Memory()
    with listening(mosquitto, memory, linger=3_600_000):
        publish(mosquitto, *[timed(value) for value in range(100)])
        soon(lambda: len(memory.values()) >= 91)
    assert memory.values() == list(range(len(memory.values())))


def test_a_batch_ends_when_its_first_message_has_waited_long_enough(mosquitto):
    memory = Memory()
    with listening(mosquitto, memory, linger=1500):
        publish(mosquitto, timed(1))
        began = time.monotonic()
        publish(mosquitto, timed(2))
        soon(lambda: len(memory.values()) == 2)
        assert time.monotonic() - began > 0.05
    assert memory.calls == [([1.0, 2.0], [])]


# --- kept, and only then acknowledged


def test_what_could_not_be_kept_is_offered_again_over_the_same_link_and_kept_once(mosquitto):
    memory, log = Memory(OUT), Log()
    with listening(mosquitto, memory, log=log) as listener:
        publish(mosquitto, timed(21.5))
        soon(lambda: listener.status.held == 1)
        assert listener.status.last_error == "store: the disk is full. Make room"
        assert listener.status.last_message_at == NOW
        soon(lambda: listener.status.kept == 1)
        soon(lambda: listener.status.marker == "returned")
        assert (listener.status.held, listener.status.last_error) == (0, "")
    assert memory.values() == [21.5]
    assert memory.calls == [([21.5], []), ([21.5], [])]
    assert log.count("connected") == 1


def test_what_was_never_kept_was_never_acknowledged_and_comes_again(mosquitto):
    with listening(mosquitto, Memory(lambda: OUT)) as listener:
        publish(mosquitto, timed(21.5), timed(22.5, NOW + 1))
        soon(lambda: listener.status.held == 2)
    memory = Memory()
    with listening(mosquitto, memory):
        pass
    assert memory.values() == [21.5, 22.5]


def test_an_error_in_keep_that_nobody_foresaw_loses_nothing_either(mosquitto):
    memory, log = Memory(ZeroDivisionError("oh")), Log()
    with listening(mosquitto, memory, log=log):
        publish(mosquitto, timed(21.5))
        soon(lambda: memory.values() == [21.5])
    (said,) = [fields for _, event, fields in log if event == "not_kept"]
    assert said == {"error": "ZeroDivisionError('oh')", "held": 1, "again_in_s": 0.05}


def test_while_nothing_can_be_kept_reading_goes_on_only_until_the_batch_is_full(mosquitto):
    memory = Memory(lambda: OUT)
    with listening(mosquitto, memory, batch=5) as listener:
        publish(mosquitto, *[timed(value, NOW + value) for value in range(20)])
        soon(lambda: listener.status.held == 5)
        soon(lambda: len(memory.calls) >= 3)
        assert listener.status.held == 5
        memory.fail.clear()
        soon(lambda: len(memory.values()) == 20)
    assert memory.values() == list(range(20))


def test_a_clean_stop_keeps_and_acknowledges_what_was_read(mosquitto):
    memory = Memory()
    with listening(mosquitto, memory, linger=3_600_000) as listener:
        publish(mosquitto, *[timed(value, NOW + value) for value in range(5)])
        soon(lambda: listener._batch.messages == 6)  # with the marker
        assert memory.values() == []
    assert memory.values() == [0, 1, 2, 3, 4]
    again = Memory()
    with listening(mosquitto, again):
        pass
    assert again.calls == []


def test_an_acknowledgement_of_an_earlier_link_is_not_sent_over_the_next(mosquitto_with):
    # A broker that lost the session numbers its messages anew: the late acknowledgement of a message of the old link
    # would be that of another message, not kept yet.
    broker = mosquitto_with(log_type="all")
    memory = Memory(lambda: OUT)
    with listening(broker, memory) as listener:
        publish(broker, timed(21.5))
        soon(lambda: listener.status.held == 1)
        broker.stop()
        soon(lambda: not listener.status.connected)
        before = len(broker.log.read_bytes())
        broker.start()
        soon(lambda: listener.status.connected)
        memory.fail.clear()
        soon(lambda: memory.values() == [21.5])
        soon(lambda: listener.status.marker == "returned")
    said = broker.log.read_bytes()[before:].decode()
    # the two markers of the new link, one at its beginning and one when the store was back; not the reading's
    assert said.count("Sending PUBLISH to wallclime-test") == 2
    assert said.count("Received PUBACK from wallclime-test") == 2
    assert said.count("timed/7") == 0


# --- links


def test_it_subscribes_again_at_a_broker_that_forgot_it(mosquitto):
    memory = Memory()
    with listening(mosquitto, memory) as listener:
        mosquitto.stop()
        soon(lambda: not listener.status.connected)
        assert listener.status.last_error.endswith("mend host and port in wallclime.toml") or "the link ended" in (
            listener.status.last_error
        )
        mosquitto.start()  # with persistence false: no session, no subscription
        soon(lambda: listener.status.marker == "returned")
        publish(mosquitto, ("home/7/climate", '{"t":21.5}'))
        soon(lambda: memory.values() == [21.5])


def test_a_broker_that_is_not_there_is_named_and_waited_for(mosquitto):
    mosquitto.stop()
    memory = Memory()
    with listening(mosquitto, memory, live=False) as listener:
        soon(lambda: listener.status.last_error)
        assert listener.status.last_error == (
            f"broker 127.0.0.1:{mosquitto.port}: Connection refused. "
            "Start the broker, or mend host and port in wallclime.toml"
        )
        mosquitto.start()
        soon(lambda: listener.status.marker == "returned")
        assert listener.status.last_error == ""


def test_a_broker_that_refuses_us_is_named(mosquitto_with):
    broker = mosquitto_with(allow_anonymous="false")
    with listening(broker, Memory(), live=False) as listener:
        soon(lambda: listener.status.last_error)
        assert listener.status.last_error == (
            f"broker 127.0.0.1:{broker.port}: it refuses us: Not authorized. "
            "Check user in wallclime.toml and $WALLCLIME_BROKER_PASSWORD"
        )
        assert not listener.status.connected


def test_a_link_that_is_dead_and_does_not_say_so_is_noticed(mosquitto):
    with listening(mosquitto, Memory(), keepalive=SECOND) as listener:
        os.kill(mosquitto.pid, signal.SIGSTOP)
        try:
            soon(lambda: not listener.status.connected, within=5)
        finally:
            os.kill(mosquitto.pid, signal.SIGCONT)
        soon(lambda: listener.status.marker == "returned")


def test_two_programs_with_one_client_id_are_told_of_each_other(mosquitto, monkeypatch):
    monkeypatch.setattr(mqtt, "_LONGEST_WAIT", 0.05)
    with (
        listening(mosquitto, Memory(), live=False) as one,
        listening(mosquitto, Memory(), live=False) as two,
    ):
        soon(lambda: any("another client" in listener.status.last_error for listener in (one, two)))
        said = next(s for s in (one.status.last_error, two.status.last_error) if "another client" in s)
    assert said == (
        f"broker 127.0.0.1:{mosquitto.port}: another client seems to use the id 'wallclime-test'. "
        "Give each client_id to one program"
    )


def test_two_programs_with_one_client_id_are_told_of_each_other_for_as_long_as_they_fight(mosquitto, monkeypatch):
    # Each waits longer and longer before it takes the id back: the links then live longer than a short life.
    monkeypatch.setattr(mqtt, "_SHORT_LIFE", 0.3)
    monkeypatch.setattr(mqtt, "_LONGEST_WAIT", 0.6)
    log = Log()

    def ends():
        return ["another client" in fields["error"] for _, event, fields in log if event == "broker"]

    with listening(mosquitto, Memory(), live=False, log=log), listening(mosquitto, Memory(), live=False, log=log):
        soon(lambda: sum(ends()) >= 6)
    assert ends()[: ends().index(True)].count(False) <= 4
    assert False not in ends()[ends().index(True) + 2 :]


def test_a_store_out_of_reach_at_the_start_is_asked_again(mosquitto):
    errors = [OUT]

    def newest():
        if errors:
            raise errors.pop()

    with listening(mosquitto, Memory(), newest=newest, live=False) as listener:
        soon(lambda: listener.status.last_error == "store: the disk is full. Make room")
        soon(lambda: listener.status.marker == "returned")


def test_a_fault_of_ours_in_one_message_neither_stops_the_loop_nor_loses_the_message(mosquitto, monkeypatch):
    true_decode = Decoder.decode

    def decode(self, stream, topic, payload, moment):
        if payload == b"13":
            raise ZeroDivisionError("oh")
        return true_decode(self, stream, topic, payload, moment)

    monkeypatch.setattr(Decoder, "decode", decode)
    memory, log = Memory(), Log()
    with listening(mosquitto, memory, log=log):
        publish(mosquitto, ("bare/7/temperature", "13"), ("bare/7/temperature", "14"))
        soon(lambda: memory.values() == [14.0])
    assert [(r.reason, r.detail) for r in memory.refused] == [
        ("unreadable", "a fault of wallclime: ZeroDivisionError('oh')")
    ]
    assert ("error", "fault", {"error": "ZeroDivisionError('oh')"}) in log


def test_a_fault_of_ours_in_the_loop_starts_a_new_link(mosquitto, monkeypatch):
    true_due, errors = Listener._due, [ZeroDivisionError("oh")]

    def due(self, *, dry):
        if self.status.marker == "returned" and errors:
            raise errors.pop()
        return true_due(self, dry=dry)

    monkeypatch.setattr(Listener, "_due", due)
    memory, log = Memory(), Log()
    with listening(mosquitto, memory, log=log) as listener:
        soon(lambda: log.count("connected") == 2)
        soon(lambda: listener.status.marker == "returned")
        publish(mosquitto, timed(21.5))
        soon(lambda: memory.values() == [21.5])


def test_a_plain_function_may_say_when_to_stop(mosquitto):
    listener = Listener(
        Broker(mosquitto.host, mosquitto.port, "wallclime-test", None, None, 60_000),
        SOURCES,
        Service(60_000, 20, 500, DAY),
        clock=SetClock(NOW),
        keep=Memory(),
        newest_arrival=lambda: None,
        log=Log(),
    )
    listener.run(lambda: listener.status.marker == "returned")
    assert listener.status.connected is False


# --- live, backlog, retained


def test_what_waited_while_we_were_away_has_no_time_of_its_own_and_the_next_live_message_has(mosquitto):
    with listening(mosquitto, Memory()):
        pass
    publish(mosquitto, ("home/7/climate", '{"t":1}'), timed(2), ("home/7/climate", '{"t":3}'))
    memory = Memory()
    with listening(mosquitto, memory):
        publish(mosquitto, ("home/7/climate", '{"t":4}'))
        soon(lambda: memory.values() == [2, 4])
    assert memory.reasons() == ["time-unknown", "time-unknown"]
    assert memory.refused[0].detail == (
        "it carries no time, and it may have waited at the broker. "
        "Send the time with the reading, and name its place as `time` of its source"
    )


def test_a_retained_message_without_a_time_is_old_and_one_with_a_time_is_a_reading(mosquitto):
    publish(mosquitto, ("home/7/climate", '{"t":1}', 1, True), (*timed(2), 1, True))
    memory = Memory()
    with listening(mosquitto, memory):
        publish(mosquitto, ("home/7/climate", '{"t":3}', 1, True))  # live, though it will be retained
        soon(lambda: memory.values() == [2, 3])
    assert [(r.reason, r.detail.split(".")[0]) for r in memory.refused] == [
        ("time-unknown", "it carries no time, and the broker had kept it (retained)")
    ]


def test_what_waited_while_nothing_could_be_kept_is_a_backlog_too(mosquitto_with):
    broker = mosquitto_with(max_inflight_messages=1)
    memory = Memory(lambda: OUT)
    with listening(broker, memory) as listener:
        publish(broker, *[("home/7/climate", f'{{"t":{value}}}') for value in (1, 2, 3)])
        soon(lambda: listener.status.held == 1)
        memory.fail.clear()
        soon(lambda: memory.reasons() == ["time-unknown", "time-unknown"])
        soon(lambda: listener.status.marker == "returned")
        publish(broker, ("home/7/climate", '{"t":4}'))
        soon(lambda: memory.values() == [1, 4])


def test_what_came_while_the_loop_did_not_look_for_long_is_a_backlog_too(mosquitto_with):
    broker, clock = mosquitto_with(max_inflight_messages=1), SetClock(NOW)
    memory = Memory()

    def keep(readings, refused):
        if not memory.calls:
            clock.move(11 * SECOND)
        memory(readings, refused)

    with listening(broker, keep, clock=clock) as listener:
        publish(broker, ("home/7/climate", '{"t":1}'), ("home/7/climate", '{"t":2}'))
        soon(lambda: memory.reasons() == ["time-unknown"])
        soon(lambda: listener.status.marker == "returned")
    assert memory.values() == [1]


def test_an_unstamped_message_is_refused_while_the_clock_is_behind_what_was_kept(mosquitto):
    memory, clock = Memory(), SetClock(NOW)
    with listening(mosquitto, memory, clock=clock, newest=lambda: NOW + 1):
        publish(mosquitto, ("home/7/climate", '{"t":1}'))
        soon(lambda: memory.reasons() == ["clock-unset"])
        clock.move(5)
        publish(mosquitto, ("home/7/climate", '{"t":2}'))
        soon(lambda: memory.values() == [2])
        clock.move(-1)  # behind what was just kept
        publish(mosquitto, ("home/7/climate", '{"t":3}'))
        soon(lambda: memory.reasons() == ["clock-unset", "clock-unset"])


def test_a_daemon_that_may_not_publish_on_its_own_topic_says_so(mosquitto_with, tmp_path, monkeypatch):
    monkeypatch.setattr(mqtt, "MARKER_WITHIN", 0.2)
    rights = tmp_path / "acl"
    rights.write_text("topic readwrite home/#\ntopic readwrite timed/#\n")
    memory, log = Memory(), Log()
    broker = mosquitto_with(acl_file=rights)
    with listening(broker, memory, log=log, live=False) as listener:
        soon(lambda: listener.status.marker_missing)
        publish(broker, ("home/7/climate", '{"t":1}'), timed(2))
        soon(lambda: memory.values() == [2])
        assert (listener.status.marker, listener.status.connected) == ("awaited", True)
    assert memory.reasons() == ["time-unknown"]
    assert log.count("marker_missing") == 1
    assert ("warning", "marker_missing", {"topic": "wallclime/wallclime-test/marker"}) in log


def test_a_marker_of_somebody_else_ends_no_backlog(mosquitto, monkeypatch):
    monkeypatch.setattr(mqtt.secrets, "token_hex", lambda _bytes: "ours")
    memory = Memory()
    with listening(mosquitto, memory) as listener:
        listener._live, listener._returned = False, 0.0
        publish(mosquitto, ("wallclime/wallclime-test/marker", "theirs"), timed(1))
        soon(lambda: memory.values() == [1])
        assert listener._returned == 0.0
        publish(mosquitto, ("wallclime/wallclime-test/marker", "ours"))
        soon(lambda: listener._live)
