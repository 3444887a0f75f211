"""A property manager's January: forty invented walls in three buildings, from two lists to the month's page.

Commands as they are given, a real broker that all is heard over, a mail server and web hooks that are told. The clock
is set, and the daemon's hands are bidden (see estate_days); who is told, how often and of what is worked out by hand.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field

import invented_estate as estate
import pytest
from estate_days import Days, days
from invented_wall import House
from processes import Mosquitto
from receivers import Hook, Post, hook, mail_server

pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")  # by the library that tells

CONTACTS = {
    "office": 'quiet = ["22:00", "06:30"]\ndigest = "07:00"',
    "caretaker-mill": 'buildings = ["mill house"]',
    "caretaker-tannery": 'buildings = ["tannery row"]',
    "on-call": "second = true",
    "tenant": 'jobs = ["mill house 2 north", "mill house 2 south"]\nleast = "high"',
}
ADA = ("--by", "Ada")


@dataclass
class January:
    """What was said: by commands, and to each contact (subject, text), by scene."""

    house: House
    said: dict[str, str] = field(default_factory=dict)
    told: dict[str, dict[str, list[tuple[str, str]]]] = field(default_factory=dict)

    def subjects(self, scene: str, contact: str) -> list[str]:
        return [subject for subject, _ in self.told[scene][contact]]

    def text(self, scene: str, contact: str, begins: str) -> str:
        """The one message of a scene to a contact whose subject begins so."""
        (found,) = [text for subject, text in self.told[scene][contact] if subject.startswith(begins)]
        return found


@dataclass
class Receivers:
    """The office's mail server and the web hooks of all others."""

    post: Post
    hooks: dict[str, Hook]
    seen: dict[str, int] = field(default_factory=dict)

    def url(self, contact: str) -> str:
        return self.post.url if contact == "office" else self.hooks[contact].url

    def new(self) -> dict[str, list[tuple[str, str]]]:
        """What each contact took since it was asked for last."""
        every = {name: [(body["title"], body["message"]) for body in one.told] for name, one in self.hooks.items()}
        every["office"] = [(mail["subject"], mail.get_content()) for mail in self.post.mails]
        found = {name: taken[self.seen.get(name, 0) :] for name, taken in every.items()}
        self.seen = {name: len(taken) for name, taken in every.items()}
        return found


@pytest.fixture(scope="module")
def january(tmp_path_factory: pytest.TempPathFactory) -> Iterator[January]:
    folder = tmp_path_factory.mktemp("manager")
    broker = Mosquitto(folder / "broker")
    broker.start()
    with ExitStack() as running:
        running.callback(broker.stop, at_once=True)
        hooks = {name: running.enter_context(hook()) for name in CONTACTS if name != "office"}
        receivers = Receivers(running.enter_context(mail_server()), hooks)
        lived = January(House(folder))
        lived.house.at("2027-01-04T09:00")
        settled(lived.house, broker, receivers)
        opened(lived)
        with days(lived.house, broker) as at:
            played(lived, at, receivers)
        yield lived


def settled(house: House, broker: Mosquitto, receivers: Receivers, contacts: dict[str, str] = CONTACTS) -> None:
    """wallclime.toml as the manager writes it: the broker, three kinds of messages, who is told."""
    home = house.folder / "home"
    home.mkdir(exist_ok=True)
    text = f'[broker]\nport = {broker.port}\n[service]\nlinger = "5 ms"\n{estate.SOURCES}'
    for name, more in contacts.items():
        secret = home / f"{name}.url"
        secret.write_text(receivers.url(name), encoding="utf-8")
        secret.chmod(0o600)
        zone = f'zone = "{estate.ZONE}"'
        text += f'\n[[contact]]\nname = "{name}"\nurl_file = "{name}.url"\n{zone}\n{more}\n'
    (home / "wallclime.toml").write_text(text, encoding="utf-8")


def opened(lived: January) -> None:
    """The list of walls: first with a slip of the pen, then as it should be, then once more."""
    house = lived.house
    text = estate.wall_list()
    house.file("slip.csv", text.replace("12 ft,8 ft", "12,8 ft", 1))
    lived.said["slip"] = house.refused("job", "open", "--from", "slip.csv", "--zone", estate.ZONE, *ADA)
    lived.said["none yet"] = house.done("job", "list", "--json").out
    house.file("walls.csv", text)
    lived.said["opened"] = house.done("job", "open", "--from", "walls.csv", "--zone", estate.ZONE, *ADA).err
    lived.said["again"] = house.done("job", "open", "--from", "walls.csv", "--zone", estate.ZONE, *ADA).err


def played(lived: January, at: Days, receivers: Receivers) -> None:
    """Six days: sensors, a dry winter, the heating, a pipe, a gateway, a sensor moved, a tenant gone."""
    house, said = lived.house, lived.said

    def scene(name: str) -> None:
        lived.told[name] = receivers.new()

    at.go("2027-01-04T10:00", look=False)
    said["seen"] = house.done("sensor", "seen").out
    house.file("sensors.csv", estate.sensor_list())
    said["sensors"] = house.done("sensor", "add", "--from", "sensors.csv", *ADA).err
    house.done("alarm", "test")
    at.told()
    scene("test")
    at.go("2027-01-06T12:00")
    scene("dry winter")
    at.go("2027-01-07T03:00")
    scene("cold at night")
    at.go("2027-01-07T07:00")
    scene("frost")
    at.go("2027-01-07T08:00")
    scene("nobody answers")
    said["ack"] = house.done("alarm", "ack", "--all", *ADA).err
    at.go("2027-01-08T05:00", look=False)
    at.go("2027-01-08T06:30")
    scene("burst pipe")
    house.done("alarm", "ack", "--all", *ADA)
    leak = ("leak", "A pipe burst behind the sink.", "--from", "2027-01-08T04:00")
    said["leak"] = house.done("log", "event", "weir court 3 north", *leak, *ADA).err
    at.go("2027-01-09T12:30")
    scene("gateway out")
    at.go("2027-01-09T17:00")
    scene("gateway back")
    place = "mill/mill-2/climate;mill house {} lobby"
    house.file("sensors.csv", estate.sensor_list().replace(place.format(2), place.format(5)))
    said["moved"] = house.done("sensor", "add", "--from", "sensors.csv", *ADA).err
    said["sensors' log"] = house.done("sensor", "log").out
    house.done("log", "event", "mill house 2 north", "tenant-change", "The flat is empty.", *ADA)
    at.go("2027-01-10T07:00", look=False)
    at.morning("office")
    scene("morning")
    said["without a sensor"] = house.done("status", "mill house 2 north").out
    said["care"] = house.done("care", "due", "--within", "30 d").out
    house.done("handover", "mill house 2 north", "-o", "sheet.html")
    house.done("board", "-o", "walls")
    house.done("summary", "--month", "2027-01", "-o", "january.html")


def page(lived: January, name: str) -> str:
    """The words of a page."""
    html = (lived.house.folder / name).read_text(encoding="utf-8")
    return " ".join(re.sub(r"<[^>]*>", " ", re.sub(r"(?s)<(style|script).*?</\1>", "", html)).split())


def test_print(january):
    for scene, told in january.told.items():
        for contact, found in told.items():
            for subject, text in found:
                print(f"--- {scene} -> {contact}: {subject}\n{text}")
    for name, said in january.said.items():
        print(f"=== {name}\n{said}")
