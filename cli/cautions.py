"""wallclime cautions: what can hurt, at a step or at all of them."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.common import Json, data, one_of


def cautions(
    step: Annotated[
        str | None,
        typer.Argument(
            metavar="[STEP]",
            help="deliver, check, install, care, inspect, leak, heating-out or reading; all by default.",
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """What can hurt at a step of the job. Local code, makers' instructions and licensed trades come first."""
    from monitor.rules.cautions import CAUTIONS, STEPS, Caution, at_step
    from monitor.tell.cautions import catalogue

    one_of(step, STEPS, "STEP")
    found = tuple(Caution) if step is None else at_step(step)  # type: ignore[arg-type]
    if as_json:
        data([{"caution": one.value, **CAUTIONS[one]._asdict()} for one in found])
    else:
        data(catalogue(found))
