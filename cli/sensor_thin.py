"""wallclime sensor thin: what is long past, told in fewer readings."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from cli.common import Progress, Reason, Who, desk, say, who_of


def thin(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="SENSOR", help="The sensor's name.")],
    before: Annotated[str, typer.Option(metavar="DAY", help="Days before this one, in UTC; at least 90 days ago.")],
    reason: Reason,
    each: Annotated[
        str | None,
        typer.Option(
            metavar="DURATION",
            help="Of each such stretch four readings stay; the hold by default, more leaves unknown time.",
        ),
    ] = None,
    who: Who = None,
) -> None:
    """Erase most readings of days long past, for good; their seals stay, and an entry tells of it.

    Of each stretch the first, lowest, highest and last stay. Never under a hold, nor from a day before a job's delivery
    to 30 days after its wall was finished. Copies made before still hold all.
    """
    from monitor.basis.times import parse_time, zone_of
    from monitor.basis.units import parse_duration
    from monitor.tell.upkeep import thinned
    from monitor.watch.evidence.thinning import thin as erase

    until = parse_time(before, zone_of("UTC"), where="--before")
    stretch = None if each is None else parse_duration(each, where="--each")
    if sys.stdin.isatty() and not typer.confirm(f"Erase most readings of {name} before {before}?", err=True):
        say("nothing was erased")
        raise typer.Exit(1)
    with desk(context) as opened, Progress("thin"):
        done = erase(opened, name, before=until, each=stretch, reason=reason, who=who_of(who))
    for line in thinned(done.entries, done.older):
        say(line)
