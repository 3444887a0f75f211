"""wallclime log care, inspect, event, cause: the life of a finished wall."""

from __future__ import annotations

from shlex import quote
from typing import Annotated

import typer

from cli.common import At, Job, Who, desk, say, time_of, who_of

Text = Annotated[str, typer.Option(metavar="TEXT", help="What is to be said of it.")]


def care(
    context: typer.Context,
    job: Job,
    did: Annotated[str, typer.Argument(metavar="dust|wipe|look|repair", help="What was done.")],
    text: Text = "",
    at: At = None,
    who: Who = None,
) -> None:
    """The finished wall was cared for. Dry or barely damp, water only: no steam, nothing flooded."""
    from monitor.tell.cautions import cautions_text
    from monitor.watch.job.life import care as enter

    with desk(context) as opened:
        entry = enter(opened, job, did, text, at=time_of(opened, job, at), who=who_of(who))
    say(f"entry {entry.number}: care, {did}")
    if did == "repair":
        say(cautions_text("care"))


def inspect(
    context: typer.Context,
    job: Job,
    joints: Annotated[
        list[str] | None,
        typer.Option("--joint", metavar="NAME=GAP", help='A marked joint, such as "A3=0.5 mm"; repeatable.'),
    ] = None,
    text: Text = "",
    at: At = None,
    who: Who = None,
) -> None:
    """The wall was inspected; the gaps at marked joints are held against the last time."""
    from monitor.basis.units import parse_length
    from monitor.tell.care import joint
    from monitor.tell.cautions import cautions_text
    from monitor.watch.job.life import inspect as enter
    from monitor.watch.papers.shown import display

    told = pairs_of(joints, "--joint", "A3=0.5 mm")
    gaps = {name: parse_length(value, where=f"--joint {name}") for name, value in told.items()}
    with desk(context) as opened:
        entry, found = enter(opened, job, gaps, text, at=time_of(opened, job, at), who=who_of(who))
        shown = display(opened, job)
    say(f"entry {entry.number}: inspection")
    for one in found:
        say(joint(one, shown))
    say(cautions_text("inspect"))


def event(
    context: typer.Context,
    job: Job,
    what: Annotated[
        str, typer.Argument(metavar="leak|heating-out|works-next-door|tenant-change|other", help="What happened.")
    ],
    text: Annotated[str, typer.Argument(metavar="TEXT", help="In words.")],
    start: Annotated[
        str | None, typer.Option("--from", "--at", metavar="TIME", help="Since when; now by default.")
    ] = None,
    end: Annotated[
        str | None, typer.Option("--to", metavar="TIME", help="Until when; without it for that moment alone.")
    ] = None,
    who: Who = None,
) -> None:
    """Something happened to the home that may explain an excursion. It changes no verdict."""
    from monitor.tell.cautions import cautions_text
    from monitor.watch.job.life import event as enter

    with desk(context) as opened:
        begun, over = time_of(opened, job, start, "--from"), time_of(opened, job, end, "--to")
        entry = enter(opened, job, what, text, start=begun, end=over, who=who_of(who))
    say(f"entry {entry.number}: event, {what}")
    if what in ("leak", "heating-out"):
        say(cautions_text(what))  # type: ignore[arg-type]
    if over is None and what != "tenant-change":
        say(f"once it is over: wallclime log correct {quote(job)} {entry.number} --set until=TIME --reason TEXT")


def cause(
    context: typer.Context,
    job: Job,
    cause: Annotated[str, typer.Option(metavar="TEXT", help="Why the room left the band.")],
    number: Annotated[
        int | None, typer.Option("--episode", metavar="NUMBER", help="Of the episode, from 1, in order of time.")
    ] = None,
    at: Annotated[
        str | None, typer.Option(metavar="TIME", help="A time in the episode; in the job's zone if it has no offset.")
    ] = None,
    remedy: Annotated[str, typer.Option(metavar="TEXT", help="What was done about it.")] = "",
    who: Who = None,
) -> None:
    """Why the room was out of band in an episode, and what was done. Nothing is removed; it changes no verdict."""
    from monitor.tell import words
    from monitor.watch.job.life import cause as enter
    from monitor.watch.papers.shown import display

    with desk(context) as opened:
        when = time_of(opened, job, at)
        entry, episode = enter(opened, job, number=number, at=when, cause=cause, remedy=remedy, who=who_of(who))
        shown = display(opened, job)
    still = f"{words.when(episode.start, shown)} to now"
    span = still if episode.end is None else words.between(episode.start, episode.end, shown)
    say(f"entry {entry.number}: cause of the episode {span}")


def pairs_of(texts: list[str] | None, option: str, example: str, sign: str = "=") -> dict[str, str]:
    """What a repeatable "NAME=VALUE" option says, each name once. Raises RecordError."""
    from monitor.basis.errors import RecordError

    found: dict[str, str] = {}
    for text in texts or ():
        name, _, value = (part.strip() for part in text.strip().partition(sign))
        if not name or not value:
            raise RecordError(f"{text!r} is no pair", where=option, mend=f'Write it like "{example}"')
        if name in found:
            raise RecordError(f"{name!r} is told twice", where=option, mend="Tell each once")
        found[name] = value
    return found
