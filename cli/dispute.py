"""wallclime dispute: two spans side by side."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.common import At, Job, Progress, Units, desk, say, time_of


def dispute(
    context: typer.Context,
    job: Job,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE.html|FILE.pdf", help="Where to write it.")],
    span: Annotated[list[str], typer.Option(metavar="FROM..TO", help="Twice: like 2026-01-06..2026-01-09T12:00.")],
    name: Annotated[list[str] | None, typer.Option(metavar="NAME", help="Twice: what to call each span.")] = None,
    bundle: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="The bundle that goes with it, to be named by its digest."),
    ] = None,
    at: At = None,
    units: Units = None,
) -> None:
    """Write two spans of a job's record side by side: facts in sentences, what limits the evidence, what it rests on.

    Times without an offset are in the job's zone.
    """
    from monitor.watch.papers.dispute import spans_told, write_dispute

    with desk(context, units) as opened, Progress("dispute"):
        spans, as_of = spans_told(opened, job, span), time_of(opened, job, at)
        write_dispute(opened, job, output, spans, names=name or (), bundle=bundle, at=as_of)
    say(f"wrote {output}")
