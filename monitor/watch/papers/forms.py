"""The form for a phone and the paper sheet, and what a filled-in form brings back.

A file of a form is looked over whole and lets all its entries in or none. Each entry it makes names the file by its
SHA-256 and its own place in it, so that a file, or a later file of the same form, adds nothing twice.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, NamedTuple, cast
from zoneinfo import ZoneInfo

from monitor.basis import units
from monitor.basis.errors import Fault, RecordError, ReportError, WallclimeError
from monitor.basis.times import parse_time, rfc3339, zone_of
from monitor.basis.units import System
from monitor.basis.values import Entry, Kind, Quantity
from monitor.config import tables
from monitor.tell.asked import FORM_VERSION, PHOTO, SECTIONS, Field, Section
from monitor.tell.pages.form import FormView, render_form
from monitor.tell.pages.sheet import render_sheet
from monitor.watch.desk import Desk
from monitor.watch.job.attach import File, Shown, file_of, photos
from monitor.watch.job.delivery import deliver
from monitor.watch.job.diary import hand_reading, note
from monitor.watch.job.jobs import checked_name
from monitor.watch.job.site import site_check, wall_moisture
from monitor.watch.judging import note_completions
from monitor.watch.papers.pencil import Pencil
from monitor.watch.papers.printing import page_file, write_page

MOST_FORM = 150_000_000  # a dozen photos of a phone, in base64; figure ours [bytes]
_HEAD = ("wallclime_form", "job", "zone", "units", "opened", "made", "form", "who", "saved", "items")
_ITEM = ("item", "section", "kind", "at", "body")
_KINDS = {section.name: section for section in (*SECTIONS, PHOTO)}
_ANOTHER = "Make a new form: wallclime form JOB -o FILE.html"


class Imported(NamedTuple):
    """What a form brought: the entries that are new, and the numbers of those that the log had of it before."""

    job: str
    entries: tuple[Entry, ...]
    known: tuple[int, ...]


# --- out ---------------------------------------------------------------------------------------------


def form_view(desk: Desk, job: str) -> FormView:
    """What a form of a job is made from. Raises RecordError."""
    found, now = desk.book.job(job), desk.clock.now()
    profile = desk.book.profile_at(job, now)
    return FormView(
        job=job,
        zone=found.zone,
        units=cast(System, found.units),
        opened=found.opened,
        made=now,
        boxes_place=found.boxes_place,
        length=found.length,
        height=found.height,
        points_apart=profile.site.points_apart,
    )


def write_form(desk: Desk, job: str, path: Path, *, paper: bool) -> None:
    """Write the form as one HTML file, or the paper sheet as HTML or PDF. Raises RecordError, ReportError."""
    if path.suffix.lower() == ".pdf" and not paper:
        raise ReportError("no form can be filled in there", where=str(path), mend="Name a .html file, or add --paper")
    page_file(path)
    view = form_view(desk, job)
    write_page(path, render_sheet(view) if paper else render_form(view), view.units)


# --- what each thing that is asked reads as -------------------------------------------------------------


def _text(value: Any, where: str) -> str:
    return tables.line(value, where).strip()


def _prose(value: Any, where: str) -> str:
    text = tables.prose(value, where)
    if text != text.encode("utf-8", "ignore").decode():
        raise tables.fault("it is no Unicode text", where, "Write it anew")
    return text


def _listed(value: Any, where: str) -> list[Any]:
    if not isinstance(value, list):
        raise tables.fault(f"{value!r} is not a list", where, _ANOTHER)
    return value


def _yes_no(value: Any, where: str) -> bool:
    if not isinstance(value, bool):
        raise tables.fault(f"{value!r} is not yes or no", where, "Say true or false")
    return value


def _length(value: Any, where: str) -> float:
    """A length with its unit, as typed; below zero with a sign before it. [m]"""
    text = _text(value, where)
    return -units.parse_length(text[1:], where=where) if text[0] == "-" else units.parse_length(text, where=where)


def _lines(value: Any, where: str) -> list[str]:
    return [_text(one, f"{where} {number}") for number, one in enumerate(_listed(value, where), 1)]


_PLAIN: Mapping[str, tables.Reader] = {
    "line": _text,
    "text": _prose,
    "list": _lines,
    "yes_no": _yes_no,
    "length": _length,
    "temperature": lambda value, where: units.parse_temperature(_text(value, where), where=where),
    "percent": lambda value, where: units.parse_percent(_text(value, where), where=where),
    "number": tables.number(-1_000_000, 1_000_000),
    "count": tables.whole(1, 1_000_000),
}


def _reader(field: Field) -> tables.Reader:
    if field.ask == "choice":
        return tables.one_of(*field.choices)
    if field.ask == "rows":
        return _rows(field.parts)
    return _pairs(field.parts) if field.ask == "pairs" else _PLAIN[field.ask]


def _rows(parts: Iterable[Field]) -> tables.Reader:
    readers = {part.key: _reader(part) for part in parts}

    def read(value: Any, where: str) -> list[dict[str, Any]]:
        return [_read(row, readers, f"{where} {number}") for number, row in enumerate(_listed(value, where), 1)]

    return read


def _pairs(parts: tuple[Field, ...]) -> tables.Reader:
    readers = [(part.label, _reader(part)) for part in parts]

    def read(value: Any, where: str) -> list[list[Any]]:
        found = []
        for number, row in enumerate(_listed(value, where), 1):
            spot = f"{where} {number}"
            if not isinstance(row, list) or len(row) != len(readers) or None in row:
                names = " and ".join(label for label, _ in readers)
                raise tables.fault("it is not complete", spot, f"Give {names}")
            found.append([reader(cell, spot) for cell, (_, reader) in zip(row, readers, strict=True)])
        return found

    return read


def _read(body: Any, readers: Mapping[str, tables.Reader], where: str) -> dict[str, Any]:
    """What stands in an object, every fault of it at once. Raises WallclimeError."""
    if not isinstance(body, dict):
        raise tables.fault(f"{str(body)[:40]!r} is no object with keys", where, _ANOTHER)
    figures, faults = tables.read(body, readers, where)
    if faults:
        raise WallclimeError.of(faults)
    return {key: figure.value for key, figure in figures.items()}


def _body(section: Section, body: Any, where: str) -> dict[str, Any]:
    """The body of an item as the use case takes it."""
    readers = {field.key: _reader(field) for field in section.fields}
    if not section.inside:
        return _read(body, readers, where)
    inside = _read(body, {section.inside: _listed}, where).get(section.inside, [])
    return {section.inside: [_read(one, readers, where) for one in inside]}


# --- in ----------------------------------------------------------------------------------------------


class _Item(NamedTuple):
    """One item of a form, checked: what makes one entry."""

    id: str
    said: str  # begin of the SHA-256 of the item, by which a later file of the same form is known to say the same
    section: Section
    at: int
    body: Mapping[str, Any]
    of: str | None

    def spot(self, where: str) -> str:
        """How a fault names it."""
        return f"{where} ({self.section.title.lower()} of {rfc3339(self.at)})"


Enter = Callable[[Desk, str, _Item, int | None, str], Entry]


def _deliver(desk: Desk, job: str, item: _Item, _of: int | None, who: str) -> Entry:
    facts = dict(item.body)
    lot, place, boxes = (facts.pop(key, None) for key in ("lot", "place", "boxes"))
    return deliver(desk, job, at=item.at, lot=lot, place=place, boxes=boxes, facts=facts, who=who)


def _hand_reading(desk: Desk, job: str, item: _Item, _of: int | None, who: str) -> Entry:
    values = {Quantity(key): value for key, value in item.body.items() if key != "instrument"}
    return hand_reading(desk, job, values, at=item.at, instrument=item.body.get("instrument", ""), who=who)


def _photo(desk: Desk, job: str, item: _Item, of: int | None, who: str) -> Entry:
    body = item.body
    file = File(body["file"], body["content"], body.get("file_time"))
    return photos(desk, job, [file], Shown(body.get("shows", ""), of), at=item.at, who=who)[0]


_ENTER: Mapping[Kind, Enter] = {
    Kind.DELIVER: _deliver,
    Kind.SITE_CHECK: lambda desk, job, item, _, who: site_check(desk, job, item.body, at=item.at, who=who),
    Kind.WALL_MOISTURE: lambda desk, job, item, _, who: wall_moisture(desk, job, item.body, at=item.at, who=who),
    Kind.READING: _hand_reading,
    Kind.NOTE: lambda desk, job, item, _, who: note(desk, job, item.body.get("text", ""), at=item.at, who=who),
    Kind.PHOTO: _photo,
}


def import_form(desk: Desk, path: Path, *, who: str | None) -> Imported:
    """Enter what a form brings, all of it or nothing; `who` claims it, by default who filled it in.

    Raises RecordError with every fault of the file.
    """
    content = file_of(path, MOST_FORM).content
    sha256 = hashlib.sha256(content).hexdigest()
    told = _told(content, path.name)
    job = _job(desk, told, path.name)
    known = {entry.body["form"]["item"]: entry for entry in desk.book.log(job) if "form" in entry.body}
    same = [entry.number for entry in known.values() if entry.body["form"]["sha256"] == sha256]
    if same:
        return Imported(job, (), tuple(same))
    claimed = checked_name(told["who"] if who is None else who, f"{path.name}: who")
    items, faults = _items(told["items"], path.name, zone_of(desk.book.job(job).zone))
    pencil = Pencil(desk, job)
    faults += _changed(items, known, path.name)
    new = [item for item in items if item.id not in known]
    numbers = {item: entry.number for item, entry in known.items()}
    faults += [fault for item in new for fault in _enter(pencil, job, item, numbers, sha256, claimed, path.name)]
    if faults:
        raise RecordError.of(faults)
    entries = pencil.ink()
    if any(entry.kind is Kind.DELIVER for entry in entries):
        note_completions(desk, job)
    return Imported(job, tuple(entries), tuple(known[item.id].number for item in items if item.id in known))


def _changed(items: Iterable[_Item], known: Mapping[str, Entry], where: str) -> list[Fault]:
    """Items that came in before and say otherwise now."""
    mend = "Correct that entry: wallclime log correct"
    return [
        Fault(f"it says otherwise than when it came in as entry {known[item.id].number}", item.spot(where), mend)
        for item in items
        if item.id in known and known[item.id].body["form"]["said"] != item.said
    ]


def _enter(
    pencil: Pencil, job: str, item: _Item, numbers: dict[str, int], sha256: str, who: str, where: str
) -> tuple[Fault, ...]:
    """Pencil an item in and note its number; the faults where that can't be."""
    spot = item.spot(where)
    if item.of is not None and item.of not in numbers:
        return (Fault("what it belongs to is not entered", spot, "Mend that first"),)
    pencil.mark = {"form": {"sha256": sha256, "item": item.id, "said": item.said}}
    of = None if item.of is None else numbers[item.of]
    try:
        numbers[item.id] = _ENTER[item.section.kind](pencil.desk, job, item, of, who).number
    except WallclimeError as exc:
        return tuple(Fault(fault.what, f"{spot}: {fault.where}", fault.mend) for fault in exc.faults)
    return ()


def _told(content: bytes, where: str) -> dict[str, Any]:
    """The file as JSON with the keys of a form. Raises RecordError."""
    try:
        told = json.loads(content)
    except (ValueError, RecursionError) as exc:
        raise RecordError(
            "it is no saved form, or not the whole of one", where=where, mend="Save the form again and send that file"
        ) from exc
    if not isinstance(told, dict) or "wallclime_form" not in told:
        raise RecordError("it is no saved form", where=where, mend="Send the file that the form saved")
    if told["wallclime_form"] != FORM_VERSION:
        what = f"it is of version {told['wallclime_form']!r} of the form, this wallclime knows {FORM_VERSION}"
        raise RecordError(what, where=where, mend=_ANOTHER)
    faults = [Fault("it is missing", f"{where}: {key}", _ANOTHER) for key in _HEAD if key not in told]
    faults += [Fault("there is no such key", f"{where}: {key}", _ANOTHER) for key in told if key not in _HEAD]
    texts = [key for key in _HEAD[1:-1] if key in told and not isinstance(told[key], str)]
    faults += [Fault("it is not a text", f"{where}: {key}", _ANOTHER) for key in texts]
    if not isinstance(told.get("items"), list) or not told["items"]:
        faults.append(Fault("it has no entries", f"{where}: items", "Fill the form in and save it again"))
    if faults:
        raise RecordError.of(faults)
    return told


def _job(desk: Desk, told: Mapping[str, Any], where: str) -> str:
    """The job that a form is of. Raises RecordError where it is another of the same name."""
    job = told["job"]
    found = desk.book.job(job)
    if (told["opened"], told["zone"], told["units"]) != (rfc3339(found.opened), found.zone, found.units):
        raise RecordError(f"it was made for another job {job!r}, opened {told['opened']}", where=where, mend=_ANOTHER)
    return job


def _items(told: list[Any], where: str, zone: ZoneInfo) -> tuple[list[_Item], list[Fault]]:
    """Every item that can be read, and the faults of all others."""
    items: list[_Item] = []
    faults: list[Fault] = []
    for number, one in enumerate(told, 1):
        try:
            items.append(_item(one, f"{where}, entry {number}", zone))
        except WallclimeError as exc:
            faults += exc.faults
    if len({item.id for item in items}) < len(items):
        faults.append(Fault("two entries have one name", f"{where}: items", "Save the form again and send that file"))
    return items, faults


def _item(told: Any, where: str, zone: ZoneInfo) -> _Item:
    if not isinstance(told, dict) or not set(_ITEM) <= set(told) <= {*_ITEM, "of"}:
        raise tables.fault(f"it has not the keys {', '.join(_ITEM)}", where, _ANOTHER)
    section = _KINDS.get(str(told["section"]))
    if section is None or told["kind"] != section.kind.value or not isinstance(told["item"], str):
        raise tables.fault(f"there is no section {told['section']!r} of {told['kind']!r}", where, _ANOTHER)
    spot = f"{where} ({section.title.lower()})"
    at = parse_time(_text(told["at"], f"{spot}: at"), zone, where=f"{spot}: at")
    body = _photo_body(told["body"], spot, zone) if section is PHOTO else _body(section, told["body"], spot)
    said = hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:16]
    return _Item(told["item"], said, section, at, body, told.get("of"))


def _photo_body(told: Any, where: str, zone: ZoneInfo) -> dict[str, Any]:
    """A photo with its bytes. Raises WallclimeError."""

    def content(value: Any, spot: str) -> bytes:
        try:
            return base64.b64decode(value, validate=True)
        except (ValueError, TypeError, binascii.Error) as exc:
            raise tables.fault("it is not base64", spot, "Save the form again and send that file") from exc

    def time(value: Any, spot: str) -> int:
        return parse_time(_text(value, spot), zone, where=spot)

    def words(value: Any, spot: str) -> str:
        return _text(value, spot) if value else ""

    body = _read(told, {"file": _text, "shows": words, "file_time": time, "content": content}, where)
    missing = [Fault("it is missing", f"{where}: {key}", _ANOTHER) for key in ("file", "content") if key not in body]
    if missing:
        raise WallclimeError.of(missing)
    return body
