"""What was refused: listed, shown, and read again once the settings are mended. And what the daemon says of itself."""

import json

from homes import NOON, Home

from monitor.basis.clock import SetClock
from monitor.basis.times import HOUR, MINUTE
from monitor.basis.values import LIVE, Quantity, Reading, Refused
from monitor.keep.store import Store, open_store
from monitor.seal.chain import link

STAMPED = json.dumps({"temperature": 21.0, "humidity": 45.0, "time": "2026-01-12T11:00:00Z"}).encode()
OTHER = json.dumps({"t": 21.0, "rh": 45.0, "time": "2026-01-12T11:00:00Z"}).encode()
SOURCE = """[[source]]
topic = "site/{sensor}/climate"
format = "json"
temperature = { at = "/t", unit = "degC" }
humidity = { at = "/rh", unit = "%" }
time = { at = "/time", as = "rfc3339" }
"""


def store_of(home: Home) -> Store:
    home.path.mkdir(exist_ok=True)
    return open_store(f"sqlite:///{home.path / 'wallclime.db'}", clock=SetClock(NOON), link=link)


def refused(home: Home, *payloads: bytes, reason: str = "no-quantity", topic: str = "site/hall/climate") -> None:
    with store_of(home) as store:
        store.keep_readings([], [Refused(topic, reason, "no value", payload, NOON - HOUR) for payload in payloads])


def test_an_empty_quarantine_is_talk_and_no_data(wallclime: Home):
    result = wallclime.done("quarantine", "list")
    assert (result.out, result.err) == ("", "nothing was refused\n")
    assert wallclime.done("quarantine", "list", "--json").json() == []


def test_what_was_refused_is_listed_with_how_often_why_and_where(wallclime: Home):
    refused(wallclime, b"\x00", b"\x00")
    assert wallclime.done("quarantine", "list").out == (
        "     1  2026-01-12T11:00:00Z  2 x no-quantity  site/hall/climate\n        no value\n"
    )
    (row,) = wallclime.done("quarantine", "list", "--json").json()
    assert (row["number"], row["count"], row["reason"]) == (1, 2, "no-quantity")
    assert wallclime.done("quarantine", "list", "--reason", "time-ahead").out == ""


def test_one_thing_is_shown_with_its_bytes_and_no_terminal_escape_of_its_own(wallclime: Home):
    refused(wallclime, b"\x1b[31mred\xff")
    assert wallclime.done("quarantine", "show", 1).out.splitlines()[-1] == ("bytes:   9, as text: \\u001b[31mred\\xff")
    assert wallclime.done("quarantine", "show", 1, "--json").json()["raw_hex"] == b"\x1b[31mred\xff".hex()


def test_a_number_that_is_not_there_is_said(wallclime: Home):
    result = wallclime("quarantine", "show", 7)
    assert (result.code, result.err) == (
        2,
        "quarantine: there is nothing of number 7. wallclime quarantine list shows what there is\n",
    )


def test_once_the_settings_are_mended_refused_messages_become_readings(wallclime: Home):
    refused(wallclime, OTHER)
    again = wallclime.done("quarantine", "retry")
    assert again.err == (
        "0 became readings, 1 are refused still\n"
        "site/hall/climate: there is no value at '/temperature', '/humidity'. Check the pointers of its source\n"
    )
    (wallclime.path / "wallclime.toml").write_text(SOURCE, encoding="utf-8")
    assert wallclime.done("quarantine", "retry").err == "1 became readings, 0 are refused still\n"
    assert wallclime.done("quarantine", "list", "--json").json() == []
    (seen,) = wallclime.done("sensor", "seen", "--json").json()
    assert (seen["stream"], seen["readings"], seen["last"]) == ("site/hall/climate", 2, "2026-01-12T11:00:00Z")


def test_an_unstamped_message_stays_where_it_is(wallclime: Home):
    refused(wallclime, b'{"temperature": 21.0}', reason="time-unknown")
    assert wallclime.done("quarantine", "retry", 1).err == (
        "0 became readings, 1 are refused still\n"
        "site/hall/climate: there is no time at '/time'. Check `time` of its source in wallclime.toml\n"
    )


def test_a_topic_that_no_source_hears_is_said(wallclime: Home):
    refused(wallclime, STAMPED, topic="elsewhere/hall")
    (wallclime.path / "wallclime.toml").write_text(SOURCE, encoding="utf-8")
    assert wallclime.done("quarantine", "retry").err.splitlines()[1] == (
        "elsewhere/hall: no source in wallclime.toml hears this topic. Add a [[source]] for it"
    )


def test_a_reading_in_conflict_stays_one(wallclime: Home):
    with store_of(wallclime) as store:
        for value in (45.0, 46.0):
            store.keep_readings([Reading("s", Quantity.AIR_HUMIDITY, NOON - HOUR, value, "%", NOON, LIVE)])
    result = wallclime("quarantine", "retry", 1)
    assert (result.code, result.err) == (
        2,
        "quarantine 1: it says otherwise than a reading that is kept, and a kept reading is never changed. "
        "If the kept one is wrong, write a note: wallclime log note\n",
    )
    assert wallclime.done("quarantine", "retry").err == "0 became readings, 1 are refused still\n"


def test_status_names_a_sensor_that_ends_up_in_quarantine(wallclime: Home):
    refused(wallclime, b"x", b"x", b"x", reason="unreadable")
    assert wallclime.done("status").err == (
        "mind: site/hall/climate: 3 messages were refused (unreadable); see wallclime quarantine list\n"
    )


def test_one_message_is_one(wallclime: Home):
    refused(wallclime, b"x", reason="unreadable")
    assert wallclime.done("status").err == (
        "mind: site/hall/climate: 1 message was refused (unreadable); see wallclime quarantine list\n"
    )


def conflicts(home: Home, *values: float) -> None:
    with store_of(home) as store:
        for value in values:
            store.keep_readings(
                [Reading("site/hall/climate", Quantity.AIR_HUMIDITY, NOON - HOUR, value, "%", NOON, LIVE)]
            )


def test_status_names_a_sensor_in_conflict_by_its_name_if_it_has_one(wallclime: Home):
    conflicts(wallclime, 45.0, 46.0, 46.0)
    assert wallclime.done("status").err == (
        "mind: site/hall/climate: 1 reading says otherwise than the one kept; "
        "see wallclime quarantine list --reason conflict\n"
    )
    conflicts(wallclime, 47.0, 48.0)
    wallclime.done("sensor", "add", "hall", "--topic", "site/hall/climate")
    assert wallclime.done("status").err == (
        "mind: hall: 3 readings say otherwise than the ones kept; see wallclime quarantine list --reason conflict\n"
    )


def test_a_conflict_is_listed_and_shown_with_its_quantity_and_time(wallclime: Home):
    conflicts(wallclime, 45.0, 46.0)
    assert wallclime.done("quarantine", "list").out == (
        "     1  2026-01-12T12:00:00Z  1 x conflict  site/hall/climate\n"
        "        air_humidity at 2026-01-12T11:00:00Z: kept 45.0 %, offered 46.0 %\n"
    )
    (row,) = wallclime.done("quarantine", "list", "--json").json()
    assert (row["quantity"], row["time"]) == ("air_humidity", "2026-01-12T11:00:00Z")
    lines = wallclime.done("quarantine", "show", 1).out.splitlines()
    assert lines[4:6] == ["quantity: air_humidity", "time:     2026-01-12T11:00:00Z"]


def test_a_message_read_again_that_says_otherwise_did_not_become_readings(wallclime: Home):
    conflicts(wallclime, 44.0)
    (wallclime.path / "wallclime.toml").write_text(SOURCE, encoding="utf-8")
    both = json.dumps({"rh": 45.0, "time": "2026-01-12T11:00:00Z"}).encode()
    refused(wallclime, both)
    assert wallclime.done("quarantine", "retry").err == (
        "0 became readings, 0 are refused still\nkept 0 readings; 0 were known, 1 in conflict went to quarantine\n"
    )
    refused(wallclime, OTHER)
    assert wallclime.done("quarantine", "retry", "--reason", "no-quantity").err == (
        "1 became readings, 0 are refused still\nkept 1 readings; 0 were known, 1 in conflict went to quarantine\n"
    )
    assert [row["reason"] for row in wallclime.done("quarantine", "list", "--json").json()] == ["conflict"]


def test_a_sensor_that_is_always_refused_is_seen_with_what_it_sends_and_the_mend(wallclime: Home):
    payload = b"\x1b" + b"y" * 300
    refused(wallclime, b"x", b"x", payload, topic="site/loft/climate")
    result = wallclime.done("sensor", "seen")
    assert (result.out, result.err) == (
        "site/loft/climate\n  never understood: refused 3 x (no-quantity)\n"
        "  last payload: \\u001b" + "y" * 199 + "...\n  no value\n",
        "",
    )
    assert wallclime.done("sensor", "seen", "--json").json() == [
        {
            "stream": None,
            "topic": "site/loft/climate",
            "reason": "no-quantity",
            "count": 3,
            "payload": payload.decode(),
            "detail": "no value",
        }
    ]
    wallclime.done("sensor", "add", "loft", "--topic", "site/loft/climate")
    assert "never understood" not in wallclime.done("sensor", "seen").out


def test_a_sensor_that_was_heard_and_is_refused_at_times_is_seen_once(wallclime: Home):
    conflicts(wallclime, 45.0)
    refused(wallclime, b"x")
    refused(wallclime, b"x", topic="elsewhere/hall")
    found = wallclime.done("sensor", "seen", "--json").json()
    assert [(row["stream"], row["topic"]) for row in found] == [("site/hall/climate", ""), (None, "elsewhere/hall")]


def state(home: Home, age: int = 0, **changes: object) -> None:
    well = {
        "last_error": "",
        "connected": True,
        "marker_missing": False,
        "broker": "b",
        "client_id": "wallclime-1",
    }
    with store_of(home) as store:
        store._clock = SetClock(NOON - age)
        store.stay_awake(store.wake(), {"links": [well | changes]})


def test_status_says_what_is_wrong_with_the_daemon(wallclime: Home):
    state(wallclime)
    assert wallclime.done("status").err == ""
    state(wallclime, connected=False)
    assert wallclime.done("status").err == "mind: wallclime serve has no connection to the broker b\n"
    state(wallclime, marker_missing=True)
    assert wallclime.done("status").err == (
        "mind: the daemon may not publish on its own topic: messages without a time are refused. "
        "Let its user write to wallclime/wallclime-1/marker\n"
    )


def test_status_says_that_the_daemon_is_not_there(wallclime: Home):
    state(wallclime, age=3 * MINUTE)
    assert wallclime.done("status").err == (
        "mind: wallclime serve is not running; it was there last at 2026-01-12 11:57+00:00\n"
    )


def test_a_stranger_is_shown_with_its_last_payload_and_how_it_is_read(wallclime: Home):
    with store_of(wallclime) as store:
        for k in range(3):
            t = NOON - HOUR + k * MINUTE
            store.keep_readings([Reading("site/hall/climate", Quantity.AIR_HUMIDITY, t, 45.0, "%", t, LIVE)])
        store.stay_awake(
            store.wake(), {"links": [], "latest": {"site/hall/climate": ["site/hall/climate", '{"h": 45}']}}
        )
    assert wallclime.done("sensor", "seen").out == (
        "site/hall/climate\n"
        "  no name yet, at no place\n"
        "  3 readings, every 1 min, last 2026-01-12T11:02:00Z; proposed hold 30 min\n"
        '  last payload on site/hall/climate: {"h": 45}\n'
        "  read as json: air temperature at '/temperature' in degC, air humidity at '/humidity' in %; time at '/time'\n"
        "  wallclime sensor add hall --topic site/hall/climate --job JOB\n"
    )


def test_a_source_without_a_time_is_told_how_to_get_one(wallclime: Home):
    wallclime.path.mkdir()
    text = SOURCE.replace('time = { at = "/time", as = "rfc3339" }\n', "")
    (wallclime.path / "wallclime.toml").write_text(text, encoding="utf-8")
    with store_of(wallclime) as store:
        store.keep_readings([Reading("site/hall/climate", Quantity.AIR_HUMIDITY, NOON - HOUR, 45.0, "%", NOON, LIVE)])
    assert "  it carries no time: what waits at the broker while wallclime is away is lost." in (
        wallclime.done("sensor", "seen").out
    )


def test_a_wrong_unit_found_later_is_an_entry_and_changes_the_verdict(tmp_path):
    home = Home(tmp_path / "home")
    home.done("job", "open", "den", "--zone", "UTC", "--length", "4 m", "--height", "2.4 m")
    rows = [
        f"2026-01-05T{h:02d}:{m:02d}:00Z,{70 + m / 100},{45 + m / 100}" for h in range(24) for m in range(0, 60, 10)
    ]
    file = home.file("f.csv", "\n".join(["when,temp,rh", *rows]) + "\n")
    home.done("import", "den", file, "--sensor", "s", "--time", "when", "--temperature", "temp", "--humidity", "rh")
    at = ("assess", "den", "--json", "--at", "2026-01-05T20:00:00Z")
    assert home.done(*at).json()["now"]["state"] == "out"
    told = home.done(
        "sensor", "unit", "s", "--quantity", "temperature", "--unit", "F", "--from", "2026-01-05", "--reason", "label"
    )
    assert told.err == "s sent temperature in degF from 2026-01-05T00:00:00Z to 2026-01-12T12:00:00Z\n"
    assert home.done(*at).json()["now"]["state"] == "in"
    claim = ("sensor", "unit", "s", "--quantity", "temperature", "--reason", "x")
    wrong = home(*claim, "--unit", "%", "--from", "2026-01-05")
    assert (wrong.code, wrong.err) == (2, "--unit: '%' is no unit of air_temperature. Use one of degC, degF, K\n")
    late = home(*claim, "--unit", "F", "--from", "2026-01-12T12:00")
    assert (late.code, late.err) == (2, "sensor unit: the end is not after the start. Check --from and --to\n")
    assert "unit, robin" in home.done("sensor", "log").out
    number = next(e["number"] for e in home.done("sensor", "log", "--json").json() if e["kind"] == "unit")
    assert home.done("sensor", "withdraw", number, "--reason", "it was degC after all").err == (
        f"withdrawn: entry {number}, by entry {number + 1}\n"
    )
    assert home.done(*at).json()["now"]["state"] == "out"
    again = home("sensor", "withdraw", number, "--reason", "twice")
    assert (again.code, again.err) == (
        2,
        f"sensor withdraw: there is no assignment, check or unit of number {number}. See wallclime sensor log\n",
    )


def test_an_assignment_is_withdrawn_only_if_no_sensor_is_at_two_places_then(wallclime: Home):
    for name in ("hall", "loft"):
        wallclime.done("sensor", "add", name, "--topic", f"site/{name}/climate")
    wallclime.done("sensor", "assign", "hall", "--place", "hall", "--at", "2026-01-05")
    wallclime.done("sensor", "release", "hall", "--at", "2026-01-06")
    wallclime.done("sensor", "assign", "hall", "--place", "loft", "--at", "2026-01-07")
    release = next(e["number"] for e in wallclime.done("sensor", "log", "--json").json() if "released" in e["body"])
    result = wallclime("sensor", "withdraw", release, "--reason", "it stayed")
    assert (result.code, result.err) == (
        2,
        "assignment to 'loft': hall is at 'hall' from 2026-01-05T00:00:00Z to now. "
        "Release it first: wallclime sensor release hall --at TIME\n",
    )


def test_a_unit_that_is_still_sent_has_no_end(wallclime: Home):
    with store_of(wallclime) as store:
        store.keep_readings([Reading("flat7/s", Quantity.AIR_TEMPERATURE, NOON - HOUR, 63.0, "degC", NOON, LIVE)])
    wallclime.done("sensor", "add", "s", "--topic", "flat7/s")
    claim = ("sensor", "unit", "s", "--quantity", "temperature", "--reason", "x", "--unit", "degF")
    both = wallclime(*claim, "--from", "2026-01-05", "--to", "2026-01-06", "--still")
    assert (both.code, both.err) == (2, "--to --still: it has an end and goes on. Leave one of them out\n")
    still = wallclime.done(*claim, "--from", "2026-01-05", "--still")
    assert still.err == "s sent temperature in degF from 2026-01-05T00:00:00Z on\n"
    late = wallclime(*claim, "--from", "2026-02-05", "--still")
    assert late.err == (
        "--from: 2026-02-05T00:00:00Z is in the future. The log holds what has happened; check the date\n"
    )
    log = wallclime.done("sensor", "log", "--json").json()
    assert log[-1]["body"]["to"] is None
