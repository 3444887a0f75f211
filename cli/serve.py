"""wallclime init and serve: the home and the daemon."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.common import home_of, say


def init(context: typer.Context) -> None:
    """Write a commented wallclime.toml into the home, if there is none."""
    from monitor.watch.desk import write_starter

    path = write_starter(home_of(context))
    say(f"wrote {path}: say there which broker and which topics are heard; then wallclime serve")


def serve(
    context: typer.Context,
    embedded_broker: Annotated[
        bool, typer.Option("--embedded-broker", help="Run a broker on this computer too, for a first run.")
    ] = False,
) -> None:
    """Run the daemon: hear the sensors, keep their readings, judge the jobs. Ctrl-C ends it."""
    from monitor.watch.daemon import serve as run

    run(home_of(context), embedded=embedded_broker, clock=context.obj.clock)
