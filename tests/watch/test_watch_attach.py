"""Photos and documents: kept as they came, all or none, each once, and what they say of themselves."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

import pytest
import tiny_pictures as tiny
from desks import NOW, T0, furnish, kinds, opening

from monitor.basis.errors import RecordError
from monitor.basis.times import HOUR
from monitor.basis.values import Entry
from monitor.intake.paper import document_type
from monitor.keep.attachments import Attachment
from monitor.watch.desk import Desk
from monitor.watch.job.attach import (
    MOST_DOCUMENT,
    MOST_PHOTO,
    File,
    MakersDocument,
    Shown,
    document,
    documents_of,
    file_of,
    photos,
)
from monitor.watch.job.diary import correct
from monitor.watch.job.jobs import open_job

JPEG, PDF = tiny.jpeg(), b"%PDF-1.7\ninvented\n%%EOF\n"
TAKEN = T0 + 13 * HOUR + 30 * 60_000 + 15_000  # 2026-01-05T08:30:15-05:00, as in tiny.exif()
TOLD = MakersDocument("Hall planks", "3", "2025-11", {"hours": "72"})


@pytest.fixture
def den(desk: Desk) -> Desk:
    """The den, one lot delivered."""
    furnish(desk, sensor=None)
    return desk


def last(desk: Desk) -> int:
    """The number of the last entry."""
    return len(kinds(desk))


def add(desk: Desk, *contents: bytes, at: int | None = None, entry: int | None = None) -> Sequence[Entry]:
    files = [File(f"{number}.jpg", content) for number, content in enumerate(contents, 1)]
    return photos(desk, "den", files, Shown("the stack", entry), at=at, who="robin")


def refused(call, *args, **named) -> str:
    with pytest.raises(RecordError) as error:
        call(*args, **named)
    return str(error.value)


# --- photos


def test_a_photo_is_kept_byte_for_byte_and_its_entry_names_it(den: Desk):
    (entry,) = add(den, JPEG, entry=1)
    sha256 = hashlib.sha256(JPEG).hexdigest()
    assert entry.body == {
        "file": "1.jpg", "sha256": sha256, "media_type": "image/jpeg", "bytes": len(JPEG), "taken": TAKEN,
        "file_time": None, "shows": "the stack", "entry": 1,
    }  # fmt: skip
    assert den.store.attachment(sha256) == Attachment("image/jpeg", JPEG)


def test_a_photo_speaks_of_the_time_it_was_taken_unless_another_is_given(den: Desk):
    first, second = add(den, JPEG)[0], add(den, tiny.png(), at=T0)[0]
    assert (first.at, second.at, second.body["taken"]) == (TAKEN, T0, TAKEN)


def test_a_photo_without_a_time_or_with_one_to_come_speaks_of_now(den: Desk):
    entries = add(den, tiny.plain_jpeg(), tiny.jpeg(tiny.exif(taken=b"2031:01:05 08:30:15")))
    assert [entry.at for entry in entries] == [NOW, NOW]
    assert entries[1].body["taken"] == TAKEN + (365 * 5 + 1) * 24 * HOUR  # 2028 is a leap year


def test_a_camera_whose_clock_was_never_set_has_no_time(den: Desk):
    assert add(den, tiny.jpeg(tiny.exif(taken=b"1980:01:01 00:00:00")))[0].body["taken"] is None


@pytest.mark.parametrize(
    ("taken", "at"),
    [
        (b"2026:01:05 08:30:15", TAKEN),
        (b"2025:11:02 01:30:00", 1_762_061_400_000),  # happened twice; the first, 05:30Z
        (b"2025:03:09 02:30:00", 1_741_501_800_000),  # never happened; by the offset after it, 06:30Z
    ],
)
def test_without_an_offset_the_time_is_by_the_wall_clock_of_the_jobs_zone(desk: Desk, taken: bytes, at: int):
    open_job(desk, opening("den", zone="America/New_York"), who="robin")
    assert add(desk, tiny.jpeg(tiny.exif(taken=taken, offset=None)))[0].body["taken"] == at


def test_of_several_photos_one_that_is_refused_lets_none_in(den: Desk):
    before = kinds(den)
    said = refused(add, den, JPEG, tiny.plain_jpeg()[:-2])
    assert said.startswith("2.jpg: the picture is damaged or cut short (its end is missing)")
    assert kinds(den) == before
    assert den.store.attachment(hashlib.sha256(JPEG).hexdigest()) is None


def test_the_same_photo_of_the_same_entry_is_taken_once(den: Desk):
    number = add(den, JPEG)[0].number
    assert refused(add, den, JPEG) == f"log of den: entry {number} has 1.jpg already. Nothing needs to be done"
    assert refused(add, den, tiny.png(), tiny.png()) == (
        f"log of den: entry {number + 1} has 2.jpg already. Nothing needs to be done"
    )
    assert [entry.number for entry in add(den, JPEG, entry=1)] == [number + 1]


def test_a_photo_that_was_withdrawn_may_come_again(den: Desk):
    number = add(den, JPEG)[0].number
    correct(den, "den", number, withdraw=True, reason="the other wall", who="robin")
    assert add(den, JPEG)[0].number == number + 2


def test_a_photo_of_an_entry_that_is_not_there_is_refused(den: Desk):
    assert refused(add, den, JPEG, entry=99) == (
        "log of den: there is no entry 99 that it could belong to. See wallclime log list"
    )


def test_a_photo_of_the_largest_size_is_taken_and_a_byte_more_is_not(den: Desk, tmp_path: Path):
    filling = tiny.plain_jpeg(MOST_PHOTO - 100_000)
    for path, length in ((tmp_path / "most.jpg", MOST_PHOTO), (tmp_path / "more.jpg", MOST_PHOTO + 1)):
        path.write_bytes(filling + bytes(length - len(filling)))
    file = file_of(tmp_path / "most.jpg", MOST_PHOTO)
    assert photos(den, "den", [file], Shown(), at=None, who="robin")[0].body["bytes"] == 25_000_000
    said = "it is larger than 25 MB. Save it smaller, or only the part that matters"
    assert refused(file_of, tmp_path / "more.jpg", MOST_PHOTO) == f"{tmp_path}/more.jpg: {said}"
    assert refused(add, den, filling + bytes(MOST_PHOTO)) == f"1.jpg: {said}"


def test_a_file_that_is_not_there_is_named(tmp_path: Path):
    assert refused(file_of, tmp_path / "none.jpg", MOST_PHOTO) == (
        f"{tmp_path}/none.jpg: it can't be read (No such file or directory). Check the path and its rights"
    )


def test_a_novel_about_a_photo_is_refused(den: Desk):
    said = refused(photos, den, "den", [File("a.jpg", JPEG)], Shown("x" * 2001), at=None, who="robin")
    assert said == (
        "log photo --of: what it shows is longer than 2000 characters. Say it shorter, or in a note: wallclime log note"
    )


def test_a_photo_of_the_future_is_refused(den: Desk):
    assert refused(add, den, JPEG, at=NOW + 1).startswith("log photo: 2026-01-17T00:00:00.001Z is in the future")


# --- documents


@pytest.mark.parametrize(
    ("content", "media_type"),
    [
        (PDF, "application/pdf"),
        (b"<!DOCTYPE html>\n<p>Store flat.", "text/html"),
        (b"<HTML><p>Store flat.", "text/html"),
        ("Lagern: flach, 40–60 %.\r\n".encode(), "text/plain"),
        (b"Store at 15 \xb0C or more", "text/plain"),
        (JPEG, "image/jpeg"),
        (tiny.png(), "image/png"),
    ],
)
def test_a_document_is_told_by_its_content(content: bytes, media_type: str):
    assert document_type(content, where="x") == media_type


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (PDF[:-6], "the PDF is cut short. Fetch it again, whole"),
        (b"", "it is empty. Save it as a PDF, or take a photo of the sheet"),
        (b"PK\x03\x04zip", "it is no document of a kind that is taken (PDF, HTML, text, JPEG or PNG). "
         "Save it as a PDF, or take a photo of the sheet"),
        (tiny.png()[:50], "the picture is damaged or cut short (its end is missing). Copy it from the camera again"),
    ],
)  # fmt: skip
def test_a_document_of_another_kind_or_cut_short_is_refused(content: bytes, said: str):
    assert refused(document_type, content, where="hall.pdf") == f"hall.pdf: {said}"


def test_a_document_is_kept_with_its_limits_as_it_states_them(den: Desk):
    entry = document(den, "den", File("hall.pdf", PDF), TOLD, at=T0, who="robin")
    sha256 = hashlib.sha256(PDF).hexdigest()
    assert entry.body == {
        "title": "Hall planks", "revision": "3", "date": "2025-11", "limits": {"hours": "72"}, "file": "hall.pdf",
        "sha256": sha256, "media_type": "application/pdf", "bytes": len(PDF),
    }  # fmt: skip
    assert den.store.attachment(sha256) == Attachment("application/pdf", PDF)
    assert [(one.number, one.limits["hours"].low) for one in documents_of(den, "den")] == [(entry.number, 72.0)]
    assert documents_of(den, "den", at=T0 - 1) == []


def test_a_document_that_was_withdrawn_is_in_force_no_more(den: Desk):
    document(den, "den", File("hall.pdf", PDF), TOLD, at=None, who="robin")
    correct(den, "den", last(den), withdraw=True, reason="another plank's", who="robin")
    assert documents_of(den, "den") == []


def test_the_same_document_with_the_same_limits_is_taken_once(den: Desk):
    number = document(den, "den", File("hall.pdf", PDF), TOLD, at=None, who="robin").number
    said = refused(document, den, "den", File("copy.pdf", PDF), TOLD, at=None, who="robin")
    assert said == f"log of den: entry {number} has copy.pdf already. Nothing needs to be done"
    more = MakersDocument("Hall planks", "3", "2025-11", {"hours": "72", "flatness": "1/8 in"})
    assert document(den, "den", File("hall.pdf", PDF), more, at=None, who="robin").number == number + 1


@pytest.mark.parametrize("date", ["2025", "2025-11", "2025-11-30"])
def test_a_date_is_taken_as_far_as_the_document_has_it(den: Desk, date: str):
    told = MakersDocument("Hall planks", "3", date, {})
    assert document(den, "den", File("hall.pdf", PDF), told, at=None, who="robin").body["date"] == date


def test_every_fault_of_what_is_told_is_listed_and_nothing_is_kept(den: Desk):
    told = MakersDocument("", " 3", "2025-13", {"humidity": "60 %", "colour": "red"})
    said = refused(document, den, "den", File("hall.pdf", PDF), told, at=None, who="robin").splitlines()
    assert said == [
        "--title: '' can't be a name. Use 1 to 120 printable characters without blanks around",
        "--revision: ' 3' can't be a name. Use 1 to 120 printable characters without blanks around",
        "--date: '2025-13' is no date. Write it as the document has it: 2025, 2025-11 or 2025-11-30",
        "--limit humidity: '60 %' is not a band. Write it like \"40 %..60 %\"",
        "--limit colour: there is no figure 'colour'. Use one of humidity, temperature, life_humidity, "
        "life_temperature, hours, flatness, edge_gap, max_length, max_height, stagger",
    ]
    assert den.store.attachment(hashlib.sha256(PDF).hexdigest()) is None


def test_a_document_larger_than_the_most_is_refused(den: Desk):
    large = PDF + bytes(MOST_DOCUMENT)
    said = refused(document, den, "den", File("hall.pdf", large), TOLD, at=None, who="robin")
    assert said == "hall.pdf: it is larger than 50 MB. Save it smaller, or only the part that matters"
