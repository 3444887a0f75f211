"""Scenes: what people live through with a wall, told by commands and invented files."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from homes import COLUMNS, DELIVERED, NOON, Home, Row, changed, csv_of, steady

from monitor.basis.times import DAY, HOUR, MINUTE, datetime_of, ms_of, rfc3339
from monitor.keep.store import open_store
from monitor.seal import chain

NEW_YORK = ZoneInfo("America/New_York")


def read(home: Home, rows: Sequence[Row], *more: object, name: str = "shelf") -> None:
    """Import rows for the den as the sensor `name`."""
    file = home.file(f"{name}.csv", csv_of(rows))
    home.done("import", "den", file, "--sensor", name, *COLUMNS, *more)


def of_kind(home: Home, kind: str) -> list[dict]:
    return [entry["body"] for entry in home.log() if entry["kind"] == kind]


@pytest.fixture
def delivered(den: Home) -> Home:
    """The den, its boxes delivered."""
    den.done("log", "deliver", "den", "--at", rfc3339(DELIVERED))
    return den


# --- completions ------------------------------------------------------------------------------------------------------


def test_a_completion_is_written_once_however_often_the_record_is_looked_at(delivered: Home):
    read(delivered, steady(DELIVERED, 60))
    for _ in range(2):
        for command in (("status", "den"), ("assess", "den", "--recompute"), ("job", "list")):
            delivered.done(*command)
        read(delivered, steady(DELIVERED, 60))
    assert delivered.kinds().count("completion") == 1
    assert delivered.kinds().count("completion revised") == 0
    entry = next(entry for entry in delivered.log() if entry["kind"] == "completion")
    assert entry["at"] == rfc3339(DELIVERED + 48 * HOUR)
    assert entry["body"]["completed"] == DELIVERED + 48 * HOUR


def test_late_readings_that_undo_a_completion_are_told_once(delivered: Home):
    read(delivered, steady(DELIVERED, 60))
    damp = [row._replace(humidity=75.0) for row in steady(DELIVERED + 20 * HOUR, 3)]
    for _ in range(2):
        read(delivered, damp, name="corner")  # a second sensor, whose file came a week later
    was = DELIVERED + 48 * HOUR
    told = {"delivery": 4, "lot": "lot 1", "place": "den", "was": [was], "is": []}
    assert of_kind(delivered, "completion revised") == [told]
    acclimation = delivered.assess("--at", rfc3339(DELIVERED + 60 * HOUR))["acclimation"]
    assert acclimation["history"] == []
    assert [restart["cause"] for restart in acclimation["restarts"]] == ["out"]


def test_late_readings_that_move_a_completion_tell_from_what_to_what(delivered: Home):
    read(delivered, steady(DELIVERED, 60))
    damp = [row._replace(humidity=75.0) for row in steady(DELIVERED + 20 * HOUR, 0.5)]
    # Three readings 10 min apart, the last of which speaks for 30 min: 50 min out of band, which pauses the clock.
    read(delivered, damp, "--hold", "30 min", name="corner")
    pause = 20 * MINUTE + 30 * MINUTE
    was, now = DELIVERED + 48 * HOUR, DELIVERED + 48 * HOUR + pause
    told = {"delivery": 4, "lot": "lot 1", "place": "den", "was": [was], "is": [now]}
    assert of_kind(delivered, "completion revised") == [told]


def test_a_completion_that_lapses_stays_and_the_next_one_is_told_too(delivered: Home):
    rows = changed(
        steady(DELIVERED, 130), DELIVERED + 60 * HOUR, DELIVERED + 62 * HOUR, lambda row: row._replace(humidity=20.0)
    )
    read(delivered, rows)
    told = [body["completed"] for body in of_kind(delivered, "completion")]
    assert told == [DELIVERED + 48 * HOUR, DELIVERED + 110 * HOUR]
    history = delivered.assess("--at", rfc3339(DELIVERED + 125 * HOUR))["acclimation"]["history"]
    assert [one["lapsed_at"] for one in history] == [rfc3339(DELIVERED + 61 * HOUR), None]


def test_two_loads_of_one_lot_are_told_each_for_itself(delivered: Home):
    for hours in (0, 10):
        delivered.done("log", "deliver", "den", "--lot", "B7", "--at", rfc3339(DELIVERED + hours * HOUR))
    read(delivered, steady(DELIVERED, 70))
    read(delivered, steady(DELIVERED, 71))
    told = [(body["delivery"], body["completed"]) for body in of_kind(delivered, "completion")]
    assert sorted(told) == [
        (4, DELIVERED + 48 * HOUR),
        (5, DELIVERED + 48 * HOUR),
        (6, DELIVERED + 58 * HOUR),
    ]
    assert of_kind(delivered, "completion revised") == []


def test_a_delivery_withdrawn_takes_its_completion_back(delivered: Home):
    read(delivered, steady(DELIVERED, 60))
    delivered.done("log", "correct", "den", "4", "--withdraw", "--reason", "the other wall")
    (told,) = of_kind(delivered, "completion revised")
    assert told == {"delivery": 4, "was": [DELIVERED + 48 * HOUR], "is": []}


def test_a_completion_never_told_twice_makes_the_log_no_longer(delivered: Home):
    read(delivered, steady(DELIVERED, 60))
    delivered.done("log", "correct", "den", "4", "--at", rfc3339(DELIVERED + HOUR), "--reason", "an hour late")
    length = len(delivered.log())
    delivered.done("log", "correct", "den", "4", "--set", "boxes=12", "--reason", "counted")
    assert len(delivered.log()) == length + 1
    assert of_kind(delivered, "completion revised")[0]["is"] == [DELIVERED + 49 * HOUR]


# --- profiles ---------------------------------------------------------------------------------------------------------


def test_a_changed_profile_is_judged_beside_the_first(delivered: Home):
    read(delivered, steady(DELIVERED, 60))
    long = delivered.file("long.toml", 'name = "long rest"\n[acclimation]\nhours = 72\n')
    delivered.clock.move(HOUR)
    said = delivered.done("job", "profile", "den", long, "--reason", "other planks came")
    # nothing was heard for days after the 60 h: both clocks are back at zero
    assert said.err.splitlines() == [
        "den is judged by 'long rest' now; the report shows the verdict of each profile",
        "before: The installation may not start yet: 0.0 h of 48 h are counted, and the clock is not running.",
        "after: The installation may not start yet: 0.0 h of 72 h are counted, and the clock is not running.",
    ]
    found = delivered.assess()
    assert (found["profile"]["name"], found["acclimation"]["required_h"]) == ("long rest", 72.0)
    (other,) = found["other_verdicts"]
    assert (other["profile"], other["in_force_from"]) == ("laminate planks, interior wall", rfc3339(NOON))
    before = delivered.assess("--at", rfc3339(NOON))
    assert (before["profile"]["name"], before["other_verdicts"]) == ("laminate planks, interior wall", [])
    assert of_kind(delivered, "completion revised")[0]["is"] == []  # 60 h are no 72 h


def test_a_profile_given_back_is_in_force_again(den: Home):
    other = den.file("other.toml", 'name = "other"\n')
    den.done("job", "profile", "den", other, "--reason", "trying")
    den.clock.move(MINUTE)
    den.done("job", "profile", "den", "laminate-planks", "--reason", "back")
    found = den.assess()
    assert found["profile"]["name"] == "laminate planks, interior wall"
    assert [one["profile"] for one in found["other_verdicts"]] == ["other"]


# --- clocks put forward and back --------------------------------------------------------------------------------------


def local(at: int) -> str:
    """A wall time of New York, as a logger without a zone writes it."""
    return datetime_of(at, NEW_YORK).replace(tzinfo=None).isoformat(sep=" ", timespec="seconds")


@pytest.mark.parametrize(
    ("noon_before", "shown"),
    [
        (datetime(2025, 3, 8, 12, tzinfo=NEW_YORK), "2025-03-10 13:00 -04:00"),  # put forward: a day of 23 h
        (datetime(2025, 11, 1, 12, tzinfo=NEW_YORK), "2025-11-03 11:00 -05:00"),  # put back: a day of 25 h
    ],
)
def test_48_hours_are_48_hours_though_the_clocks_are_changed(den: Home, noon_before, shown):
    begin = ms_of(noon_before)
    den.done("log", "deliver", "den", "--at", local(begin))
    file = den.file("den.csv", csv_of(steady(begin, 60, step=15), zone=local))
    if noon_before.month == 11:  # of the hour that happened twice, the file says each quarter twice
        refused = den("import", "den", file, "--sensor", "shelf", *COLUMNS)
        assert "happened twice in America/New_York" in refused.err
    file.write_text(csv_of(steady(begin, 60, step=15)), encoding="utf-8")
    den.done("import", "den", file, "--sensor", "shelf", *COLUMNS)
    found = den.assess("--at", rfc3339(begin + 50 * HOUR))
    assert found["acclimation"]["completed_at"] == rfc3339(begin + 48 * HOUR)
    assert found["coverage"]["elapsed_h"] == 50.0
    assert f"complete {shown}" in den.done("assess", "den", "--at", rfc3339(begin + 50 * HOUR)).out


def test_wall_times_through_the_spring_change_are_an_hour_closer_than_they_look(den: Home):
    begin = ms_of(datetime(2025, 3, 8, 12, tzinfo=NEW_YORK))
    rows = steady(begin, 60, step=15)
    read_as_utc = Home(den.path.parent / "other")
    read_as_utc.done("job", "open", "den", "--zone", "America/New_York", "--length", "4 m", "--height", "2 m")
    for home, zone in ((den, local), (read_as_utc, rfc3339)):
        home.done("log", "deliver", "den", "--at", rfc3339(begin))
        file = home.file(f"{zone.__name__}.csv", csv_of(rows, zone=zone))
        home.done("import", "den", file, "--sensor", "shelf", *COLUMNS)
    when = ("--at", rfc3339(begin + 60 * HOUR))
    assert den.assess(*when)["acclimation"] == read_as_utc.assess(*when)["acclimation"]


# --- exactly the limit ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "value"), [("degF", "60"), ("K", "288.7055555555556"), ("degC", "15.555555555555555")]
)
def test_60_degrees_fahrenheit_are_in_band_in_any_unit(den: Home, unit, value):
    # 60 degF = (60 - 32) / 1.8 = 15.5555... degC = 288.7055... K, the lowest temperature in band
    rows = "".join(f"{rfc3339(DELIVERED + k * 10 * MINUTE)},{value},{50 + k % 3}\n" for k in range(12))
    file = den.file("den.csv", "when,temp,rh\n" + rows)
    den.done("import", "den", file, "--sensor", "shelf", *COLUMNS, "--temperature-unit", unit)
    found = den.assess("--at", rfc3339(DELIVERED + 2 * HOUR))
    assert (found["excursions"], found["coverage"]["in_band_h"]) == ([], 2.0)


def test_a_hair_below_60_degrees_fahrenheit_is_below(den: Home):
    rows = "".join(f"{rfc3339(DELIVERED + k * 10 * MINUTE)},15.5555,{50 + k % 3}\n" for k in range(12))
    den.done("import", "den", den.file("den.csv", "when,temp,rh\n" + rows), "--sensor", "shelf", *COLUMNS)
    found = den.assess("--at", rfc3339(DELIVERED + 2 * HOUR))
    (excursion,) = found["excursions"]
    assert (excursion["side"], excursion["peak"], excursion["beyond_uncertainty"]) == ("low", 15.5555, False)
    assert found["coverage"]["in_band_h"] == 0.0


# --- the same answer by any way ---------------------------------------------------------------------------------------


def test_without_what_was_derived_before_the_answer_is_the_same(delivered: Home):
    rows = changed(
        steady(DELIVERED - DAY, 150),
        DELIVERED + 30 * HOUR,
        DELIVERED + 33 * HOUR,
        lambda row: row._replace(temperature=9.0),
    )
    read(delivered, rows)
    first = delivered.done("assess", "den", "--json").out
    with open_store(f"sqlite:///{delivered.path / 'wallclime.db'}", clock=delivered.clock, link=chain.link) as store:
        variant = delivered.assess()["profile"]["sha256"]
        assert store.checkpoint_heads("den", variant)
        store.forget_checkpoints("den")
        assert not store.checkpoint_heads("den", variant)
    assert delivered.done("assess", "den", "--json", "--recompute").out == first
    assert delivered.done("assess", "den", "--json").out == first
    assert delivered.done("assess", "den", "--json").out == first


def test_a_record_in_pieces_and_out_of_order_gives_the_answer_of_the_whole(delivered: Home):
    rows = changed(
        steady(DELIVERED, 120), DELIVERED + 30 * HOUR, DELIVERED + 31 * HOUR, lambda row: row._replace(humidity=80.0)
    )
    whole = Home(delivered.path.parent / "whole")
    whole.done("job", "open", "den", "--zone", "America/New_York", "--length", "16 ft", "--height", "8 ft")
    whole.done("log", "deliver", "den", "--at", rfc3339(DELIVERED))
    read(whole, rows)
    for part in (rows[300:500], rows[480:], rows[:310]):
        read(delivered, part)
        delivered.done("status", "den")
    assert delivered.assess() == whole.assess()


def test_a_job_that_is_looked_at_again_later_goes_on_from_there(delivered: Home):
    delivered.clock.at_ms = DELIVERED + HOUR
    answers = []
    rows = steady(DELIVERED, 72)
    for hours in (1, 13, 26, 49, 72):
        delivered.clock.at_ms = DELIVERED + hours * HOUR
        read(delivered, [row for row in rows if row.t < delivered.clock.at_ms])
        answers.append(delivered.assess()["acclimation"]["counted_h"])
    assert answers == [1.0, 13.0, 26.0, 48.0, 48.0]
    assert delivered.assess() == delivered.assess("--recompute")


# --- several sensors --------------------------------------------------------------------------------------------------


def test_one_sensor_outside_is_enough_for_out(delivered: Home):
    read(delivered, steady(DELIVERED, 10))
    read(delivered, steady(DELIVERED + 4 * HOUR, 2, humidity=70.0), name="corner")
    found = delivered.assess("--at", rfc3339(DELIVERED + 10 * HOUR))
    (excursion,) = found["excursions"]
    assert excursion["start"] == rfc3339(DELIVERED + 4 * HOUR)
    assert excursion["ended_by"] == "silence"  # the corner's last reading has spoken; nobody there said that it is over


def test_a_stuck_sensor_proves_nothing(delivered: Home):
    read(delivered, [Row(DELIVERED + k * 10 * MINUTE, 21.0, 50.0) for k in range(360)])
    found = delivered.assess("--at", rfc3339(DELIVERED + 59 * HOUR))
    assert (found["acclimation"]["counted_h"], found["coverage"]["known_h"]) == (0.0, 0.0)
