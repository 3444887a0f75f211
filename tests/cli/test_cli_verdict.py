"""wallclime status, ready, assess, report: what the rules found, for people and for machines."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from homes import COLUMNS, DELIVERED, NOON, Home, changed, csv_of, steady

from monitor.basis.times import DAY, HOUR, rfc3339

NO_JOB = "job attic: there is no job 'attic'. wallclime job list shows the jobs there are"
AT = ("--at", rfc3339(DELIVERED + 96 * HOUR))

# The contract that scripts rely on: what `assess --json` has at least. Keys may be added, none may go.
TOP = {"job", "zone", "as_of", "phase", "rules_version", "conflicts", "origin_share"}
COVERAGE = {"elapsed_h", "known_h", "in_band_h"}
CLOCK = {"started_at", "counted_h", "required_h", "completed_at", "projected_at", "restarts", "history"}
EXCURSION = {
    "quantity", "side", "start", "end", "ended_by", "peak", "dose", "phase", "quality", "beyond_uncertainty",
}  # fmt: skip

FAULTS = [
    (("status", "attic"), NO_JOB),
    (("ready", "attic"), NO_JOB),
    (("assess", "attic", "--json"), NO_JOB),
    (("assess", "attic", "--at", "2026-01-06"), NO_JOB),
    (("report", "attic", "-o", "den.html"), NO_JOB),
    (
        ("assess", "den", "--json", "--at", "2026-01-12T12:00:00.001Z"),
        "job den: 2026-01-12T12:00:00.001Z is in the future. An Assessment can be had up to now",
    ),
    (
        ("report", "den", "-o", "den.html", "--at", "2026-01-13"),
        "job den: 2026-01-13T05:00:00Z is in the future. An Assessment can be had up to now",
    ),
    (
        ("assess", "den", "--at", "today"),
        "--at: 'today' is not a time. Write it like 2026-01-05T06:40 or 2026-01-05T06:40:00+02:00",
    ),
    (
        ("report", "den", "-o", "den.html", "--at", "2025-11-02T01:59:59"),
        "--at: 2025-11-02 01:59:59 happened twice in America/New_York, where the clocks were changed. "
        'Give the time with its offset, such as "+01:00"',
    ),
    (("report", "den", "-o", "den.docx"), "den.docx: .docx is no page that can be written. Name a .html or .pdf file"),
    (("report", "den", "-o", "den"), "den: no ending is no page that can be written. Name a .html or .pdf file"),
    (
        ("report", "den", "-o", "/none/den.html"),
        "/none/den.html: it can't be written (No such file or directory). Choose another place with -o FILE.html",
    ),
]


@pytest.mark.parametrize(("args", "said"), FAULTS)
def test_what_is_refused(record: Home, args, said):
    result = record(*args)
    assert (result.code, result.out, result.err) == (2, "", said + "\n")


# --- assess -----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def eventful(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A wall that was installed: damp 2 h on the first day (over 1 h: back to zero), cold during, damp after."""
    home = Home(tmp_path_factory.mktemp("eventful") / "home")
    home.done("job", "open", "den", "--zone", "America/New_York", "--length", "16 ft", "--height", "8 ft")
    home.done("log", "deliver", "den", "--at", rfc3339(DELIVERED))
    hour = DELIVERED + 10 * HOUR
    rows = changed(steady(DELIVERED, 100), hour, hour + 2 * HOUR, lambda row: row._replace(humidity=70.0))
    start, finish = DELIVERED + 70 * HOUR, DELIVERED + 80 * HOUR
    rows = changed(rows, start + HOUR, start + 2 * HOUR, lambda row: row._replace(temperature=10.0))
    rows = changed(rows, finish + HOUR, finish + 2 * HOUR, lambda row: row._replace(humidity=30.0))
    rows = changed(rows, hour + 5 * HOUR, hour + 6 * HOUR, lambda row: None)
    home.done("import", "den", home.file("den.csv", csv_of(rows)), "--sensor", "shelf", *COLUMNS)
    why = ("--not-ready", "--reason", "guests")
    home.done("log", "install", "den", "--start", rfc3339(start), "--finish", rfc3339(finish), *why)
    return home


def test_an_assessment_has_the_keys_that_scripts_rely_on(eventful: Home):
    found = eventful.assess(*AT)
    assert found.keys() >= TOP | {"coverage", "acclimation", "excursions", "readiness"}
    assert found["coverage"].keys() >= COVERAGE | {"before", "during", "after"}
    for phase in ("before", "during", "after"):
        assert found["coverage"][phase].keys() >= COVERAGE
    acclimation = found["acclimation"]
    assert acclimation.keys() >= CLOCK | {"strict", "guarded", "lots"}
    assert "completed_at" in acclimation["strict"]
    assert "completed_at" in acclimation["guarded"]
    assert [restart.keys() >= {"at", "cause"} for restart in acclimation["restarts"]] == [True]
    assert acclimation["history"][0].keys() >= {"started_at", "completed_at", "lapsed_at"}
    assert len(found["excursions"]) == 3
    assert all(excursion.keys() >= EXCURSION for excursion in found["excursions"])
    assert all(condition.keys() == {"condition", "verdict", "evidence"} for condition in found["readiness"])


def test_the_words_of_an_assessment_are_those_of_the_contract(eventful: Home):
    found = eventful.assess(*AT)
    assert {e["quantity"] for e in found["excursions"]} == {"air_temperature", "air_humidity"}
    assert [e["side"] for e in found["excursions"]] == ["high", "low", "low"]
    assert [e["phase"] for e in found["excursions"]] == ["before", "during", "after"]
    assert {e["ended_by"] for e in found["excursions"]} == {"return"}
    assert {e["quality"] for e in found["excursions"]} <= {"good", "suspect"}
    assert [restart["cause"] for restart in found["acclimation"]["restarts"]] == ["out"]
    assert {condition["verdict"] for condition in found["readiness"]} <= {"pass", "fail", "unknown"}
    assert found["origin_share"] == {"file": 1.0}
    assert (found["job"], found["zone"], found["phase"]) == ("den", "America/New_York", "after")
    assert found["as_of"] == rfc3339(DELIVERED + 96 * HOUR)


def test_the_figures_of_an_assessment_are_those_of_the_invented_room(eventful: Home):
    # Delivered hour 0; damp 10-12 h; silent 15-16 h, less 20 min for which the reading of 14:50 still speaks;
    # installed 70-80 h; as of hour 96. Back to zero 60 min into the damp; from 12 h on it counts, less the silence.
    found = eventful.assess(*AT)
    coverage, clock = found["coverage"], found["acclimation"]
    assert (coverage["elapsed_h"], coverage["known_h"]) == (96.0, pytest.approx(96 - 40 / 60))
    assert [coverage[phase]["elapsed_h"] for phase in ("before", "during", "after")] == [70.0, 10.0, 16.0]
    assert clock["restarts"] == [{"at": rfc3339(DELIVERED + 11 * HOUR), "cause": "out"}]
    completed = rfc3339(DELIVERED + 60 * HOUR + 40 * 60_000)
    assert (clock["started_at"], clock["completed_at"]) == (rfc3339(DELIVERED + 12 * HOUR), completed)
    assert (clock["counted_h"], clock["required_h"], clock["projected_at"]) == (48.0, 48.0, None)
    assert clock["strict"]["completed_at"] == rfc3339(DELIVERED + 63 * HOUR + 20 * 60_000 + 40 * 60_000)
    first = found["excursions"][0]
    assert (first["start"], first["end"]) == (rfc3339(DELIVERED + 10 * HOUR), rfc3339(DELIVERED + 12 * HOUR))
    assert (first["peak"], first["dose"]) == (70.0, pytest.approx(5.0 * 2.0))


def test_the_governing_lot_is_repeated_at_the_top(eventful: Home):
    acclimation = eventful.assess()["acclimation"]
    assert {key: value for key, value in acclimation.items() if key != "lots"} == acclimation["lots"][0]


def test_before_there_is_anything_the_keys_are_there_and_say_null(den: Home):
    found = den.assess()
    assert [found["coverage"][phase] for phase in ("before", "during", "after")] == [None, None, None]
    acclimation = found["acclimation"]
    assert [acclimation[key] for key in ("started_at", "completed_at", "projected_at")] == [None, None, None]
    assert (acclimation["counted_h"], acclimation["restarts"], acclimation["history"]) == (0.0, [], [])
    assert (found["excursions"], found["origin_share"]) == ([], {})


def test_a_phase_that_has_not_begun_is_null(eventful: Home):
    coverage = eventful.assess("--at", rfc3339(DELIVERED + 20 * HOUR))["coverage"]
    assert (coverage["before"]["elapsed_h"], coverage["during"], coverage["after"]) == (20.0, None, None)


def test_what_is_still_open_has_no_end(eventful: Home):
    found = eventful.assess("--at", rfc3339(DELIVERED + 11 * HOUR))["excursions"]
    assert [(e["end"], e["ended_by"]) for e in found] == [(None, "open")]


def test_recompute_gives_the_same_to_the_last_digit(eventful: Home):
    for at in (DELIVERED + 30 * HOUR, DELIVERED + 96 * HOUR, NOON):
        when = ("--at", rfc3339(at))
        cached = eventful.done("assess", "den", "--json", *when).out
        assert eventful.done("assess", "den", "--json", "--recompute", *when).out == cached
        assert eventful.done("assess", "den", "--recompute", *when).out == eventful.done("assess", "den", *when).out


def test_an_assessment_for_people_is_the_status_screen_of_that_time(record: Home):
    assert record.done("assess", "den").out == record.done("status", "den").out
    lines = record.done("assess", "den", *AT).out.splitlines()
    assert lines[0] == "den                                                as of 2026-01-09 08:00 -05:00"
    assert "counted    [########################] 48.0 h of 48 h" in lines
    assert max(map(len, lines)) <= 80


def test_a_time_without_an_offset_is_in_the_jobs_zone(record: Home):
    assert record.assess("--at", "2026-01-09 08:00") == record.assess("--at", "2026-01-09T13:00Z")


# --- status and ready -------------------------------------------------------------------------------------------------


def test_a_status_is_one_screen_that_ends_with_one_line_break(record: Home):
    text = record.done("status", "den").out
    assert len(text.splitlines()) <= 32
    assert text.endswith("\n")
    assert not text.endswith("\n\n")


def test_a_status_for_machines_is_the_assessment(record: Home):
    assert record.done("status", "den", "--json").json() == record.assess()
    assert record.done("status", "--json").json() == [record.assess()]


def test_a_status_without_a_job_is_the_list_of_jobs(record: Home):
    assert record.done("status").out == record.done("job", "list").out


def test_an_output_that_cant_show_more_than_ascii_gets_escapes(tmp_path: Path):
    home = Home(tmp_path / "home", encoding="ascii")
    home.done("job", "open", "Büro", "--zone", "UTC", "--length", "4 m", "--height", "2 m")
    assert home.done("status", "Büro").out.startswith("B\\xfcro ")
    assert "B\\xfcro" in home.done("job", "list").out


def test_who_may_not_start_is_told_why_and_exits_1(record: Home):
    result = record("ready", "den")
    assert (result.code, result.err) == (1, "")
    lines = result.out.splitlines()
    assert lines[0] == "NOT READY: den"
    assert "  FAIL     acclimation complete: 0.0 of 48 h counted" in lines
    assert "           > Leave the boxes closed and flat; keep the room in band." in lines
    assert "  PASS     wall size: inside the limits for one unbroken run" in lines


def test_the_reasons_for_machines_are_the_conditions_of_the_assessment(record: Home):
    result = record("ready", "den", "--json")
    assert result.code == 1
    assert result.json() == {"ready": False, "readiness": record.assess()["readiness"]}


def test_a_wall_beyond_the_limits_of_one_run_is_told(wallclime: Home):
    wallclime.done("job", "open", "long", "--zone", "UTC", "--length", "41 ft", "--height", "10 ft 1 in")
    said = (
        "too long and high for one unbroken run; split it with a transition profile at 20 ft 6 in from the left end "
        "and at 5 ft 1/2 in from the floor"
    )
    size = {"condition": "wall size", "verdict": "fail", "evidence": said}
    assert size in wallclime("ready", "long", "--json").json()["readiness"]


# --- report -----------------------------------------------------------------------------------------------------------


def test_a_report_is_one_page_that_says_what_the_assessment_says(record: Home, tmp_path: Path):
    page = tmp_path / "den.HTML"
    result = record.done("report", "den", "--output", page, *AT)
    assert (result.out, result.err) == ("", f"wrote {page}\n")
    html = page.read_text(encoding="utf-8")
    assert html.lower().startswith("<!doctype html>")
    assert "2026-01-09 08:00 -05:00" in html
    assert [path.name for path in tmp_path.iterdir()] == ["den.HTML"]


def test_a_report_shows_readings_by_hand_and_the_whole_log(den: Home, tmp_path: Path):
    den.done("import", "den", den.file("den.csv", csv_of(steady(NOON - DAY, 24))), "--sensor", "shelf", *COLUMNS)
    den.done("log", "reading", "den", "--humidity", "43.21 %", "--at", rfc3339(NOON - HOUR), "--instrument", "old dial")
    den.done("log", "note", "den", "window <left> open")
    page = tmp_path / "den.htm"
    den.done("report", "den", "-o", page)
    html = page.read_text(encoding="utf-8").replace("\xa0", " ")
    assert "<td>43.2 %</td>" in html
    assert "old dial" in html
    assert "window &lt;left&gt; open" in html
    assert "window <left> open" not in html


def test_a_report_that_cant_be_moved_to_its_place_leaves_nothing(record: Home, tmp_path: Path):
    taken = tmp_path / "den.html"
    taken.mkdir()
    result = record("report", "den", "-o", taken)
    said = f"{taken}: it can't be written (Is a directory). Choose another place with -o FILE.html\n"
    assert (result.code, result.err) == (2, said)
    assert list(tmp_path.iterdir()) == [taken]


def test_data_for_machines_is_all_of_stdout(record: Home):
    for command in (("job", "list"), ("sensor", "seen"), ("log", "list", "den"), ("profile", "list"), ("status",)):
        result = record.done(*command, "--json")
        json.loads(result.out)
        assert result.err == ""
