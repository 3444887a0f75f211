"""wallclime: the commands, gathered. A command's file is named after its noun."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from cli import importing, job, log, profile, report, sensor, serve, status
from cli.common import Session
from monitor.basis.clock import Clock
from monitor.basis.errors import WallclimeError

app = typer.Typer(
    name="wallclime",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Proves what air a plank wall had: acclimation counted, excursions flagged, the condition log kept.\n\n"
    "Data goes to stdout, talk to stderr. Exit status: 0 yes, 1 no (not ready), 2 usage or bad input, "
    "3 the store or broker can't be reached or is newer than this program.",
)


@app.callback()
def root(
    context: typer.Context,
    home: Annotated[
        Path | None,
        typer.Option(help="The folder of wallclime.toml and the store; else $WALLCLIME_HOME, else your data folder."),
    ] = None,
) -> None:
    """Take what all commands share."""
    context.ensure_object(Session).home = home


app.command("init")(serve.init)
app.command("serve")(serve.serve)
app.add_typer(job.app, name="job")
app.add_typer(sensor.app, name="sensor")
app.add_typer(log.app, name="log")
app.command("import")(importing.import_file)
app.command("status")(status.status)
app.command("ready")(status.ready)
app.command("assess")(status.assess)
app.command("report")(report.report)
app.add_typer(profile.app, name="profile")


def run(args: list[str] | None = None, *, clock: Clock | None = None) -> NoReturn:
    """Run one command and exit; `clock` is the system's unless a test sets one."""
    try:
        app(args, prog_name="wallclime", obj=Session(clock=clock))
    except WallclimeError as exc:
        print(exc, file=sys.stderr)  # noqa: T201
        sys.exit(exc.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    sys.exit(0)
