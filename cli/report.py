"""wallclime report: a page to hand over."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.common import At, Job, Progress, Units, desk, say, time_of


def report(
    context: typer.Context,
    job: Job,
    output: Annotated[
        Path, typer.Option("--output", "-o", metavar="FILE.html|.pdf", help="Where to write it; .png of one figure.")
    ],
    at: At = None,
    units: Units = None,
    figure: Annotated[str | None, typer.Option(metavar="NAME", help="That one alone, as a .png.")] = None,
) -> None:
    """Write the report of a job: one page that needs no network and no other file.

    A PDF and pictures are made by a Chromium or Chrome that is installed.
    """
    from monitor.watch.pages import write_report

    with desk(context, units) as opened, Progress("report"):
        write_report(opened, job, output, at=time_of(opened, job, at), figure=figure)
    say(f"wrote {output}")
