"""The embedded broker beyond this computer: only with a password."""

import paho.mqtt.client as mqtt
import pytest

from monitor.basis.errors import BrokerError
from monitor.intake.broker import embedded_broker


def connected(port: int, user: str | None = None, password: str | None = None) -> bool:
    """Whether the broker lets somebody in."""
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="somebody")
    heard: list[bool] = []
    client.on_connect = lambda _c, _d, _f, reason, _p: heard.append(not reason.is_failure)
    if user is not None:
        client.username_pw_set(user, password)
    client.connect("127.0.0.1", port)
    try:
        for _ in range(50):
            if client.loop(0.1) != mqtt.MQTT_ERR_SUCCESS or heard:
                break
    finally:
        client.disconnect()
        client.loop(0.1)
    return heard == [True]


def test_it_does_not_hear_the_network_without_a_password():
    with pytest.raises(BrokerError) as error, embedded_broker(None, "0.0.0.0"):
        pass
    assert str(error.value) == (
        "broker 0.0.0.0: the embedded broker would hear the whole network without asking for a password. "
        'Set host = "127.0.0.1", or a user and a password'
    )


def test_with_a_password_it_hears_the_network_and_lets_in_who_knows_it():
    with embedded_broker(None, "0.0.0.0", user="hall", password='a "quoted" word') as port:
        assert connected(port, "hall", 'a "quoted" word')
        assert not connected(port, "hall", "another")
        assert not connected(port)
