import socket
import sys
import threading
import time

import paho.mqtt.publish
import pytest

from monitor.basis.clock import SetClock
from monitor.basis.errors import BrokerError
from monitor.basis.values import Quantity
from monitor.config.settings import Broker, Field, Service, Source
from monitor.intake import broker
from monitor.intake.mqtt import Listener

NOW = 1_767_595_200_000
SOURCES = (
    Source("home/{sensor}", "number", {Quantity.AIR_TEMPERATURE: Field("", "degC")}, "home/{sensor}"),
    Source("away/{sensor}", "number", {Quantity.AIR_TEMPERATURE: Field("", "degC")}, "away/{sensor}"),
)


def listen(port, keep, until):
    """Run a listener until `until(listener)`."""
    listener = Listener(
        Broker("127.0.0.1", port, "wallclime-test", None, None, 60_000),
        SOURCES,
        Service(60_000, 20, 500, 86_400_000),
        clock=SetClock(NOW),
        keep=keep,
        newest_arrival=lambda: None,
        log=lambda *_args, **_fields: None,
    )
    end = time.monotonic() + 10
    listener.run(lambda: until(listener) or time.monotonic() > end)
    assert time.monotonic() < end, "it did not happen in time"


def publish(port, topic, numbers):
    sent = [{"topic": topic, "payload": str(number), "qos": 1} for number in numbers]
    paho.mqtt.publish.multiple(sent, hostname="127.0.0.1", port=port)


def test_the_embedded_broker_hands_messages_to_the_listener():
    kept = []
    with broker.embedded_broker(None) as port:

        def until(listener):
            if listener.status.marker == "returned" and not kept:
                kept.append(None)
                threading.Thread(target=publish, args=(port, "home/7", [21.5])).start()
            return len(kept) > 1

        listen(port, lambda readings, _refused: kept.extend(readings), until)
    assert [reading.value for reading in kept[1:]] == [21.5]


def test_a_marker_that_overtakes_other_topics_makes_no_backlog_live():
    # This broker keeps the order within a subscription only: its marker comes back before most of the 600 messages.
    readings, refused = [], []

    def slowly(some, others):
        time.sleep(0.06)
        readings.extend(some)
        refused.extend(others)

    with broker.embedded_broker(None) as port:
        listen(port, slowly, lambda listener: listener.status.marker == "returned")
        publish(port, "home/7", range(300))
        publish(port, "away/7", range(300))
        listen(port, slowly, lambda listener: listener.status.marker == "returned")
    assert readings == []
    assert [message.reason for message in refused] == ["time-unknown"] * 600


def test_a_message_too_large_to_be_looked_at_still_comes_through_to_be_refused():
    refused = []
    with broker.embedded_broker(None) as port:
        listen(port, lambda *_kept: None, lambda listener: listener.status.marker == "returned")
        paho.mqtt.publish.single("home/7", b"x" * 70_000, 1, hostname="127.0.0.1", port=port)
        listen(port, lambda _readings, others: refused.extend(others), lambda _listener: refused)
    assert [message.reason for message in refused] == ["too-large"]


def test_it_hears_this_computer_only_and_is_gone_after_the_block():
    with broker.embedded_broker(None) as port:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
        with socket.socket() as other, pytest.raises(ConnectionRefusedError):
            other.connect(("127.0.0.2", port))
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", port), timeout=1)


def test_a_port_that_is_taken_is_named_with_the_mend():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(BrokerError) as caught, broker.embedded_broker(port):
            pass
    assert str(caught.value).startswith(f"broker 127.0.0.1:{port}: the embedded broker can't start: ")
    assert str(caught.value).endswith(". Give another port in wallclime.toml, or use the broker that is already there")


def test_without_the_package_the_mend_is_to_install_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "iotcore", None)
    with pytest.raises(BrokerError) as caught, broker.embedded_broker():
        pass
    assert str(caught.value) == ('broker: the embedded broker is not installed. Run pip install "wallclime[broker]"')
