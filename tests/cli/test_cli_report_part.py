"""wallclime report --from --to --phase: the report of a part of the record."""

from __future__ import annotations

from pathlib import Path

import pytest
from homes import DELIVERED, Home

from monitor.basis.times import HOUR, rfc3339

AT = ("--at", rfc3339(DELIVERED + 96 * HOUR))


def test_a_report_of_a_span_says_of_which_and_a_time_without_an_offset_is_the_zones(record: Home, tmp_path: Path):
    page = tmp_path / "den.html"
    record.done("report", "den", "-o", page, "--from", "2026-01-06T08:00", "--to", "2026-01-07T08:00-05:00", *AT)
    html = page.read_text(encoding="utf-8").replace("\u00a0", " ").replace("<time>", "").replace("</time>", "")
    assert "den: From 2026-01-06 08:00 to 2026-01-07 08:00 -05:00, the room was in band" in html
    assert "and known all 24 h." in html


def test_a_report_of_a_phase_names_it(record: Home, tmp_path: Path):
    page = tmp_path / "den.html"
    record.done("report", "den", "-o", page, "--phase", "before", *AT)
    assert "before the installation, the room was in band" in page.read_text(encoding="utf-8").replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (("--phase", "later"), "--phase: 'later' is not understood. Use before or during or after\n"),
        (
            ("--phase", "after"),
            "job den: the record has no time after the installation. "
            "Leave out the phase, or enter what is missing: wallclime log install\n",
        ),
        (
            ("--from", "soon"),
            "--from: 'soon' is not a time. Write it like 2026-01-05T06:40 or 2026-01-05T06:40:00+02:00\n",
        ),
    ],
)
def test_a_part_that_can_not_be_is_refused_in_a_line(record: Home, tmp_path: Path, asked, told):
    refused = record("report", "den", "-o", tmp_path / "den.html", *asked, *AT)
    assert (refused.code, refused.err) == (2, told)
    assert list(tmp_path.iterdir()) == []
