"""wallclime witness and log witness: codes that were sent, and who confirmed them."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from cli.common import At, Job, Who, desk, say, time_of, who_of


def witnessed(opened: Any, job: str, what: str) -> list[str]:
    """Seal the job because of `what`; what to say of it."""
    from monitor.watch.evidence.witness import witnessed as seal

    return seal(opened, job, what)


def witness(context: typer.Context, job: Job) -> None:
    """Say once more the newest code of the job, to send to client and contractor."""
    from monitor.watch.evidence.witness import again

    with desk(context) as opened:
        lines = again(opened, job)
    for line in lines:
        say(line)


def log_witness(
    context: typer.Context,
    job: Job,
    code: Annotated[str, typer.Option(metavar="CODE", help="As they got it, or the whole hash.")],
    text: Annotated[str, typer.Option(metavar="TEXT", help="What they answered.")] = "",
    at: At = None,
    who: Who = None,
) -> None:
    """Somebody confirmed that they keep a code; --by says who. A code that is of no head is refused."""
    from monitor.watch.evidence.witness import reply

    with desk(context) as opened:
        entry = reply(opened, job, code, text=text, at=time_of(opened, job, at), who=who_of(who))
    say(f"entry {entry.number}: witness of head {entry.body['head']}")
