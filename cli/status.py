"""wallclime status, ready, assess: what the rules found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from cli.common import At, Job, Json, Progress, Units, ascii_only, data, desk, say, time_of
from monitor.basis.errors import RecordError

if TYPE_CHECKING:
    from monitor.watch.desk import Desk


def status(
    context: typer.Context,
    job: Annotated[str | None, typer.Argument(metavar="[JOB]", help="The job's name; all jobs without it.")] = None,
    as_json: Json = False,
    units: Units = None,
    watch: Annotated[bool, typer.Option("--watch", help="Keep it on the terminal, drawn anew, until Ctrl-C.")] = False,
    every: Annotated[str, typer.Option(metavar="DURATION", help="How often --watch looks.")] = "5 s",
) -> None:
    """One screen: the state, hours counted of hours required, when it is ready, why not, what to do."""
    if watch and as_json:
        raise RecordError("it can't be watched for machines", where="--watch --json", mend="Leave one of them out")
    with desk(context, units) as opened:
        if watch and _watched(opened, job, every):
            return
        with Progress("judging"):
            now = opened.still()
            told, trouble = _told(now, job, as_json), _trouble(now, job)
        lines = [] if job is not None else _workers(opened)
    data(told)
    for line in lines:
        say(line)
    for line in trouble:
        say(f"mind: {line}")


def _workers(at: Desk) -> list[str]:
    from monitor.watch.service.awake import worker_lines

    return worker_lines(at)


def _told(at: Desk, job: str | None, as_json: bool) -> Any:
    from monitor.tell.screen import jobs_text, status_text
    from monitor.watch.papers.screens import job_rows, status_view

    if job is None:
        rows = job_rows(at)
        return [row.assessment.to_json() for row in rows] if as_json else jobs_text(rows, ascii_only=ascii_only())
    view = status_view(at, job)
    return view.assessment.to_json() if as_json else status_text(view, ascii_only=ascii_only())


def _trouble(at: Desk, job: str | None) -> list[str]:
    from monitor.watch.sensing.refused import trouble
    from monitor.watch.service.awake import daemon_trouble
    from monitor.watch.service.undelivered import trouble as undelivered
    from monitor.watch.standing import standing_alarms

    of_job = [] if job is None else _of_sensors(at, job)
    return [*of_job, *standing_alarms(at, job), *daemon_trouble(at), *undelivered(at), *trouble(at)]


def _of_sensors(at: Desk, job: str) -> list[str]:
    """What can hardly be right of the job's sensors, or how it gets one."""
    from monitor.watch.sensing.found import doubts, strangers

    return [*strangers(at, job), *doubts(at, job)]


def _watched(at: Desk, job: str | None, every: str) -> bool:
    """Watch until somebody ends it; False where there is no terminal to watch on. Raises QuantityError, RecordError."""
    from cli.live import Seen, can_watch, watch
    from monitor.basis.times import SECOND
    from monitor.basis.units import parse_duration
    from monitor.watch.papers.screens import job_rows, status_view
    from monitor.watch.papers.shown import display

    pause = parse_duration(every, where="--every")
    if pause < SECOND:
        raise RecordError(f"{every!r} is too short", where="--every", mend='Say at least "1 s"')
    if not can_watch():
        say("mind: there is no terminal to watch on; this is how it stands now")
        return False

    def look() -> Seen:
        if job is not None:
            return Seen(view=status_view(at, job), trouble=_trouble(at, job))
        rows = [(row, display(at, row.assessment.job)) for row in job_rows(at)]
        return Seen(rows=rows, trouble=_trouble(at, job))

    watch(look, pause, ascii_only=ascii_only())
    return True


def ready(context: typer.Context, job: Job, as_json: Json = False, units: Units = None) -> None:
    """May I start? Exit status 0 when all conditions pass, 1 when one fails or is unknown; the reasons are listed."""
    from monitor.tell.screen import ready_text
    from monitor.tell.words import display_of
    from monitor.watch.evidence.witness import witnessed_ready
    from monitor.watch.papers.screens import status_view

    with desk(context, units) as opened, Progress("judging"):
        view = status_view(opened, job)
        sealed = witnessed_ready(opened, view.assessment)
        minds = _of_sensors(opened, job)
    found = view.assessment
    if as_json:
        data({"ready": found.ready, "readiness": [condition.to_json() for condition in found.readiness]})
    else:
        shown = display_of(found, view.facts.units)
        data(ready_text(found, shown, looser=view.facts.looser, ascii_only=ascii_only()))
    for line in [*sealed, *(f"mind: {mind}" for mind in minds)]:
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
    """How a job stood at a time: a screen, or with --json all that was worked out (the Assessment)."""
    from monitor.tell.screen import status_text
    from monitor.watch.judging import assess as judge
    from monitor.watch.papers.screens import view_of

    with desk(context, units) as opened:
        with Progress("judging"):
            found = judge(opened, job, at=time_of(opened, job, at), recompute=recompute)
        if as_json:
            data(found.to_json())
        else:
            data(status_text(view_of(opened, found), ascii_only=ascii_only()))
