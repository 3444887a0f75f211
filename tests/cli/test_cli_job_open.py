"""wallclime job open from a file, and what the place of a wall is like: at the opening and later."""

from __future__ import annotations

import pytest
from homes import HOUR, Home

WALL = ("--zone", "America/New_York", "--length", "16 ft", "--height", "8 ft")
GOOD = (
    *("--kind", "partition", "--surface", "wall", "--vertical", "--not-over-water", "--indoors"),
    *("--climate-since", "2026-01-02", "--closed-in-since", "2025-11-20", "--wet-trades-done", "2025-12-12"),
)
GOOD_SAID = {
    "kind": "partition",
    "surface": "wall",
    "vertical": True,
    "over_water": False,
    "indoors": True,
    "climate_since": "2026-01-02",
    "closed_in_since": "2025-11-20",
    "wet_trades_done": "2025-12-12",
}
PASSED = (
    "a partition wall, indoors, vertical, not over a sink or tub, heated or cooled since 2026-01-02, "
    "closed in since 2025-11-20, wet trades done 2025-12-12"
)
NOT_MADE = "The planks are not made for it: choose another wall, or add --reason TEXT, which is written down"


def suitability(home: Home, *at: object) -> tuple[str, str]:
    (found,) = [one for one in home.assess(*at)["readiness"] if one["condition"] == "suitability"]
    return found["verdict"], found["evidence"]


# --- from a file ------------------------------------------------------------------------------------------------------


def test_the_example_opens_a_job_as_it_stands(wallclime: Home):
    path = wallclime.file("den.toml", wallclime.done("job", "example").out)
    opened = wallclime.done("job", "open", "--from", path)
    # 128 - 20 - 12 = 96 sq ft, x 1.1 / 20 = 5.28 boxes by area; the cut list wants no more than six; one for repairs
    assert "take-off: 96.0 sq ft net, 13 rows; order 7 boxes, 1 of them kept for repairs" in opened.err.splitlines()
    assert f"suitability: pass, {PASSED}" in opened.err.splitlines()
    assert "the profile asks for" not in opened.err
    entries = wallclime.log()
    assert [entry["kind"] for entry in entries] == ["job", "profile", "take-off", "suitability"]
    assert {entry["who"] for entry in entries} == {"robin"}
    assert entries[3]["body"] == GOOD_SAID
    assert suitability(wallclime) == ("pass", PASSED)


def test_a_file_and_options_open_the_same_job(wallclime: Home):
    text = (
        'name = "a"\nzone = "America/New_York"\nlength = "16 ft"\nheight = "8 ft"\nlay = "vertical"\nsplit = true\n'
        'units = "si"\nprofile = "oak.toml"\nboxes_place = "hall"\nwall_place = "den"\noutdoor_place = "yard"\n'
        'openings = ["door 36 in x 80 in"]\nover_water = true\nreason = "no steam"\nby = "kim"\n'
    )
    oak = wallclime.file("oak.toml", 'name = "oak planks"\n')
    wallclime.done("job", "open", "--from", wallclime.file("job.toml", text))
    options = (*WALL, "--lay", "vertical", "--split", "--units", "si", "--profile", oak, "--boxes-place", "hall")
    places = ("--wall-place", "den", "--outdoor-place", "yard", "--opening", "door 36 in x 80 in")
    said = ("--over-water", "--reason", "no steam", "--by", "kim")
    wallclime.done("job", "open", "b", *options, *places, *said)
    logs = [[(one["kind"], one["who"], one["body"]) for one in wallclime.log(name)] for name in "ab"]
    assert logs[0] == [
        (kind, who, {**body, "boxes_place": "hall", "wall_place": "den"} if kind == "job" else body)
        for kind, who, body in logs[1]
    ]
    assert logs[0][2][2]["lay"] == "vertical"
    assert logs[0][3][2] == {"over_water": True, "reason": "no steam"}


def test_an_option_wins_over_the_file(wallclime: Home):
    path = wallclime.file("den.toml", wallclime.done("job", "example").out)
    wallclime.done(
        "job", "open", "attic", "--from", path, "--length", "4.2 m", "--opening", "door 0.9 m x 2 m", "--by", "kim"
    )
    job, _, take_off, _ = wallclime.log("attic")
    assert (job["body"]["length_m"], job["body"]["units"], job["who"]) == (4.2, "si", "kim")
    assert [one["name"] for one in take_off["body"]["openings"]] == ["door"]


def test_every_fault_of_a_file_is_a_line_and_no_job_is_opened(wallclime: Home):
    path = wallclime.file("den.toml", 'zone = "Mars"\nlength = "16"\nheigth = "8 ft"\nindoors = "yes"\n')
    result = wallclime("job", "open", "--from", path, "--lay", "up")
    assert (result.code, result.out) == (2, "")
    assert result.err.splitlines() == [
        "--lay: 'up' is not known. Known here: horizontal, vertical",
        f'{path}: zone: there is no time zone \'Mars\'. Give an IANA name such as "UTC" or "America/New_York"',
        f'{path}: length: \'16\' is not a length. Write it like "3/16 in", "16 ft 4 in" or "4.2 m"',
        f'{path}: heigth: there is no such key. Did you mean "height"?',
        f"{path}: indoors: 'yes' is neither true nor false. Write true or false, without quotes",
        "NAME: no name is given. Write it after the command, or as a key of the file",
        '--height: no height is given. Write it like "8 ft" or "2.4 m", or give each corner of the wall',
    ]
    assert wallclime.done("job", "list", "--json").json() == []


def test_what_is_missing_is_named_all_at_once(wallclime: Home):
    result = wallclime("job", "open")
    assert (result.code, result.err.splitlines()) == (
        2,
        [
            "NAME: no name is given. Write it after the command, or as a key of the file",
            '--zone: no zone is given. Give one, such as "America/New_York"',
            '--length: no length is given. Write it like "16 ft" or "4.2 m", or give each corner of the wall',
            '--height: no height is given. Write it like "8 ft" or "2.4 m", or give each corner of the wall',
        ],
    )


def test_a_wall_of_corners_has_their_length_and_height(wallclime: Home):
    corners = [word for corner in ("0,0", "4 m,0", "4 m,2 m", "2 m,3 m", "0,2 m") for word in ("--corner", corner)]
    wallclime.done("job", "open", "den", "--zone", "UTC", *corners)
    shown = wallclime.done("job", "show", "den", "--json").json()
    assert (shown["length_m"], shown["height_m"], shown["units"]) == (4.0, 3.0, "si")
    assert len(wallclime.log()[2]["body"]["outline_m"]) == 5


def test_a_wall_that_cant_be_laid_as_it_ought_to_be_is_told_at_once(wallclime: Home):
    wide = '[wall]\nstagger_least = "20 in"\nstagger_usual = ["20 in", "22 in"]\n'
    wall = ("--zone", "UTC", "--length", "52 in", "--height", "8 ft", "--profile", wallclime.file("wide.toml", wide))
    lines = wallclime.done("job", "open", "den", *wall).err.splitlines()
    assert lines[2].startswith("stagger: no layout was found that keeps every joint 1 ft 8 in from all joints of ")


# --- the place --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--kind", "below-grade"), "--kind: the wall is below grade"),
        (("--kind", "masonry"), "--kind: the wall is masonry"),
        (("--surface", "ceiling"), "--surface: it is a ceiling"),
        (("--surface", "counter"), "--surface: it is a counter"),
        (("--surface", "splash-back"), "--surface: it is a splash-back"),
        (("--not-vertical",), "--vertical: it is not vertical"),
        (("--over-water",), "--over-water: it is over a sink or tub"),
        (("--not-indoors",), "--indoors: it is not indoors"),
        (("--climate-since", "no"), "--climate-since: heating or cooling is not in service"),
        (("--closed-in-since", "no"), "--closed-in-since: the building is not closed in"),
        (("--wet-trades-done", "no"), "--wet-trades-done: the wet trades are not done"),
    ],
)
def test_what_the_planks_are_not_made_for_opens_only_with_a_reason(wallclime: Home, options, said):
    refused = wallclime("job", "open", "den", *WALL, *options)
    assert (refused.code, refused.out, refused.err) == (2, "", f"job den, {said}. {NOT_MADE}\n")
    assert wallclime("job", "open", "den", *WALL, *options, "--reason", " ").code == 2
    assert wallclime.done("job", "list", "--json").json() == []
    opened = wallclime.done("job", "open", "den", *WALL, *GOOD, *options, "--reason", "owner's wish", "--by", "kim")
    evidence = f"{said.partition(': ')[2]} (accepted by kim: owner's wish)"
    assert f"suitability: fail, {evidence}" in opened.err.splitlines()
    assert suitability(wallclime) == ("fail", evidence)
    assert wallclime.log()[-1]["body"]["reason"] == "owner's wish"


def test_everything_that_speaks_against_a_place_is_a_line(wallclime: Home):
    result = wallclime("job", "open", "den", *WALL, "--over-water", "--not-indoors", "--climate-since", "2026-02-01")
    assert (result.code, result.err.splitlines()) == (
        2,
        [
            '--climate-since: 2026-02-01 is still to come. Write "no" while it is not so',
            f"job den, --over-water: it is over a sink or tub. {NOT_MADE}",
            f"job den, --indoors: it is not indoors. {NOT_MADE}",
        ],
    )


def test_today_is_the_day_where_the_job_is(wallclime: Home):
    wallclime.clock.at_ms = 1_768_190_400_000  # 2026-01-12T04:00Z, still the 11th in New York
    late = wallclime("job", "open", "den", *WALL, "--climate-since", "2026-01-12")
    assert late.err == '--climate-since: 2026-01-12 is still to come. Write "no" while it is not so\n'
    wallclime.done("job", "open", "den", *WALL, "--climate-since", "2026-01-11")


def test_what_is_said_later_counts_from_then_on(den: Home):
    opened = den.clock.at_ms
    assert suitability(den) == ("unknown", "nothing was said of the place")
    den.clock.move(2 * HOUR)
    said = den.done("job", "place", "den", *GOOD[:9])
    assert said.err.splitlines() == [
        "entry 4: suitability",
        "suitability: unknown, nobody said since when the building is closed in, when the wet trades were done",
    ]
    den.done("job", "place", "den", *GOOD[9:])
    assert suitability(den) == ("pass", PASSED)
    assert suitability(den, "--at", "2026-01-12T08:00") == ("unknown", "nothing was said of the place")
    assert opened == den.clock.at_ms - 2 * HOUR


def test_what_is_said_at_the_opening_holds_for_all_time(wallclime: Home):
    wallclime.done("job", "open", "den", *WALL, *GOOD)
    wallclime.done("log", "deliver", "den", "--at", "2026-01-05T08:00")
    assert suitability(wallclime, "--at", "2026-01-06T08:00") == ("pass", PASSED)


def test_a_place_can_be_spoken_of_as_of_an_earlier_time(den: Home):
    den.done("job", "place", "den", *GOOD, "--at", "2026-01-10T08:00", "--by", "kim")
    entry = den.log()[-1]
    assert (entry["kind"], entry["at"], entry["who"]) == ("suitability", "2026-01-10T13:00:00Z", "kim")
    assert suitability(den, "--at", "2026-01-11T08:00")[0] == "pass"


def test_an_answer_that_changes_needs_its_reason_and_the_earlier_one_stays_in_the_log(wallclime: Home):
    wallclime.done("job", "open", "den", *WALL, *GOOD)
    refused = wallclime("job", "place", "den", "--climate-since", "no")
    assert refused.err == f"job den, --climate-since: heating or cooling is not in service. {NOT_MADE}\n"
    wallclime.done("job", "place", "den", "--climate-since", "no", "--reason", "boiler is out")
    assert suitability(wallclime) == (
        "fail",
        "heating or cooling is not in service (accepted by robin: boiler is out)",
    )
    wallclime.done("job", "place", "den", "--climate-since", "2026-01-12")
    assert suitability(wallclime)[0] == "pass"
    assert wallclime.kinds()[3:] == ["suitability"] * 3


def test_an_answer_that_is_withdrawn_was_never_given(wallclime: Home):
    wallclime.done("job", "open", "den", *WALL, *GOOD)
    wallclime.done("job", "place", "den", "--over-water", "--reason", "no steam")
    wallclime.done("log", "correct", "den", "5", "--withdraw", "--reason", "the other wall")
    assert suitability(wallclime) == ("pass", PASSED)


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (
            ("den",),
            "job place: nothing is said of the place. Give one or more of --kind, --surface, --vertical, "
            "--over-water, --indoors, --climate-since, --closed-in-since, --wet-trades-done",
        ),
        (("attic", *GOOD), "job attic: there is no job 'attic'. wallclime job list shows the jobs there are"),
        (
            ("den", "--kind", "brick", "--climate-since", "soon"),
            "--kind: 'brick' is not known. Known here: partition, outside, below-grade, masonry\n"
            '--climate-since: \'soon\' is not a date. Write it like "2026-01-05", or "no" while it is not so',
        ),
        (
            ("den", "--indoors", "--at", "2026-01-12T08:00"),
            "job place: 2026-01-12T13:00:00Z is in the future. The log holds what has happened; check the date",
        ),
    ],
)
def test_what_job_place_refuses(den: Home, args, said):
    result = den("job", "place", *args)
    assert (result.code, result.out, result.err) == (2, "", said + "\n")
    assert len(den.log()) == 3


def test_what_is_open_about_the_place_is_written_down_at_a_start_that_is_not_ready(den: Home):
    den.done("log", "install", "den", "--start", "2026-01-12T06:00", "--not-ready", "--reason", "guests")
    (told,) = [one for one in den.log()[-1]["body"]["not_ready"] if one["condition"] == "suitability"]
    assert told == {"condition": "suitability", "verdict": "unknown", "evidence": "nothing was said of the place"}


def test_the_log_reads_what_was_said_of_the_place(wallclime: Home):
    wallclime.done("job", "open", "den", *WALL, "--over-water", "--indoors", "--reason", "no steam")
    shown = wallclime.done("log", "list", "den").out
    assert "over water: yes; indoors: yes; reason: no steam" in " ".join(shown.split())
