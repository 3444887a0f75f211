"""wallclime sensor log, unit, withdraw: the sensors' own log, and what was found wrong later."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.common import Json, Reason, Who, ascii_only, data, desk, entry_json, one_of, say, who_of


def unit(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="SENSOR", help="The sensor's name.")],
    quantity: Annotated[str, typer.Option(metavar="temperature|humidity", help="Which of its quantities.")],
    unit: Annotated[str, typer.Option(metavar="UNIT", help="What it sent after all: degC, degF, K, % or fraction.")],
    start: Annotated[str, typer.Option("--from", metavar="TIME", help="In the job's zone if it has no offset.")],
    reason: Reason,
    end: Annotated[str | None, typer.Option("--to", metavar="TIME", help="Until when; now by default.")] = None,
    still: Annotated[bool, typer.Option("--still", help="It goes on sending it: there is no end.")] = False,
    who: Who = None,
) -> None:
    """Say that a sensor sent another unit than was thought. Its readings stay; from now on they are judged so."""
    from monitor.basis.errors import RecordError
    from monitor.basis.times import parse_time, rfc3339
    from monitor.basis.units import unit_of
    from monitor.basis.values import Quantity
    from monitor.watch.sensing.sensors import claim_unit, zone_of_sensor

    one_of(quantity, ("temperature", "humidity"), "--quantity")
    which = Quantity.AIR_HUMIDITY if quantity == "humidity" else Quantity.AIR_TEMPERATURE
    if still and end is not None:
        raise RecordError("it has an end and goes on", where="--to --still", mend="Leave one of them out")
    with desk(context) as opened:
        zone = zone_of_sensor(opened, name)
        entry = claim_unit(
            opened,
            name,
            which,
            unit_of(unit, which, where="--unit"),
            start=parse_time(start, zone, where="--from"),
            end=None if end is None else parse_time(end, zone, where="--to"),
            reason=reason,
            who=who_of(who),
            still=still,
        )
    body = entry.body
    until = "on" if still else f"to {rfc3339(body['to'])}"
    say(f"{name} sent {quantity} in {body['unit']} from {rfc3339(body['from'])} {until}")


def log(context: typer.Context, as_json: Json = False) -> None:
    """The log of the sensors: what they are, where they were, their checks; times in UTC."""
    from monitor.basis.times import zone_of
    from monitor.basis.values import SENSORS_CHAIN
    from monitor.tell.screen import diary_text
    from monitor.tell.words import Display

    with desk(context) as opened:
        found = opened.book.entries(SENSORS_CHAIN)
    shown = Display(zone_of("UTC"), "si")
    data([entry_json(entry) for entry in found] if as_json else diary_text(found, shown, ascii_only=ascii_only()))


def withdraw(
    context: typer.Context,
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="Of the entry, as wallclime sensor log shows it.")],
    reason: Reason,
    who: Who = None,
) -> None:
    """Say that an entry of the sensors' log was wrong: an assignment, a check or a unit. It stays in the log."""
    from monitor.watch.sensing.sensors import withdraw_entry

    with desk(context) as opened:
        entry = withdraw_entry(opened, number, reason=reason, who=who_of(who))
    say(f"withdrawn: entry {number}, by entry {entry.number}")
