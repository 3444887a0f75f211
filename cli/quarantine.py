"""wallclime quarantine: what was heard and refused."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from cli.common import Json, data, desk, say

app = typer.Typer(no_args_is_help=True, help="What was heard and refused: kept with its bytes and the reason.")

Why = Annotated[str | None, typer.Option("--reason", metavar="REASON", help="Only what was refused for this.")]
Most = Annotated[int, typer.Option(min=1, metavar="COUNT", help="At most so many, the newest.")]


def _row(row: Any) -> dict[str, Any]:
    from monitor.basis.times import rfc3339

    return {
        "number": row.id,
        "topic": row.topic,
        "reason": row.reason,
        "detail": row.detail,
        "quantity": None if row.quantity is None else row.quantity.value,
        "time": None if row.t is None else rfc3339(row.t),
        "count": row.count,
        "first": rfc3339(row.first_arrival),
        "last": rfc3339(row.last_arrival),
    }


@app.command("list")
def list_(context: typer.Context, reason: Why = None, limit: Most = 100, as_json: Json = False) -> None:
    """What was refused, the newest first: how often, why, on which topic."""
    from monitor.tell.words import visible
    from monitor.watch.sensing.refused import listed

    with desk(context) as at:
        rows = [_row(row) for row in listed(at, reason=reason, limit=limit)]
    if as_json:
        data(rows)
        return
    for row in rows:
        data(f"{row['number']:>6}  {row['last']}  {row['count']} x {row['reason']}  {visible(row['topic'])}")
        of = f"{row['quantity']} at {row['time']}: " if row["quantity"] else ""
        data(f"        {of}{visible(row['detail'])}")
    if not rows:
        say("nothing was refused")


@app.command("show")
def show(
    context: typer.Context,
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="As wallclime quarantine list shows it.")],
    as_json: Json = False,
) -> None:
    """One thing that was refused, with its bytes."""
    from monitor.tell.words import visible
    from monitor.watch.sensing.refused import shown

    with desk(context) as at:
        row = shown(at, number)
    if as_json:
        data({**_row(row), "raw_hex": row.raw.hex()})
        return
    lines = {name: value for name, value in _row(row).items() if value is not None}
    width = 9 if "quantity" in lines else 8
    for name, value in lines.items():
        data(f"{name + ':':<{width}} {visible(str(value))}")
    data(f"{'bytes:':<{width}} {len(row.raw)}, as text: {visible(row.raw.decode('utf-8', 'backslashreplace'))}")


@app.command("retry")
def retry(
    context: typer.Context,
    numbers: Annotated[
        list[int] | None, typer.Argument(metavar="[NUMBER]...", help="These; else all of --reason.")
    ] = None,
    reason: Why = None,
    limit: Most = 10_000,
) -> None:
    """Read refused messages again, after wallclime.toml was mended. Only stamped ones can become readings."""
    from monitor.watch.sensing.refused import retry as again

    with desk(context) as at:
        done = again(at, numbers or (), reason=reason, limit=limit)
    say(f"{done.kept} became readings, {done.still_refused} are refused still")
    new, known, conflicts = done.readings
    if known or conflicts:
        say(f"kept {new} readings; {known} were known, {conflicts} in conflict went to quarantine")
    if done.why:
        say(done.why)
