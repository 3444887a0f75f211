"""wallclime status, ready, assess: what the rules found."""

from __future__ import annotations

from typing import Annotated

import typer

from cli.common import At, Job, Json, Units, ascii_only, data, desk, say, time_of


def status(
    context: typer.Context,
    job: Annotated[str | None, typer.Argument(metavar="[JOB]", help="The job's name; all jobs without it.")] = None,
    as_json: Json = False,
    units: Units = None,
) -> None:
    """One screen: the state, hours counted of hours required, when it is ready, why not, what to do."""
    from monitor.tell.screen import jobs_text, status_text
    from monitor.watch.pages import daemon_trouble, job_rows, status_view
    from monitor.watch.refused import trouble as refused_trouble

    with desk(context, units) as opened:
        trouble = [*daemon_trouble(opened), *refused_trouble(opened)]
        rows = job_rows(opened) if job is None else []
        view = None if job is None else status_view(opened, job)
    if view is None:
        data([r.assessment.to_json() for r in rows] if as_json else jobs_text(rows, ascii_only=ascii_only()))
    else:
        data(view.assessment.to_json() if as_json else status_text(view, ascii_only=ascii_only()))
    for line in trouble:
        say(f"mind: {line}")


def ready(context: typer.Context, job: Job, as_json: Json = False, units: Units = None) -> None:
    """May I start? Exit status 0 when all conditions pass, 1 when one fails or is unknown; the reasons are listed."""
    from monitor.tell.screen import ready_text
    from monitor.tell.words import display_of
    from monitor.watch.pages import status_view
    from monitor.watch.witness import witnessed_ready

    with desk(context, units) as opened:
        view = status_view(opened, job)
        sealed = witnessed_ready(opened, view.assessment)
    found = view.assessment
    if as_json:
        data({"ready": found.ready, "readiness": [condition.to_json() for condition in found.readiness]})
    else:
        shown = display_of(found, view.facts.units)
        data(ready_text(found, shown, looser=view.facts.looser, ascii_only=ascii_only()))
    for line in sealed:
        say(line)
    raise typer.Exit(0 if found.ready else 1)


def assess(
    context: typer.Context,
    job: Job,
    as_json: Annotated[bool, typer.Option("--json", help="The whole Assessment, for machines.")] = False,
    at: At = None,
    recompute: Annotated[bool, typer.Option("--recompute", help="Use nothing that was derived before.")] = False,
    units: Units = None,
) -> None:
    """The Assessment of a job as of --at: a screen, or the whole of it with --json."""
    from monitor.tell.screen import status_text
    from monitor.watch.judging import assess as judge
    from monitor.watch.pages import view_of

    with desk(context, units) as opened:
        found = judge(opened, job, at=time_of(opened, job, at), recompute=recompute)
        if as_json:
            data(found.to_json())
        else:
            data(status_text(view_of(opened, found), ascii_only=ascii_only()))
