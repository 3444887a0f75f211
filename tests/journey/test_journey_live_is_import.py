"""The same room, heard over MQTT and imported from a file, has one Assessment."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from invented_room import Row, assessed, import_room, message, place_sensor, room
from processes import Daemon, Message, publish, soon, write_home

from monitor.basis.times import DAY
from monitor.watch.desk import open_desk


@pytest.fixture(scope="module")
def rows() -> list[Row]:
    return room()


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory, rows: list[Row]) -> dict:
    """The Assessment of the room's file."""
    home = write_home(tmp_path_factory.mktemp("file") / "imported", 1883)
    import_room(home, rows)
    return assessed(home, rows)


def soon_kept(number: int, home: Path) -> None:
    """Wait until so many readings are kept; at one desk, since sitting down at one takes the daemon's time."""
    with open_desk(home) as desk:
        soon(lambda: sum(heard.readings for heard in desk.store.heard()) == number, what="all is kept")


def test_the_room_of_these_tests_has_something_of_everything(imported):
    clock = imported["acclimation"]
    assert {(one["quantity"], one["side"]) for one in imported["excursions"]} == {
        ("air_humidity", "high"),
        ("air_temperature", "low"),
    }
    assert [gap["silent"] for gap in imported["gaps"]] == [True, False]
    assert {restart["cause"] for restart in clock["restarts"]} == {"out", "unproven"}
    assert [one["lapsed_at"] is not None for one in clock["history"]] == [True]


def test_the_same_file_published_as_stamped_messages_gives_the_assessment_of_its_import(
    tmp_path, mosquitto, rows, imported
):
    home = write_home(tmp_path / "heard", mosquitto.port, judge_every="1 s")
    daemon = Daemon(home)
    daemon.start(until="connected")
    publish(mosquitto.port, map(message, rows[: len(rows) // 2]))
    place_sensor(home, rows)
    publish(mosquitto.port, map(message, rows[len(rows) // 2 :]))
    soon_kept(2 * len(rows), home)
    assert assessed(home, rows) == imported
    assert daemon.stop() == 0
    assert assessed(home, rows) == imported
    assert assessed(home, rows, "--recompute") == imported
    with open_desk(home) as desk:
        assert desk.store.quarantine() == []


def test_retained_doubled_shuffled_over_five_restarts_it_is_still_the_assessment_of_the_import(
    tmp_path, mosquitto_with, rows, imported
):
    broker = mosquitto_with(persistence="true")
    home = write_home(tmp_path / "heard", broker.port, judge_every="1 s")
    place_sensor(home, rows)
    daemon, draw, odd = Daemon(home), random.Random(11), against_the_time_rules(rows)
    daemon.start(until="connected")
    sent = [message(row) for row in rows]
    sent += [*draw.sample(sent, 2_000), *(one for _, one in odd), *(one for _, one in odd)]
    draw.shuffle(sent)
    for part in range(5):
        ours = sent[part::5]
        publish(broker.port, map(message, draw.sample(rows, 20)), retain=True)
        publish(broker.port, ours[:600])
        daemon.kill() if part % 2 else daemon.stop()
        publish(broker.port, ours[600:])
        broker.stop()
        broker.start()
        daemon.start(until="connected")
    soon_kept(2 * len(rows), home)
    daemon.wait_for("backlog_over")
    assert daemon.stop() == 0
    assert assessed(home, rows) == imported
    with open_desk(home) as desk:
        listed = {(one.reason, (one.topic, one.raw.decode())): one.count for one in desk.store.quarantine()}
    assert listed.keys() == set(odd)
    assert min(listed.values()) >= 2  # a message that was refused, but not acknowledged in time, came once more


def against_the_time_rules(rows: list[Row]) -> list[tuple[str, Message]]:
    """What the time rules refuse, and the reason."""
    odd = [
        ("time-ahead", rows[-1].t + DAY),
        ("time-before-2000", 946_684_799_999),
        ("too-old", rows[0].t - 4 * DAY),
        ("time-unknown", None),
        ("time-unknown", "noon"),
    ]
    return [(reason, message(rows[0]._replace(t=t))) for reason, t in odd]  # type: ignore[arg-type]
