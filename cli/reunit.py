"""wallclime sensor unit: a wrong unit found later."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.common import Reason, Who, desk, one_of, say, who_of


def unit(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="SENSOR", help="The sensor's name.")],
    quantity: Annotated[str, typer.Option(metavar="temperature|humidity", help="Which of its quantities.")],
    unit: Annotated[str, typer.Option(metavar="UNIT", help="What it sent after all: degC, degF, K, % or fraction.")],
    start: Annotated[str, typer.Option("--from", metavar="TIME", help="From when on; UTC unless it has an offset.")],
    reason: Reason,
    end: Annotated[str | None, typer.Option("--to", metavar="TIME", help="Until when; now by default.")] = None,
    who: Who = None,
) -> None:
    """Say that a sensor sent another unit than was thought. Its readings stay; from now on they are judged so."""
    from monitor.basis.times import parse_time, rfc3339, zone_of
    from monitor.basis.units import unit_of
    from monitor.basis.values import Quantity
    from monitor.watch.sensors import claim_unit

    one_of(quantity, ("temperature", "humidity"), "--quantity")
    which = Quantity.AIR_HUMIDITY if quantity == "humidity" else Quantity.AIR_TEMPERATURE
    utc = zone_of("UTC")
    with desk(context) as opened:
        entry = claim_unit(
            opened,
            name,
            which,
            unit_of(unit, which, where="--unit"),
            start=parse_time(start, utc, where="--from"),
            end=None if end is None else parse_time(end, utc, where="--to"),
            reason=reason,
            who=who_of(who),
        )
    body = entry.body
    say(f"{name} sent {quantity} in {body['unit']} from {rfc3339(body['from'])} to {rfc3339(body['to'])}")
