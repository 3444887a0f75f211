"""wallclime board: a folder with a page over all walls."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.common import Progress, Units, desk, say


def board(
    context: typer.Context,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="DIR", help="The folder; made if it is not there.")],
    units: Units = None,
    full: Annotated[
        bool, typer.Option("--full", help="Reports whose charts zoom: 1.9 MB each instead of 0.2.")
    ] = False,
) -> None:
    """Write a page over all walls, worst first, with a report of each beside it, into a folder.

    It opens from the file as well as from any web server, which whoever can open the folder can read. Written again, a
    report is made anew only where something changed, or once a day.
    """
    from monitor.tell.words import counted_things
    from monitor.watch.papers.walls import INDEX, write_boards

    with desk(context, units) as opened, Progress("board") as progress:
        found = write_boards(opened, output, full=full, told=progress)
    reports = f"{counted_things(found.reports, 'report')} written, {found.left} left as {_they(found.left)}"
    failed = f", {found.failed} not written" if found.failed else ""
    removed = f", {found.removed} removed" if found.removed else ""
    say(f"wrote {output / INDEX}: {counted_things(found.walls, 'wall')}; {reports}{failed}{removed}")


def _they(number: int) -> str:
    return "it was" if number == 1 else "they were"
