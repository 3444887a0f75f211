"""wallclime job: open, list, show, close, hold, forget; give it another profile."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from shlex import quote
from typing import Annotated, Any

import typer

from cli import job_hold
from cli.common import At, Job, Json, Reason, Who, ascii_only, data, desk, entry_json, say, time_of, who_of
from cli.takeoff import Corners, Height, Lay, Length, Openings, Split, Units

app = typer.Typer(no_args_is_help=True, help="Jobs: one is one wall.")

Kind = Annotated[
    str | None, typer.Option(metavar="partition|outside|below-grade|masonry", help="What kind of wall it is.")
]
Surface = Annotated[str | None, typer.Option(metavar="wall|ceiling|counter|splash-back", help="What is to be covered.")]
Vertical = Annotated[bool | None, typer.Option("--vertical/--not-vertical", help="Whether it is vertical.")]
OverWater = Annotated[
    bool | None, typer.Option("--over-water/--not-over-water", help="Whether it is over a sink or a tub.")
]
Indoors = Annotated[bool | None, typer.Option("--indoors/--not-indoors", help="Whether it is indoors.")]
Climate = Annotated[
    str | None, typer.Option("--climate-since", metavar="DATE|no", help="Since when heating or cooling is in service.")
]
ClosedIn = Annotated[
    str | None, typer.Option("--closed-in-since", metavar="DATE|no", help="Since when the building is closed in.")
]
WetTrades = Annotated[
    str | None, typer.Option("--wet-trades-done", metavar="DATE|no", help="When plaster, screed and paint were done.")
]
WhyThere = Annotated[
    str | None, typer.Option(metavar="TEXT", help="Why all the same, where something speaks against the place.")
]
BoxesPlace = Annotated[str | None, typer.Option(metavar="PLACE", help="Where the boxes lie; with the wall by default.")]
WallPlace = Annotated[
    str | None, typer.Option(metavar="PLACE", help="Where the wall is; a place of the job's own name by default.")
]
OutdoorPlace = Annotated[str | None, typer.Option(metavar="PLACE", help="Where a sensor hears the weather.")]
Building = Annotated[
    str | None, typer.Option(metavar="NAME", help="Its building: walls of one are shown and told together.")
]
UpSince = Annotated[
    str | None, typer.Option(metavar="TIME", help="When the wall was finished, where it hangs already.")
]
From = Annotated[
    Path | None,
    typer.Option(
        "--from",
        metavar="FILE.toml|.csv",
        help="Whose keys say what the options do not: see job example. A list: a row a wall.",
    ),
]


@app.command("open")
def open_(
    context: typer.Context,
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="What to call the job, such as the wall and the room.")
    ] = None,
    zone: Annotated[str | None, typer.Option(metavar="ZONE", help="Time zone, such as America/New_York.")] = None,
    length: Length = None,
    height: Height = None,
    corners: Corners = None,
    openings: Openings = None,
    lay: Lay = None,
    split: Split = None,
    units: Units = None,
    profile: Annotated[
        str | None,
        typer.Option(
            metavar="NAME|FILE.toml",
            help="What the planks ask for, frozen into the job; laminate-planks by default.",
        ),
    ] = None,
    boxes_place: BoxesPlace = None,
    wall_place: WallPlace = None,
    outdoor_place: OutdoorPlace = None,
    building: Building = None,
    kind: Kind = None,
    surface: Surface = None,
    vertical: Vertical = None,
    over_water: OverWater = None,
    indoors: Indoors = None,
    climate_since: Climate = None,
    closed_in_since: ClosedIn = None,
    wet_trades_done: WetTrades = None,
    up_since: UpSince = None,
    reason: WhyThere = None,
    from_file: From = None,
    who: Who = None,
) -> None:
    """Open a job: one wall, with the place of its boxes and its own, often the same room. NAME may stand in a file.

    Shows what the wall takes in short. What is not said of the place is not known; job place says it later. Many
    walls at once: --from a list, whose columns are the keys of job example; repeating it is harmless.
    """
    from monitor.config.jobfile import KEYS, read_told
    from monitor.config.joblist import SUFFIX, read_list
    from monitor.watch.job.openings import open_one

    options = {key: context.params["who" if key == "by" else key] for key in KEYS}
    needed = ("name", "zone", "length", "height")
    if from_file is not None and from_file.suffix.lower() == SUFFIX:
        _open_all(context, read_list(options, from_file, needed=needed))
        return
    told = read_told(options, from_file, needed=needed)
    with desk(context) as at:
        entry, frozen, *_ = open_one(at, _opening(told), who=who_of(told.values.get("by")))
        lines = list(_opened(at, entry.chain))
    say(f"opened {entry.chain}: boxes at {entry.body['boxes_place']!r}, wall at {entry.body['wall_place']!r}, "
        f"profile {frozen.body['name']!r}")  # fmt: skip
    for line in lines:
        say(line)
    if "up_since" not in told.values:
        say(f"next: wallclime log deliver {quote(entry.chain)} when the boxes lie in the room")


def _open_all(context: typer.Context, told: Sequence[Any]) -> None:
    """The walls of a list; what was opened, by building."""
    from collections import Counter

    from monitor.tell.words import counted_things
    from monitor.watch.job.openings import each_of, open_all

    walls = each_of([(one.values["name"], partial(_opening, one)) for one in told])
    who = [who_of(one.values.get("by")) for one in told]
    with desk(context) as at:
        opened = open_all(at, list(zip(walls, who, strict=True)))
    up = sum(one.up_since is not None for one in opened)
    say(f"opened {counted_things(len(opened), 'wall')}{f', {up} of them up already' if up else ''}")
    for building, number in Counter(one.building for one in opened).items():
        say(f"  {building or 'in no building'}: {number}")
    if len(opened) < len(walls):
        say(f"left as they are: {len(walls) - len(opened)} that were open before")
    say("next: wallclime sensor add --from FILE.csv names the sensors and says where they are")


def _opening(told: Any) -> Any:
    from monitor.rules.install.suitability import QUESTIONS
    from monitor.watch.job.jobs import Opening
    from monitor.watch.job.takeoff import shape_of

    values = told.values
    return Opening(
        shape=shape_of(values),
        units=told.units,
        profile=values.get("profile", "laminate-planks"),
        answers={key: values[key] for key in QUESTIONS if key in values},
        near=told.near,
        **{key: values[key] for key in _AS_TOLD if key in values},
    )


_AS_TOLD = (
    *("name", "zone", "boxes_place", "wall_place", "outdoor_place", "lay", "split", "reason", "building"),
    "up_since",
)


def _opened(at: Any, name: str) -> Iterator[str]:
    """The take-off in short, how far the rows will move, and what is open about the place."""
    from monitor.tell.takeoff import in_short
    from monitor.watch.job.jobs import place_condition
    from monitor.watch.job.takeoff import of_job
    from monitor.watch.papers.boards import planned
    from monitor.watch.sensing.found import strangers

    measured, units = of_job(at, name, {}, at.book.job(name).units), at.book.job(name).units
    yield from in_short(measured.result, name, units, split=measured.split)
    yield f"all of it: wallclime takeoff {quote(name)}"
    yield from planned(at, name)
    found = place_condition(at, name)
    later = f"; say it: wallclime job place {quote(name)}" if found.verdict == "unknown" else ""
    yield f"suitability: {found.verdict}, {found.evidence}{later}"
    if found.verdict != "pass":
        yield f"the profile asks for: {measured.profile.place.strip()}"
    yield from strangers(at, name)


@app.command("place")
def place(
    context: typer.Context,
    job: Job,
    kind: Kind = None,
    surface: Surface = None,
    vertical: Vertical = None,
    over_water: OverWater = None,
    indoors: Indoors = None,
    climate_since: Climate = None,
    closed_in_since: ClosedIn = None,
    wet_trades_done: WetTrades = None,
    reason: WhyThere = None,
    at: At = None,
    who: Who = None,
) -> None:
    """Say later what the place of the wall is like; the last answer to each question stands."""
    from monitor.config.jobfile import read_told
    from monitor.rules.install.suitability import QUESTIONS
    from monitor.watch.job.jobs import place_condition, say_place

    told = read_told({key: context.params[key] for key in (*QUESTIONS, "reason")}).values
    answers = {key: value for key, value in told.items() if key in QUESTIONS}
    with desk(context) as opened:
        when = time_of(opened, job, at)
        entry = say_place(opened, job, answers, reason=told.get("reason", ""), at=when, who=who_of(who))
        found = place_condition(opened, job)
    say(f"entry {entry.number}: {entry.kind.value}")
    say(f"suitability: {found.verdict}, {found.evidence}")


@app.command("building")
def building_(
    context: typer.Context,
    job: Job,
    name: Annotated[str, typer.Argument(metavar="NAME", help="The building's name.")],
    who: Who = None,
) -> None:
    """Say which building the wall is in; the last name stands. Walls of one building are shown and told together."""
    from monitor.watch.job.jobs import say_building

    with desk(context) as at:
        entry = say_building(at, job, name, who=who_of(who))
    say(f"entry {entry.number}: {entry.kind.value}")


@app.command("example")
def example() -> None:
    """A commented file for job open --from, with every key."""
    from monitor.config.jobfile import example_text

    data(example_text())


@app.command("list")
def list_(context: typer.Context, as_json: Json = False) -> None:
    """All jobs, in order of name."""
    from monitor.tell.screen import jobs_text
    from monitor.watch.papers.screens import job_rows

    with desk(context) as at:
        rows = job_rows(at)
    if as_json:
        data([{**row.assessment.to_json(), "building": row.building or None} for row in rows])
    else:
        data(jobs_text(rows, ascii_only=ascii_only()))


@app.command("show")
def show(context: typer.Context, job: Job, as_json: Json = False) -> None:
    """What was said of the job at its opening: places, wall, profiles."""
    from monitor.watch.job.jobs import facts_of

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
    from monitor.tell import words
    from monitor.watch.job.jobs import change_profile
    from monitor.watch.judging import assess
    from monitor.watch.papers.shown import display

    with desk(context) as at:
        before = assess(at, job)
        entry = change_profile(at, job, profile, reason=reason, who=who_of(who))
        after, shown = assess(at, job), display(at, job)
    say(f"{job} is judged by {entry.body['name']!r} now; the report shows the verdict of each profile")
    for when, verdict in (("before", before), ("after", after)):
        say(f"{when}: {words.verdict(verdict, shown)}")


@app.command("close")
def close(context: typer.Context, job: Job, reason: Reason, at: At = None, who: Who = None) -> None:
    """End the watch over a job; its record stays."""
    from monitor.watch.job.jobs import close_job

    with desk(context) as opened:
        entry = close_job(opened, job, at=time_of(opened, job, at), reason=reason, who=who_of(who))
    say(f"closed {job} as entry {entry_json(entry)['number']}")


app.command("hold")(job_hold.hold)
app.command("release")(job_hold.release)
app.command("forget")(job_hold.forget)
