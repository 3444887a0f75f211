"""Links to real brokers: TLS, passwords, MQTT 5, presence, and links that are dead."""

import contextlib
import shutil
import socket
import ssl
import subprocess
import threading
import time
from types import SimpleNamespace

import pytest
from hearing import FIELDS, NOW, OUT, Memory, listening, publish, soon, timed
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from processes import MOSQUITTO, free_port

from monitor.basis.errors import BrokerError
from monitor.basis.times import SECOND
from monitor.config.brokers import Broker, Tls
from monitor.config.settings import Source
from monitor.intake import link
from monitor.intake.link import tls_context

pytestmark = pytest.mark.usefixtures("in_a_hurry")

EC = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes")


# --- certificates


@pytest.fixture(scope="session")
def certificates(tmp_path_factory):
    """A folder with two authorities, ca and other, and what ca has signed: server, elsewhere, expired, client."""
    folder = tmp_path_factory.mktemp("certificates")

    def openssl(*command):
        subprocess.run(["openssl", *command], cwd=folder, check=True, capture_output=True)

    for name in ("ca", "other"):
        files = ("-keyout", f"{name}.key", "-out", f"{name}.pem")
        openssl("req", "-x509", *EC, *files, "-subj", f"/CN=Invented {name}", "-days", "2")
    for name, address, days in (
        ("server", "IP:127.0.0.1", 2),
        ("elsewhere", "DNS:elsewhere.invalid", 2),
        ("expired", "IP:127.0.0.1", -1),
        ("client", "DNS:client.invalid", 2),
    ):
        openssl("req", *EC, "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={name}")
        (folder / f"{name}.ext").write_text(f"subjectAltName = {address}\n")
        signed = ("-CA", "ca.pem", "-CAkey", "ca.key", "-CAcreateserial", "-days", str(days), "-extfile", f"{name}.ext")
        openssl("x509", "-req", "-in", f"{name}.csr", "-out", f"{name}.pem", *signed)
    return folder


@pytest.fixture
def secure(mosquitto_with, certificates):
    """A factory of brokers that speak TLS with the certificate of this name."""

    def make(name="server", **settings):
        files = {"cafile": "ca.pem", "certfile": f"{name}.pem", "keyfile": f"{name}.key"}
        return mosquitto_with(**{key: certificates / file for key, file in files.items()}, **settings)

    return make


def said(listener, broker):
    """The error of a listener that does not get through, without the broker's address."""
    soon(lambda: listener.status.last_error)
    return listener.status.last_error.removeprefix(f"broker 127.0.0.1:{broker.port}: ")


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_readings_come_over_tls(secure, certificates, protocol):
    broker, memory, ca = secure(), Memory(), certificates / "ca.pem"
    with listening(broker, memory, protocol=protocol, tls=Tls(ca)):
        publish(broker, *[timed(value, NOW + value) for value in range(200)], tls={"ca_certs": str(ca)})
        soon(lambda: memory.values() == list(range(200)))


def test_a_broker_that_an_authority_of_others_signed_is_not_spoken_to(secure, certificates):
    broker = secure()
    for ca in (certificates / "other.pem", None):
        with listening(broker, Memory(), tls=Tls(ca), live=False) as listener:
            assert said(listener, broker) == (
                "its certificate is not trusted: self-signed certificate in certificate chain. "
                "Name the authority that signed it as ca_file in wallclime.toml"
            )


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("expired", "certificate has expired. Renew the broker's certificate, or set this computer's clock"),
        (
            "elsewhere",
            "IP address mismatch, certificate is not valid for '127.0.0.1'. "
            "Mend host in wallclime.toml, or give the broker a certificate of that name",
        ),
    ],
)
def test_a_certificate_that_has_expired_or_is_of_another_name_is_not_trusted(secure, certificates, name, what):
    broker = secure(name)
    with listening(broker, Memory(), tls=Tls(certificates / "ca.pem"), live=False) as listener:
        assert said(listener, broker) == f"its certificate is not trusted: {what}"


def test_a_broker_that_wants_a_certificate_of_ours_gets_it(secure, certificates):
    broker = secure(require_certificate="true")
    ours = Tls(certificates / "ca.pem", certificates / "client.pem", certificates / "client.key")
    with listening(broker, Memory(), tls=ours) as listener:
        assert listener.status.connected
    with listening(broker, Memory(), tls=Tls(certificates / "ca.pem"), live=False) as listener:
        # the broker's alert comes, or the end of the link overtakes it
        what, _, mend = said(listener, broker).partition(". ")
        assert what.startswith("the link ended before we were accepted: ")
        assert mend == "Look at its log; if it asks for a certificate, give cert_file and key_file in wallclime.toml"


def test_a_certificate_of_ours_that_the_broker_does_not_trust_is_named(secure, certificates):
    broker = secure(require_certificate="true")
    ours = Tls(certificates / "ca.pem", certificates / "other.pem", certificates / "other.key")
    with listening(broker, Memory(), tls=ours, live=False) as listener:
        assert said(listener, broker).endswith(". Look at its log: it may not trust our certificate")


def test_tls_to_a_plain_port_and_a_plain_link_to_tls_are_named(mosquitto, secure, certificates):
    with listening(mosquitto, Memory(), tls=Tls(certificates / "ca.pem"), live=False) as listener:
        what, _, mend = said(listener, mosquitto).partition(". ")
        assert what.startswith("TLS fails: ")
        assert mend == "Give the port of its TLS listener, or take tls out of wallclime.toml"
    broker = secure()
    with listening(broker, Memory(), live=False) as listener:
        what, _, mend = said(listener, broker).partition(". ")
        assert what.startswith("the link ended before we were accepted: ")
        assert mend == "Look at its log; if it speaks TLS on this port, set tls = true"


def test_files_that_are_no_certificates_or_no_pair_are_named_before_anything_is_tried(certificates, tmp_path):
    ca, cert, key, junk = (certificates / name for name in ("ca.pem", "client.pem", "server.key", "client.ext"))
    locked = tmp_path / "locked.key"
    lock = ("-aes256", "-passout", "pass:secret", "-out", str(locked))
    subprocess.run(["openssl", "ec", "-in", str(certificates / "client.key"), *lock], check=True, capture_output=True)

    def refusal(tls):
        with pytest.raises(BrokerError) as caught:
            tls_context(Broker("h.invalid", 8883, "id", None, None, 60_000, tls=tls))
        return str(caught.value)

    assert refusal(Tls(junk)) == (
        f"broker h.invalid:8883: {junk} holds no certificates. Give the certificates in PEM, one after the other"
    )
    assert refusal(Tls(ca, cert, key)) == (
        f"broker h.invalid:8883: {cert} and {key} are not a certificate and its key (key values mismatch). "
        "Give both in PEM, and the key without a password"
    )
    assert refusal(Tls(ca, cert, locked)).startswith(
        f"broker h.invalid:8883: {cert} and {locked} are not a certificate"
    )


def test_what_tls_has_decrypted_already_is_read_though_the_socket_is_quiet(mosquitto, certificates):
    # Two messages may come in one record of TLS: select() then sees nothing, and the second would wait for a third.
    server_side = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server_side.load_cert_chain(certificates / "server.pem", certificates / "server.key")
    client_side = ssl.create_default_context(cafile=certificates / "ca.pem")
    client_side.sslsocket_class = link.TlsWire
    one, other = socket.socketpair()
    shake = threading.Thread(target=lambda: accepted.append(server_side.wrap_socket(one, server_side=True)))
    accepted: list[ssl.SSLSocket] = []
    shake.start()
    with client_side.wrap_socket(other, server_hostname="127.0.0.1") as wire:
        shake.join(10)
        with accepted[0] as server, listening(mosquitto, Memory()) as listener:
            server.sendall(b"ab")
            assert wire.recv(1) == b"a"
            began = time.monotonic()
            assert listener._wait(wire) is True
            assert wire.recv(1) == b"b"
            assert listener._wait(wire) is False
            assert time.monotonic() - began < 5


def test_what_a_wire_has_read_ahead_is_read_though_the_socket_is_quiet(mosquitto):
    one, other = socket.socketpair()
    with one, link.PlainWire(fileno=other.detach()) as wire, listening(mosquitto, Memory()) as listener:
        one.sendall(b"abc")
        assert wire.recv(1) == b"a"
        began = time.monotonic()
        assert listener._wait(wire) is True
        assert wire.recv(1_000) == b"bc"
        assert listener._wait(wire) is False
        one.sendall(b"d")
        assert wire.recv(1) == b"d"
        assert time.monotonic() - began < 5


def test_a_wire_says_when_nothing_has_come_and_when_the_link_has_ended(mosquitto):
    one, other = socket.socketpair()
    with link.PlainWire(fileno=other.detach()) as wire:
        wire.setblocking(False)
        with pytest.raises(BlockingIOError):
            wire.recv(1)
        one.sendall(b"ab")
        one.close()
        assert [wire.recv(1), wire.recv(1), wire.recv(1)] == [b"a", b"b", b""]


def test_paho_reads_through_our_wire(mosquitto):
    with listening(mosquitto, Memory()) as listener:
        assert isinstance(listener._client.socket(), link.PlainWire)


# --- passwords


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_the_password_must_be_the_right_one(mosquitto_with, tmp_path, protocol):
    tool = shutil.which("mosquitto_passwd") or str(MOSQUITTO).removesuffix("sbin/mosquitto") + "bin/mosquitto_passwd"
    subprocess.run([tool, "-b", "-c", str(tmp_path / "pw"), "logger", "right"], check=True, capture_output=True)
    broker = mosquitto_with(password_file=tmp_path / "pw", allow_anonymous="false")
    with listening(broker, Memory(), user="logger", password="right", protocol=protocol) as listener:
        assert listener.status.connected
    with listening(broker, Memory(), user="logger", password="wrong", protocol=protocol, live=False) as listener:
        assert said(listener, broker) == (
            "it refuses us: Not authorized. Check user in wallclime.toml and $WALLCLIME_BROKER_PASSWORD"
        )


def test_a_broker_of_the_other_protocol_is_told_by_its_code():
    # MQTT 5 section 3.2.2.2: 132 Unsupported Protocol Version
    reason = SimpleNamespace(value=132, __str__=lambda: "")
    assert link.refused(reason)[1] == 'Give the protocol that it speaks in wallclime.toml: "3.1.1" or "5"'


# --- MQTT 5


def test_with_mqtt_5_what_was_sent_while_the_daemon_was_away_comes_when_it_is_back(mosquitto):
    # By default MQTT 5 ends the session with the link, and the first connection of a process wipes it.
    memory = Memory()
    for round_ in range(3):
        with listening(mosquitto, memory, protocol="5"):
            pass
        publish(mosquitto, timed(round_, NOW + round_))
    with listening(mosquitto, memory, protocol="5"):
        pass
    assert memory.values() == [0, 1, 2]


def test_with_mqtt_5_what_the_broker_forgot_is_subscribed_to_again(mosquitto):
    memory = Memory()
    with listening(mosquitto, memory, protocol="5") as listener:
        mosquitto.stop()
        soon(lambda: not listener.status.connected)
        mosquitto.start()
        soon(lambda: listener.status.marker == "returned")
        publish(mosquitto, timed(21.5))
        soon(lambda: memory.values() == [21.5])


@pytest.mark.parametrize(("protocol", "times"), [("3.1.1", 3), ("5", 1)])
def test_mqtt_5_brings_a_retained_message_once_and_3_1_1_at_every_link(mosquitto, protocol, times):
    publish(mosquitto, (*timed(21.5), 1, True))
    memory = Memory()
    for _ in range(3):
        with listening(mosquitto, memory, protocol=protocol):
            pass
    assert memory.values() == [21.5] * times


def test_with_mqtt_5_we_say_how_much_may_be_on_its_way(mosquitto):
    # in 3.1.1 the broker decides: 20 in mosquitto
    for protocol, ahead in (("3.1.1", 20), ("5", 60)):
        sent = [timed(value, NOW + value) for value in range(60)]
        settings = {"batch": 100, "protocol": protocol, "client_id": f"wallclime-{ahead}"}
        with listening(mosquitto, Memory(lambda: OUT), **settings) as listener:
            publish(mosquitto, *sent)
            soon(lambda listener=listener, ahead=ahead: listener.status.held >= ahead)
            time.sleep(0.1)
            assert listener.status.held == ahead


# --- presence


class Watcher:
    """What is said on the presence topic, in order."""

    def __init__(self, broker):
        self.said = []
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = lambda _client, _data, message: self.said.append((message.payload, message.retain))
        self._client.on_connect = lambda client, *_: client.subscribe("wallclime/wallclime-test/presence", 1)
        subscribed = threading.Event()
        self._client.on_subscribe = lambda *_: subscribed.set()
        self._client.connect(broker.host, broker.port)
        self._client.loop_start()
        assert subscribed.wait(10)  # what is published before it would be heard as retained

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._client.disconnect()
        self._client.loop_stop()


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_whether_a_daemon_is_there_stands_on_its_presence_topic(mosquitto, protocol):
    with Watcher(mosquitto) as watcher:
        with listening(mosquitto, Memory(), protocol=protocol):
            soon(lambda: watcher.said == [(b"online", False)])
            with Watcher(mosquitto) as late:
                soon(lambda: late.said == [(b"online", True)])
        soon(lambda: watcher.said == [(b"online", False), (b"offline", False)])
        with Watcher(mosquitto) as late:
            soon(lambda: late.said == [(b"offline", True)])


def test_a_daemon_that_is_cut_off_is_said_to_be_offline_by_the_broker(mosquitto):
    with Watcher(mosquitto) as watcher, listening(mosquitto, Memory()) as listener:
        soon(lambda: watcher.said)
        listener._client.socket().shutdown(socket.SHUT_RDWR)  # as a process that dies
        soon(lambda: watcher.said[1:] == [(b"offline", False), (b"online", False)])


def test_a_source_that_covers_the_daemons_own_topics_does_not_read_them(mosquitto):
    wide = (Source("{a}/{b}/{sensor}", "json", FIELDS, "{a}/{b}/{sensor}"),)
    memory = Memory()
    with listening(mosquitto, memory, sources=wide):
        publish(mosquitto, ("home/7/climate", '{"t":21.5}'))
        soon(lambda: memory.values() == [21.5])
    assert memory.refused == []


# --- dead links


class Proxy:
    """A TCP proxy before a broker: `swallow` lets everything vanish while all sockets stay open."""

    host = "127.0.0.1"

    def __init__(self, broker):
        self.port, self.swallow = free_port(), threading.Event()
        self._to = (broker.host, broker.port)
        self._door = socket.create_server((self.host, self.port))
        self._sockets, self._threads = [self._door], []
        self._run(self._accept)

    def _run(self, target, *args):
        self._threads.append(threading.Thread(target=target, args=args))
        self._threads[-1].start()

    def _accept(self):
        try:
            while True:
                near, _ = self._door.accept()
                far = socket.create_connection(self._to)
                self._sockets += [near, far]
                self._run(self._pump, near, far)
                self._run(self._pump, far, near)
        except OSError:
            return

    def _pump(self, source, target):
        try:
            while data := source.recv(65_536):
                if not self.swallow.is_set():
                    target.sendall(data)
            target.shutdown(socket.SHUT_RDWR)
        except OSError:
            return

    def __enter__(self):
        return self

    def __exit__(self, *_):
        for one in self._sockets:
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
        for thread in self._threads:
            thread.join(10)
        for one in self._sockets:
            one.close()


@pytest.mark.parametrize("protocol", ["3.1.1", "5"])
def test_a_dead_link_is_noticed_within_keepalive(mosquitto, protocol):
    memory = Memory()
    with Proxy(mosquitto) as proxy, listening(proxy, memory, keepalive=2 * SECOND, protocol=protocol) as listener:
        began = time.monotonic()
        proxy.swallow.set()
        soon(lambda: not listener.status.connected)
        assert time.monotonic() - began < 10  # 2 s and what a slow machine adds; TCP would take a quarter of an hour
        assert listener.status.last_error == (
            f"broker 127.0.0.1:{proxy.port}: the link ended: Keep alive timeout. "
            "Nothing to do if the broker was restarted"
        )
        proxy.swallow.clear()
        soon(lambda: listener.status.marker == "returned")
        publish(mosquitto, timed(21.5))
        soon(lambda: memory.values() == [21.5])


def test_a_broker_that_takes_the_call_and_does_not_answer_is_noticed_too(mosquitto):
    with Proxy(mosquitto) as proxy:
        proxy.swallow.set()
        with listening(proxy, Memory(), keepalive=2 * SECOND, live=False) as listener:
            began = time.monotonic()
            assert said(listener, proxy).startswith("the link ended before we were accepted: ")
            assert (
                time.monotonic() - began < 10
            )  # 2 s and what a slow machine adds; TCP would take a quarter of an hour
            assert not listener.status.connected
