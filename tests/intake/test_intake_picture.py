"""Pictures: told by their content, whole or refused, and handed over without their place and with their pixels."""

from __future__ import annotations

import struct
from contextlib import suppress
from datetime import datetime, timedelta, timezone

import pytest
import tiny_pictures as tiny
from hypothesis import given
from hypothesis import strategies as st

from monitor.basis.errors import RecordError
from monitor.intake.handover import handed_over
from monitor.intake.picture import Picture, exif_fields, jpeg_parts, picture_of, png_parts, webp_parts

TAKEN = datetime(2026, 1, 5, 8, 30, 15, tzinfo=timezone(-timedelta(hours=5)))
WHOLE = {"image/jpeg": tiny.jpeg(), "image/png": tiny.png(), "image/webp": tiny.webp(), "image/heic": tiny.heic()}
STRIPPED = ("image/jpeg", "image/png", "image/webp")


def refused(raw: bytes) -> str:
    with pytest.raises(RecordError) as error:
        picture_of(raw, where="hall.jpg")
    return str(error.value)


# --- what it is


@pytest.mark.parametrize("kind", WHOLE)
def test_a_picture_is_told_by_its_content_with_the_time_it_was_taken(kind: str):
    assert picture_of(WHOLE[kind], where="x") == Picture(kind, TAKEN, 6)


def test_without_an_offset_the_time_is_the_cameras_own_clock():
    found = picture_of(tiny.jpeg(tiny.exif(offset=None)), where="x")
    assert found.taken == datetime(2026, 1, 5, 8, 30, 15)
    assert found.taken.tzinfo is None


@pytest.mark.parametrize("taken", [None, b"0000:00:00 00:00:00", b"    :  :     :  :  ", b"2026:13:05 08:30:15"])
def test_a_time_that_is_none_is_none(taken: bytes | None):
    assert picture_of(tiny.jpeg(tiny.exif(taken=taken)), where="x").taken is None


@pytest.mark.parametrize("offset", [b"", b"   :  ", b"+99:00", b"+01:75", b"Z"])
def test_an_offset_that_is_none_leaves_the_time(offset: bytes):
    assert picture_of(tiny.jpeg(tiny.exif(offset=offset)), where="x").taken == datetime(2026, 1, 5, 8, 30, 15)


def test_exif_in_either_byte_order_is_read():
    # CIPA DC-008 4.5.2: II for little endian; one field, orientation 6
    little = b"II*\0" + struct.pack("<IHHHII", 8, 1, 0x0112, 3, 1, 6) + bytes(4)
    assert exif_fields(little) == {0x0112: 6}


@pytest.mark.parametrize("tiff", [b"", b"MM\0*", b"MM\0*\xff\xff\xff\xff", tiny.exif()[:60], b"\0" * 40])
def test_a_broken_exif_is_no_broken_picture(tiff: bytes):
    assert picture_of(tiny.jpeg(tiff), where="x") == Picture("image/jpeg", None, None)


def test_a_bare_picture_says_nothing_of_its_time():
    assert picture_of(tiny.plain_jpeg(), where="x") == Picture("image/jpeg", None, None)


# --- what is refused


@pytest.mark.parametrize(
    "raw", [b"GIF89a", b"%PDF-1.7\n", b"<!DOCTYPE html>", b"RIFF\0\0\0\0WAVE", tiny.heic(brands=b"avif")]
)
def test_what_is_no_picture_is_refused(raw: bytes):
    assert refused(raw) == (
        "hall.jpg: it is no picture of a kind that is taken (JPEG, PNG, WebP or HEIC). "
        "Send the file that the camera wrote, not a link or a preview"
    )


def test_an_empty_file_is_refused():
    assert refused(b"") == "hall.jpg: it is empty. Send the file that the camera wrote, not a link or a preview"


@pytest.mark.parametrize(
    ("raw", "why"),
    [
        (tiny.plain_jpeg()[:-2], "its end is missing"),
        (tiny.plain_jpeg()[:60], "its end is missing"),
        (tiny.plain_jpeg()[:-2] + b"\xff", "its end is missing"),
        (b"\xff\xd8\xff\xd9", "no image data"),
        (b"\xff\xd8" + tiny.JFIF + b"??", "no marker at byte 20"),
        (tiny.png()[: tiny.png().index(b"IEND")], "its end is missing"),
        (tiny.png()[: tiny.png().index(b"IEND") - 6], "chunk at byte "),
        (tiny.png().replace(b"Location", b"location"), "chunk at byte "),
        (tiny.PNG_WITHOUT_PIXELS, "no IDAT"),
        (tiny.webp()[:-1], "its end is missing"),
        (tiny.webp(image=b""), "no image data"),
        (tiny.webp(image=b"VP8 \xff\xff\0\0"), "chunk at byte 30"),
        (tiny.heic()[:-1], "box at byte 36"),
        (tiny.heic()[:36], "no mdat"),
    ],
)
def test_a_damaged_or_cut_picture_is_refused_and_why(raw: bytes, why: str):
    said = refused(raw)
    assert said.startswith(f"hall.jpg: the picture is damaged or cut short ({why}")
    assert said.endswith("). Copy it from the camera again")


@pytest.mark.parametrize("kind", WHOLE)
def test_a_picture_cut_anywhere_is_refused(kind: str):
    raw = WHOLE[kind]
    whole = raw.index(b"\xff\xd9\0\0\0\x20ftypmp42") + 2 if kind == "image/jpeg" else len(raw)
    whole = raw.index(b"IEND") + 8 if kind == "image/png" else whole
    for length in range(whole):
        with pytest.raises(RecordError):
            picture_of(raw[:length], where="x")


@given(st.binary(max_size=200), st.sampled_from([raw[:12] for raw in WHOLE.values()] + [tiny.heic()[:20]]))
def test_whatever_bytes_come_the_answer_is_a_picture_or_a_refusal(raw: bytes, head: bytes):
    with suppress(RecordError):
        assert isinstance(picture_of(head + raw, where="x"), Picture)


@given(st.binary(max_size=300))
def test_whatever_stands_in_an_exif_it_is_read_or_left(raw: bytes):
    assert isinstance(exif_fields(b"MM\0*\0\0\0\x08" + raw), dict)


# --- what is handed over


@pytest.mark.parametrize("kind", STRIPPED)
def test_what_is_handed_over_has_no_trace_of_the_place(kind: str):
    given_out = handed_over(WHOLE[kind])
    assert [trace for trace in tiny.TRACES if trace not in WHOLE[kind]] in ([], [b"thumbnail"])
    assert [trace for trace in tiny.TRACES if trace in given_out] == []
    assert 0x8825 not in exif_fields(given_out[given_out.index(b"MM\0*") :])


@pytest.mark.parametrize("kind", STRIPPED)
def test_it_is_still_a_whole_picture_that_says_when_and_which_way_up(kind: str):
    assert picture_of(handed_over(WHOLE[kind]), where="x") == Picture(kind, TAKEN, 6)


@pytest.mark.parametrize("kind", STRIPPED)
def test_what_was_handed_over_is_handed_over_unchanged(kind: str):
    once = handed_over(WHOLE[kind])
    assert handed_over(once) == once


def test_the_pixels_of_a_jpeg_and_what_colours_them_are_the_same_bytes():
    given_out = handed_over(tiny.jpeg())
    assert given_out.endswith(tiny.JFIF + tiny.ICC + tiny.PIXELS + b"\xff\xd9")
    assert given_out[:4] == b"\xff\xd8\xff\xe1"


def test_every_scan_of_a_progressive_jpeg_stays_with_its_restarts_and_stuffing():
    scans = tiny.FRAME + tiny.TABLES + tiny.SCAN + b"\xff\x00\xff\xd0\x12\xff\xd7" + tiny.TABLES + tiny.SCAN
    assert handed_over(tiny.jpeg(pixels=scans)).endswith(scans + b"\xff\xd9")


def test_the_chunks_of_a_png_that_show_it_are_the_same_bytes():
    parts = [part.whole for part in png_parts(handed_over(tiny.png()))]
    assert [parts[0], *parts[2:4]] == [tiny.IHDR, tiny.GAMMA, tiny.IDAT]
    assert [part.name for part in png_parts(handed_over(tiny.png()))] == [b"IHDR", b"eXIf", b"gAMA", b"IDAT", b"IEND"]


def test_the_pixels_of_a_webp_are_the_same_bytes_and_its_flags_tell_what_is_left():
    parts = list(webp_parts(handed_over(tiny.webp())))
    assert [part.name for part in parts] == [b"VP8X", b"VP8 ", b"EXIF"]
    assert parts[1].whole == tiny.VP8
    assert parts[0].body[0] == 0x08
    (head, _) = webp_parts(handed_over(tiny.webp(b"")))
    assert head.body[0] == 0


def test_a_picture_without_a_time_gets_no_exif():
    assert [part.name[0] for part in jpeg_parts(handed_over(tiny.plain_jpeg(9)))] == [
        0xD8, 0xE0, 0xDB, 0xC0, 0xC4, 0xC4, 0xDA, 0xD9,
    ]  # fmt: skip


@pytest.mark.parametrize("raw", [tiny.heic(), tiny.webp(image=tiny.riff(b"ANMF", bytes(24)))])
def test_what_cannot_be_freed_of_its_place_safely_is_not_handed_over(raw: bytes):
    assert handed_over(raw) is None


def test_what_is_no_picture_is_not_handed_over_either():
    with pytest.raises(RecordError) as error:
        handed_over(b"GIF89a")
    assert str(error.value).startswith("picture: it is no picture of a kind that is taken")
