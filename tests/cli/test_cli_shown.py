"""In which units a job is shown, and what a report is written as."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from homes import Home
from pypdf import PdfReader

US, SI = re.compile(r"degF|°F|\b\d+ ft\b"), re.compile(r"degC|°C|\b\d+(\.\d+)? m\b")


PAGES = (
    ("record", "den"),
    ("summary", "--month", "2026-01"),
    ("dispute", "den", "--span", "2026-01-05T08:00..2026-01-07", "--span", "2026-01-07..2026-01-09"),
)


def units_in(text: str) -> set[str]:
    return {name for name, unit in (("us", US), ("si", SI)) if unit.search(text.replace("\u00a0", " "))}


@pytest.mark.parametrize("command", [("status", "den"), ("assess", "den")])
def test_a_screen_is_in_the_units_of_the_job_or_in_those_asked_for(record: Home, command):
    assert units_in(record(*command).out) == {"us"}
    assert units_in(record(*command, "--units", "us").out) == {"us"}
    assert units_in(record(*command, "--units", "si").out) == {"si"}


def test_whether_it_is_ready_is_the_same_in_any_units(record: Home):
    told = {units: record("ready", "den", "--units", units) for units in ("us", "si")}
    assert {one.code for one in told.values()} == {1}
    assert units_in(told["us"].out) <= {"us"}
    assert units_in(told["si"].out) <= {"si"}


def test_what_a_machine_reads_is_the_same_in_any_units_but_for_the_words_of_evidence(record: Home):
    def figures(*args: str) -> dict:
        found = record.done("assess", "den", "--json", *args).json()
        return {key: value for key, value in found.items() if key != "readiness"}

    assert figures("--units", "si") == figures() == figures("--units", "us")


def test_a_report_is_in_the_units_asked_for_and_on_their_paper(record: Home, tmp_path: Path):
    for units, paper in (("us", (612, 792)), ("si", (595, 842))):
        file = tmp_path / f"{units}.pdf"
        said = record.done("report", "den", "-o", file, "--units", units)
        assert said.err == f"wrote {file}\n"
        first = PdfReader(file).pages[0]
        assert (round(float(first.mediabox.width)), round(float(first.mediabox.height))) == paper
        assert units_in(first.extract_text()) == {units}


def test_other_units_change_nothing_that_is_kept(record: Home):
    log = record.log()
    record("status", "den", "--units", "si")
    assert record.log() == log
    assert units_in(record("status", "den").out) == {"us"}


@pytest.mark.parametrize(
    ("args", "said"),
    [
        (("report", "den", "-o", "den.html", "--units", "ft"), "--units: 'ft' is not understood. Use us or si"),
        (("report", "den", "-o", "den.png"), "den.png: a picture is of one figure. Say which: --figure NAME"),
        (("report", "den", "-o", "air.html", "--figure", "air"),
         "air.html: .html is no picture that can be written. Name a .png file"),
        (("form", "den", "-o", "den.pdf"),
         "den.pdf: no form can be filled in there. Name a .html file, or add --paper"),
    ],
)  # fmt: skip
def test_what_cannot_be_written(record: Home, args, said):
    result = record(*args)
    assert (result.code, result.out, result.err) == (2, "", f"{said}\n")


def test_a_figure_that_a_report_has_not_is_refused_with_those_it_has(record: Home, tmp_path: Path):
    result = record("report", "den", "-o", tmp_path / "wind.png", "--figure", "wind")
    assert result.code == 2
    assert re.fullmatch(r"--figure: the page has no figure 'wind'\. There (is|are): air.*\n", result.err)


def test_the_sheet_of_a_form_is_printed(record: Home, tmp_path: Path):
    record.done("form", "den", "-o", tmp_path / "den.pdf", "--paper")
    assert len(PdfReader(tmp_path / "den.pdf").pages) in (5, 6)


def test_other_pages_too_are_in_the_units_asked_for(record: Home, tmp_path: Path):
    for units in ("us", "si"):
        for args in PAGES:
            record.done(*args, "-o", tmp_path / f"{args[0]}.html", "--units", units)
        texts = [re.sub("<style>.*?</style>", "", page.read_text(), flags=re.DOTALL) for page in tmp_path.iterdir()]
        assert [units_in(text) <= {units} for text in texts] == [True] * len(PAGES)
        assert any(map(units_in, texts))  # a month in which nothing left the band names none


def test_the_plain_locale_gets_plain_signs_in_screens_and_in_json(den: Home):
    den.done("log", "note", "den", "heater on \u2202")
    plain = Home(den.path, environ={"LC_ALL": "C"})
    assert r"heater on \u2202" in plain.done("log", "list", "den").out
    said = plain.done("log", "list", "den", "--json")
    assert said.out.isascii()
    assert said.json()[-1]["body"]["text"] == "heater on \u2202"
    assert "heater on \u2202" in den.done("log", "list", "den").out
