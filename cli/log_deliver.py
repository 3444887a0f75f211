"""wallclime log deliver: boxes came, how they lie, and how long they take to even out."""

from __future__ import annotations

from itertools import zip_longest
from shlex import quote
from typing import Annotated, Any

import typer

from cli.common import At, Job, Who, desk, say, time_of, who_of
from cli.witness import witnessed

Texts = list[str] | None
YesNo = bool | None
Lots = Annotated[
    Texts, typer.Option(metavar="NAME", help="The lot, as it stands on the boxes; repeatable, with its --boxes.")
]
Counts = Annotated[
    list[int] | None, typer.Option(min=1, metavar="COUNT", help="How many; of several lots in their order.")
]
Numbers = Annotated[
    Texts, typer.Option("--lot-number", metavar="NUMBER", help="Of single boxes, as printed; repeatable.")
]


def deliver(
    context: typer.Context,
    job: Job,
    at: At = None,
    lot: Lots = None,
    place: Annotated[str | None, typer.Option(metavar="PLACE", help="If not at the job's place of boxes.")] = None,
    boxes: Counts = None,
    lot_numbers: Numbers = None,
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
    from monitor.watch.job.delivery import arrival
    from monitor.watch.job.delivery import deliver as enter

    facts = {
        "unopened": unopened,
        "flat": flat,
        "wrapped": wrapped,
        "spacers": spacers,
        "stack_height_m": _read(stack_height, parse_length, "--stack-height"),
        "stack_width_m": _read(stack_width, parse_length, "--stack-width"),
        "box_temperature": _read(box_temperature, parse_temperature, "--box-temperature"),
        "floor_temperature": _read(floor_temperature, parse_temperature, "--floor-temperature"),
        "moisture": _read(moisture, parse_percent, "--moisture"),
        "stored_before": stored_before,
        "lot_numbers": lot_numbers or None,
    }
    lots = _lots(lot or [], boxes or [], lot_numbers or [])
    with desk(context) as opened:
        when = time_of(opened, job, at)
        entries = [
            enter(opened, job, at=when, lot=name, place=place, boxes=count, facts=facts, who=who_of(who))
            for name, count in lots
        ]
        found, sealed = arrival(opened, job, entries[-1]), witnessed(opened, job, "delivery")
        units = opened.book.job(job).units
    for one in entries:
        say(f"entry {one.number}: deliver, {one.body['lot']}{_count(one.body['boxes'])} at {one.body['place']!r}")
    _tell(found, units, sealed)
    _tell_lie(job, [one.number for one in entries], flat, unopened)


def _tell_lie(job: str, entries: list[int], flat: bool | None, unopened: bool | None) -> None:
    """What was not said of how the boxes lie, and what to do about boxes on end."""
    unsaid = [words for words, told in ((_FLAT, flat), (_CLOSED, unopened)) if told is None]
    if unsaid:
        say(f"not said: {'; '.join(unsaid)}")
    if flat is False:
        lines = [f"wallclime log correct {quote(job)} {number} --set flat=yes --reason TEXT" for number in entries]
        say(f"mind: boxes on end bend, and are not ready. Lay them flat, then say so: {'; '.join(lines)}")


_FLAT = "how the boxes lie (--flat or --on-end)"
_CLOSED = "whether they are closed (--unopened or --opened)"


def _lots(lots: list[str], boxes: list[int], numbers: list[str]) -> list[tuple[str | None, int | None]]:
    """Each lot with how many boxes came of it. Raises RecordError where that is not clear."""
    from monitor.basis.errors import RecordError

    if len(lots) > 1 and numbers:
        raise RecordError("of which lot is not clear", where="--lot-number", mend="Enter each lot by itself")
    if len(set(lots)) < len(lots):
        raise RecordError("a lot is given twice", where="--lot", mend="Give each lot once, with all its boxes")
    if len(boxes) not in (0, max(len(lots), 1)):
        what = f"{len(lots)} lots and {len(boxes)} counts of boxes are given"
        raise RecordError(what, where="--boxes", mend="Give one after each --lot, or none")
    return list(zip_longest(lots, boxes)) or [(None, None)]


def _read(text: str | None, parse: Any, option: str) -> Any:
    return None if text is None else parse(text, where=option)


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
