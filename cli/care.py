"""wallclime care: what the finished walls ask for."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.common import Json, ascii_only, data, desk

app = typer.Typer(no_args_is_help=True, help="The care of finished walls.")


@app.command("due")
def due(
    context: typer.Context,
    within: Annotated[str, typer.Option(metavar="DURATION", help="How far to look ahead.")] = "14 d",
    as_json: Json = False,
) -> None:
    """What is due at every finished wall that is not closed, overdue first; then the walls never cared for."""
    from monitor.basis.units import parse_duration
    from monitor.tell.care import due_json, due_text
    from monitor.watch.job.life import due as find

    ahead = parse_duration(within, where="--within")
    with desk(context) as opened:
        found = find(opened, within=ahead)
    if as_json:
        data(due_json(found.as_of, found.items, found.never))
        return
    text = due_text(found.as_of, found.items, found.never, found.zones)
    data(text.encode("ascii", "backslashreplace").decode() if ascii_only() else text)
