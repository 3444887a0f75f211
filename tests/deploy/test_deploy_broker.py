"""The broker as deploy/ sets it up: its certificates, passwords and topics, tried on a real mosquitto."""

import shutil
import subprocess
import threading
from pathlib import Path

import pytest
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion
from processes import MOSQUITTO, Mosquitto

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
USERS = ("wallclime", "viewer", "cedar-row-4", "mill-lane-2")  # invented sites
PASSWORD = "invented"


class Shipped(Mosquitto):
    """mosquitto with deploy/mosquitto.conf, its folders and its port moved to where a test may write."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        for old, new in (("mosquitto.acl", "acl"), ("mosquitto.conf", "shipped.conf")):
            shutil.copy(DEPLOY / old, folder / new)
        text = (folder / "shipped.conf").read_text(encoding="utf-8")
        text = text.replace("/etc/mosquitto/wallclime", str(folder)).replace("/var/lib/mosquitto", str(folder))
        own = self._conf.read_text(encoding="utf-8")
        user = next(line for line in own.splitlines() if line.startswith("user "))
        self._conf.write_text(f"{user}\n{text.replace('listener 8883', f'listener {self.port} 127.0.0.1')}", "utf-8")


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    folder = tmp_path_factory.mktemp("broker") / "certs"
    subprocess.run([DEPLOY / "make-certs.sh", folder, "localhost", "127.0.0.1"], check=True, capture_output=True)
    return folder


@pytest.fixture(scope="module")
def broker(certificates):
    tool = shutil.which("mosquitto_passwd") or str(MOSQUITTO).removesuffix("sbin/mosquitto") + "bin/mosquitto_passwd"
    (certificates / "passwords").touch()
    for user in USERS:
        subprocess.run([tool, "-b", certificates / "passwords", user, PASSWORD], check=True, capture_output=True)
    running = Shipped(certificates)
    running.start()
    yield running
    running.stop()


class Speaker:
    """A client of MQTT 5, which is told of a topic that it may not write to; it waits for each answer."""

    def __init__(self, broker: Mosquitto, ca: Path, user: str | None, password: str = PASSWORD) -> None:
        self.answers: list[object] = []
        self.heard: list[str] = []
        self.accepted: bool | None = None
        self._turn = threading.Event()
        self._client = client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5)
        if user is not None:
            client.username_pw_set(user, password)
        client.tls_set(str(ca))
        client.on_connect = self._connected
        client.on_publish = lambda _client, _data, _mid, reason, _properties: self._answered(reason)
        client.on_subscribe = lambda _client, _data, _mid, reasons, _properties: self._answered(reasons[0])
        client.on_message = lambda _client, _data, message: self.heard.append(message.topic)
        client.connect(broker.host, broker.port)
        client.loop_start()
        self._wait()

    def _connected(self, _client, _data, _flags, reason, _properties):
        self.accepted = not reason.is_failure
        self._turn.set()

    def _answered(self, reason):
        self.answers.append(reason)
        self._turn.set()

    def _wait(self):
        assert self._turn.wait(20)
        self._turn.clear()

    def may_write(self, topic: str) -> bool:
        """Whether the broker takes a message on it."""
        self._client.publish(topic, "21.5", 1)
        self._wait()
        return not self.answers[-1].is_failure

    def hear(self, wanted: str) -> None:
        """Subscribe: mosquitto grants it whatever the rules say, and then is silent."""
        self._client.subscribe(wanted, 1)
        self._wait()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._client.disconnect()
        self._client.loop_stop()


@pytest.fixture
def speaker(broker, certificates):
    return lambda user, password=PASSWORD: Speaker(broker, certificates / "ca.pem", user, password)


def test_a_site_writes_below_its_own_name_and_nowhere_else(speaker):
    with speaker("cedar-row-4") as site:
        assert site.may_write("site/cedar-row-4/hall/climate")
        for topic in (
            "site/mill-lane-2/hall/climate",
            "site/cedar-row-44/hall/climate",
            "wallclime/wallclime/marker",
            "wallclime/wallclime/presence",
            "wallclime/wallclime/event",
            "wallclime/wallclime/job/hall/state",
            "cedar-row-4/hall/climate",
        ):
            assert not site.may_write(topic), topic


def test_the_daemon_hears_every_site_and_writes_on_its_own_topics_alone(speaker):
    with speaker("wallclime") as daemon, speaker("mill-lane-2") as site:
        daemon.hear("site/#")
        assert site.may_write("site/mill-lane-2/den/climate")
        for own in ("marker", "presence", "event", "job/hall/state"):
            assert daemon.may_write(f"wallclime/wallclime/{own}")
        for of_a_share in ("marker", "presence"):
            assert daemon.may_write(f"wallclime/wallclime-north/{of_a_share}")
        assert not daemon.may_write("site/mill-lane-2/den/climate")
        assert daemon.heard == ["site/mill-lane-2/den/climate"]


def test_who_looks_on_hears_what_the_daemon_says_and_no_sensor(speaker):
    with speaker("viewer") as viewer, speaker("wallclime") as daemon, speaker("mill-lane-2") as site:
        viewer.hear("#")
        assert site.may_write("site/mill-lane-2/den/climate")
        assert daemon.may_write("wallclime/wallclime/marker")
        assert daemon.may_write("wallclime/wallclime/job/hall/state")
        assert not viewer.may_write("wallclime/wallclime/event")
        assert viewer.heard == ["wallclime/wallclime/job/hall/state"]


def test_a_site_hears_nothing_not_even_itself(speaker):
    with speaker("cedar-row-4") as site, speaker("cedar-row-4") as twin:
        site.hear("#")
        assert twin.may_write("site/cedar-row-4/hall/climate")
        assert site.may_write("site/cedar-row-4/hall/climate")
        assert site.heard == []


@pytest.mark.parametrize(("user", "password"), [("cedar-row-4", "wrong"), ("nobody", PASSWORD), (None, "")])
def test_a_wrong_password_an_unknown_user_and_no_user_are_not_let_in(speaker, user, password):
    with speaker(user, password) as stranger:
        assert stranger.accepted is False


def test_the_keys_are_for_their_owner_alone(certificates):
    modes = {file.name: file.stat().st_mode & 0o777 for file in certificates.glob("*.*")}
    assert (modes["ca.key"], modes["broker.key"], modes["ca.pem"], modes["broker.pem"]) == (0o600, 0o600, 0o644, 0o644)
    assert certificates.stat().st_mode & 0o777 == 0o700


def refusal(*args):
    run = subprocess.run([DEPLOY / "make-certs.sh", *args], capture_output=True, text=True, check=False)
    return run.returncode, run.stderr


def test_make_certs_never_writes_over_a_key(certificates):
    before = (certificates / "ca.key").read_bytes()
    what = f"make-certs.sh: {certificates}/ca.key is there already: name another folder\n"
    assert refusal(certificates, "localhost") == (2, what)
    assert (certificates / "ca.key").read_bytes() == before


def test_make_certs_without_a_name_says_how_it_is_called(tmp_path):
    usage = "usage: make-certs.sh DIR NAME...   for example: make-certs.sh certs broker.home 192.168.1.20\n"
    assert refusal(tmp_path / "new") == (2, usage)
    assert not (tmp_path / "new").exists()


def test_a_certificate_names_every_way_to_the_broker(tmp_path):
    names = ("broker.home.invalid", "192.0.2.7", "2001:db8::7", "4.home.invalid")
    subprocess.run([DEPLOY / "make-certs.sh", tmp_path / "c", *names], check=True, capture_output=True)
    shown = subprocess.run(
        ["openssl", "x509", "-in", tmp_path / "c/broker.pem", "-noout", "-ext", "subjectAltName"],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    said = shown.stdout.splitlines()[-1].strip()
    assert said == (
        "DNS:broker.home.invalid, IP Address:192.0.2.7, IP Address:2001:DB8:0:0:0:0:0:7, DNS:4.home.invalid"
    )


def test_nothing_listens_without_tls():
    text = (DEPLOY / "mosquitto.conf").read_text(encoding="utf-8")
    listeners = [line for line in text.splitlines() if line.startswith(("listener", "port"))]
    assert listeners == ["listener 8883"]
