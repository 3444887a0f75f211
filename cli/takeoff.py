"""wallclime takeoff: what a wall takes in planks, boxes and the rest."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from cli.common import Json, Who, ascii_only, data, desk, say, who_of

Length = Annotated[
    str | None, typer.Option(metavar="LENGTH", help='Of the wall, such as "16 ft", "16 ft 4 1/2 in" or "4.2 m".')
]
Height = Annotated[str | None, typer.Option(metavar="LENGTH", help='Of the wall, such as "8 ft" or "2.4 m".')]
Corners = Annotated[
    list[str] | None,
    typer.Option(
        "--corner",
        metavar="X,Y",
        help='Of a wall that is no rectangle, such as "12 ft, 8 ft": how far along and how high; each in order.',
    ),
]
Openings = Annotated[
    list[str] | None,
    typer.Option(
        "--opening",
        metavar="TEXT",
        help='Such as "door 36 in x 80 in", or "window 3 ft x 4 ft @ 5 ft, 3 ft" with its lower left corner; '
        "repeatable.",
    ),
]
Lay = Annotated[
    str | None, typer.Option(metavar="horizontal|vertical", help="How the planks run; horizontal by default.")
]
Split = Annotated[
    bool | None,
    typer.Option("--split/--no-split", help="Whether the wall is to be split as proposed, where it is too large."),
]
Units = Annotated[str | None, typer.Option(metavar="us|si", help="As the wall is measured by default.")]


def takeoff(
    context: typer.Context,
    job: Annotated[str | None, typer.Argument(metavar="[JOB]", help="Whose wall is in its log.")] = None,
    length: Length = None,
    height: Height = None,
    corners: Corners = None,
    openings: Openings = None,
    profile: Annotated[
        str | None,
        typer.Option(metavar="NAME|FILE.toml", help="What the planks are, without a JOB; laminate-planks by default."),
    ] = None,
    lay: Lay = None,
    split: Split = None,
    units: Units = None,
    enter: Annotated[
        bool, typer.Option("--enter", help="Write it into the job's log; deliveries are held against it.")
    ] = False,
    as_json: Json = False,
    who: Who = None,
) -> None:
    """What a wall takes: area, rows, cut list, boxes, adhesive, fasteners, trim, with the arithmetic.

    Without a JOB it needs a length and a height, or corners, and writes nothing. With one it takes the wall of the
    job's log, and what is given here in place of it.
    """
    from monitor.config.jobfile import read_told

    keys = ("length", "height", "corners", "openings", "profile", "lay", "split", "units")
    options = {key: context.params[key] for key in keys}
    if job is None:
        told = read_told(options, needed=("length", "height"))
        _alone(told.values, told.units or "si", enter=enter, as_json=as_json)
    else:
        _of_job(context, job, read_told(options), enter=enter, as_json=as_json, who=who)


def _alone(told: Any, units: Any, *, enter: bool, as_json: bool) -> None:
    from monitor.basis.errors import RecordError
    from monitor.config.profile import load_profile
    from monitor.watch.job.takeoff import measure, shape_of

    if enter:
        raise RecordError("there is no job to write it into", where="--enter", mend="Name the JOB, or leave it out")
    profile = load_profile(told.get("profile", "laminate-planks"))
    lay, split = told.get("lay", "horizontal"), told.get("split", False)
    _show(measure(shape_of(told), profile, lay=lay, split=split, system=units), units, as_json)


def _of_job(context: typer.Context, job: str, told: Any, *, enter: bool, as_json: bool, who: str | None) -> None:
    from monitor.basis.errors import RecordError
    from monitor.tell.takeoff import delivered
    from monitor.watch.job import takeoff as at_desk

    if "profile" in told.values:
        mend = "Leave it out, or change the job's: wallclime job profile"
        raise RecordError("a job's wall is taken off by the job's own profile", where="--profile", mend=mend)
    with desk(context) as opened:
        units: Any = told.values.get("units") or opened.book.job(job).units
        measured = at_desk.of_job(opened, job, told.values, units)
        stands = at_desk.stands(opened, job)
        entry = at_desk.enter(opened, job, measured, who=who_of(who)) if enter else None
        short = at_desk.boxes_short(opened.book.log(job))
    _show(measured, units, as_json)
    if entry is not None:
        say(f"entry {entry.number}: {entry.kind.value}")
    elif stands is None or stands.body != measured.body:
        said = "holds none yet" if stands is None else f"says otherwise: order {stands.body['boxes_to_order']}"
        say(f"the log {said}; to write this one into it add --enter")
    elif not as_json and short is not None:
        data(delivered(short))


def _show(measured: Any, units: Any, as_json: bool) -> None:
    from monitor.rules.install.takenoff import full_json
    from monitor.tell.takeoff import takeoff_text

    profile, result = measured.profile, measured.result
    if as_json:
        data({"profile": profile.name, **full_json(result, split=measured.split, profile=profile.sha256)})
    else:
        data(takeoff_text(result, profile.name, units, ascii_only=ascii_only()))
