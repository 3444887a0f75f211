import contextlib
import re
import socket
import subprocess
import threading
import time

import pytest

from monitor.basis.clock import SetClock, SystemClock
from monitor.basis.errors import BrokerError
from monitor.basis.times import DAY, HOUR, SECOND
from monitor.basis.values import SIMULATED, Quantity
from monitor.config.brokers import Tls
from monitor.config.settings import Broker, Field, Service, Source
from monitor.intake import sending
from monitor.intake.mqtt import Listener
from monitor.intake.publish import publish
from monitor.intake.sending import WINDOW
from monitor.intake.simulate import Message, Plan, messages

NOW = 1_767_595_200_000  # 2026-01-05T06:40:00Z
FIELDS = {Quantity.AIR_TEMPERATURE: Field("/t", "degC"), Quantity.AIR_HUMIDITY: Field("/h", "%")}
SOURCE = Source("site/{sensor}/climate", "json", FIELDS, "site/{sensor}/climate", "/time")
TOPICS = {name: f"site/{name}/climate" for name in ("boxes", "wall")}
CONNACK = b"\x20\x02\x00\x00"


def at(broker, **settings):
    settings = {"user": None, "password": None} | settings
    return Broker("127.0.0.1", broker.port, "wallclime-test", keepalive=60 * SECOND, **settings)


def some(count, t_ms=NOW):
    return [Message(t_ms, "site/boxes/climate", b'{"t":%d,"simulated":true}' % k) for k in range(count)]


def soon(condition, within=60.0):
    end = time.monotonic() + within
    while not condition():
        assert time.monotonic() < end, "it did not happen in time"
        time.sleep(0.005)


@contextlib.contextmanager
def listening(broker):
    """What a daemon keeps of the sensors while the block lasts."""
    kept = []
    listener = Listener(
        at(broker),
        [SOURCE],
        Service(60 * SECOND, 20, 500, 7 * DAY),
        clock=SetClock(NOW),
        keep=lambda readings, refused: kept.extend([*readings, *refused]),
        newest_arrival=lambda: None,
        log=lambda *_args, **_fields: None,
    )
    stop = threading.Event()
    thread = threading.Thread(target=listener.run, args=(stop,))
    thread.start()
    try:
        soon(lambda: listener.status.marker == "returned")
        yield kept
    finally:
        stop.set()
        thread.join(10)


class Stub:
    """A broker for one client: it answers what `answer(bytes)` returns, None ends the link; `heard` is all it read."""

    def __init__(self, answer):
        self._answer, self.heard = answer, b""
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self._thread = threading.Thread(target=self._run)
        self._thread.start()

    def _run(self):
        with contextlib.suppress(OSError), self._server, self._server.accept()[0] as link:
            link.settimeout(10)
            while heard := link.recv(65_536):
                self.heard += heard
                answer = self._answer(heard)
                if answer is None:
                    return
                link.sendall(answer)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._thread.join(10)
        assert not self._thread.is_alive()


def accept_only(heard):
    return CONNACK if heard.startswith(b"\x10") else b""


def fault_of(broker, count=1, **settings):
    with pytest.raises(BrokerError) as caught:
        publish(some(count), at(broker, **settings), clock=SetClock(NOW))
    return re.sub(r":\d+:", ":PORT:", str(caught.value))


# --- with a real broker -----------------------------------------------------------------------------------------------


def test_the_past_of_an_invented_room_reaches_the_daemon_whole_and_as_simulated(mosquitto):
    plan = Plan(SOURCE, TOPICS, NOW - 6 * HOUR, NOW)
    with listening(mosquitto) as kept:
        assert publish(messages(plan), at(mosquitto), clock=SetClock(NOW)) == 720
        soon(lambda: len(kept) >= 1440)
    assert {reading.origin for reading in kept} == {SIMULATED}
    heard = [(reading.t, reading.stream) for reading in kept if reading.quantity is Quantity.AIR_HUMIDITY]
    assert heard == [(message.t_ms, message.topic) for message in messages(plan)]


def test_nothing_to_send_is_sent(mosquitto):
    assert publish([], at(mosquitto), clock=SetClock(NOW)) == 0


class Ticking(SetClock):
    """A clock that moves by 100 ms each time it is asked."""

    def now(self):
        self.move(100)
        return super().now()


def test_a_message_waits_for_its_time(mosquitto):
    clock = Ticking(NOW)
    sent = publish([*some(1, NOW), *some(1, NOW + 400)], at(mosquitto), clock=clock)
    assert sent == 2
    assert NOW + 400 <= clock.at_ms <= NOW + 700


def test_waiting_ends_at_once_when_told(mosquitto):
    told = threading.Event()
    teller = threading.Timer(0.1, told.set)

    def later():
        yield from some(3)
        teller.start()
        yield from some(1, SystemClock().now() + HOUR)

    began = time.monotonic()
    assert publish(later(), at(mosquitto), clock=SystemClock(), stop=told.is_set) == 3
    assert time.monotonic() - began < 10
    teller.join()


def test_the_past_is_sent_no_faster_than_the_pace(mosquitto):
    began = time.monotonic()
    publish(some(31), at(mosquitto), clock=SetClock(NOW), pace=100)
    assert time.monotonic() - began >= 0.3


def test_a_broker_that_is_restarted_gets_the_rest(mosquitto):
    def restarted():
        yield from some(100)
        mosquitto.stop(at_once=True)
        mosquitto.start()
        yield from some(100)

    assert publish(restarted(), at(mosquitto), clock=SetClock(NOW)) == 200


def test_a_broker_that_is_gone_for_good_is_said(mosquitto, monkeypatch):
    monkeypatch.setattr(sending, "PATIENCE", 0.3)

    def gone():
        yield from some(100)
        mosquitto.stop(at_once=True)
        yield from some(1, NOW + HOUR)

    with pytest.raises(BrokerError) as caught:
        publish(gone(), at(mosquitto), clock=SetClock(NOW))
    assert str(caught.value) == (
        f"broker 127.0.0.1:{mosquitto.port}: the link ended and can't be made anew. Start the broker again"
    )


def test_a_broker_that_asks_for_a_password_refuses_us(mosquitto_with):
    assert fault_of(mosquitto_with(allow_anonymous="false"), user="robin", password="wrong") == (
        "broker 127.0.0.1:PORT: it refuses us: Not authorized. "
        "Check user in wallclime.toml and $WALLCLIME_BROKER_PASSWORD"
    )


def test_mqtt_5_reaches_the_daemon_too(mosquitto):
    with listening(mosquitto) as kept:
        assert publish(some(3), at(mosquitto, protocol="5"), clock=SetClock(NOW)) == 3
        soon(lambda: len(kept) >= 3)


def test_a_topic_that_we_may_not_write_is_said_where_the_broker_says_it(mosquitto_with, tmp_path):
    # MQTT 3.1.1 has no answer for it: there the broker drops the message and acknowledges it
    rights = tmp_path / "rights"
    rights.write_text("topic read #\n", encoding="utf-8")
    rights.chmod(0o600)
    broker = mosquitto_with(acl_file=rights)
    assert fault_of(broker, protocol="5") == (
        "broker 127.0.0.1:PORT: it takes nothing on 'site/boxes/climate': Not authorized. "
        "Let the user of wallclime.toml write there"
    )
    assert publish(some(1), at(broker), clock=SetClock(NOW)) == 1


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    """A certificate of 127.0.0.1, signed by itself, and its key."""
    folder = tmp_path_factory.mktemp("certificate")
    asked = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2 -subj /CN=invented"
    files = ["-addext", "subjectAltName=IP:127.0.0.1", "-keyout", folder / "key.pem", "-out", folder / "cert.pem"]
    subprocess.run([*asked.split(), *files], check=True, capture_output=True)
    return folder


def with_tls(mosquitto_with, certificate):
    return mosquitto_with(certfile=certificate / "cert.pem", keyfile=certificate / "key.pem")


def test_a_broker_with_tls_is_reached(mosquitto_with, certificate):
    broker = at(with_tls(mosquitto_with, certificate), tls=Tls(ca_file=certificate / "cert.pem"))
    assert publish(some(60), broker, clock=SetClock(NOW)) == 60


def test_a_broker_whose_certificate_nobody_signed_is_not_trusted(mosquitto_with, certificate):
    fault = fault_of(with_tls(mosquitto_with, certificate), tls=Tls())
    assert fault.replace("self signed", "self-signed") == (  # as older OpenSSL writes it
        "broker 127.0.0.1:PORT: its certificate is not trusted: self-signed certificate. "
        "Name the authority that signed it as ca_file in wallclime.toml"
    )


# --- with brokers that misbehave --------------------------------------------------------------------------------------


def test_no_broker_is_one_clear_line():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    nowhere = type("Nowhere", (), {"port": port})
    assert fault_of(nowhere) == (
        "broker 127.0.0.1:PORT: Connection refused. Start the broker, or mend host and port in wallclime.toml"
    )


def test_a_broker_that_hangs_up_at_once_is_said():
    with Stub(lambda _heard: None) as stub:
        assert fault_of(stub) == (
            "broker 127.0.0.1:PORT: it ends the link at once. "
            "Check user in wallclime.toml and $WALLCLIME_BROKER_PASSWORD"
        )


def test_a_broker_that_says_nothing_is_said(monkeypatch):
    monkeypatch.setattr(sending, "PATIENCE", 0.3)
    with Stub(lambda _heard: b"") as stub:
        assert fault_of(stub) == "broker 127.0.0.1:PORT: it does not answer. Look at the broker's own log"


def test_no_more_than_a_window_is_on_its_way_unacknowledged(monkeypatch):
    monkeypatch.setattr(sending, "PATIENCE", 0.3)
    with Stub(accept_only) as stub:
        assert fault_of(stub, 3 * WINDOW) == (
            "broker 127.0.0.1:PORT: it acknowledges nothing. Look at the broker's own log"
        )
    assert stub.heard.count(b"simulated") == WINDOW


def test_the_last_messages_are_waited_for_too(monkeypatch):
    monkeypatch.setattr(sending, "PATIENCE", 0.3)
    with Stub(accept_only) as stub:
        assert fault_of(stub, 3) == (
            "broker 127.0.0.1:PORT: it does not acknowledge the last messages. Look at the broker's own log"
        )
