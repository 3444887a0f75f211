"""Photos and the maker's documents: the bytes are kept as they came, and an entry names them by their SHA-256."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from monitor.basis.errors import Fault, QuantityError, RecordError
from monitor.basis.times import EARLIEST, LATEST, in_zone, ms_of, zone_of
from monitor.basis.values import Draft, Entry, Kind
from monitor.rules.frame import effective
from monitor.rules.install.makers import Document, documents, read_limit
from monitor.watch.book import as_if
from monitor.watch.desk import Desk
from monitor.watch.job.jobs import checked_name, past

if TYPE_CHECKING:
    from monitor.intake.picture import Picture

MOST_PHOTO = 25_000_000  # figure ours [bytes]
MOST_DOCUMENT = 50_000_000  # figure ours [bytes]
LONGEST_TEXT = 2_000  # of what a photo shows [characters]
_DATE = re.compile(r"\d{4}(-\d\d(-\d\d)?)?")


class File(NamedTuple):
    """A file as it was handed in; `file_time` what its device says of its last change, if it was asked. [ms]"""

    name: str
    content: bytes
    file_time: int | None = None


class Shown(NamedTuple):
    """What is said of photos: what they show, and the entry they belong to."""

    shows: str = ""
    entry: int | None = None


class MakersDocument(NamedTuple):
    """What is said of a maker's document; `limits` as it states them, by figure (see rules/install/makers.py)."""

    title: str
    revision: str
    date: str
    limits: Mapping[str, str]


def file_of(path: Path, most: int) -> File:
    """A file of at most `most` bytes. Raises RecordError."""
    try:
        with path.open("rb") as opened:
            content = opened.read(most + 1)
    except OSError as exc:
        raise RecordError(
            f"it can't be read ({exc.strerror})", where=str(path), mend="Check the path and its rights"
        ) from exc
    _no_larger(content, most, str(path))
    return File(path.name, content)


def _no_larger(content: bytes, most: int, where: str) -> None:
    if len(content) > most:
        raise RecordError(
            f"it is larger than {most / 1e6:g} MB", where=where, mend="Save it smaller, or only the part that matters"
        )


def photos(desk: Desk, job: str, files: Sequence[File], shown: Shown, *, at: int | None, who: str) -> list[Entry]:
    """Keep photos and an entry for each; all are looked over first, and of one that is refused nothing is kept.

    `at` left out is when a photo says it was taken, else now. Raises RecordError. [ms]
    """
    log = desk.book.log(job)
    now = past(desk, None, "log photo")
    when = None if at is None else past(desk, at, "log photo")
    _check_shown(log, job, shown)
    drafts = []
    for file in files:
        body = {**_photo(desk, job, file), "shows": shown.shows, "entry": shown.entry}
        taken = body["taken"] if body["taken"] is not None and body["taken"] <= now else now
        drafts.append(Draft(Kind.PHOTO, taken if when is None else when, who, body))
    for file, draft in zip(files, drafts, strict=True):
        desk.store.keep_attachment(file.content, draft.body["media_type"])
    return desk.store.append(job, drafts, check=_new(job, drafts, ("sha256", "entry")))


def _check_shown(log: Sequence[Entry], job: str, shown: Shown) -> None:
    if shown.entry is not None and all(entry.number != shown.entry for entry in effective(log)):
        raise RecordError(
            f"there is no entry {shown.entry} that it could belong to",
            where=f"log of {job}",
            mend="See wallclime log list",
        )
    if len(shown.shows) > LONGEST_TEXT:
        what = f"what it shows is longer than {LONGEST_TEXT} characters"
        raise RecordError(what, where="log photo --of", mend="Say it shorter, or in a note: wallclime log note")


def _photo(desk: Desk, job: str, file: File) -> dict[str, Any]:
    """What the file itself says. Raises RecordError."""
    _no_larger(file.content, MOST_PHOTO, file.name)
    from monitor.intake.picture import picture_of

    picture = picture_of(file.content, where=file.name)
    return {**_named(file, picture.media_type), "taken": _taken(desk, job, picture), "file_time": file.file_time}


def _named(file: File, media_type: str) -> dict[str, Any]:
    return {
        "file": checked_name(file.name, "name of the file"),
        "sha256": hashlib.sha256(file.content).hexdigest(),
        "media_type": media_type,
        "bytes": len(file.content),
    }


def _taken(desk: Desk, job: str, picture: Picture) -> int | None:
    """When the picture says it was taken; without an offset by the wall clock of the job's zone. A claim. [ms]"""
    if picture.taken is None:
        return None
    if picture.taken.tzinfo is None:
        at = in_zone(picture.taken, zone_of(desk.book.job(job).zone), where="photo", dst="earlier")
    else:
        at = ms_of(picture.taken)
    return at if EARLIEST <= at < LATEST else None


def document(desk: Desk, job: str, file: File, told: MakersDocument, *, at: int | None, who: str) -> Entry:
    """Keep a maker's document and an entry with its limits. Raises RecordError with every fault of what is told."""
    desk.book.log(job)
    when = past(desk, at, "log document")
    _no_larger(file.content, MOST_DOCUMENT, file.name)
    from monitor.intake.paper import document_type

    media_type = document_type(file.content, where=file.name)
    body = {**_checked(told), **_named(file, media_type)}
    draft = Draft(Kind.DOCUMENT, when, who, body)
    desk.store.keep_attachment(file.content, media_type)
    same = ("title", "revision", "date", "limits", "sha256")
    return desk.store.append(job, [draft], check=_new(job, [draft], same))[0]


def _checked(told: MakersDocument) -> dict[str, Any]:
    faults: list[Fault] = []
    for option, text in (("--title", told.title), ("--revision", told.revision)):
        try:
            checked_name(text, option)
        except RecordError as exc:
            faults += exc.faults
    if not _is_date(told.date):
        faults.append(
            Fault(f"{told.date!r} is no date", "--date", "Write it as the document has it: 2025, 2025-11 or 2025-11-30")
        )
    for figure, text in told.limits.items():
        try:
            read_limit(figure, text, where=f"--limit {figure}")
        except QuantityError as exc:
            faults += exc.faults
    if faults:
        raise RecordError.of(faults)
    return {"title": told.title, "revision": told.revision, "date": told.date, "limits": dict(told.limits)}


def _is_date(text: str) -> bool:
    if not _DATE.fullmatch(text):
        return False
    try:
        return date.fromisoformat(f"{text}-01-01"[:10]).year >= 1900
    except ValueError:
        return False


def _new(job: str, drafts: Sequence[Draft], keys: Sequence[str]) -> Callable[[Sequence[Entry]], None]:
    """Refuses what the log, corrections applied, says already in all of `keys`, and what is said twice at once."""

    def check(entries: Sequence[Entry]) -> None:
        known: dict[str, int] = {}
        for entry in as_if(entries, job, drafts):
            same = repr([entry.kind, *(entry.body.get(key) for key in keys)])
            if entry.kind is drafts[0].kind and known.setdefault(same, entry.number) != entry.number:
                what = f"entry {known[same]} has {entry.body['file']} already"
                raise RecordError(what, where=f"log of {job}", mend="Nothing needs to be done")

    return check


def documents_of(desk: Desk, job: str, *, at: int | None = None) -> list[Document]:
    """The maker's documents in force at `at` (now by default), each with its limits. [ms]"""
    return documents(effective(desk.book.log(job)), desk.clock.now() if at is None else at)
