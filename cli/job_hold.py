"""wallclime job hold, release, forget: what must not go, and what is to go."""

from __future__ import annotations

import re
import sys
from typing import Annotated

import typer

from cli.common import Job, Reason, Who, desk, say, who_of


def hold(context: typer.Context, job: Job, reason: Reason, who: Who = None) -> None:
    """Keep a job from being thinned or forgotten until it is released."""
    from monitor.watch.evidence.forgetting import hold as enter

    with desk(context) as opened:
        entry = enter(opened, job, reason=reason, who=who_of(who))
    say(f"entry {entry.number}: nothing of {job} is thinned or forgotten until wallclime job release")


def release(context: typer.Context, job: Job, reason: Reason, who: Who = None) -> None:
    """End the hold of a job."""
    from monitor.watch.evidence.forgetting import release as enter

    with desk(context) as opened:
        entry = enter(opened, job, reason=reason, who=who_of(who))
    say(f"entry {entry.number}: {job} is held no more")


def forget(
    context: typer.Context,
    job: Job,
    reason: Reason,
    entries: Annotated[
        str | None, typer.Option(metavar="NUMBERS", help="Only these and their corrections, like 3,5,8.")
    ] = None,
    personal: Annotated[
        bool, typer.Option("--personal", help="Only notes, photos, events, causes, care and inspections.")
    ] = False,
    who: Who = None,
) -> None:
    """Erase what the log of a closed job says, for good; links stay, and an entry tells of it.

    With --entries or --personal also of a finished wall. Readings stay, and so do copies made before.
    """
    from monitor.tell.upkeep import forgotten
    from monitor.watch.evidence.forgetting import forget as enter

    numbers = _numbers(entries)
    whole = entries is None and not personal
    if whole and sys.stdin.isatty() and not typer.confirm(f"Erase all that the log of {job} says?", err=True):
        say("nothing was erased")
        raise typer.Exit(1)
    with desk(context) as opened:
        done = enter(opened, job, numbers=numbers, personal=personal, reason=reason, who=who_of(who))
    for line in forgotten(done.entry, done.numbers, done.files, done.names, done.older):
        say(line)


def _numbers(text: str | None) -> list[int]:
    """ "3,5,8" as numbers. Raises RecordError."""
    from monitor.basis.errors import RecordError

    parts = [part.strip() for part in text.split(",")] if text is not None else []
    if not all(re.fullmatch("[0-9]{1,9}", part) for part in parts):
        raise RecordError(f"{text!r} are no numbers of entries", where="--entries", mend="Write them like 3,5,8")
    return [int(part) for part in parts]
