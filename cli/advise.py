"""wallclime advise: what to do about the air of a job's room."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from cli.common import Job, Json, data, desk


def advise(
    context: typer.Context,
    job: Job,
    volume: Annotated[str | None, typer.Option(metavar="VOLUME", help='Of the room, such as "50 m3".')] = None,
    air_changes: Annotated[
        float | None, typer.Option(min=0.0, max=20.0, metavar="RATE", help="An hour; 0.5 is assumed.")
    ] = None,
    boards: Annotated[
        str | None, typer.Option(metavar="AREA", help='Of boards in boxes, such as "60 m2"; the wall\'s by default.')
    ] = None,
    boxes: Annotated[str | None, typer.Option(metavar="TEMPERATURE", help="Of the boxes, as you measured it.")] = None,
    as_json: Json = False,
) -> None:
    """What to do about the room's air now: how far, with how much water, and what can hurt on the way."""
    from monitor.basis.units import parse_temperature
    from monitor.watch.job.advising import Asked
    from monitor.watch.papers.screens import advised_of

    asked = Asked(
        volume_m3=None if volume is None else _size(volume, "--volume", 3),
        air_changes_1_h=air_changes,
        boards_m2=None if boards is None else _size(boards, "--boards", 2),
        boxes_c=None if boxes is None else parse_temperature(boxes, where="--boxes"),
    )
    with desk(context) as opened:
        told = advised_of(opened, job, asked)
    data(_as_json(job, told) if as_json else "\n".join(_lines(told)))


def _size(text: str, option: str, power: int) -> float:
    """ "50 m3" or "1800 ft3" in m3; with power 2 an area in m2. Raises QuantityError."""
    import re

    from monitor.basis.errors import QuantityError
    from monitor.basis.units import FOOT

    found = re.fullmatch(rf"\s*(\d{{1,7}}(?:\.\d+)?)\s*(m|ft)\^?{power}\s*", text.lower())
    size = float(found[1]) * (1.0 if found[2] == "m" else FOOT**power) if found else 0.0
    if not size:
        what = "volume" if power == 3 else "area"
        mend = f'Write it like "50 m{power}" or "500 ft{power}"'
        raise QuantityError(f"{text!r} is not {'a' if power == 3 else 'an'} {what}", where=option, mend=mend)
    return size


def _lines(told: Any) -> list[str]:
    from monitor.rules.cautions import CAUTIONS

    said = list(told.advice.sentences)
    guards = [f"guard, {g.verdict}: {g.sentence}" for g in told.guards if g.sentence not in said]
    return [*said, *guards, *(f"mind: {CAUTIONS[caution].text}" for caution in told.advice.cautions)]


def _as_json(job: str, told: Any) -> dict[str, Any]:
    from monitor.rules.cautions import CAUTIONS

    return {
        "job": job,
        "sentences": list(told.advice.sentences),
        "wait": told.advice.wait,
        "moves": list(told.advice.moves),
        "amounts": dict(told.advice.amounts),
        "cautions": [{"caution": c.value, **CAUTIONS[c]._asdict()} for c in told.advice.cautions],
        "guards": [{"guard": g.what, "verdict": g.verdict, "sentence": g.sentence} for g in told.guards],
    }
