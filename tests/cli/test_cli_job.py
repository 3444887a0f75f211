"""wallclime job: open, list, show, profile, close."""

from __future__ import annotations

import pytest
from homes import DELIVERED, NOON, OPEN_DEN, Home

from monitor.basis.times import HOUR

WALL = ("--zone", "UTC", "--length", "4 m", "--height", "2.4 m")
JOB_LIST = "wallclime job list shows the jobs there are"
NAMES = "Use 1 to 120 printable characters without blanks around"
LENGTHS = 'Write it like "3/16 in", "16 ft 4 in" or "4.2 m"'

FAULTS = [
    (("open", "den", *WALL), "job den: there is a job 'den' already. Choose another name for the new job"),
    (("open", "", *WALL), f"job open: '' can't be a name. {NAMES}"),
    (("open", " attic", *WALL), f"job open: ' attic' can't be a name. {NAMES}"),
    (("open", "at\ntic", *WALL), f"job open: 'at\\ntic' can't be a name. {NAMES}"),
    (("open", "x" * 121, *WALL), f"job open: '{'x' * 120}' can't be a name. {NAMES}"),
    (("open", "a\udc80", *WALL), "command line: 'a\\udc80' is not UTF-8 text. Write it, or name the file, anew"),
    (
        ("open", "attic", *WALL, "--zone", "Midland/Town"),
        '--zone: there is no time zone \'Midland/Town\'. Give an IANA name such as "UTC" or "America/New_York"',
    ),
    (("open", "attic", *WALL, "--length", "4"), f"--length: '4' is not a length. {LENGTHS}"),
    (("open", "attic", *WALL, "--height", "tall"), f"--height: 'tall' is not a length. {LENGTHS}"),
    (
        ("open", "attic", *WALL, "--length", "0 m"),
        '--length: 0 m is not a wall\'s. Write it like "16 ft 4 in" or "4.2 m"',
    ),
    (
        ("open", "attic", *WALL, "--height", "1001 m"),
        '--height: 1001 m is not a wall\'s. Write it like "16 ft 4 in" or "4.2 m"',
    ),
    (("open", "attic", *WALL, "--units", "yards"), "--units: 'yards' is not known. Known here: us, si"),
    (("open", "attic", *WALL, "--boxes-place", " hall"), f"--boxes-place: ' hall' can't be a name. {NAMES}"),
    (("open", "attic", *WALL, "--wall-place", "hall "), f"--wall-place: 'hall ' can't be a name. {NAMES}"),
    (("open", "attic", *WALL, "--outdoor-place", ""), f"--outdoor-place: '' can't be a name. {NAMES}"),
    (("open", "attic", *WALL, "--by", "a\tb"), f"--by: 'a\\tb' can't be a name. {NAMES}"),
    (
        ("open", "attic", *WALL, "--profile", "laminate-plank"),
        "laminate-plank: there is no such profile. Give the path of a .toml file or a built-in name. "
        'Did you mean "laminate-planks"?',
    ),
    (
        ("open", "attic", *WALL, "--profile", "/none/oak.toml"),
        "/none/oak.toml: the file can't be read: No such file or directory. Check the path and its rights",
    ),
    (("show", "attic"), f"job attic: there is no job 'attic'. {JOB_LIST}"),
    (("show", ""), f"job : there is no job ''. {JOB_LIST}"),
    (("profile", "attic", "laminate-planks", "--reason", "x"), f"job attic: there is no job 'attic'. {JOB_LIST}"),
    (
        ("profile", "den", "laminate-planks", "--reason", "x"),
        "profile of den: this profile is in force already. Nothing needs to be done",
    ),
    (("profile", "den", "laminate-planks", "--reason", " "), "job profile: no reason is given. Add --reason TEXT"),
    (
        ("profile", "den", "oak", "--reason", "x"),
        "oak: there is no such profile. Give the path of a .toml file or a built-in name. Known here: laminate-planks",
    ),
    (("close", "attic", "--reason", "x"), f"job attic: there is no job 'attic'. {JOB_LIST}"),
    (("close", "den", "--reason", ""), "job close: no reason is given. Add --reason TEXT"),
    (
        ("close", "den", "--reason", "x", "--at", "2026-01-12T07:01"),
        "job close: 2026-01-12T12:01:00Z is in the future. The log holds what has happened; check the date",
    ),
    (
        ("close", "den", "--reason", "x", "--at", "soon"),
        "--at: 'soon' is not a time. Write it like 2026-01-05T06:40 or 2026-01-05T06:40:00+02:00",
    ),
    (
        ("close", "den", "--reason", "x", "--at", "1999-12-31"),
        "--at: '1999-12-31' is outside the years 2000 to 2099. Check the year and the clock",
    ),
    (
        ("close", "den", "--reason", "x", "--at", "2025-11-02 01:30"),
        "--at: 2025-11-02 01:30:00 happened twice in America/New_York, where the clocks were changed. "
        'Give the time with its offset, such as "+01:00"',
    ),
    (
        ("close", "den", "--reason", "x", "--at", "2025-03-09 02:30"),
        "--at: 2025-03-09 02:30:00 does not exist in America/New_York, where the clocks were changed. "
        'Give the time with its offset, such as "+01:00"',
    ),
]


@pytest.mark.parametrize(("args", "said"), FAULTS)
def test_what_a_job_command_refuses(record: Home, args, said):
    result = record("job", *args)
    assert (result.code, result.out, result.err) == (2, "", said + "\n")


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("profile", "den", "laminate-planks"), "Error: Missing option '--reason'."),
        (("close", "den"), "Error: Missing option '--reason'."),
        (("shut", "den"), "Error: No such command 'shut'."),
    ],
)
def test_a_command_that_is_not_whole_exits_2_and_says_what_is_missing(record: Home, args, said):
    result = record("job", *args)
    assert (result.code, result.out) == (2, "")
    assert said in result.err.splitlines()


# --- open and show ----------------------------------------------------------------------------------------------------


def test_opening_says_what_was_understood_and_what_comes_next(wallclime: Home):
    result = wallclime(*OPEN_DEN)
    assert (result.code, result.out) == (0, "")
    lines = result.err.splitlines()
    assert lines[:3] == [
        "opened den: boxes at 'den', wall at 'den', profile 'laminate planks, interior wall'",
        "take-off: 128.0 sq ft net, 13 rows; order 9 boxes, 1 of them kept for repairs",
        "all of it: wallclime takeoff den",
    ]
    assert lines[-3:] == [
        "suitability: unknown, nothing was said of the place; say it: wallclime job place den",
        "the profile asks for: Indoors with a controlled climate; a vertical wall of dry drywall, primed or painted; "
        "not near sources of water.",
        "next: wallclime log deliver den when the boxes lie in the room",
    ]


def test_a_job_has_the_units_in_which_its_length_is_given(wallclime: Home):
    wallclime.done("job", "open", "a", "--zone", "UTC", "--length", "16 ft", "--height", "2.4 m")
    wallclime.done("job", "open", "b", "--zone", "UTC", "--length", "4.2 m", "--height", "8 ft")
    wallclime.done("job", "open", "c", "--zone", "UTC", "--length", "16'", "--height", "8'", "--units", "si")
    units = [wallclime.done("job", "show", name, "--json").json()["units"] for name in "abc"]
    assert units == ["us", "si", "si"]


def test_a_place_left_out_is_the_walls_and_that_is_the_boxes_and_that_is_the_job(wallclime: Home):
    wallclime.done("job", "open", "a", *WALL)
    wallclime.done("job", "open", "b", *WALL, "--boxes-place", "hall")
    wallclime.done("job", "open", "c", *WALL, "--wall-place", "den", "--outdoor-place", "yard")
    shown = [wallclime.done("job", "show", name, "--json").json() for name in "abc"]
    places = [[one[f"{which}_place"] for which in ("boxes", "wall", "outdoor")] for one in shown]
    assert places == [["a", "a", None], ["hall", "hall", None], ["den", "den", "yard"]]


def test_a_job_is_shown_with_all_that_was_said_of_it(wallclime: Home):
    oak = wallclime.file("oak.toml", 'name = "oak planks"\n')
    wallclime.done(*OPEN_DEN, "--profile", oak, "--wall-place", "den", "--boxes-place", "hall", "--who", "kim")
    wallclime.clock.move(HOUR)
    wallclime.done("job", "profile", "den", "laminate-planks", "--reason", "wrong box")
    wallclime.done("job", "close", "den", "--reason", "done", "--at", "2026-01-12T07:30")
    assert wallclime.done("job", "show", "den").out == (
        "job:               den\n"
        "opened:            2026-01-12T12:00:00Z\n"
        "opened_by:         kim\n"
        "zone:              America/New_York\n"
        "length:            16 ft\n"
        "height:            8 ft\n"
        "units:             us\n"
        "boxes_place:       hall\n"
        "wall_place:        den\n"
        "outdoor_place:     -\n"
        "building:          -\n"
        "profiles:          2026-01-12T12:00:00Z oak planks\n"
        "profiles:          2026-01-12T13:00:00Z laminate planks, interior wall: wrong box\n"
        "entries:           5\n"
        "closed:            2026-01-12T12:30:00Z\n"
    )
    shown = wallclime.done("job", "show", "den", "--json").json()
    assert shown["length_m"] == pytest.approx(16 * 0.3048)  # the international foot is 0.3048 m exactly
    assert shown["closed"] == "2026-01-12T12:30:00Z"


def test_a_profile_is_frozen_into_the_job_whatever_becomes_of_its_file(wallclime: Home):
    oak = wallclime.file("oak.toml", 'name = "oak planks"\n[acclimation]\nhours = 72\n')
    wallclime.done(*OPEN_DEN, "--profile", oak)
    oak.write_text('name = "oak planks"\n[acclimation]\nhours = 1\n', encoding="utf-8")
    assert wallclime.assess()["acclimation"]["required_h"] == 72.0
    oak.unlink()
    assert wallclime.assess()["profile"]["name"] == "oak planks"


def test_the_profiles_own_key_or_full_name_opens_a_job(wallclime: Home):
    wallclime.done("job", "open", "a", *WALL, "--profile", "laminate-planks")
    wallclime.done("job", "open", "b", *WALL, "--profile", "laminate planks, interior wall")
    texts = [wallclime.log(name)[1]["body"]["text"] for name in "ab"]
    assert texts[0] == texts[1]


def test_every_fault_of_a_profile_is_a_line_and_no_job_is_opened(wallclime: Home):
    bad = wallclime.file("bad.toml", 'name = ""\n[band]\nhumidty = ["35 %", "65 %"]\n')
    result = wallclime(*OPEN_DEN, "--profile", bad)
    assert (result.code, result.out) == (2, "")
    assert result.err == (
        f"{bad}: name: '' is not a line of text. Write one line in quotes\n"
        f'{bad}: band.humidty: there is no such key. Did you mean "band.humidity"?\n'
    )
    assert wallclime.done("job", "list", "--json").json() == []


def test_who_speaks_is_the_user_unless_somebody_else_is_named(wallclime: Home):
    wallclime.done("job", "open", "a", *WALL)
    wallclime.done("job", "open", "b", *WALL, "--by", "kim")
    assert [wallclime.log(name)[0]["who"] for name in "ab"] == ["robin", "kim"]


def test_nobody_can_speak_where_the_system_has_no_name_either(wallclime: Home, monkeypatch):
    monkeypatch.setattr("getpass.getuser", lambda: (_ for _ in ()).throw(KeyError("uid 4711")))
    result = wallclime(*OPEN_DEN)
    assert (result.code, result.err) == (2, "--by: nobody is named. Say who claims it: --by NAME\n")


# --- list -------------------------------------------------------------------------------------------------------------


def test_without_a_job_the_list_says_how_to_open_one(wallclime: Home):
    said = 'No job yet. Open one: wallclime job open NAME --zone ZONE --length "16 ft" --height "8 ft"\n'
    assert wallclime.done("job", "list").out == said
    assert wallclime.done("job", "list", "--json").json() == []


def test_jobs_are_listed_in_order_of_name_with_their_verdicts(wallclime: Home):
    for name in ("loft", "attic"):
        wallclime.done("job", "open", name, *WALL)
    wallclime.done("job", "close", "loft", "--reason", "given up")
    assert wallclime.done("job", "list").out == (
        "JOB                                    VERDICT    ROOM     COUNTED      COMPLETE\n"
        "attic                                  NOT READY  unknown  0.0 of 48 h  -\n"
        "loft                                   CLOSED     -        0.0 of 48 h  -\n"
    )
    listed = wallclime.done("job", "list", "--json").json()
    assert [one["job"] for one in listed] == ["attic", "loft"]
    assert listed[0] == {**wallclime.assess(job="attic"), "building": None}


# --- close ------------------------------------------------------------------------------------------------------------


def test_closing_ends_the_judged_span_and_keeps_the_record(den: Home):
    den.clock.at_ms = DELIVERED
    den.done("log", "deliver", "den")
    den.clock.at_ms = NOON
    result = den.done("job", "close", "den", "--reason", "sold", "--at", "2026-01-06T08:00")
    assert result.err == "closed den as entry 5\n"
    assert den.assess()["coverage"]["elapsed_h"] == 24.0
    assert den.log()[4] == {
        "number": 5,
        "kind": "close",
        "at": "2026-01-06T13:00:00Z",
        "entered": "2026-01-12T12:00:00Z",
        "who": "robin",
        "body": {"reason": "sold"},
        "corrects": None,
        "link": den.log()[4]["link"],
        "entered_late": True,
    }


def test_a_job_is_closed_once_and_opened_again_by_withdrawing_that(den: Home):
    den.done("job", "close", "den", "--reason", "sold")
    again = den("job", "close", "den", "--reason", "sold")
    assert (again.code, again.err) == (
        2,
        "job den: it was closed 2026-01-12T12:00:00Z. "
        "If that was wrong: wallclime log correct den 4 --withdraw --reason TEXT\n",
    )
    den.done("log", "correct", "den", "4", "--withdraw", "--reason", "not sold")
    assert den.done("job", "show", "den", "--json").json()["closed"] is None
    den.done("job", "close", "den", "--reason", "sold")


def test_a_mend_quotes_a_name_with_blanks_for_the_shell(wallclime: Home):
    wallclime.done("job", "open", "long wall", *WALL)
    wallclime.done("job", "close", "long wall", "--reason", "sold")
    said = wallclime("job", "close", "long wall", "--reason", "sold").err
    assert said.endswith("wallclime log correct 'long wall' 4 --withdraw --reason TEXT\n")


# --- buildings --------------------------------------------------------------------------------------------------------


def test_the_building_that_was_named_last_stands(wallclime: Home):
    wallclime.done(*OPEN_DEN, "--building", "mill house")
    assert wallclime.done("job", "building", "den", "gate house", "--by", "kim").err == "entry 5: building\n"
    assert wallclime.log()[-1]["body"] == {"building": "gate house"}
    assert wallclime.done("job", "show", "den", "--json").json()["building"] == "gate house"
    assert [one["building"] for one in wallclime.done("job", "list", "--json").json()] == ["gate house"]


def test_a_building_is_corrected_as_any_entry_is(wallclime: Home):
    wallclime.done(*OPEN_DEN, "--building", "mill house")
    wallclime.done("job", "building", "den", "gate hause")
    wallclime.done("log", "correct", "den", 5, "--set", "building=gate house", "--reason", "misspelt")
    assert wallclime.done("job", "show", "den", "--json").json()["building"] == "gate house"
    wallclime.done("log", "correct", "den", 5, "--withdraw", "--reason", "it is in the other one")
    assert wallclime.done("job", "show", "den", "--json").json()["building"] == "mill house"


def test_jobs_are_listed_under_their_buildings(wallclime: Home):
    for name, more in (("b", ("--building", "mill house")), ("c", ()), ("a", ("--building", "mill house"))):
        wallclime.done("job", "open", name, *WALL, *more)
    lines = wallclime.done("job", "list").out.splitlines()
    assert [line.split("  ")[0] for line in lines] == ["JOB", "c", "", "in mill house:", "a", "b"]


@pytest.mark.parametrize(
    ("args", "line"),
    [
        (("building", "attic", "mill"), f"job attic: there is no job 'attic'. {JOB_LIST}"),
        (("building", "den", " mill"), f"job building: ' mill' can't be a name. {NAMES}"),
        (("building", "den", "mill"), "job den: it is in 'mill' by the log already. Nothing needs to be done"),
        (("open", "attic", *WALL, "--building", ""), f"--building: '' can't be a name. {NAMES}"),
    ],
)
def test_a_building_that_cant_be_is_refused(den: Home, args: tuple[str, ...], line: str):
    den.done("job", "building", "den", "mill")
    refused = den("job", *args)
    assert (refused.code, refused.err) == (2, f"{line}\n")
