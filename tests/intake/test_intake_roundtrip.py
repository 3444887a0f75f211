"""A message to oneself over a real broker: it comes back, or it is said why not."""

from __future__ import annotations

import socket
import subprocess
import threading
from pathlib import Path

import pytest
from paho.mqtt.publish import single
from processes import free_port

from monitor.basis.errors import BrokerError
from monitor.basis.times import MINUTE
from monitor.config.brokers import Broker
from monitor.intake.link import presence_topic
from monitor.intake.roundtrip import marker_topic, round_trip

TOPIC = "'wallclime/house/marker'"


def broker_at(port: int, **more) -> Broker:
    said = {"client_id": "house", "user": None, "password": None, "keepalive": MINUTE, **more}
    return Broker("127.0.0.1", port, **said)


def refusal(port: int, **more) -> str:
    with pytest.raises(BrokerError) as error:
        round_trip(broker_at(port, **more), within=0.5)
    return str(error.value).removeprefix(f"broker 127.0.0.1:{port}: ")


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_a_message_to_oneself_comes_back(mosquitto, protocol):
    assert 0 < round_trip(broker_at(mosquitto.port, protocol=protocol)).took < 5


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_it_learns_whether_the_daemon_of_that_client_id_is_there(mosquitto, protocol):
    broker = broker_at(mosquitto.port, protocol=protocol)
    seen = [round_trip(broker).daemon]
    for said in ("online", "offline"):
        single(presence_topic(broker), said, qos=1, retain=True, hostname="127.0.0.1", port=mosquitto.port)
        seen.append(round_trip(broker).daemon)
    assert seen == [False, True, False]


def test_it_goes_over_the_daemons_own_topic():
    assert marker_topic(broker_at(1)) == "wallclime/house/marker"


def test_no_session_is_left_at_the_broker(mosquitto):
    round_trip(broker_at(mosquitto.port))
    assert "as house-doctor-" in mosquitto.log.read_text()
    assert "(p2, c1, k60)" in mosquitto.log.read_text()  # mosquitto's log: protocol 3.1.1, clean session


def acl(folder: Path, *lines: str) -> str:
    path = folder / "acl"
    path.write_text("".join(f"topic {line} wallclime/house/marker\n" for line in lines))
    path.chmod(0o600)
    return str(path)


@pytest.mark.parametrize("right", ["read", "write"])
def test_who_may_only_read_or_only_write_hears_nothing(mosquitto_with, tmp_path, right):
    port = mosquitto_with(acl_file=acl(tmp_path, right)).port
    assert refusal(port) == (
        f"what was published on {TOPIC} did not come back in 0.5 s. Let the user of wallclime.toml write and read there"
    )


def test_in_mqtt_5_a_broker_says_that_it_takes_nothing(mosquitto_with, tmp_path):
    port = mosquitto_with(acl_file=acl(tmp_path, "read")).port
    assert refusal(port, protocol="5") == (
        f"it takes nothing on {TOPIC}: Not authorized. Let the user of wallclime.toml write there"
    )


def test_a_subscription_that_is_refused_is_told():
    def refuse() -> None:
        link, _ = server.accept()
        with link:
            link.recv(1000)
            link.sendall(b"\x20\x02\x00\x00")  # CONNACK, MQTT 3.1.1 section 3.2
            asked = link.recv(1000)
            link.sendall(b"\x90\x03" + asked[2:4] + b"\x80")  # SUBACK with a failure, section 3.9
            link.recv(1000)

    with socket.create_server(("127.0.0.1", 0)) as server:
        broker = threading.Thread(target=refuse)
        broker.start()
        said = refusal(server.getsockname()[1])
        broker.join()
    assert said == (
        f"it refuses a subscription of {TOPIC}: Unspecified error. Let the user of wallclime.toml read there"
    )


def test_a_user_that_is_not_known_is_refused(mosquitto_with):
    port = mosquitto_with(allow_anonymous="false").port
    for protocol in ("3.1.1", "5"):
        assert refusal(port, user="ada", password="x", protocol=protocol) == (
            "it refuses us: Not authorized. Check user in wallclime.toml and $WALLCLIME_BROKER_PASSWORD"
        )


def test_a_broker_that_is_not_there_is_told():
    assert refusal(free_port()) == "Connection refused. Start the broker, or mend host and port in wallclime.toml"


def test_who_does_not_answer_is_waited_for_no_longer_than_said():
    with socket.create_server(("127.0.0.1", 0)) as silent:
        assert refusal(silent.getsockname()[1]) == "it does not answer in 0.5 s. Look at the broker's own log"


def test_who_hangs_up_is_told():
    program = "import socket; s = socket.create_server(('127.0.0.1', 0)); print(s.getsockname()[1], flush=True);"
    with subprocess.Popen(["python3", "-c", f"{program} s.accept()[0].close()"], stdout=subprocess.PIPE) as child:
        assert child.stdout is not None
        port = int(child.stdout.readline())
        said = refusal(port)
    assert said.startswith("the link ended before we were accepted: ")
    assert said.endswith("Look at its log; if it speaks TLS on this port, set tls = true")
