"""wallclime log install: the installation started, and was finished."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.common import Job, Who, desk, say, time_of, who_of


def install(
    context: typer.Context,
    job: Job,
    start: Annotated[str, typer.Option(metavar="TIME", help="When the first plank was cut.")],
    finish: Annotated[str | None, typer.Option(metavar="TIME", help="When the wall was done.")] = None,
    not_ready: Annotated[
        bool, typer.Option("--not-ready", help="Start although conditions are open; they are written down.")
    ] = False,
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why, if not ready.")] = "",
    asked_by: Annotated[str, typer.Option(metavar="NAME", help="Who asked for it, if not ready.")] = "",
    lots: Annotated[list[str] | None, typer.Option("--lot", metavar="NAME", help="That is used; repeatable.")] = None,
    who: Who = None,
) -> None:
    """The installation started; again with the same start and --finish when it is done."""
    from monitor.watch.installing import Installing
    from monitor.watch.installing import install as enter

    with desk(context) as opened:
        told = Installing(
            start=time_of(opened, job, start, "--start") or 0,
            finish=time_of(opened, job, finish, "--finish"),
            not_ready=not_ready,
            reason=reason,
            asked_by=asked_by,
            lots=tuple(lots or ()),
        )
        entry = enter(opened, job, told, who=who_of(who))
    say(f"entry {entry.number}: {entry.kind.value}")
