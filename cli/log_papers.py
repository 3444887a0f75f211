"""wallclime log photo, document, import: files that belong to the log."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.common import At, Job, Who, desk, say, time_of, who_of

if TYPE_CHECKING:
    from monitor.tell.words import Display

MESSENGERS = "mind: messengers and some mail programs strip a picture's own data and shrink it; send the file itself"
NOT_STRIPPED = "kept, but left out of what is handed over: HEIC can't be freed of place data safely; add a JPEG too"


def photo(
    context: typer.Context,
    job: Job,
    files: Annotated[
        list[Path], typer.Argument(metavar="FILE", help="JPEG, PNG, WebP or HEIC, as the camera wrote it.")
    ],
    shows: Annotated[str, typer.Option("--of", metavar="TEXT", help="What it shows.")] = "",
    number: Annotated[int | None, typer.Option("--entry", metavar="NUMBER", help="The entry it belongs to.")] = None,
    at: Annotated[
        str | None,
        typer.Option(metavar="TIME", help="When; by default when the photo says it was taken, else now."),
    ] = None,
    who: Who = None,
) -> None:
    """Keep photos as they are, byte for byte. Place data in them is taken out of what is handed over, not of these."""
    from monitor.watch.job.attach import MOST_PHOTO, Shown, file_of, photos
    from monitor.watch.papers.shown import display

    with desk(context) as opened:
        when = time_of(opened, job, at)
        found = [file_of(path, MOST_PHOTO) for path in files]
        entries = photos(opened, job, found, Shown(shows, number), at=when, who=who_of(who))
        shown = display(opened, job)
    for entry in entries:
        say(_photo_told(entry, shown))
        if entry.body["media_type"] == "image/heic":
            say(f"mind: entry {entry.number}: {NOT_STRIPPED}")
    say(MESSENGERS)


def _photo_told(entry: Any, shown: Display) -> str:
    from monitor.tell.words import visible, when

    body = entry.body
    said = "it says nothing of when it was taken"
    if body["taken"] is not None:
        said = f"taken {when(body['taken'], shown)} by the camera's own clock, which is its claim"
    return (
        f"entry {entry.number}: photo, {visible(body['file'])} ({body['media_type']}, {_size(body['bytes'])}); {said}"
    )


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 1_000_000 else f"{count / 1e3:.1f} kB"


def document(
    context: typer.Context,
    job: Job,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="PDF, HTML, text, JPEG or PNG.")],
    title: Annotated[str, typer.Option(metavar="TEXT", help="Its title.")],
    revision: Annotated[str, typer.Option(metavar="TEXT", help="Its revision, as it stands on it.")],
    date: Annotated[str, typer.Option(metavar="DATE", help="Its date: 2025, 2025-11 or 2025-11-30.")],
    limits: Annotated[
        list[str] | None,
        typer.Option(
            "--limit",
            metavar="FIGURE=VALUE",
            help='What it asks for, such as "humidity=40 %..60 %", "hours=72" or "flatness=1/8 in". Figures: humidity, '
            "temperature, life-humidity, life-temperature, hours, flatness, edge-gap, max-length, max-height, stagger; "
            "repeatable.",
        ),
    ] = None,
    at: At = None,
    who: Who = None,
) -> None:
    """The maker's own instructions: the file is kept, and each limit is laid beside the profile's."""
    from monitor.tell import makers
    from monitor.watch.job.attach import MOST_DOCUMENT, MakersDocument, documents_of, file_of
    from monitor.watch.job.attach import document as enter
    from monitor.watch.papers.shown import display

    told = MakersDocument(title, revision, date, _limits(limits or []))
    with desk(context) as opened:
        when = time_of(opened, job, at)
        entry = enter(opened, job, file_of(file, MOST_DOCUMENT), told, at=when, who=who_of(who))
        found = [one for one in documents_of(opened, job) if one.number == entry.number]
        profile = opened.book.profile_at(job, opened.clock.now())
        shown = display(opened, job)
    say(f"entry {entry.number}: document, {makers.name(found[0])} ({entry.body['media_type']})")
    for figure, ours, theirs, looser, _ in makers.rows(found, profile, shown):
        say(f"{figure}: the maker {theirs}, the profile {ours}; looser: {looser}")
    for warning in makers.warnings(found, profile, shown):
        say(f"mind: {warning}")


def _limits(texts: list[str]) -> dict[str, str]:
    """FIGURE=VALUE of each --limit. Raises RecordError."""
    from monitor.basis.errors import RecordError

    found: dict[str, str] = {}
    for text in texts:
        figure, equals, value = text.partition("=")
        name = figure.strip().replace("-", "_")
        if not equals or not value.strip():
            raise RecordError(f"{text!r} limits nothing", where="--limit", mend='Write it like "humidity=40 %..60 %"')
        if name in found:
            raise RecordError(f"{figure!r} is given twice", where="--limit", mend="Give each figure once")
        found[name] = value.strip()
    return found


def import_(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FORM.json", help="What a form saved.")],
    who: Annotated[
        str | None, typer.Option("--by", "--who", metavar="NAME", help="Who says so; by default who filled it in.")
    ] = None,
) -> None:
    """Enter what a form brought, all of it or nothing; every fault of it is listed. A file twice adds nothing."""
    from monitor.watch.papers.forms import import_form

    with desk(context) as opened:
        done = import_form(opened, file, who=who)
    for entry in done.entries:
        say(f"entry {entry.number}: {entry.kind.value}")
    if done.known:
        said = "" if done.entries else "; nothing is added"
        say(f"{file.name}: in the log of {done.job} already: entries {', '.join(map(str, done.known))}{said}")
