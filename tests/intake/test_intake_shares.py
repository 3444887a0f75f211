"""What a daemon of a share subscribes to, and a session that hears more than it should, or is given up."""

import pytest
from hearing import Memory, listening, publish, soon, timed

from monitor.basis.errors import BrokerError
from monitor.intake.sessions import give_up

pytestmark = pytest.mark.usefixtures("in_a_hurry")

BOTH = (("home/7/climate", '{"t":21.5}'), ("home/8/climate", '{"t":22.5}'))


def test_of_the_sources_topics_only_those_of_the_share_are_heard(mosquitto):
    memory = Memory()
    with listening(mosquitto, memory, filters=["home/7/climate"]):
        publish(mosquitto, *BOTH[::-1])
        soon(lambda: memory.readings)
    assert memory.values() == [21.5]


def test_what_a_session_holds_of_topics_that_it_is_to_hear_no_more_is_kept_and_nothing_comes_after_it(mosquitto):
    memory = Memory()
    with listening(mosquitto, Memory()):
        pass
    publish(mosquitto, timed(20.0))
    with listening(mosquitto, memory, filters=["home/7/climate"], dropped=["timed/+", "home/+/climate"]):
        publish(mosquitto, timed(23.0), *BOTH[::-1])
        soon(lambda: len(memory.readings) == 2)
    assert (memory.values(), memory.refused) == ([20.0, 21.5], [])


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_a_session_that_is_given_up_holds_nothing_any_more(mosquitto, protocol):
    memory = Memory()
    with listening(mosquitto, Memory(), protocol=protocol) as listener:
        broker = listener._broker
    publish(mosquitto, BOTH[0])
    give_up(broker)
    with listening(mosquitto, memory, protocol=protocol) as listener:
        soon(lambda: listener.status.marker == "returned")
    assert (memory.readings, memory.refused) == ([], [])


def test_a_broker_that_is_away_is_named_when_a_session_is_to_be_given_up(mosquitto):
    with listening(mosquitto, Memory()) as listener:
        broker = listener._broker
    mosquitto.stop()
    with pytest.raises(
        BrokerError, match=rf"^broker 127.0.0.1:{mosquitto.port}: Connection refused\. Start the broker"
    ):
        give_up(broker)
