"""The life of a wall in words: joints, entries, what is due."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest

from monitor.basis.times import DAY, HOUR
from monitor.basis.values import Entry, Kind
from monitor.rules.install.care import Item
from monitor.rules.install.inspection import Joint
from monitor.tell.care import conditions, due_text, gap, joint, sentence
from monitor.tell.diary import body
from monitor.tell.words import Display

T0 = 1_767_571_200_000  # 2026-01-05T00:00Z [ms]
SI, US = Display(ZoneInfo("UTC"), "si"), Display(ZoneInfo("America/New_York"), "us")


def entry(kind: Kind, **said: Any) -> Entry:
    return Entry("den", 7, kind, T0, T0, "robin", said, None, b"", b"")


def test_a_joint_is_finer_than_sixteenths_of_an_inch():
    assert (gap(0.0005, "si"), gap(0.0, "si")) == ("0.50 mm", "0.00 mm")
    assert gap(0.0254 / 32, "us") == "0.031 in"  # 1/32 = 0.03125


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (Joint("A3", 0.0005), "A3: 0.50 mm, measured for the first time"),
        (Joint("A3", 0.0007, 0.0005, T0), "A3: 0.70 mm, 0.20 mm wider than on 2026-01-05"),
        (Joint("A3", 0.0004, 0.0005, T0), "A3: 0.40 mm, 0.10 mm narrower than on 2026-01-05"),
        (Joint("A3", 0.000504, 0.0005, T0), "A3: 0.50 mm, as on 2026-01-05"),
        (Joint("A\u202e3", 0.0), "A\\u202e3: 0.00 mm, measured for the first time"),
    ],
)
def test_how_a_joint_has_moved(found: Joint, said: str):
    assert joint(found, SI) == said


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (entry(Kind.CARE, did="dust", text=""), "dusted"),
        (entry(Kind.CARE, did="repair", text="one\u202eplank"), "repaired; one\\u202eplank"),
        (entry(Kind.INSPECTION, joints_m={"A3": 0.0005, "B1": 0.0}, text=""), "joints A3 0.50 mm, B1 0.00 mm"),
        (entry(Kind.INSPECTION, joints_m={}, text="all sound"), "looked at; all sound"),
        (entry(Kind.EVENT, what="tenant-change", text="a family", until=None), "tenant change; a family"),
        (
            entry(Kind.EVENT, what="heating-out", text="pump", until=T0 + HOUR),
            "heating out, until 2026-01-05 01:00 +00:00; pump",
        ),
        (
            entry(Kind.CAUSE, cause="wet plaster", remedy="door shut", until=T0 + HOUR),
            "out of band until 2026-01-05 01:00 +00:00; cause: wet plaster; remedy: door shut",
        ),
        (entry(Kind.CAUSE, cause="wet plaster", remedy="", until=None), "still out of band; cause: wet plaster"),
        (  # a cause may be a whole sentence
            entry(Kind.CAUSE, cause="the humidifier had run dry", remedy="", until=None),
            "still out of band; cause: the humidifier had run dry",
        ),
    ],
)
def test_an_entry_of_the_walls_life_is_a_sentence(one: Entry, said: str):
    assert sentence(one, SI) == said
    assert body(one, SI) == said


def test_an_entry_of_another_kind_has_no_sentence_of_its_own():
    note = entry(Kind.NOTE, text="heater on")
    assert sentence(note, SI) == ""
    assert body(note, SI) == "text: heater on"


SAID = {
    "at": T0,
    "room": "in",
    "since": T0 - HOUR,
    "heard": {"den_1": {"air_temperature": 20.0, "air_humidity": 50.0}},
    "lot": "B7",
    "counted_ms": 47 * HOUR + 59 * 60_000,
    "required_ms": 48 * HOUR,
    "complete": None,
    "boards": {"condition": "box core", "verdict": "unknown", "evidence": "nobody measured it"},
    "open": ["box core"],
}


def test_the_conditions_at_the_start_are_told_with_their_minute_in_the_jobs_units():
    assert conditions(SAID, US) == (
        "2026-01-04 19:00 -05:00, room in band since 2026-01-04 18:00 -05:00, heard den_1 68.0 degF, 50.0 %, "
        "acclimation 47.9 h of 48 h counted, lot B7, box core unknown: nobody measured it"
    )
    silent = {**SAID, "room": "unknown", "since": None, "heard": {}, "boards": None}
    assert conditions(silent, SI) == (
        "2026-01-05 00:00 +00:00, room not known, heard nothing, acclimation 47.9 h of 48 h counted, lot B7"
    )


def test_what_was_done_reads_with_its_units_and_names_as_they_were_written():
    done = entry(
        Kind.INSTALL, finish=None, lots=["B_7"], gaps_m={"left": 0.005, "top": 0.0}, stagger_kept_m=0.2,
        rejected_planks=0, lot_areas={"B_7_m": "left half"}, conditions=SAID,
    )  # fmt: skip
    assert body(done, SI) == (
        "lots: B_7; gaps: left 5.0 mm, top 0.0 mm; stagger kept: 200.0 mm; rejected planks: 0; "
        f"lot areas: B_7_m left half; conditions: {conditions(SAID, SI)}"
    )


def test_figures_of_a_reading_have_their_unit_and_its_uncertainty_is_a_difference():
    reading = entry(
        Kind.READING,
        values={"air_temperature": 20.0, "air_humidity": 45.0},
        uncertainty={"air_temperature": 0.5, "air_humidity": 2.0},
    )
    # 20 degC is 68 degF; a difference of 0.5 K is 0.9 degF, without the 32
    assert body(reading, US) == (
        "values: air_temperature 68.0 degF, air_humidity 45.0 %; "
        "uncertainty: air_temperature 0.9 degF, air_humidity 2.0 %RH"
    )


def test_a_line_of_what_is_due_is_no_longer_than_a_screen_and_a_day_is_one_day():
    name = "the north wall of the long room under the roof of the annexe behind the mill"
    text = due_text(T0 + DAY, [(name, Item("dust", T0, T0))], [name], {name: "UTC"})
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "1 day ago" in " ".join(text.split())


def test_days_overdue_are_counted_by_the_calendar_as_the_two_dates_read():
    # what was due at 20:00 is overdue at 06:00 two dates later, after 34 h
    due, now = T0 + 20 * HOUR, T0 + 54 * HOUR
    assert due_text(now, [("den", Item("dust", due, due))], [], {"den": "UTC"}).endswith("2 days ago (last: never)\n")
    later = due_text(due + HOUR, [("den", Item("dust", due, due))], [], {"den": "UTC"})
    assert later.endswith("earlier today (last: never)\n")
