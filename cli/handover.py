"""wallclime handover: a sheet for the people who live with the wall."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.common import Job, Progress, Units, desk, say


def handover(
    context: typer.Context,
    job: Job,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE.html|.pdf", help="Where to write it.")],
    units: Units = None,
) -> None:
    """Write the sheet for the people who live with the wall: its air, its care, what harms it, what is recorded."""
    from monitor.watch.papers.sheets import write_handover

    with desk(context, units) as opened, Progress("sheet"):
        write_handover(opened, job, output)
    say(f"wrote {output}")
