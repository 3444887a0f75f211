"""wallclime report: a page to hand over."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.common import At, Job, desk, say, time_of


def report(
    context: typer.Context,
    job: Job,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE.html", help="Where to write it.")],
    at: At = None,
) -> None:
    """Write the report of a job: one page that needs no network and no other file."""
    from monitor.watch.pages import write_report

    with desk(context) as opened:
        write_report(opened, job, output, at=time_of(opened, job, at))
    say(f"wrote {output}")
