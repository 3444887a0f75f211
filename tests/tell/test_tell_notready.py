"""The page for signature where an installation was started although conditions were open."""

from __future__ import annotations

from typing import Any

import invented_den as den
import pytest
from read_page import read_page

from monitor.basis.times import DAY, HOUR, zone_of
from monitor.basis.values import Entry, Kind
from monitor.rules.cautions import CAUTIONS, at_step
from monitor.tell.pages import settling
from monitor.tell.pages.notready import NotReadyPage, plain, render_not_ready
from monitor.tell.words import Display

START = den.DELIVERED + 80 * HOUR
OPEN = [
    {"condition": "site check", "verdict": "unknown", "evidence": "no site check is recorded"},
    {"condition": "acclimation complete", "verdict": "fail", "evidence": "37.5 of 48 h counted"},
]
CONDITIONS = {
    "at": START,
    "room": "out",
    "since": START - HOUR,
    "heard": {"den-1": {"air_temperature": 20.0, "air_humidity": 70.0}},
    "lot": "A",
    "counted_ms": 37 * HOUR + HOUR // 2,
    "required_ms": 48 * HOUR,
    "complete": None,
    "boards": None,
    "open": ["site check", "acclimation complete"],
}
BODY = {
    "finish": None,
    "lots": ["A"],
    "conditions": CONDITIONS,
    "not_ready": OPEN,
    "reason": "the guests come on Sunday",
    "asked_by": "the owner",
}


def entry(later: int = 0, **changes: Any) -> Entry:
    return den.entry(5, Kind.INSTALL, START, {**BODY, **changes}, later=later)


def page(said: Entry | None = None, *, training: bool = False) -> str:
    display = Display(zone_of("America/New_York"), "us")
    return render_not_ready(NotReadyPage(den.FACTS, said or entry(), display, training, "wallclime 0.1.0"))


@pytest.fixture(scope="module")
def read():
    return read_page(page(entry(later=2 * DAY)))


def squeezed(text: str) -> str:
    return " ".join(text.split())


def test_it_says_which_job_was_started_when_and_how_much_was_open(read):
    assert squeezed(read.texts["verdict"]) == (
        "NOT READY north wall of the den: started 2026-01-08 16:40 -05:00 with 2 conditions open."
    )


def test_every_open_condition_stands_with_its_evidence_failures_first(read):
    assert read.tables["open"] == [
        ["verdict", "condition", "evidence", "what would have settled it"],
        ["FAIL", "acclimation complete", "37.5 of 48 h counted", read.tables["open"][1][3]],
        ["UNKNOWN", "site check", "no site check is recorded", read.tables["open"][2][3]],
    ]
    assert all(row[3] for row in read.tables["open"])


def test_what_would_have_settled_it_is_said_without_commands(read):
    assert read.tables["open"][2][3] == "Walk along the wall, answer what is open."
    advice = {text for table in (settling._TO_DO, settling._UNKNOWN, settling._BY_EVIDENCE) for _, text in table}
    assert {plain(text) for text in advice if "wallclime" in text} == {
        "Assign one. Or import a logger's file.",
        "Check it against a better one.",
        "Enter when the boxes came, and how many.",
        "Measure it beside a dry place of it.",
        "Mend it, or say what holds by now.",
        "Mend the wall, then say so.",
        "Say it with the delivery. One that is logged without it is withdrawn first. Or put a sensor in the boxes.",
        "Say what it is like.",
        "Walk along the wall, answer what is open.",
    }
    assert {text for text in advice if "wallclime" not in text} == {plain(text) for text in advice} & advice


def test_the_reason_who_asked_and_who_entered_it_late(read):
    assert squeezed(read.texts["facts"]) == (
        "wall 16 ft x 8 ft stands in den boxes lie in den lots used A reason the guests come on Sunday "
        "asked for by the owner entered 2026-01-10 16:40 -05:00 by R. Example (entered 2 d later)"
    )


def test_what_nobody_said_is_said_to_be_so():
    told = squeezed(read_page(page(entry(asked_by="", lots=[]))).texts["facts"])
    assert "lots used not said" in told
    assert "asked for by not said" in told
    assert told.endswith("entered 2026-01-08 16:40 -05:00 by R. Example")


def test_the_room_and_the_clock_of_that_minute(read):
    assert squeezed(read.texts["record"]) == (
        "room OUT OF BAND since 2026-01-08 15:40 -05:00 heard den-1 68.0 °F, 70.0 % "
        "acclimation 37.5 h of 48 h counted, lot A"
    )


def test_three_people_can_sign_and_signing_settles_nothing(read):
    assert [row[0] for row in read.tables["sign"][1:]] == [
        "who asked for the start",
        "who installs",
        "who owns the home, or speaks for its owner",
    ]
    assert [row[1:] for row in read.tables["sign"][1:]] == [["", "", ""]] * 3
    assert "Signing makes none of them met" in read.body


def test_it_is_bound_to_its_entry(read):
    assert squeezed(read.texts["evidence"]) == f"Entry 5 of the condition log, link {'00' * 32}; wallclime 0.1.0."


def test_the_cautions_of_the_installation_stand_in_full(read):
    for caution in at_step("install"):
        assert CAUTIONS[caution].text in squeezed(read.texts["cautions"])


def test_one_condition_is_one():
    assert "with 1 condition open" in squeezed(read_page(page(entry(not_ready=OPEN[:1]))).texts["verdict"])


def test_a_simulated_room_is_a_training_job_here_too():
    assert "TRAINING JOB" in page(training=True)
    assert "TRAINING JOB" not in page()


def test_names_cant_dress_up_the_page():
    nasty = '<script>document.title="taken"</script>\u202e'
    told = page(entry(reason=nasty, asked_by=nasty)._replace(chain=nasty, who=nasty))
    assert "<script>" not in told
    assert "\u202e" not in told
