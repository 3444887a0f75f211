"""wallclime backup, restore, doctor: the upkeep of the record."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.common import Json, Progress, Who, data, desk, home_of, say, who_of


def backup(
    context: typer.Context,
    target: Annotated[
        Path, typer.Argument(metavar="FILE|DIR", help="A new file, or a folder that is there, to write one into.")
    ],
    with_key: Annotated[bool, typer.Option("--with-key", help="Copy the signing key beside it.")] = False,
) -> None:
    """Copy the store to one file while everything goes on, and check the copy."""
    from monitor.tell.upkeep import backed_up
    from monitor.watch.upkeep import backup as copy

    with desk(context) as opened, Progress("backup"):
        done = copy(opened, target, with_key=with_key)
    for line in backed_up(done.path, done.found.said(), done.key, done.key_copy):
        say(line)


def restore(
    context: typer.Context,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="As wallclime backup wrote it.")],
    replace: Annotated[
        bool, typer.Option("--replace", help="Where there is a store: keep it beside, and put this in its place.")
    ] = False,
    who: Who = None,
) -> None:
    """Put a backup in the place of the store, checked; its log says from which head it goes on."""
    from monitor.tell.upkeep import forgotten_since, restored
    from monitor.watch.upkeep import forgotten_since as since
    from monitor.watch.upkeep import restore as put

    with Progress("restore"):
        done = put(home_of(context), file, replace=replace, who=who_of(who), clock=context.obj.clock)
    for line in restored(done.entry, done.replaced, done.key, done.key_there):
        say(line)
    for job, entry in since(done):
        say(forgotten_since(job, entry))


def doctor(context: typer.Context, as_json: Json = False) -> None:
    """Look whether all is well: home, store, log, seals, clock, daemon, and a message to and from each broker.

    Exit status: 0 nothing fails, 1 something does. It may run beside the daemon, and changes nothing.
    """

    from monitor.tell.upkeep import examined
    from monitor.watch.doctor import doctor as look

    with Progress("seals") as progress:
        checks = look(home_of(context), clock=context.obj.clock, progress=progress)
    if as_json:
        data([check._asdict() for check in checks])
    for check in () if as_json else checks:
        for line in examined(check.name, check.verdict, check.evidence, check.mend):
            data(line)
    if any(check.verdict == "fail" for check in checks):
        raise typer.Exit(1)
