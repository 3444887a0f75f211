"""wallclime record, board and dispute: pages to hand over."""

from __future__ import annotations

from homes import Home


def test_a_record_is_written_and_what_to_send_is_said(den: Home):
    path = den.path.parent / "record.html"
    told = den.done("record", "den", "-o", path).err.splitlines()
    assert told[0] == f"wrote {path}"
    assert told[1].startswith("sealed: head 1, code ")
    assert told[2] == "send this to client and contractor, and write down who confirms it (wallclime log witness):"
    assert "Record of conditions before installation" in path.read_text(encoding="utf-8")


def test_a_record_of_no_job_or_into_no_page_is_refused(den: Home):
    refused = den("record", "attic", "-o", "x.html")
    assert (refused.code, refused.err) == (
        2,
        "job attic: there is no job 'attic'. wallclime job list shows the jobs there are\n",
    )
    refused = den("record", "den", "-o", "x.txt")
    assert (refused.code, refused.err) == (
        2,
        "x.txt: .txt is no page that can be written. Name a .html or .pdf file\n",
    )


def test_a_board_says_what_it_wrote(den: Home):
    folder = den.path.parent / "board"
    assert den.done("board", "-o", folder).err == (
        f"wrote {folder / 'index.html'}: 1 wall; 1 report written, 0 left as they were\n"
    )
    assert den.done("board", "-o", folder).err == (
        f"wrote {folder / 'index.html'}: 1 wall; 0 reports written, 1 left as it was\n"
    )
    assert den.done("board", "-o", folder, "--full").err == (
        f"wrote {folder / 'index.html'}: 1 wall; 1 report written, 0 left as they were\n"
    )


def test_a_board_over_nothing_is_a_page_that_says_so(wallclime: Home):
    folder = wallclime.path.parent / "board"
    wallclime.done("board", "-o", folder)
    assert "No wall yet." in (folder / "index.html").read_text(encoding="utf-8")


def test_two_spans_are_written_side_by_side(record: Home):
    path = record.path.parent / "dispute.html"
    spans = ("--span", "2026-01-05T08:00..2026-01-07", "--span", "2026-01-07..2026-01-09")
    told = record.done("dispute", "den", *spans, "--name", "one", "--name", "two", "-o", path)
    assert told.err == f"wrote {path}\n"
    assert "den: one, and two." in path.read_text(encoding="utf-8")


def test_one_span_alone_is_refused(record: Home):
    refused = record("dispute", "den", "--span", "2026-01-05..2026-01-07", "-o", "x.html")
    assert refused.code == 2
    assert refused.err.startswith("--span: there are 1 spans, not two.")


def test_pages_are_shown_in_the_units_that_are_asked_for(record: Home):
    folder, path = record.path.parent / "si", record.path.parent / "si.html"
    record.done("board", "-o", folder, "--units", "si")
    assert "temperature 21.0 °C to 21.6 °C" in (folder / "index.html").read_text(encoding="utf-8").replace(
        "\u00a0", " "
    )
    assert "1 report written" in record.done("board", "-o", folder).err
    spans = ("--span", "2026-01-05T08:00..2026-01-07", "--span", "2026-01-07..2026-01-09")
    record.done("dispute", "den", *spans, "--units", "si", "-o", path)
    assert "Measured from 21.0 °C to 21.6 °C" in path.read_text(encoding="utf-8").replace("\u00a0", " ")
