"""wallclime sensor thin."""

from __future__ import annotations

import io
import sys

import pytest
from homes import NOON, Home

from monitor.basis.times import DAY, HOUR, rfc3339

OLD = NOON - 400 * DAY - NOON % DAY


@pytest.fixture
def attic(wallclime: Home) -> Home:
    """A wall finished long ago, and a sensor beside it of which two days of its later life are sealed."""
    rows = [f"{rfc3339(OLD + k * HOUR // 6)},{20 + k % 7 / 10},{50 + k % 5}" for k in range(2 * 144)]
    wallclime.done("job", "open", "den", "--zone", "UTC", "--length", "4 m", "--height", "2.4 m")
    wallclime.done("log", "deliver", "den", "--at", rfc3339(OLD - 100 * DAY))
    span = ("--start", rfc3339(OLD - 90 * DAY), "--finish", rfc3339(OLD - 89 * DAY))
    wallclime.done("log", "install", "den", *span, "--not-ready", "--reason", "an invented hurry")
    file = wallclime.file("attic.csv", "\n".join(["when,temp,rh", *rows, ""]))
    columns = ("--time", "when", "--temperature", "temp", "--humidity", "rh")
    wallclime.done("import", "den", file, "--sensor", "attic", *columns)
    wallclime.done("seal", "now")
    return wallclime


def before() -> str:
    return rfc3339(OLD + 2 * DAY)[:10]


def test_it_is_told_what_went_and_what_stays_and_the_doctor_finds_it_whole(attic):
    done = attic.done("sensor", "thin", "attic", "--before", before(), "--each", "24 h", "--reason", "long over")
    first, *rest = done.err.splitlines()
    assert first.startswith("entry 3 of the sensors' log: 2 days from ")
    assert rest == [
        "stays: the seals of these days; what is left of them rests on that entry, and is judged anew",
        "mind: copies made before still hold all of it: backups, bundles, reports, what was sent",
    ]
    assert "logs, readings and refused things are as they were sealed" in attic("doctor").out
    assert "attic, " in attic.done("sensor", "log").out


def test_what_was_thinned_does_not_come_back_with_its_file(attic):
    attic.done("sensor", "thin", "attic", "--before", before(), "--each", "24 h", "--reason", "long over")
    file = attic.path.parent / "attic.csv"
    file.write_text(file.read_text() + "\n")
    again = attic.done("import", "den", file, "--sensor", "attic", "--time", "when", "--temperature", "temp",
                       "--humidity", "rh")  # fmt: skip
    assert "kept 0 readings" in again.err


def test_a_young_day_is_refused_in_one_line(attic):
    done = attic("sensor", "thin", "attic", "--before", "2026-01-10", "--reason", "x")
    assert (done.code, done.err) == (
        2, "sensor thin: 2026-01-10T00:00:00Z is not long past. Name a day at least 90 days ago\n",
    )  # fmt: skip


def test_on_a_terminal_it_asks_first(attic, monkeypatch):
    typed = io.StringIO("n\n")
    typed.isatty = lambda: True
    monkeypatch.setattr(sys, "stdin", typed)
    done = attic("sensor", "thin", "attic", "--before", before(), "--reason", "x")
    assert (done.code, done.err) == (
        1, f"Erase most readings of attic before {before()}? [y/N]:nothing was erased\n",
    )  # fmt: skip
