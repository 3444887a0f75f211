"""wallclime init and serve: the home and the daemon."""

from __future__ import annotations

import gc
from typing import Annotated

import typer

from cli.common import home_of, say

_SWEPT = gc.get_threshold()  # as Python itself does: a daemon runs for months, a command ends


def init(context: typer.Context) -> None:
    """Write a commented wallclime.toml into the home, if there is none."""
    from monitor.watch.desk import write_starter

    path = write_starter(home_of(context))
    say(f"wrote {path}: say there which broker is heard; then wallclime serve")


def serve(
    context: typer.Context,
    embedded_broker: Annotated[
        bool, typer.Option("--embedded-broker", help="Run a broker on this computer too, for a first run.")
    ] = False,
    broker_here: Annotated[
        bool, typer.Option("--broker-here", help="The same for sensors on the network, with a password made for them.")
    ] = False,
    broker: Annotated[
        str | None,
        typer.Option(metavar="HOST[:PORT]", help="The broker to hear, written into wallclime.toml at the first run."),
    ] = None,
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
    """Run the daemon: hear the sensors, keep their readings, judge the jobs. Ctrl-C ends it.

    A first run needs no wallclime init before it: every topic is heard, and each sensor that is found is named.
    """
    from monitor.basis.errors import RecordError

    gc.set_threshold(*_SWEPT)
    home = home_of(context)
    if broker is not None and (broker_here or embedded_broker):
        raise RecordError("there would be two brokers", where="--broker", mend="Leave one of the options out")
    if drain:
        from monitor.watch.service.draining import drain as run_dry

        run_dry(home, share=share, clock=context.obj.clock)
        return
    from monitor.config.tables import one_of
    from monitor.watch.beginning import begin_at, begin_here
    from monitor.watch.service.daemon import serve as run
    from monitor.watch.service.parts import Role

    wanted = Role(one_of(*Role)(role, "serve --role"))
    said = [] if broker is None else begin_at(home, broker)
    for line in begin_here(home) if broker_here else said:
        say(line)
    run(home, embedded=embedded_broker or broker_here, role=wanted, share=share, clock=context.obj.clock)
