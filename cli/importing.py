"""wallclime import: a data logger's file."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.common import Job, Progress, Who, desk, one_of, say, who_of

if TYPE_CHECKING:
    from monitor.intake.loggerguess import Columns
    from monitor.watch.sensing.imports import Plan


def import_file(
    context: typer.Context,
    job: Job,
    file: Annotated[Path, typer.Argument(metavar="FILE.csv", help="The logger's file.")],
    sensor: Annotated[str, typer.Option(metavar="NAME", help="The sensor; made when it is new.")],
    time: Annotated[list[str], typer.Option(metavar="COLUMN", help="Of the time; twice for a date and a time column.")],
    temperature: Annotated[
        str | None, typer.Option(metavar="COLUMN", help="Of the temperature, if there is one.")
    ] = None,
    humidity: Annotated[str | None, typer.Option(metavar="COLUMN", help="Of the humidity, if there is one.")] = None,
    place: Annotated[
        str | None,
        typer.Option(metavar="PLACE", help="Of the job, such as the one outdoors; the room of the time by default."),
    ] = None,
    role: Annotated[
        str | None,
        typer.Option("--as", metavar="air|box|surface", help="What it hears there; as before, or the room's air."),
    ] = None,
    temperature_unit: Annotated[str, typer.Option(metavar="UNIT", help="degC, degF or K.")] = "degC",
    humidity_unit: Annotated[str, typer.Option(metavar="UNIT", help="% or fraction.")] = "%",
    zone: Annotated[str | None, typer.Option(metavar="ZONE", help="Of the file's times; the job's by default.")] = None,
    dst: Annotated[
        str | None, typer.Option(metavar="earlier|later", help="Which of two times where the clocks were changed.")
    ] = None,
    time_format: Annotated[str | None, typer.Option(metavar="FORMAT", help='Like "%d/%m/%Y %H:%M".')] = None,
    delimiter: Annotated[str | None, typer.Option(metavar="CHARACTER", help='Or "tab" or "blank".')] = None,
    decimal: Annotated[str | None, typer.Option(metavar=".|,", help="Decimal mark.")] = None,
    missing: Annotated[
        list[str] | None, typer.Option(metavar="TEXT", help="A cell that says nothing; repeatable.")
    ] = None,
    skip_rows: Annotated[int | None, typer.Option(min=0, metavar="COUNT", help="Lines before the header.")] = None,
    encoding: Annotated[str | None, typer.Option(metavar="NAME", help="Of the file.")] = None,
    hold: Annotated[
        str | None, typer.Option(metavar="DURATION", help="How long a reading speaks; proposed from the intervals.")
    ] = None,
    who: Who = None,
) -> None:
    """Import a data logger's file. Repeating it is harmless; a longer file adds what is new.

    All of it is looked over first: a cell that can't be read is named, and then nothing is kept.
    """
    from monitor.basis.units import parse_duration
    from monitor.watch.sensing.imports import doubts, plan_import, run_import

    given = None if hold is None else parse_duration(hold, where="--hold")
    hears = one_of(role, ("air", "box", "surface"), "--as")
    with desk(context) as opened:
        columns = _columns(context.params, opened.book.job(job).zone)
        with Progress("looking over") as looking:
            plan = plan_import(
                opened, job, file, columns, sensor=sensor, hold=given, progress=looking, place=place, role=hears
            )  # fmt: skip
        say("\n".join(["read as:", *(f"  {line}" for line in plan.guess.words())]))
        say(_sensor(plan))
        for doubt in doubts(plan):
            say(f"mind: {doubt}")
        with Progress("keeping") as keeping:
            done = run_import(opened, plan, who=who_of(who), progress=keeping)
    say(f"kept {done.new} readings; {done.duplicates} were known, {done.conflicts} in conflict went to quarantine")


def _columns(said: Mapping[str, Any], zone: str) -> Columns:
    """How the file is to be read, by the options; its times are in `zone` if they name none. Raises RecordError."""
    from monitor.basis.times import zone_of
    from monitor.basis.units import unit_of
    from monitor.basis.values import Quantity
    from monitor.intake.loggerguess import Columns

    return Columns(
        time=tuple(said["time"]),
        temperature=said["temperature"],
        humidity=said["humidity"],
        temperature_unit=unit_of(said["temperature_unit"], Quantity.AIR_TEMPERATURE, where="--temperature-unit"),
        humidity_unit=unit_of(said["humidity_unit"], Quantity.AIR_HUMIDITY, where="--humidity-unit"),
        zone=zone_of(said["zone"] or zone, where="--zone"),
        delimiter={"tab": "\t", "blank": " "}.get(said["delimiter"] or "", said["delimiter"]),
        decimal=one_of(said["decimal"], (".", ","), "--decimal"),
        time_format=said["time_format"],
        missing=tuple(said["missing"] or ()),
        dst=one_of(said["dst"], ("earlier", "later"), "--dst"),
        encoding=said["encoding"],
        skip_rows=said["skip_rows"],
    )


def _sensor(plan: Plan) -> str:
    """Which sensor it is, where, and how long its readings speak."""
    from monitor.basis.units import format_duration

    how = "as given" if plan.new_sensor else "as before"
    if plan.hold_proposed:
        how = "proposed from its intervals; --hold sets it"
    new = "new " if plan.new_sensor else ""
    where = {"air": "at", "box": "in the boxes at", "surface": "on the wall at"}[plan.role]
    speaks = f"a reading speaks for {format_duration(plan.hold)} ({how})"
    return f"{new}sensor {plan.sensor} {where} {plan.place!r}: {speaks}"
