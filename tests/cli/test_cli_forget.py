"""wallclime job hold, release and forget."""

from __future__ import annotations

import sqlite3
import sys
from pathlib import Path

import pytest
from homes import Home

SECRET = "the tenant has moved out"


@pytest.fixture
def closed(den: Home) -> Home:
    """A closed job. Entries: 1 job, 2 profile, 3 take-off, 4 note, 5 close."""
    den.done("log", "note", "den", SECRET, "--by", "Ada")
    den.done("job", "close", "den", "--reason", "done")
    return den


def words(err: str) -> list[str]:
    return err.splitlines()


def test_a_job_is_held_and_released(closed):
    assert words(closed.done("job", "hold", "den", "--reason", "dispute").err) == [
        "entry 6: nothing of den is thinned or forgotten until wallclime job release"
    ]
    refused = closed("job", "forget", "den", "--reason", "asked to")
    assert (refused.code, words(refused.err)) == (
        2,
        [
            "job den: it is held since entry 6: dispute. "
            "Release it first: wallclime job release den --reason TEXT"
        ],
    )  # fmt: skip
    assert words(closed.done("job", "release", "den", "--reason", "settled").err) == ["entry 7: den is held no more"]
    closed.done("job", "forget", "den", "--reason", "asked to")


def test_chosen_entries_are_erased_and_the_log_shows_it(closed):
    said = closed.done("job", "forget", "den", "--entries", "4", "--reason", "she asked to", "--by", "Ben").err
    assert words(said) == [
        "entry 6: erased entry 4",
        "stays: the readings, which hold no name and are sealed by sensor and day for every job of the place",
        "stays: the name robin in entries 1 to 3, 5, on which the record rests",
        "mind: copies made before still say it: backups, bundles, reports, what was sent",
    ]
    listed = closed.done("log", "list", "den").out.splitlines()
    at = listed.index("   4  2026-01-12 07:00 -05:00  erased, Ben")
    assert listed[at + 1] == "      see entry 6"
    assert listed[-2:] == ["   6  2026-01-12 07:00 -05:00  forgotten, Ben", "      entry 4 (1 note): she asked to"]
    closed.done("report", "den", "-o", closed.path.parent / "den.html")
    assert SECRET not in (closed.path.parent / "den.html").read_text(encoding="utf-8")
    assert "see entry 6" in (closed.path.parent / "den.html").read_text(encoding="utf-8")


def test_the_other_pages_stand_an_erased_entry(closed):
    closed.done("job", "forget", "den", "--entries", "4", "--reason", "asked to")
    for command in (["status", "den"], ["job", "show", "den"], ["job", "list"], ["care", "due"], ["assess", "den"]):
        closed.done(*command)


def test_a_whole_job_is_erased_and_its_name_is_taken(closed):
    said = closed.done("job", "forget", "den", "--reason", "the contract says so").err
    assert words(said)[0] == "entry 6: erased entries 1 to 5"
    assert words(said)[2] == "stays: the job's name, when its entries were written, and the sensors' log"
    gone = closed("log", "list", "den")
    assert (gone.code, words(gone.err)) == (
        2,
        [
            "job den: it was forgotten 2026-01-12T12:00:00Z: the contract says so. "
            "Nothing but the links of its log is left; wallclime job list shows the jobs there are"
        ],
    )
    assert closed.done("job", "list", "--json").json() == []
    again = closed("job", "open", "den", "--zone", "UTC", "--length", "4 m", "--height", "2 m")
    assert words(again.err) == ["job den: there is a job 'den' already. Choose another name for the new job"]
    assert words(closed.done("job", "forget", "den", "--reason", "once more").err) == [
        "nothing is left to erase; the store was cleaned once more of what was erased before"
    ]


def test_the_bytes_are_gone_from_the_files_of_the_home(closed):
    other = sqlite3.connect(closed.path / "wallclime.db")
    try:
        other.execute("SELECT count(*) FROM entry").fetchone()  # so that the -wal is not removed at the end
        closed.done("job", "forget", "den", "--personal", "--reason", "asked to")
        left = b"".join(path.read_bytes() for path in Path(closed.path).rglob("*") if path.is_file())
    finally:
        other.close()
    assert SECRET.encode() not in left
    assert b"asked to" in left


@pytest.mark.parametrize("numbers", ["", "4,", "four", "4-5", "9" * 5000])
def test_what_are_no_numbers_is_refused(closed, numbers):
    refused = closed("job", "forget", "den", "--entries", numbers, "--reason", "asked to")
    assert (refused.code, refused.err) == (
        2,
        f"--entries: {numbers!r} are no numbers of entries. Write them like 3,5,8\n",
    )


@pytest.mark.parametrize(("answer", "code"), [("n\n", 1), ("y\n", 0)])
def test_a_terminal_is_asked_before_all_of_a_job_goes(closed, monkeypatch, answer, code):
    import io

    typed = io.StringIO(answer)
    typed.isatty = lambda: True
    monkeypatch.setattr(sys, "stdin", typed)
    done = closed("job", "forget", "den", "--reason", "asked to")
    assert done.code == code
    assert done.err.startswith("Erase all that the log of den says? [y/N]:")
    assert ("nothing was erased" in done.err) == (code == 1)
