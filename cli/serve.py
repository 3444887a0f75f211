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
    role: Annotated[
        str,
        typer.Option(metavar="ROLE", help="all; or of several daemons over a PostgreSQL: intake, judge or schedule."),
    ] = "all",
    share: Annotated[
        str | None, typer.Option(metavar="NAME", help="Hear this [[share]] of wallclime.toml only, as one of several.")
    ] = None,
    drain: Annotated[
        bool,
        typer.Option(
            "--drain", help="Keep what still waits for a --share that is no more, or for all of them, and end."
        ),
    ] = False,
) -> None:
    """Run the daemon: hear the sensors, keep their readings, judge the jobs. Ctrl-C ends it."""
    if drain:
        from monitor.watch.draining import drain as run_dry

        run_dry(home_of(context), share=share, clock=context.obj.clock)
        return
    from monitor.config.tables import one_of
    from monitor.watch.daemon import serve as run
    from monitor.watch.parts import Role

    wanted = Role(one_of(*Role)(role, "serve --role"))
    run(home_of(context), embedded=embedded_broker, role=wanted, share=share, clock=context.obj.clock)
