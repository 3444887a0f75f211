"""How many sensors may appear, and how long their names may be."""

import threading

import pytest
from hearing import NOW, Log, Memory, T, listening, publish, soon
from paho.mqtt.client import MQTTMessage

from monitor.basis.errors import PayloadError
from monitor.basis.values import LIVE, Reading
from monitor.intake import admission
from monitor.intake.admission import Admission

HELP = "Name in the source's topic only levels that stay; a counter or a time in a topic makes a new sensor each time"


def reading(stream):
    return Reading(stream, T, NOW, 21.5, "degC", NOW, LIVE)


def refusal(doors, stream):
    with pytest.raises(PayloadError) as caught:
        doors.check("home/x", [reading(stream)])
    return caught.value.reason, str(caught.value)


@pytest.fixture
def minute(monkeypatch):
    """The monotonic clock of the doors, which the test moves: a list with the seconds."""
    seconds = [5.0]
    monkeypatch.setattr(admission.time, "monotonic", lambda: seconds[0])
    return seconds


def test_300_new_sensors_a_minute_are_let_in_and_the_next_must_wait(minute):
    doors = Admission()
    doors.check("home/x", [reading(f"s{number}") for number in range(300)])
    assert refusal(doors, "another") == (
        "too-many-topics",
        f"home/x: 300 new sensors appeared within a minute, and another is another. {HELP}",
    )
    doors.check("home/x", [reading("s0"), reading("s299")])
    minute[0] += 60
    doors.check("home/x", [reading("another")])


def test_sensors_that_are_known_already_do_not_count_as_new(minute):
    doors = Admission(f"s{number}" for number in range(1_000))
    doors.check("home/x", [reading(f"s{number}") for number in range(1_000)])
    doors.check("home/x", [reading(f"n{number}") for number in range(300)])


def test_10000_sensors_are_let_in_and_no_more_however_slowly_they_come(minute):
    doors = Admission(f"s{number}" for number in range(9_999))
    doors.check("home/x", [reading("the last")])
    minute[0] += 3_600
    assert refusal(doors, "another") == (
        "too-many-topics",
        f"home/x: 10000 sensors are known, and another is another. {HELP}",
    )
    doors.check("home/x", [reading("the last")])


def test_the_doors_of_several_brokers_count_together(monkeypatch):
    monkeypatch.setattr(admission, "NEW_A_MINUTE", 50)
    doors, refused = Admission(), []

    def knock(broker):
        for number in range(100):
            try:
                doors.check("home/x", [reading(f"{broker}/{number}")])
            except PayloadError as exc:
                refused.append(exc.reason)

    threads = [threading.Thread(target=knock, args=(broker,)) for broker in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(10)
    assert refused == ["too-many-topics"] * 350


def test_an_address_of_512_bytes_is_let_in_and_one_of_513_is_not():
    doors = Admission()
    doors.check("home/x", [reading("ü" * 256)])
    assert refusal(doors, "ü" * 256 + "x") == (
        "topic-too-long",
        "home/x: the address of its sensor has 513 bytes, the most is 512. Publish under a shorter name",
    )


# --- in the listener


@pytest.mark.usefixtures("in_a_hurry")
def test_a_flood_of_topics_goes_to_quarantine_and_the_sensors_that_were_there_are_heard_on(mosquitto, monkeypatch):
    monkeypatch.setattr(admission, "NEW_A_MINUTE", 20)
    memory, log = Memory(), Log()
    with listening(mosquitto, memory, log=log, admission=Admission(["home/0/climate"])) as listener:
        publish(mosquitto, *[(f"home/{number}/climate", f'{{"t":{number}}}') for number in range(100)])
        publish(mosquitto, ("home/0/climate", '{"t":21.5}'))
        soon(lambda: (listener.status.kept, listener.status.refused) == (22, 79))
    assert memory.values() == [*range(21), 21.5]
    assert memory.reasons() == ["too-many-topics"] * 79
    assert memory.refused[0][:4] == (
        "home/21/climate",
        "too-many-topics",
        f"20 new sensors appeared within a minute, and home/21/climate is another. {HELP}",
        b'{"t":21}',
    )


@pytest.mark.usefixtures("in_a_hurry")
def test_a_message_that_is_refused_makes_no_sensor(mosquitto, monkeypatch):
    monkeypatch.setattr(admission, "NEW_A_MINUTE", 1)
    memory = Memory()
    with listening(mosquitto, memory):
        publish(mosquitto, ("home/1/climate", "x"), ("home/2/climate", '{"t":2}'))
        soon(lambda: memory.values() == [2])
    assert memory.reasons() == ["unreadable"]


@pytest.mark.usefixtures("in_a_hurry")
def test_a_topic_of_more_than_512_bytes_is_refused_before_it_is_looked_at(mosquitto):
    memory, long = Memory(), f"home/{'x' * 501}/climate"
    with listening(mosquitto, memory):
        publish(mosquitto, (long, '{"t":1}'), (f"home/{'x' * 499}/climate", '{"t":2}'))
        soon(lambda: memory.refused and memory.readings)
    assert memory.values() == [2]
    assert memory.refused[0][:3] == (
        long,
        "topic-too-long",
        "its topic has 514 bytes, the most is 512. Publish under a shorter name",
    )


@pytest.mark.usefixtures("in_a_hurry")
@pytest.mark.parametrize("topic", [b"home/\xff/climate", b"home/\0/climate"])
def test_a_topic_that_is_no_text_is_refused_though_no_broker_should_pass_it_on(mosquitto, topic):
    # MQTT 3.1.1 section 1.5.3; mosquitto drops such a message, so it is put where paho would
    memory = Memory()
    with listening(mosquitto, memory) as listener:
        message = MQTTMessage(mid=1, topic=topic)
        message.payload = b'{"t":1}'
        listener._on_message(None, None, message)
        soon(lambda: memory.refused)
    assert memory.refused[0][1:3] == (
        "unreadable",
        "its topic is no text. Publish under a name in UTF-8, without NUL (MQTT 3.1.1 section 1.5.3)",
    )
