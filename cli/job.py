"""wallclime job: open, list, show, close; give it another profile."""

from __future__ import annotations

from collections.abc import Iterator
from shlex import quote
from typing import Annotated, Any

import typer

from cli.common import At, Job, Json, Reason, Who, ascii_only, data, desk, entry_json, one_of, say, time_of, who_of

app = typer.Typer(no_args_is_help=True, help="Jobs: one is one wall.")


@app.command("open")
def open_(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="NAME", help="What to call the job, such as the wall and the room.")],
    zone: Annotated[str, typer.Option(metavar="ZONE", help="Time zone, such as America/New_York.")],
    length: Annotated[str, typer.Option(metavar="LENGTH", help='Of the wall, such as "16 ft" or "4.2 m".')],
    height: Annotated[str, typer.Option(metavar="LENGTH", help='Of the wall, such as "8 ft" or "2.4 m".')],
    profile: Annotated[
        str, typer.Option(metavar="NAME|FILE.toml", help="What the planks ask for; it is frozen into the job.")
    ] = "laminate-planks",
    boxes_place: Annotated[
        str | None, typer.Option(metavar="PLACE", help="Where the boxes lie; with the wall by default.")
    ] = None,
    wall_place: Annotated[
        str | None, typer.Option(metavar="PLACE", help="Where the wall is; a place of the job's own name by default.")
    ] = None,
    outdoor_place: Annotated[
        str | None, typer.Option(metavar="PLACE", help="Where a sensor hears the weather.")
    ] = None,
    units: Annotated[str | None, typer.Option(metavar="us|si", help="As the length is given by default.")] = None,
    who: Who = None,
) -> None:
    """Open a job: one wall, with the place of its boxes and its own, often the same room."""
    from monitor.basis.units import parse_length
    from monitor.watch.jobs import Opening, open_job

    feet = any(mark in length for mark in ("f", "i", "'", '"'))
    opening = Opening(
        name=name,
        zone=zone,
        length=parse_length(length, where="--length"),
        height=parse_length(height, where="--height"),
        units=one_of(units, ("us", "si"), "--units") or ("us" if feet else "si"),
        profile=profile,
        boxes_place=boxes_place,
        wall_place=wall_place,
        outdoor_place=outdoor_place,
    )
    with desk(context) as at:
        entry, frozen = open_job(at, opening, who=who_of(who))
    say(f"opened {name}: boxes at {entry.body['boxes_place']!r}, wall at {entry.body['wall_place']!r}, "
        f"profile {frozen.body['name']!r}")  # fmt: skip
    say(f"next: wallclime log deliver {quote(name)} when the boxes lie in the room")


@app.command("list")
def list_(context: typer.Context, as_json: Json = False) -> None:
    """All jobs, in order of name."""
    from monitor.tell.screen import jobs_text
    from monitor.watch.pages import job_rows

    with desk(context) as at:
        rows = job_rows(at)
    if as_json:
        data([row.assessment.to_json() for row in rows])
    else:
        data(jobs_text(rows, ascii_only=ascii_only()))


@app.command("show")
def show(context: typer.Context, job: Job, as_json: Json = False) -> None:
    """What was said of the job at its opening: places, wall, profiles."""
    from monitor.watch.jobs import facts_of

    with desk(context) as at:
        facts = facts_of(at, job)
    data(facts if as_json else "\n".join(_lines(facts)))


def _lines(facts: dict[str, Any]) -> Iterator[str]:
    """The facts for people: lengths in the job's units, a list as several lines, a dash where nobody said."""
    from monitor.basis.units import format_length

    for name, value in facts.items():
        length = name.endswith("_m")
        shown = format_length(value, facts["units"]) if length else value
        for each in shown if isinstance(shown, list) else [shown]:
            yield f"{name.removesuffix('_m') + ':':<18} {'-' if each is None else each}"


@app.command("profile")
def profile_(
    context: typer.Context,
    job: Job,
    profile: Annotated[str, typer.Argument(metavar="NAME|FILE.toml", help="The profile from now on.")],
    reason: Reason,
    who: Who = None,
) -> None:
    """Judge the job by another profile; the verdict under the first stays beside it."""
    from monitor.watch.jobs import change_profile

    with desk(context) as at:
        entry = change_profile(at, job, profile, reason=reason, who=who_of(who))
    say(f"{job} is judged by {entry.body['name']!r} now; both verdicts are shown")


@app.command("close")
def close(context: typer.Context, job: Job, reason: Reason, at: At = None, who: Who = None) -> None:
    """End the watch over a job; its record stays."""
    from monitor.watch.jobs import close_job

    with desk(context) as opened:
        entry = close_job(opened, job, at=time_of(opened, job, at), reason=reason, who=who_of(who))
    say(f"closed {job} as entry {entry_json(entry)['number']}")
