"""Shares that change, as deploy/README.md says it: nothing is lost between the old session and the new one."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from urllib.parse import quote

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from postgresql import server
from processes import Daemon, Mosquitto, publish, soon

from monitor.basis.errors import BrokerError, SettingsError
from monitor.basis.times import MINUTE
from monitor.basis.values import LIVE, Quantity, Reading
from monitor.intake.admission import NEW_A_MINUTE
from monitor.watch.desk import Desk, open_desk
from monitor.watch.service.draining import drain

SOURCE = """
[[source]]
topic = "site/{site}/{sensor}/climate"
format = "json"
temperature = { at = "/t", unit = "degC" }
time = { at = "/time", as = "milliseconds" }
"""
OLD = {"north": ["site/north/#", "site/east/#"], "south": ["site/south/#"]}
NEW = {"upper": ["site/north/#"], "south": ["site/south/#", "site/east/#"]}


@pytest.fixture
def mosquitto(tmp_path) -> Iterator[Mosquitto]:
    broker = Mosquitto(tmp_path / "broker")
    broker.start()
    yield broker
    broker.stop(at_once=True)


@pytest.fixture
def home(tmp_path) -> Iterator[Path]:
    folder = tmp_path / "home"
    folder.mkdir()
    with server() as postgresql:
        (folder / "store").write_text(f"postgresql://keeper@/postgres?host={quote(postgresql, safe='')}")
        yield folder


def settle_on(home: Path, port: int, shares: dict[str, list[str]]) -> None:
    """Write wallclime.toml with these shares."""
    text = f'[broker]\nport = {port}\n[log]\nformat = "json"\n[store]\nurl = "{(home / "store").read_text()}"\n{SOURCE}'
    for name, topics in shares.items():
        text += f'[[share]]\nname = "{name}"\ntopics = {json.dumps(topics)}\n'
    (home / "wallclime.toml").write_text(text)


class Publisher:
    """Publishes rounds of one message a site, each of its own minute."""

    def __init__(self, port: int) -> None:
        self.port, self.begin, self.rounds = port, int(time.time() * 1000) - 1_000 * MINUTE, 0

    def rounds_of(self, count: int) -> None:
        """So many rounds more."""
        for n in range(self.rounds, self.rounds + count):
            said = json.dumps({"t": 20 + n % 7, "time": self.begin + n * MINUTE})
            publish(self.port, [(f"site/{site}/den/climate", said) for site in ("north", "east", "south")])
        self.rounds += count


def kept(desk: Desk) -> dict[str, int]:
    return {
        site: len(desk.store.series(f"site/{site}/den/climate", Quantity.AIR_TEMPERATURE).t)
        for site in ("north", "east", "south")
    }


def test_topics_that_move_from_share_to_share_lose_nothing_on_their_way(home, mosquitto):
    says = Publisher(mosquitto.port)
    settle_on(home, mosquitto.port, OLD)
    old = {name: Daemon(home, "--role", "intake", "--share", name) for name in OLD}
    new = {name: Daemon(home, "--role", "intake", "--share", name) for name in NEW}
    with open_desk(home, environ={}) as desk:
        for daemon in (*old.values(), *new.values()):
            daemon._log = home / f"{len(list(home.glob('*.log')))}.log"
            daemon._log.touch()
        try:
            for daemon in old.values():
                daemon.start(until="backlog_over")
            says.rounds_of(5)
            soon(lambda: kept(desk) == {"north": 5, "east": 5, "south": 5}, what="the shares hear")
            # 1. the worker of the share that goes is killed, and what it would have heard waits at the broker
            old["north"].kill()
            says.rounds_of(5)
            # 2. wallclime.toml is changed; whoever takes over the topics is started anew and hears them from now on
            settle_on(home, mosquitto.port, NEW)
            assert old["south"].stop() == 0
            for daemon in new.values():
                daemon.start(until="backlog_over")
            says.rounds_of(5)
            # what waits for the old share has not come
            soon(lambda: kept(desk) == {"north": 10, "east": 10, "south": 15}, what="the new shares hear")
            # 3. what waits for the old share is kept, and the broker forgets it
            drained = Daemon(home, "--drain", "--share", "north")
            drained._log = home / "drained.log"
            drained.start(until="drained")
            soon(lambda: drained._process.poll() == 0, what="it has ended")
            soon(lambda: kept(desk) == {"north": 15, "east": 15, "south": 15}, what="nothing is lost")
            says.rounds_of(1)
            soon(lambda: kept(desk) == {"north": 16, "east": 16, "south": 16}, what="the new shares hear")
            assert desk.store.quarantine_counts() == {}
        finally:
            for daemon in (*old.values(), *new.values()):
                daemon.kill()
        assert not has_session(mosquitto.port, f"{desk.settings.broker.client_id}-north")
        assert has_session(mosquitto.port, f"{desk.settings.broker.client_id}-south")


def test_a_share_that_loses_topics_and_is_started_last_keeps_what_waited_and_its_name(home, mosquitto):
    says = Publisher(mosquitto.port)
    settle_on(home, mosquitto.port, OLD)
    workers = {name: Daemon(home, "--role", "intake", "--share", name) for name in OLD}
    with open_desk(home, environ={}) as desk:
        try:
            for name, daemon in workers.items():
                daemon._log = home / f"{name}.log"
                daemon.start(until="backlog_over")
            says.rounds_of(3)
            soon(lambda: set(kept(desk).values()) == {3}, what="the shares hear")
            workers["north"].kill()
            says.rounds_of(3)
            settle_on(home, mosquitto.port, {"north": NEW["upper"], "south": NEW["south"]})
            assert workers["south"].stop() == 0
            for name in ("south", "north"):
                workers[name].start(until="backlog_over")
            says.rounds_of(3)
            soon(lambda: set(kept(desk).values()) == {9}, what="nothing is lost")
            assert desk.store.quarantine_counts() == {}
        finally:
            for daemon in workers.values():
                daemon.kill()


def has_session(port: int, client_id: str) -> bool:
    """Whether the broker holds a session of that id."""
    found, client = [], Client(CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=False)
    client.on_connect = lambda _client, _data, flags, _reason, _properties: found.append(flags.session_present)
    client.connect("127.0.0.1", port)
    client.loop_start()
    soon(lambda: found, what="the broker answers")
    client.disconnect()
    client.loop_stop()
    return found[0]


def test_a_share_that_wallclime_toml_still_has_is_not_drained(tmp_path):
    share = '[[share]]\nname = "north"\ntopics = ["site/#"]\n'
    (tmp_path / "wallclime.toml").write_text(share)
    with pytest.raises(SettingsError) as error:
        drain(tmp_path, share="north")
    assert str(error.value) == (
        "serve --drain --share north: wallclime.toml has that share. Take it out of wallclime.toml first, and let "
        "others hear its topics"
    )


def test_a_session_is_not_drained_beside_the_daemon_that_has_it(tmp_path, mosquitto):
    (tmp_path / "wallclime.toml").write_text(f'[broker]\nport = {mosquitto.port}\n[log]\nformat = "json"\n{SOURCE}')
    daemon = Daemon(tmp_path)
    daemon.start(until="backlog_over")
    with pytest.raises(BrokerError) as error:
        drain(tmp_path)
    assert str(error.value).startswith(f"broker 127.0.0.1:{mosquitto.port}: the daemon 'wallclime-")
    assert str(error.value).endswith(
        "' is there still. Stop it first; one that was cut off is taken for gone after the keepalive of wallclime.toml"
    )
    assert daemon.stop() == 0
    assert [line for line in daemon.lines() if line["event"] == "disconnected"] == []
    drain(tmp_path)


def test_topics_that_wallclime_toml_names_no_more_are_heard_no_more(tmp_path, mosquitto):
    once = Daemon(tmp_path)

    def heard(times: int) -> bool:
        with open_desk(tmp_path, environ={}) as desk:
            assert desk.store.quarantine_counts() == {}
            return len(desk.store.series("flat/den", Quantity.AIR_TEMPERATURE).t) == times

    for times, filters in enumerate((["site/{site}/{sensor}/climate", "flat/{sensor}"], ["flat/{sensor}"]), 1):
        text = f'[broker]\nport = {mosquitto.port}\n[log]\nformat = "json"\n'
        text += "".join(SOURCE.replace("site/{site}/{sensor}/climate", one) for one in filters)
        (tmp_path / "wallclime.toml").write_text(text)
        once.start(until="backlog_over")
        said = json.dumps({"t": 20, "time": int(time.time() * 1000)})
        publish(mosquitto.port, [(topic, said) for topic in ("site/north/den/climate", "flat/den")])
        soon(partial(heard, times), what="it is heard")
        once.kill()


def test_many_sensors_that_are_known_are_no_flood_of_new_ones(tmp_path, mosquitto):
    text = f'[broker]\nport = {mosquitto.port}\n[log]\nformat = "json"\n{SOURCE}'
    (tmp_path / "wallclime.toml").write_text(text)
    topics, now = [f"site/north/s{n}/climate" for n in range(NEW_A_MINUTE + 20)], int(time.time() * 1000)
    with open_desk(tmp_path, environ={}) as desk:
        desk.store.keep_readings([
            Reading(topic, Quantity.AIR_TEMPERATURE, now - 2 * MINUTE, 20.0, "degC", now, LIVE) for topic in topics
        ])  # fmt: skip
        heard = Daemon(tmp_path)
        heard.start(until="backlog_over")
        assert heard.stop() == 0
        publish(mosquitto.port, [(topic, json.dumps({"t": 21, "time": now - MINUTE})) for topic in topics])
        drain(tmp_path)
        assert {len(desk.store.series(topic, Quantity.AIR_TEMPERATURE).t) for topic in topics} == {2}
        assert desk.store.quarantine_counts() == {}
