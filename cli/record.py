"""wallclime record: the sheet to be signed before an installation."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.common import At, Job, Progress, Units, desk, say, time_of


def record(
    context: typer.Context,
    job: Job,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE.html|FILE.pdf", help="Where to write it.")],
    at: At = None,
    units: Units = None,
) -> None:
    """Write the record of conditions before installation: one sheet with lines to sign and a code of the sealed record.

    As of the start of the installation by default, or of now before that. The job is sealed as it is written.
    """
    from monitor.watch.papers.record import write_record

    with desk(context, units) as opened, Progress("record"):
        told = write_record(opened, job, output, at=time_of(opened, job, at))
    say(f"wrote {output}")
    for line in told:
        say(line)
