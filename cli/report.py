"""wallclime report: a page to hand over."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.common import At, Job, Progress, Units, desk, one_of, say, time_of

PHASES = ("before", "during", "after")


def report(
    context: typer.Context,
    job: Job,
    output: Annotated[
        Path, typer.Option("--output", "-o", metavar="FILE.html|.pdf", help="Where to write it; .png of one figure.")
    ],
    at: At = None,
    start: Annotated[str | None, typer.Option("--from", metavar="TIME", help="Of the record from then on.")] = None,
    end: Annotated[str | None, typer.Option("--to", metavar="TIME", help="Of the record until then.")] = None,
    phase: Annotated[
        str | None, typer.Option(metavar="before|during|after", help="Of that phase of the installation alone.")
    ] = None,
    units: Units = None,
    figure: Annotated[str | None, typer.Option(metavar="NAME", help="That one alone, as a .png.")] = None,
) -> None:
    """Write the report of a job: one page that needs no network and no other file.

    Verdict and clock are of the whole record, even where a part of it is shown. A PDF and pictures are made by a
    Chromium or Chrome that is installed.
    """
    from monitor.watch.papers.pages import write_report

    with desk(context, units) as opened, Progress("report"):
        span = time_of(opened, job, start, "--from"), time_of(opened, job, end, "--to")
        part = one_of(phase, PHASES, "--phase")
        write_report(opened, job, output, at=time_of(opened, job, at), span=span, phase=part, figure=figure)
    say(f"wrote {output}")
