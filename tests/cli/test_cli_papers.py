"""wallclime log photo and log document, as somebody at a terminal meets them."""

from __future__ import annotations

from pathlib import Path

import pytest
import tiny_pictures as tiny
from homes import Home

PDF = b"%PDF-1.7\ninvented\n%%EOF\n"
MESSENGERS = "mind: messengers and some mail programs strip a picture's own data and shrink it; send the file itself"


@pytest.fixture
def files(den: Home) -> Path:
    """A folder with photos and a document."""
    folder = den.path.parent
    for name, content in (("hall.jpg", tiny.jpeg()), ("bare.jpg", tiny.plain_jpeg()), ("hall.heic", tiny.heic())):
        (folder / name).write_bytes(content)
    (folder / "hall.pdf").write_bytes(PDF)
    return folder


def test_photos_are_told_with_their_own_time_as_a_claim_and_what_messengers_do(den: Home, files: Path):
    before = len(den.log())
    said = den.done("log", "photo", "den", files / "hall.jpg", files / "bare.jpg", "--of", "the stack", "--entry", 1)
    assert said.out == ""
    assert said.err.splitlines() == [
        f"entry {before + 1}: photo, hall.jpg (image/jpeg, 0.6 kB); taken 2026-01-05 08:30 -05:00 "
        "by the camera's own clock, which is its claim",
        f"entry {before + 2}: photo, bare.jpg (image/jpeg, 0.2 kB); it says nothing of when it was taken",
        MESSENGERS,
    ]
    assert [entry["body"]["shows"] for entry in den.log()[before:]] == ["the stack", "the stack"]


def test_a_heic_is_kept_and_not_promised_to_anybody(den: Home, files: Path):
    number = len(den.log()) + 1
    assert den.done("log", "photo", "den", files / "hall.heic").err.splitlines()[1:] == [
        f"mind: entry {number}: kept, but left out of what is handed over: HEIC can't be freed of place data safely; "
        "add a JPEG too",
        MESSENGERS,
    ]


def test_a_time_that_is_given_is_in_the_jobs_zone(den: Home, files: Path):
    den.done("log", "photo", "den", files / "hall.jpg", "--at", "2026-01-06T07:00", "--by", "kim")
    assert {key: den.log()[-1][key] for key in ("at", "who", "kind")} == {
        "at": "2026-01-06T12:00:00Z", "who": "kim", "kind": "photo",
    }  # fmt: skip


def test_a_file_that_is_no_picture_is_one_line_and_exit_2(den: Home, files: Path):
    result = den("log", "photo", "den", files / "hall.pdf")
    assert (result.code, result.err) == (
        2,
        "hall.pdf: it is no picture of a kind that is taken (JPEG, PNG, WebP or HEIC). "
        "Send the file that the camera wrote, not a link or a preview\n",
    )


DOCUMENT = ("--title", "Hall planks", "--revision", "3", "--date", "2025-11")


def test_a_makers_document_is_laid_beside_the_profile(den: Home, files: Path):
    limits = ("--limit", "humidity=40 %..60 %", "--limit", "edge-gap = 3/16 in", "--limit", "hours=24")
    number = len(den.log()) + 1
    assert den.done("log", "document", "den", files / "hall.pdf", *DOCUMENT, *limits).err.splitlines() == [
        f"entry {number}: document, Hall planks, revision 3, 2025-11 (application/pdf)",
        "humidity until the wall is finished: the maker 40 to 60 %RH, the profile 35 to 65 %RH; looser: the profile",
        "hours of acclimation: the maker at least 24 h, the profile at least 48 h; looser: the maker",
        "gap at adjoining walls: the maker at least 3/16 in, the profile at least 3/16 in; looser: neither",
        "mind: The maker asks for 40 to 60 %RH until the wall is finished; "
        "this profile allows 35 to 65 %RH, which is looser.",
    ]


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        (["humidity"], "--limit: 'humidity' limits nothing. Write it like \"humidity=40 %..60 %\""),
        (["hours="], "--limit: 'hours=' limits nothing. Write it like \"humidity=40 %..60 %\""),
        (["edge-gap=1 in", "edge_gap=2 in"], "--limit: 'edge_gap' is given twice. Give each figure once"),
    ],
)
def test_a_limit_that_is_not_understood_is_refused(den: Home, files: Path, limits: list[str], said: str):
    options = [word for limit in limits for word in ("--limit", limit)]
    result = den("log", "document", "den", files / "hall.pdf", *DOCUMENT, *options)
    assert (result.code, result.err) == (2, f"{said}\n")


def test_the_diary_reads_what_photos_and_documents_say(den: Home, files: Path):
    den.done("log", "photo", "den", files / "hall.jpg", "--of", "the stack")
    den.done("log", "document", "den", files / "hall.pdf", *DOCUMENT, "--limit", "hours=72")
    told = " ".join(den.done("log", "list", "den").out.split())
    assert "bytes: 634; taken: 2026-01-05 08:30 -05:00; shows: the stack" in told
    assert "title: Hall planks; revision: 3; date: 2025-11; limits: hours 72; file: hall.pdf" in told
