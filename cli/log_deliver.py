"""wallclime log deliver: boxes came, how they lie, and how long they take to even out."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from cli.common import At, Job, Who, desk, say, time_of, who_of
from cli.witness import witnessed

Texts = list[str] | None
YesNo = bool | None


def deliver(
    context: typer.Context,
    job: Job,
    at: At = None,
    lot: Annotated[str | None, typer.Option(metavar="NAME", help="The lot, as it stands on the boxes.")] = None,
    place: Annotated[str | None, typer.Option(metavar="PLACE", help="If not at the job's place of boxes.")] = None,
    boxes: Annotated[int | None, typer.Option(min=1, metavar="COUNT", help="How many.")] = None,
    lot_numbers: Annotated[
        Texts, typer.Option("--lot-number", metavar="NUMBER", help="Of single boxes, as printed; repeatable.")
    ] = None,
    unopened: Annotated[YesNo, typer.Option("--unopened/--opened", help="Whether the boxes are closed.")] = None,
    flat: Annotated[YesNo, typer.Option("--flat/--on-end", help="How they lie.")] = None,
    wrapped: Annotated[YesNo, typer.Option("--wrapped/--unwrapped", help="Film around them, or none.")] = None,
    spacers: Annotated[
        YesNo, typer.Option("--spacers/--stacked", help="Single layers with air between, or on each other.")
    ] = None,
    stack_height: Annotated[str | None, typer.Option(metavar="LENGTH", help="Of the stack.")] = None,
    stack_width: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Across the boards, sides in the air.")
    ] = None,
    box_temperature: Annotated[
        str | None, typer.Option(metavar="TEMPERATURE", help="Measured between the planks or boxes when they came.")
    ] = None,
    floor_temperature: Annotated[
        str | None, typer.Option(metavar="TEMPERATURE", help="Of a floor colder than the room.")
    ] = None,
    moisture: Annotated[
        str | None, typer.Option(metavar="PERCENT", help="Of a plank, by drying or by its maker's paper.")
    ] = None,
    stored_before: Annotated[str | None, typer.Option(metavar="TEXT", help="Where they lay before.")] = None,
    who: Who = None,
) -> None:
    """Boxes came and lie in the room, unopened and flat. Lift them in twos; keep stacks low and away from heat."""
    from monitor.basis.units import parse_length, parse_percent, parse_temperature
    from monitor.watch.delivery import arrival
    from monitor.watch.delivery import deliver as enter

    def read(text: str | None, parse: Any, option: str) -> Any:
        return None if text is None else parse(text, where=option)

    facts = {
        "unopened": unopened,
        "flat": flat,
        "wrapped": wrapped,
        "spacers": spacers,
        "stack_height_m": read(stack_height, parse_length, "--stack-height"),
        "stack_width_m": read(stack_width, parse_length, "--stack-width"),
        "box_temperature": read(box_temperature, parse_temperature, "--box-temperature"),
        "floor_temperature": read(floor_temperature, parse_temperature, "--floor-temperature"),
        "moisture": read(moisture, parse_percent, "--moisture"),
        "stored_before": stored_before,
        "lot_numbers": lot_numbers or None,
    }
    with desk(context) as opened:
        when = time_of(opened, job, at)
        entry = enter(opened, job, at=when, lot=lot, place=place, boxes=boxes, facts=facts, who=who_of(who))
        units = opened.book.job(job).units
        found, sealed = arrival(opened, job, entry), witnessed(opened, job, "delivery")
    say(f"entry {entry.number}: deliver, {entry.body['lot']}{_count(entry.body['boxes'])} at {entry.body['place']!r}")
    _tell(found, units, sealed)


def _count(boxes: int | None) -> str:
    return f", {boxes} {'box' if boxes == 1 else 'boxes'}" if boxes else ""


def _tell(found: Any, units: Any, sealed: list[str]) -> None:
    from monitor.basis.times import HOUR
    from monitor.tell.boards import evening_out, missing
    from monitor.tell.cautions import cautions_text

    profile = found.profile
    lines = evening_out(
        found.stack,
        profile.board,
        found.stacked,
        found.single,
        limit=profile.readiness.box_core_within,
        apart=found.apart,
        hours=round(profile.acclimation.required / HOUR),
        units=units,
        stays=found.stays,
        said=found.said,
        past=found.past,
    )
    for line in [*missing(found.asked, found.came), *lines]:
        say(line)
    say(cautions_text("deliver"))
    for line in sealed:
        say(line)
