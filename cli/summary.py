"""wallclime summary: a month over all walls."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.common import Progress, Units, desk, say


def summary(
    context: typer.Context,
    month: Annotated[str, typer.Option(metavar="MONTH", help="Like 2027-01.")],
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE.html|FILE.pdf", help="Where to write it.")],
    building: Annotated[str | None, typer.Option(metavar="NAME", help="Only the walls of this building.")] = None,
    units: Units = None,
) -> None:
    """Write a month over all walls for whoever answers for them: by building, worst wall first."""
    from monitor.tell.pages.summary import opening
    from monitor.watch.papers.summary import write_summary

    with desk(context, units) as opened, Progress("summary"):
        found = write_summary(opened, month, output, building=building)
    say(f"wrote {output}: {opening(found)}")
