"""What a form brings back: looked over whole, all of it or nothing, each thing once; every fault is named."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
import tiny_pictures as tiny
from desks import T0, furnish, hear, kinds, opening, steady

from monitor.basis.errors import RecordError
from monitor.basis.times import HOUR, rfc3339
from monitor.basis.values import Draft, Kind
from monitor.tell.asked import DELIVERY, FLATNESS, LEVEL, MOISTURE, PLUMB, READING, SITE, Section
from monitor.watch.desk import Desk
from monitor.watch.job import site
from monitor.watch.job.delivery import FACTS
from monitor.watch.job.diary import correct
from monitor.watch.job.jobs import open_job
from monitor.watch.papers.forms import Imported, form_view, import_form
from monitor.watch.papers.pencil import Pencil

NOTE = ("note", "note", {"text": "heater on"})
PHOTO = {"file": "a.jpg", "shows": "", "content": base64.b64encode(tiny.jpeg()).decode()}


@pytest.fixture
def den(desk: Desk) -> Desk:
    """The den, one lot delivered and no sensor."""
    furnish(desk, sensor=None)
    return desk


def last(desk: Desk) -> int:
    """The number of the last entry."""
    return len(kinds(desk))


def item(name: str, section: str, kind: str, body: Any, **more: Any) -> dict[str, Any]:
    return {"item": name, "section": section, "kind": kind, "at": "2026-01-06T08:00:00Z", "body": body, **more}


def saved(desk: Desk, *items: Mapping[str, Any], **other: Any) -> dict[str, Any]:
    """What a form of the den saves."""
    view = form_view(desk, "den")
    return {
        "wallclime_form": 1, "job": "den", "zone": "UTC", "units": "si", "opened": rfc3339(view.opened),
        "made": "2026-01-06T07:00:00Z", "form": "f0", "who": "Robin", "saved": "2026-01-06T09:00:00Z",
        "items": list(items), **other,
    }  # fmt: skip


def bring(desk: Desk, folder: Path, told: Any, *, who: str | None = None) -> Imported:
    path = folder / "FORM.json"
    path.write_text(told if isinstance(told, str) else json.dumps(told), encoding="utf-8")
    return import_form(desk, path, who=who)


def refused(desk: Desk, folder: Path, told: Any) -> list[str]:
    before = kinds(desk)
    with pytest.raises(RecordError) as error:
        bring(desk, folder, told)
    assert kinds(desk) == before
    return str(error.value).splitlines()


# --- what is asked and what is entered


def keys(*sections: Section) -> set[str]:
    return {
        key for section in sections for key in ([section.inside] if section.inside else [f.key for f in section.fields])
    }


def test_the_form_asks_for_what_the_use_cases_take_and_nothing_else():
    assert keys(DELIVERY) == {"lot", "place", "boxes", *FACTS}
    assert keys(SITE, FLATNESS, PLUMB, LEVEL) == {*site._SITE} - {"uncertainty_m"}  # that has a figure of its own
    assert keys(MOISTURE) == {*site._MOISTURE}
    assert keys(READING) == {"air_temperature", "air_humidity", "instrument"}


def test_each_entry_names_the_file_and_its_place_in_it(den: Desk, tmp_path: Path):
    done = bring(den, tmp_path, saved(den, item("a1", *NOTE)))
    form = done.entries[0].body["form"]
    assert (done.job, done.known, form["item"]) == ("den", (), "a1")
    assert form["sha256"] == hashlib.sha256((tmp_path / "FORM.json").read_bytes()).hexdigest()
    assert (done.entries[0].who, done.entries[0].at) == ("Robin", T0 + 32 * HOUR)


def test_somebody_else_can_claim_what_was_filled_in(den: Desk, tmp_path: Path):
    assert bring(den, tmp_path, saved(den, item("a1", *NOTE), who=""), who="kim").entries[0].who == "kim"


def test_lots_without_a_name_are_numbered_one_after_the_other(den: Desk, tmp_path: Path):
    said = ("delivery", "deliver", {"boxes": 2})
    done = bring(den, tmp_path, saved(den, item("a1", *said), item("a2", *said)))
    assert [entry.body["lot"] for entry in done.entries] == ["lot 2", "lot 3"]


def test_a_photo_goes_with_the_entry_it_was_taken_for_whatever_number_that_gets(den: Desk, tmp_path: Path):
    photo, note = item("a2", "photo", "photo", PHOTO, of="a1"), last(den) + 1
    done = bring(den, tmp_path, saved(den, item("a1", *NOTE), photo))
    assert [(entry.number, entry.body.get("entry")) for entry in done.entries] == [(note, None), (note + 1, note)]
    found = den.store.attachment(hashlib.sha256(tiny.jpeg()).hexdigest())
    assert found is not None
    assert found.content == tiny.jpeg()


def test_a_delivery_that_completes_an_acclimation_is_followed_by_its_completion(desk: Desk, tmp_path: Path):
    furnish(desk)
    hear(desk, steady(T0, 200))
    before = last(desk)
    done = bring(desk, tmp_path, saved(desk, item("a1", "delivery", "deliver", {"lot": "B8"})))
    assert kinds(desk)[before:] == ["deliver", "completion", "completion"]
    assert [entry.body.get("form", {}).get("item") for entry in done.entries] == ["a1", None, None]
    assert bring(desk, tmp_path, saved(desk, item("a1", "delivery", "deliver", {"lot": "B8"}))).entries == ()


def test_what_was_withdrawn_does_not_come_back_with_a_later_file(den: Desk, tmp_path: Path):
    bring(den, tmp_path, saved(den, item("a1", *NOTE)))
    note = last(den)
    correct(den, "den", note, withdraw=True, reason="the other wall", who="robin")
    later = bring(den, tmp_path, saved(den, item("a1", *NOTE), item("a2", *NOTE)))
    assert ([entry.number for entry in later.entries], later.known) == ([note + 2], (note,))


def test_a_known_item_that_says_otherwise_is_refused(den: Desk, tmp_path: Path):
    bring(den, tmp_path, saved(den, item("a1", *NOTE)))
    other = item("a1", "note", "note", {"text": "heater off"})
    assert refused(den, tmp_path, saved(den, other, item("a2", *NOTE))) == [
        f"FORM.json (note of 2026-01-06T08:00:00Z): it says otherwise than when it came in as entry {last(den)}. "
        "Correct that entry: wallclime log correct"
    ]


# --- files that are none, or of another job


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "it is no saved form, or not the whole of one. Save the form again and send that file"),
        ('{"wallclime_form": 1, "job', "it is no saved form, or not the whole of one. "
         "Save the form again and send that file"),
        ("[" * 100_000, "it is no saved form, or not the whole of one. Save the form again and send that file"),
        ("[1]", "it is no saved form. Send the file that the form saved"),
        ('{"job": "den"}', "it is no saved form. Send the file that the form saved"),
        ('{"wallclime_form": 2}', "it is of version 2 of the form, this wallclime knows 1. "
         "Make a new form: wallclime form JOB -o FILE.html"),
    ],
    ids=["empty", "cut", "deep", "list", "other", "newer"],
)  # fmt: skip
def test_a_file_that_is_no_saved_form_is_refused(den: Desk, tmp_path: Path, text: str, said: str):
    assert refused(den, tmp_path, text) == [f"FORM.json: {said}"]


def test_every_fault_of_the_head_is_listed(den: Desk, tmp_path: Path):
    told = {**saved(den), "extra": 1, "zone": 5}
    del told["who"]
    another = "Make a new form: wallclime form JOB -o FILE.html"
    assert refused(den, tmp_path, told) == [
        f"FORM.json: who: it is missing. {another}",
        f"FORM.json: extra: there is no such key. {another}",
        f"FORM.json: zone: it is not a text. {another}",
        "FORM.json: items: it has no entries. Fill the form in and save it again",
    ]


@pytest.mark.parametrize("other", [{"opened": "2025-01-01T00:00:00Z"}, {"zone": "Europe/Helsinki"}, {"units": "us"}])
def test_a_form_of_another_job_of_the_same_name_is_refused(den: Desk, tmp_path: Path, other: dict[str, str]):
    told = saved(den, item("a1", *NOTE), **other)
    assert refused(den, tmp_path, told) == [
        f"FORM.json: it was made for another job 'den', opened {told['opened']}. "
        "Make a new form: wallclime form JOB -o FILE.html"
    ]


def test_a_form_of_a_job_that_is_not_there_is_refused(desk: Desk, tmp_path: Path):
    open_job(desk, opening("loft"), who="robin")
    told = {**dict.fromkeys(("zone", "units", "opened", "made", "form", "who", "saved"), ""), "wallclime_form": 1}
    with pytest.raises(RecordError, match=r"^job den: there is no job 'den'"):
        bring(desk, tmp_path, {**told, "job": "den", "items": [1]})


def test_a_form_that_nobody_filled_in_is_refused(den: Desk, tmp_path: Path):
    assert refused(den, tmp_path, saved(den, item("a1", *NOTE), who="")) == [
        "FORM.json: who: '' can't be a name. Use 1 to 120 printable characters without blanks around"
    ]


# --- items that are at fault

ANOTHER = "Make a new form: wallclime form JOB -o FILE.html"


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ("x", f"it has not the keys item, section, kind, at, body. {ANOTHER}"),
        ({**item("a1", *NOTE), "extra": 1}, f"it has not the keys item, section, kind, at, body. {ANOTHER}"),
        (item("a1", "attic", "note", {}), f"there is no section 'attic' of 'note'. {ANOTHER}"),
        (item("a1", "note", "install", {}), f"there is no section 'note' of 'install'. {ANOTHER}"),
    ],
)
def test_an_item_that_is_none_is_refused(den: Desk, tmp_path: Path, told: Any, said: str):
    assert refused(den, tmp_path, saved(den, told)) == [f"FORM.json, entry 1: {said}"]


@pytest.mark.parametrize(
    ("section", "kind", "body", "said"),
    [
        ("note", "note", "x", f"(note): 'x' is no object with keys. {ANOTHER}"),
        ("note", "note", {"words": "x"}, '(note): words: there is no such key. Known here: text'),
        ("note", "note", {"text": "\ud800"}, "(note): text: it is no Unicode text. Write it anew"),
        ("delivery", "deliver", {"unopened": "yes"}, "(delivery): unopened: 'yes' is not yes or no. "
         "Say true or false"),
        ("delivery", "deliver", {"boxes": 1.5}, "(delivery): boxes: 1.5 is not a whole number. "
         "Write a whole number from 1 to 1000000"),
        ("delivery", "deliver", {"lot_numbers": "A1"}, f"(delivery): lot_numbers: 'A1' is not a list. {ANOTHER}"),
        ("delivery", "deliver", {"lot_numbers": ["A1", 2]}, "(delivery): lot_numbers 2: 2 is not a line of text. "
         "Write one line in quotes"),
        ("delivery", "deliver", {"moisture": "6"}, "(delivery): moisture: '6' is not a percentage. "
         "Write it like \"45 %\""),
        ("delivery", "deliver", {"box_temperature": "60"}, "(delivery): box_temperature: '60' is not a temperature. "
         'Write it like "68 degF" or "20 degC"'),
        ("flatness", "site check", {"flatness": [{"points": [["1 m", None]]}]},
         "(flatness): points 1: it is not complete. Give position and deviation"),
        ("flatness", "site check", {"flatness": [{"points": [["1 m", "-"]]}]},
         '(flatness): points 1: \'\' is not a length. Write it like "3/16 in", "16 ft 4 in" or "4.2 m"'),
        ("moisture", "wall moisture", {"points": [{"where": "left", "value": "wet"}]},
         "(moisture of the wall): points 1: value: 'wet' is not a number. "
         "Write a number from -1000000 to 1000000, without quotes"),
        ("photo", "photo", {"file": "a.jpg", "content": "not base64"},
         "(photos): content: it is not base64. Save the form again and send that file"),
        ("photo", "photo", {"file": "a.jpg"}, f"(photos): content: it is missing. {ANOTHER}"),
    ],
)  # fmt: skip
def test_an_answer_that_cannot_be_read_is_named_with_its_place(
    den: Desk, tmp_path: Path, section: str, kind: str, body: Any, said: str
):
    assert refused(den, tmp_path, saved(den, item("a1", section, kind, body))) == [f"FORM.json, entry 1 {said}"]


def test_what_the_use_cases_refuse_is_listed_for_all_items_and_nothing_comes_in(den: Desk, tmp_path: Path):
    told = saved(
        den,
        item("a1", "note", "note", {}),
        item("a2", *NOTE, at="2027-01-06T08:00:00Z"),
        item("a3", *NOTE),
        item("a4", "reading", "reading", {"air_humidity": "145 %"}),
        item("a5", "photo", "photo", {**PHOTO, "content": base64.b64encode(b"GIF89a").decode()}),
        item("a6", "moisture", "wall moisture", {"meter": "pin", "scale": "gypsum", "material": "drywall"}),
    )
    assert refused(den, tmp_path, told) == [
        "FORM.json (note of 2026-01-06T08:00:00Z): log note: the note is empty. Write what happened",
        "FORM.json (note of 2027-01-06T08:00:00Z): log note: 2027-01-06T08:00:00Z is in the future. "
        "The log holds what has happened; check the date",
        "FORM.json (reading of the air of 2026-01-06T08:00:00Z): log reading: 145 % is no air of a room. "
        "Read it again: 0 to 105",
        "FORM.json (photos of 2026-01-06T08:00:00Z): a.jpg: it is no picture of a kind that is taken "
        "(JPEG, PNG, WebP or HEIC). Send the file that the camera wrote, not a link or a preview",
        "FORM.json (moisture of the wall of 2026-01-06T08:00:00Z): wall moisture: points: it is missing. "
        "A reading means nothing without it",
    ]
    assert den.store.attachment(hashlib.sha256(tiny.jpeg()).hexdigest()) is None


def test_two_items_of_one_name_are_refused(den: Desk, tmp_path: Path):
    assert refused(den, tmp_path, saved(den, item("a1", *NOTE), item("a1", *NOTE))) == [
        "FORM.json: items: two entries have one name. Save the form again and send that file"
    ]


def test_a_photo_of_an_entry_that_is_not_in_the_file_is_refused(den: Desk, tmp_path: Path):
    assert refused(den, tmp_path, saved(den, item("a2", "photo", "photo", PHOTO, of="a1"))) == [
        "FORM.json (photos of 2026-01-06T08:00:00Z): what it belongs to is not entered. Mend that first"
    ]


# --- the pencil


def test_what_is_pencilled_in_stands_in_no_log_until_it_is_inked(den: Desk):
    pencil, before = Pencil(den, "den"), kinds(den)
    (entry,) = pencil.desk.store.append("den", [Draft(Kind.NOTE, T0, "robin", {"text": "x"})])
    assert (entry.number, pencil.desk.book.log("den")[-1].body) == (len(before) + 1, {"text": "x"})
    assert kinds(den) == before
    assert [one.number for one in pencil.ink()] == [len(before) + 1]
    assert kinds(den) == [*before, "note"]


def test_a_log_that_grew_meanwhile_takes_no_ink(den: Desk):
    pencil, before = Pencil(den, "den"), last(den)
    pencil.desk.store.append("den", [Draft(Kind.NOTE, T0, "robin", {"text": "x"})])
    den.store.append("den", [Draft(Kind.NOTE, T0, "kim", {"text": "y"})])
    with pytest.raises(RecordError) as error:
        pencil.ink()
    assert str(error.value) == "log of den: the log has grown meanwhile. Do it again"
    assert [entry.who for entry in den.store.entries("den")][before:] == ["kim"]
