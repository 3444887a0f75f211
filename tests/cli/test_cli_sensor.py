"""wallclime sensor: seen, add, assign, release."""

from __future__ import annotations

import pytest
from homes import COLUMNS, DELIVERED, NOON, Home, csv_of, steady

from monitor.basis.times import DAY, HOUR, rfc3339

NAMES = "Use 1 to 120 printable characters without blanks around"
TIMES = "Write it like 2026-01-05T06:40 or 2026-01-05T06:40:00+02:00"
HAPPENED = "The log holds what has happened; check the date"
TOPIC = ("--topic", "site/loft/climate")
NOT_HEARD = "Give the topic as wallclime sensor seen shows it, or add a [[source]]"
HOLDS = '--hold: a reading can\'t speak for so long or so short a time. Give "1 s" to "7 d"'
UNCERTAIN = "Take it from the maker's data sheet; 5 % and 1 K by default"
NO_SENSOR = "sensor loft: there is no such sensor. wallclime sensor seen shows those that were heard"

FAULTS = [
    (("add", "", *TOPIC), f"sensor add: '' can't be a name. {NAMES}"),
    (("add", "shelf", *TOPIC), "sensor shelf: the name is taken by 'file:shelf'. Choose another name"),
    (("add", "shelf", "--topic", "file:shelf"), "sensor shelf: it is in the log already. Choose another name"),
    (
        ("add", "loft", "--topic", "file:shelf"),
        "sensor loft: 'file:shelf' is called 'shelf' already. Use the name 'shelf'",
    ),
    *(
        (
            ("add", "loft", "--topic", topic),
            f"sensor loft: no source in wallclime.toml hears the topic {topic!r}. {NOT_HEARD}",
        )
        for topic in ("", "site/+/climate", "site/#/climate", "$SYS/loft", "wallclime/loft/state")
    ),
    (("add", "loft", *TOPIC, "--hold", "0 min"), HOLDS),
    (("add", "loft", *TOPIC, "--hold", "8 d"), HOLDS),
    (("add", "loft", *TOPIC, "--hold", "99999999999999999999 d"), HOLDS),
    (
        ("add", "loft", *TOPIC, "--hold", "30"),
        '--hold: \'30\' is not a duration. Write it like "30 min", "48 h" or "7 d"',
    ),
    (
        ("add", "loft", *TOPIC, "--humidity-uncertainty", "2 degC"),
        "--humidity-uncertainty: '2 degC' is not a percentage. Write it like \"45 %\"",
    ),
    (
        ("add", "loft", *TOPIC, "--temperature-uncertainty", "1 %"),
        '--temperature-uncertainty: \'1 %\' is not a difference of temperatures. Write it like "3 degF" or "2 K"',
    ),
    (
        ("add", "loft", *TOPIC, "--humidity-uncertainty", "-5 %"),
        f"uncertainty of air_humidity: -5 is not above 0 and at most 50. {UNCERTAIN}",
    ),
    (
        ("add", "loft", *TOPIC, "--temperature-uncertainty", "0 K"),
        f"uncertainty of air_temperature: 0 is not above 0 and at most 50. {UNCERTAIN}",
    ),
    (
        ("add", "loft", *TOPIC, "--humidity-uncertainty", "51 %"),
        f"uncertainty of air_humidity: 51 is not above 0 and at most 50. {UNCERTAIN}",
    ),
    (("assign", "loft", "--place", "hall"), NO_SENSOR),
    (("assign", "shelf"), "sensor assign: the place is not clear. Give --place PLACE or --job JOB"),
    (
        ("assign", "shelf", "--place", "hall", "--job", "den"),
        "sensor assign: the place is not clear. Give --place PLACE or --job JOB",
    ),
    (("assign", "shelf", "--place", ""), f"--place: '' can't be a name. {NAMES}"),
    (
        ("assign", "shelf", "--job", "attic"),
        "job attic: there is no job 'attic'. wallclime job list shows the jobs there are",
    ),
    (
        ("assign", "shelf", "--place", "hall", "--at", "2026-01-12T12:01"),
        f"sensor assign: 2026-01-12T12:01:00Z is in the future. {HAPPENED}",
    ),
    (("assign", "shelf", "--place", "hall", "--at", "then"), f"--at: 'then' is not a time. {TIMES}"),
    (
        ("assign", "shelf", "--place", "hall", "--height", "high"),
        '--height: \'high\' is not a length. Write it like "3/16 in", "16 ft 4 in" or "4.2 m"',
    ),
    (
        ("assign", "shelf", "--place", "hall", "--at", "2026-01-08"),
        "assignment to 'hall': shelf is at 'den' from 2026-01-05T13:00:00Z to 2026-01-09T17:20:00Z. "
        "Release it first: wallclime sensor release shelf --at TIME",
    ),
    (("release", "loft"), NO_SENSOR),
    (
        ("release", "shelf"),
        "sensor shelf: it is at no place at 2026-01-12T12:00:00Z. wallclime sensor seen shows where each sensor is",
    ),
    (
        (
            "release",
            "shelf",
            "--at",
            "2026-01-05T08:00",
        ),  # the first instant of its stay
        "sensor shelf: it is at no place at 2026-01-05T13:00:00Z. wallclime sensor seen shows where each sensor is",
    ),
    (
        ("release", "shelf", "--at", "2026-02-01"),
        f"sensor release: 2026-02-01T05:00:00Z is in the future. {HAPPENED}",
    ),
    (("release", "shelf", "--at", "13:00"), f"--at: '13:00' is not a time. {TIMES}"),
]


@pytest.mark.parametrize(("args", "said"), FAULTS)
def test_what_a_sensor_command_refuses(record: Home, args, said):
    result = record("sensor", *args)
    assert (result.code, result.out, result.err) == (2, "", said + "\n")


# --- seen -------------------------------------------------------------------------------------------------------------


def test_as_long_as_nothing_was_heard_that_is_talk_and_no_data(wallclime: Home):
    result = wallclime.done("sensor", "seen")
    assert (result.out, result.err) == (
        "",
        "nothing was heard yet: is wallclime serve running, and do the sensors send to its broker?\n",
    )
    assert wallclime.done("sensor", "seen", "--json").json() == []


def test_a_sensor_that_was_heard_is_shown_with_its_last_reading(record: Home):
    assert record.done("sensor", "seen").out == (
        "file:shelf\n  shelf, at no place\n"
        "  1200 readings, every 10 min, last 2026-01-09T16:50:00Z; proposed hold 30 min\n"
    )
    assert record.done("sensor", "seen", "--json").json() == [
        {
            "stream": "file:shelf",
            "sensor": "shelf",
            "place": None,
            "quantities": ["air_humidity", "air_temperature"],
            "readings": 1200,
            "last": "2026-01-09T16:50:00Z",
            "proposed_hold_min": 30.0,
            "interval_s": 600.0,
            "battery": None,
            "topic": "",
            "payload": "",
            "read_as": "",
            "stamped": None,
        }
    ]


def test_a_sensor_that_was_named_before_it_was_heard_is_shown_too(wallclime: Home):
    wallclime.done("sensor", "add", "loft", *TOPIC)
    wallclime.done("sensor", "assign", "loft", "--place", "hall")
    assert wallclime.done("sensor", "seen").out == (
        "site/loft/climate\n  loft, at 'hall'\n  0 readings, last never; proposed hold 30 min\n"
    )


# --- add --------------------------------------------------------------------------------------------------------------


def test_a_sensor_is_added_with_what_a_maker_usually_states(wallclime: Home):
    said = wallclime.done("sensor", "add", "loft", *TOPIC)
    assert (said.out, said.err) == (
        "",
        "added loft: a reading speaks for 30 min (proposed from the intervals heard; --hold sets it)\n"
        "mind: nothing was heard on site/loft/climate so far; what is heard shows: wallclime sensor seen\n"
        "next: wallclime sensor assign loft --place PLACE\n",
    )


def test_a_hold_and_uncertainties_that_are_given_hold(den: Home):
    more = ("--hold", "1 h 30 min", "--humidity-uncertainty", "2 %", "--temperature-uncertainty", "0.9 degF")
    said = den.done("sensor", "add", "loft", *TOPIC, *more)
    assert said.err.startswith("added loft: a reading speaks for 1 h 30 min (as given)\n")


def test_a_sensor_added_twice_is_refused(wallclime: Home):
    wallclime.done("sensor", "add", "loft", *TOPIC)
    again = wallclime("sensor", "add", "loft", *TOPIC)
    assert (again.code, again.err) == (2, "sensor loft: it is in the log already. Choose another name\n")
    other = wallclime("sensor", "add", "attic", *TOPIC)
    assert other.err == "sensor attic: 'site/loft/climate' is called 'loft' already. Use the name 'loft'\n"


# --- assign and release -----------------------------------------------------------------------------------------------


def test_a_sensor_comes_and_goes(wallclime: Home):
    wallclime.done("sensor", "add", "loft", *TOPIC)
    facts = ("--height", "5 ft", "--near", "outside wall", "--by", "kim")
    came = wallclime.done("sensor", "assign", "loft", "--place", "hall", "--at", "2026-01-06T08:00+01:00", *facts)
    assert came.err.splitlines()[0] == "loft is at 'hall' from 2026-01-06T07:00:00Z"
    went = wallclime.done("sensor", "release", "loft", "--at", "2026-01-07T09:00")
    assert went.err == "loft left its place at 2026-01-07T09:00:00Z\n"
    again = wallclime("sensor", "release", "loft")
    assert again.code == 2
    wallclime.done("sensor", "assign", "loft", "--place", "attic", "--at", "2026-01-07T09:00")
    assert wallclime.done("sensor", "seen", "--json").json()[0]["place"] == "attic"


def test_a_sensor_is_not_at_two_places_at_once(wallclime: Home):
    wallclime.done("sensor", "add", "loft", *TOPIC)
    wallclime.done("sensor", "assign", "loft", "--place", "hall", "--at", "2026-01-06")
    result = wallclime("sensor", "assign", "loft", "--place", "attic")
    assert (result.code, result.err) == (
        2,
        "assignment to 'attic': loft is at 'hall' from 2026-01-06T00:00:00Z to now. "
        "Release it first: wallclime sensor release loft --at TIME\n",
    )


def test_with_a_job_a_time_is_in_its_zone_and_the_place_that_of_its_boxes(wallclime: Home):
    where = ("--boxes-place", "hall", "--wall-place", "den", "--zone", "America/New_York")
    wallclime.done("job", "open", "den", *where, "--length", "4 m", "--height", "2 m")
    wallclime.done("sensor", "add", "loft", *TOPIC)
    said = wallclime.done("sensor", "assign", "loft", "--job", "den", "--at", "2026-01-06T08:00")
    assert said.err.splitlines()[0] == "loft is at 'hall' from 2026-01-06T13:00:00Z"


def test_without_an_at_a_sensor_comes_and_goes_now(wallclime: Home):
    wallclime.done("sensor", "add", "loft", *TOPIC)
    assert "from 2026-01-12T12:00:00Z\n" in wallclime.done("sensor", "assign", "loft", "--place", "hall").err
    wallclime.clock.move(HOUR)
    assert wallclime.done("sensor", "release", "loft").err.endswith("at 2026-01-12T13:00:00Z\n")


def test_readings_count_only_while_the_sensor_is_at_the_place(den: Home):
    den.done("log", "deliver", "den", "--at", rfc3339(DELIVERED))
    den.done("import", "den", den.file("den.csv", csv_of(steady(DELIVERED, 100))), "--sensor", "shelf", *COLUMNS)
    before = den.assess("--at", rfc3339(DELIVERED + 96 * HOUR))["coverage"]["known_h"]
    den.done("sensor", "release", "shelf", "--at", rfc3339(DELIVERED + 2 * DAY))
    after = den.assess("--at", rfc3339(DELIVERED + 96 * HOUR))["coverage"]["known_h"]
    assert (before, after) == (96.0, 48.0)


def test_a_release_that_undoes_a_completion_is_written_into_the_log_of_the_job(den: Home):
    den.done("log", "deliver", "den", "--at", rfc3339(DELIVERED))
    den.done("import", "den", den.file("den.csv", csv_of(steady(DELIVERED, 100))), "--sensor", "shelf", *COLUMNS)
    den.done("sensor", "release", "shelf", "--at", rfc3339(DELIVERED + DAY))
    assert den.kinds()[-2:] == ["completion", "completion revised"]
    assert den.log()[-1]["body"] == {
        "delivery": 4,
        "lot": "lot 1",
        "place": "den",
        "was": [DELIVERED + 2 * DAY],
        "is": [],
    }
    assert den.log()[-1]["at"] == rfc3339(NOON)
