"""wallclime log care, inspect, event, cause; wallclime care due; wallclime handover; wallclime log correct --set."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from homes import COLUMNS, DELIVERED, NOON, OPEN_DEN, Home, changed, csv_of, steady

from monitor.basis.times import DAY, HOUR
from monitor.tell.cautions import cautions_text

START, FINISH = ("--start", "2026-01-09T08:00"), ("--finish", "2026-01-09T18:00")
WHY = ("--reason", "measured again")
NO_JOB = "job attic: there is no job 'attic'. wallclime job list shows the jobs there are"
TIMES = "Write it like 2026-01-05T06:40 or 2026-01-05T06:40:00+02:00"


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with a wall "den" finished on 2026-01-09, humid from 14:00 to 17:00 on 6 January; to be copied."""
    home = Home(tmp_path_factory.mktemp("finished") / "home")
    home.done(*OPEN_DEN)
    home.done("log", "deliver", "den", "--at", "2026-01-05T08:00", "--lot", "B7", "--boxes", 12)
    rows = steady(DELIVERED, 100)
    humid = changed(rows, DELIVERED + 30 * HOUR, DELIVERED + 33 * HOUR, lambda row: row._replace(humidity=71.0))
    home.done("import", "den", home.file("den.csv", csv_of(humid)), "--sensor", "shelf", *COLUMNS)
    gaps = ("--gap", "left 3/16 in", "--gap", "right 1/4 in", "--stagger-kept", "8 in", "--rejected", 2)
    home.done(
        "log", "install", "den", *START, *FINISH, "--not-ready", "--reason", "guests", *gaps,
        "--departure", "no underlay", "--lot-area", "B7=left half",
    )  # fmt: skip
    return home.path


@pytest.fixture
def wall(wallclime: Home, finished: Path) -> Home:
    """The command, with the finished wall."""
    shutil.copytree(finished, wallclime.path)
    return wallclime


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory, finished: Path) -> Iterator[Home]:
    """The same, to be looked at and not to be changed."""
    home = Home(tmp_path_factory.mktemp("standing") / "home")
    shutil.copytree(finished, home.path)
    before = home.log()
    yield home
    assert home.log() == before


def last(home: Home) -> dict[str, Any]:
    return home.log()[-1]


def install_entry(home: Home) -> dict[str, Any]:
    return next(entry for entry in home.log() if entry["kind"] == "install")


def told(home: Home) -> str:
    """The last entry of the diary, in one line."""
    text = home.done("log", "list", "den").out
    return " ".join(text[text.rindex(f"{last(home)['kind']}, ") :].split())


# --- entries ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("args", "said", "diary"),
    [
        (("care", "den", "dust"), "care, dust", "care, robin dusted"),
        (("care", "den", "wipe", "--text", "kitchen side"), "care, wipe", "care, robin wiped; kitchen side"),
        (("care", "den", "look"), "care, look", "care, robin looked over"),
        (
            ("event", "den", "works-next-door", "plastering", "--from", "2026-01-06T10:00", "--to", "2026-01-06T18:00"),
            "event, works-next-door",
            "event, robin [entered 5 d later] works next door, until 2026-01-06 18:00 -05:00; plastering",
        ),
        (
            ("event", "den", "other", "painted", "--at", "2026-01-06T10:00", "--to", "2026-01-06T18:00"),
            "event, other",
            "event, robin [entered 5 d later] other, until 2026-01-06 18:00 -05:00; painted",
        ),
        (
            ("cause", "den", "--episode", 1, "--cause", "wet plaster", "--remedy", "door shut"),
            "cause of the episode 2026-01-06 14:00 to 17:00 -05:00",
            "cause, robin [entered 5 d later] out of band until 2026-01-06 17:00 -05:00; cause: wet plaster; "
            "remedy: door shut",
        ),
        (
            ("cause", "den", "--at", "2026-01-06T15:00", "--cause", "wet plaster"),
            "cause of the episode 2026-01-06 14:00 to 17:00 -05:00",
            "cause, robin [entered 5 d later] out of band until 2026-01-06 17:00 -05:00; cause: wet plaster",
        ),
    ],
)
def test_an_entry_is_confirmed_and_reads_like_a_diary(wall: Home, args, said, diary):
    done = wall.done("log", *args)
    assert (done.out, done.err) == ("", f"entry {last(wall)['number']}: {said}\n")
    assert told(wall).endswith(diary)


def test_a_tenant_change_is_over_at_once(wall: Home):
    done = wall.done("log", "event", "den", "tenant-change", "Wim moves in")
    assert done.err == f"entry {last(wall)['number']}: event, tenant-change\n"


def test_a_repair_says_what_was_done_and_what_can_hurt(wall: Home):
    done = wall.done("log", "care", "den", "repair", "--text", "one plank")
    assert done.err.splitlines()[0].endswith(": care, repair")
    assert done.err.splitlines()[1].startswith("mind: ")
    assert done.err.splitlines()[-1] == "in full: wallclime cautions care"
    assert told(wall).endswith("care, robin repaired; one plank")


def test_an_event_without_an_end_says_how_to_add_it(wall: Home):
    done = wall.done("log", "event", "den", "leak", "a hose")
    number = last(wall)["number"]
    assert done.err.splitlines() == [
        f"entry {number}: event, leak",
        *cautions_text("leak").splitlines(),
        f"once it is over: wallclime log correct den {number} --set until=TIME --reason TEXT",
    ]
    wall.clock.move(HOUR)
    wall.done("log", "correct", "den", number, "--set", "until=2026-01-12T12:30Z", "--reason", "over")
    assert last(wall)["body"]["instead"] == {"until": NOON + HOUR // 2}


def test_heating_that_is_out_cautions_of_pipes_and_heaters(wall: Home):
    done = wall.done("log", "event", "den", "heating-out", "boiler failed")
    assert done.err.splitlines()[1:-1] == cautions_text("heating-out").splitlines()


@pytest.mark.parametrize("what", ["works-next-door", "tenant-change", "other"])
def test_an_event_that_hurts_nobody_cautions_of_nothing(wall: Home, what):
    assert "mind: " not in wall.done("log", "event", "den", what, "as told").err


def test_joints_are_held_against_the_last_inspection(wall: Home):
    first = wall.done("log", "inspect", "den", "--joint", "A3=0.5 mm", "--joint", "B1=0 mm", "--at", "2026-01-10")
    number = last(wall)["number"]
    # 0.5 mm / 25.4 = 0.0197 in
    assert first.err.splitlines() == [
        f"entry {number}: inspection",
        "A3: 0.020 in, measured for the first time",
        "B1: 0.000 in, measured for the first time",
        *cautions_text("inspect").splitlines(),
    ]
    again = wall.done("log", "inspect", "den", "--joint", "A3=0.7 mm", "--joint", "B1=0 mm", "--text", "sound")
    # 0.7 mm is 0.0276 in, 0.2 mm is 0.0079 in
    assert again.err.splitlines()[1:3] == [
        "A3: 0.028 in, 0.008 in wider than on 2026-01-10",
        "B1: 0.000 in, as on 2026-01-10",
    ]
    assert told(wall).endswith("inspection, robin joints A3 0.028 in, B1 0.000 in; sound")
    assert last(wall)["body"]["joints_m"] == {"A3": pytest.approx(0.0007), "B1": 0.0}


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("care", "attic", "dust"), NO_JOB),
        (("care", "den", "dust", "--at", "then"), f"--at: 'then' is not a time. {TIMES}"),
        (("inspect", "den", "--joint", "A3"), "--joint: 'A3' is no pair. Write it like \"A3=0.5 mm\""),
        (
            ("inspect", "den", "--joint", "A3=1 mm", "--joint", "A3=2 mm"),
            "--joint: 'A3' is told twice. Tell each once",
        ),
        (
            ("inspect", "den", "--joint", "A3=wide"),
            '--joint A3: \'wide\' is not a length. Write it like "3/16 in", "16 ft 4 in" or "4.2 m"',
        ),
        (("event", "den", "leak", "x", "--from", "then"), f"--from: 'then' is not a time. {TIMES}"),
        (("event", "den", "leak", "x", "--to", "then"), f"--to: 'then' is not a time. {TIMES}"),
        (("cause", "den", "--cause", "x"), "log cause: it is not clear of what. Give --episode NUMBER or --at TIME"),
        (
            ("cause", "den", "--cause", "x", "--episode", "2"),
            "job den: there is no episode 2. Episodes are 1: 2026-01-06T19:00:00Z to 2026-01-06T22:00:00Z",
        ),
    ],
)
def test_what_a_log_of_the_walls_life_refuses(standing: Home, args, said):
    result = standing("log", *args)
    assert (result.code, result.out, result.err) == (2, "", said + "\n")


# --- what is due ------------------------------------------------------------------------------------------------------


def test_what_is_due_comes_overdue_first_with_when_it_was_done_last(wall: Home):
    wall.done("log", "care", "den", "dust", "--at", "2026-01-12")
    wall.clock.at_ms = NOON + 100 * DAY  # 2026-04-22; the finish was 2026-01-09
    assert wall.done("care", "due").out.splitlines() == [
        "OVERDUE  den: dust by 2026-01-26, 86 days ago (last: 2026-01-12)",
        "OVERDUE  den: wipe by 2026-04-09, 13 days ago (last: never)",
        "due      den: inspection, first summer by 2026-06-10 (last: never)",
    ]


def test_walls_that_nobody_cared_for_are_named_even_when_nothing_is_due(wall: Home):
    assert wall.done("care", "due", "--within", "1 h").out.splitlines() == [
        "Nothing is due.",
        "",
        "Never cared for since the finish: den.",
    ]
    assert wall.done("care", "due").out.splitlines()[0] == "coming   den: dust by 2026-01-23 (last: never)"


def test_without_a_finished_wall_there_is_nothing_to_care_for(den: Home):
    said = "No wall is finished and open: there is nothing to care for.\n"
    assert den.done("care", "due").out == said
    assert den.done("care", "due", "--json").json() == {
        "as_of": "2026-01-12T12:00:00Z",
        "due": [],
        "never_cared_for": [],
    }


def test_what_is_due_for_machines(wall: Home):
    wall.clock.at_ms = NOON + 30 * DAY
    found = wall.done("care", "due", "--within", "30 d", "--json").json()
    # finish 2026-01-09T23:00Z: dust 14 days later; wipe and the inspection lie further ahead than 30 days
    assert found == {
        "as_of": "2026-02-11T12:00:00Z",
        "due": [
            {
                "job": "den",
                "what": "dust",
                "opens": "2026-01-23T23:00:00Z",
                "due": "2026-01-23T23:00:00Z",
                "overdue": True,
                "last": None,
            }
        ],
        "never_cared_for": ["den"],
    }


def test_a_name_that_an_old_terminal_cant_show_is_spelled_out(wall: Home):
    wall.done("job", "open", "länge", *OPEN_DEN[3:])
    wall.done("log", "install", "länge", *START, *FINISH, "--not-ready", "--reason", "x")
    wall.encoding = "ascii"
    assert "l\\xe4nge: dust by 2026-01-23" in wall.done("care", "due").out


def test_how_far_to_look_ahead_is_a_duration(standing: Home):
    result = standing("care", "due", "--within", "soon")
    assert (result.code, result.err) == (
        2,
        '--within: \'soon\' is not a duration. Write it like "30 min", "48 h" or "7 d"\n',
    )


# --- the sheet --------------------------------------------------------------------------------------------------------


def test_the_sheet_is_written_where_it_is_asked_for(standing: Home):
    sheet = standing.path.parent / "sheet.html"
    assert standing.done("handover", "den", "-o", sheet).err == f"wrote {sheet}\n"
    assert "For the people who live with this wall" in sheet.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("attic", "-o", "sheet.html"), NO_JOB),
        (("den", "-o", "sheet"), "sheet: no ending is no page that can be written. Name a .html or .pdf file"),
    ],
)
def test_what_handover_refuses(standing: Home, args, said):
    result = standing("handover", *args)
    assert (result.code, result.err) == (2, said + "\n")


def test_a_wall_that_is_not_finished_has_no_sheet(den: Home):
    assert den("handover", "den", "-o", "sheet.html").err == (
        "job den: the wall is not finished by the log. "
        "Enter it first: wallclime log install den --start TIME --finish TIME\n"
    )


# --- setting right ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("settings", "instead"),
    [
        (("gaps_m.left=1/4 in",), {"gaps_m": {"left": pytest.approx(0.00635), "right": pytest.approx(0.00635)}}),
        (
            ("gaps_m.left=5 mm", "gaps_m.right=6 mm"),
            {"gaps_m": {"left": pytest.approx(0.005), "right": pytest.approx(0.006)}},
        ),
        (("stagger_kept_m=20 cm",), {"stagger_kept_m": pytest.approx(0.2)}),
        (("rejected_planks=3",), {"rejected_planks": 3}),
        (("departures=no underlay; a short end",), {"departures": ["no underlay", "a short end"]}),
        (("lot_areas.B7=right half",), {"lot_areas": {"B7": "right half"}}),
        (("finish=2026-01-09T17:00",), {"finish": DELIVERED + 105 * HOUR}),
        (("reason=guests on Sunday",), {"reason": "guests on Sunday"}),
    ],
)
def test_a_value_is_set_right_in_its_kind(wall: Home, settings, instead):
    number = install_entry(wall)["number"]
    done = wall.done("log", "correct", "den", number, *(part for one in settings for part in ("--set", one)), *WHY)
    assert [line.partition(":")[0] for line in done.err.splitlines()[:2]] == ["before", "after"]
    assert last(wall)["corrects"] == number
    assert last(wall)["body"] == {"reason": "measured again", "instead": instead}
    assert install_entry(wall)["number"] == number  # both stay


def test_a_hand_reading_is_set_right_in_its_unit(wall: Home):
    wall.done("log", "reading", "den", "--temperature", "68 degF", "--humidity", "45 %")
    number = last(wall)["number"]
    wall.done("log", "correct", "den", number, "--set", "values.air_temperature=70 degF", *WHY)
    assert last(wall)["body"]["instead"] == {
        "values": {"air_temperature": pytest.approx(190 / 9), "air_humidity": 45.0}
    }
    assert told(wall).endswith("instead: values air_temperature 70.0 degF, air_humidity 45.0 %")


@pytest.mark.parametrize(
    ("setting", "said"),
    [
        ("gaps_m=5 mm", "--set: gaps_m of entry {n} is no one value. Set gaps_m.left, gaps_m.right"),
        ("gaps_m.top=5 mm", "--set: gaps_m.top of entry {n} is no one value. Set gaps_m.left, gaps_m.right"),
        ("reason.why=x", "--set: reason.why of entry {n} is no one value. Set reason"),
        (
            "gaps_m.left=wide",
            '--set gaps_m.left: \'wide\' is not a length. Write it like "3/16 in", "16 ft 4 in" or "4.2 m"',
        ),
        ("gaps_m.left=1 m", "--gap: the gap left of 1 m can't be. Measure again: 0 to 0.1 m"),
        ("rejected_planks=two", "--set rejected_planks: 'two' is no whole number. Write it like 12"),
        ("finish=noon", f"--set finish: 'noon' is not a time. {TIMES}"),
        (
            "conditions.room=in",
            "--set: conditions of entry {n} was told by nobody. "
            "Correct what the record rests on, or withdraw the entry and write it anew",
        ),
        (
            "not_ready=none",
            "--set: not_ready of entry {n} was told by nobody. "
            "Correct what the record rests on, or withdraw the entry and write it anew",
        ),
        ("colour=oak", "--set: entry {n} (install) has no colour. See wallclime log list den --json"),
    ],
)
def test_what_cant_be_set_is_said_in_one_line(standing: Home, setting, said):
    number = install_entry(standing)["number"]
    result = standing("log", "correct", "den", number, "--set", setting, *WHY)
    assert (result.code, result.out, result.err) == (2, "", said.format(n=number) + "\n")
