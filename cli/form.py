"""wallclime form: what to fill in on site, on a phone or on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli.common import Job, Progress, desk, say


def form(
    context: typer.Context,
    job: Job,
    output: Annotated[Path, typer.Option("--output", "-o", metavar="FILE.html|.pdf", help="Where to write it.")],
    paper: Annotated[bool, typer.Option("--paper", help="A sheet to print, fill in by hand and sign.")] = False,
) -> None:
    """Write a form for a phone: one file that needs no network and saves what is filled in for wallclime log import."""
    from monitor.watch.papers.forms import write_form

    with desk(context) as opened, Progress("form"):
        write_form(opened, job, output, paper=paper)
    said = (
        "print it, and enter it with wallclime log" if paper else "send it to the phone and open it in a browser there"
    )
    say(f"wrote {output}: {said}")
