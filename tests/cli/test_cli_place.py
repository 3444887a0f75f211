"""wallclime sensor assign: what is said of a place, asked on a terminal, minded, and shown in the report."""

from __future__ import annotations

import hashlib
import io
import sys

import pytest
from homes import Home

from monitor.basis.values import Kind
from monitor.watch.desk import open_desk

HERE = ("sensor", "assign", "loft", "--job", "den")


class Terminal(io.StringIO):
    """A stdin at which somebody sits."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def loft(den: Home) -> Home:
    """The den, and a sensor that is nowhere yet."""
    den.done("sensor", "add", "loft", "--topic", "site/loft/climate")
    return den


def stays(home: Home) -> list[dict]:
    """The bodies of the assignments."""
    with open_desk(home.path, environ={}, clock=home.clock) as desk:
        return [dict(entry.body) for entry in desk.book.entries("") if entry.kind is Kind.ASSIGNMENT]


def test_what_was_said_of_a_place_is_kept_minded_and_in_the_report(loft: Home):
    photo = loft.file("loft.jpg", "not really a picture")
    near = ("--height", "7 ft", "--to-heater", "20 in", "--to-boxes", "3 ft", "--in-sun", "--near", "the door")
    said = loft.done(*HERE, *near, "--photo", photo)
    assert said.err.splitlines() == [
        "loft is at 'den' from 2026-01-12T12:00:00Z",
        "mind: it hangs 7 ft above the floor, not at the height of the stack (7 7/8 in to 4 ft 11 1/16 in) "
        "(common practice)",
        "mind: a heater is 1 ft 8 in away, nearer than 3 ft 3 3/8 in (common practice)",
        "mind: the sun reaches it (common practice)",
        "not said: the distance to the nearest air vent; the distance to the nearest window; "
        "the distance to the nearest outside wall",
    ]
    (body,) = stays(loft)
    assert body["placement"] == {
        "height": pytest.approx(84 * 0.0254),
        "to_boxes": pytest.approx(36 * 0.0254),
        "to_heater": pytest.approx(20 * 0.0254),
        "in_sun": True,
        "photo": "loft.jpg",
    }
    assert body["photo_sha256"] == hashlib.sha256(b"not really a picture").hexdigest()
    assert body["near"] == "the door"
    loft.done("report", "den", "-o", loft.path / "den.html")
    page = (loft.path / "den.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "height 7 ft; to boxes 3 ft; to heater 1 ft 8 in; in the sun; photo loft.jpg" in page
    assert "MIND: the sun reaches it" in page


def test_a_place_with_nothing_against_it_that_is_wholly_said_is_passed_in_silence(loft: Home):
    clear = [f"--{name}={length}" for name, length in (
        ("height", "1 m"), ("to-boxes", "1 m"), ("to-heater", "2 m"), ("to-vent", "2 m"), ("to-window", "2 m"),
        ("to-outside-wall", "2 m"),
    )]  # fmt: skip
    said = loft.done(*HERE, *clear, "--no-sun", "--photo", loft.file("a.jpg", ""))
    assert said.err == "loft is at 'den' from 2026-01-12T12:00:00Z\n"


def test_without_a_terminal_nothing_is_asked(loft: Home):
    loft.done(*HERE)
    assert "placement" not in stays(loft)[0]


def test_a_terminal_is_asked_for_what_was_not_said_and_an_empty_answer_skips(loft: Home, monkeypatch):
    monkeypatch.setattr(sys, "stdin", Terminal("high\n3 ft\n\n\n\n5 m\nn\n"))
    said = loft.done(*HERE, "--to-boxes", "1 m")
    assert stays(loft)[0]["placement"] == {
        "to_boxes": 1.0,
        "height": pytest.approx(0.9144),
        "to_outside_wall": 5.0,
        "in_sun": False,
    }
    assert "Its height above the floor: 'high' is not a length." in said.err
    assert said.out.strip() == ""  # a prompt leaves blanks there, for the sake of line editing


def test_a_photo_that_is_not_there_is_named(loft: Home):
    result = loft(*HERE, "--photo", "/nowhere/loft.jpg")
    assert (result.code, result.err) == (
        2,
        "/nowhere/loft.jpg: it can't be read (No such file or directory). Name a file\n",
    )
    assert stays(loft) == []
