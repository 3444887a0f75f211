"""wallclime summary: a month over all walls."""

from __future__ import annotations

from homes import Home


def test_a_month_is_written_and_said_in_a_sentence(record: Home):
    path = record.path.parent / "january.html"
    told = record.done("summary", "--month", "2026-01", "-o", path)
    assert told.err == f"wrote {path}: 1 wall, none left the band, 1 record ended.\n"
    assert "January 2026: 1 wall, none left the band, 1 record ended." in path.read_text(encoding="utf-8")


def test_what_is_no_month_or_no_page_is_refused_and_nothing_is_written(record: Home):
    path = record.path.parent / "none.html"
    refused = record("summary", "--month", "january", "-o", path)
    assert (refused.code, refused.err) == (2, "--month: 'january' is no month. Write it like \"2027-01\"\n")
    refused = record("summary", "--month", "2026-01", "--building", "mill", "-o", path)
    assert (refused.code, refused.err) == (
        2,
        "--building: no wall is in 'mill'. wallclime job list shows the buildings there are\n",
    )
    refused = record("summary", "--month", "2026-01", "-o", path.with_suffix(".txt"))
    assert (refused.code, path.exists()) == (2, False)
