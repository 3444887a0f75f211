"""Values for the screens, put together from the log and the readings."""

from __future__ import annotations

from typing import cast

from monitor.basis.units import System
from monitor.rules.assessment import Assessment
from monitor.rules.begun import open_at_start
from monitor.rules.frame import Frame
from monitor.tell.makers import warnings
from monitor.tell.views import JobFacts, JobRow, StatusView
from monitor.watch.desk import Desk
from monitor.watch.evidence.silences import away_of
from monitor.watch.job.advising import Advised, Asked, advised, notes
from monitor.watch.job.attach import documents_of
from monitor.watch.job.jobs import closed_at
from monitor.watch.judging import assess
from monitor.watch.papers.boards import board_view
from monitor.watch.papers.shown import display


def job_rows(desk: Desk) -> list[JobRow]:
    """Every job with its Assessment of now."""
    return [JobRow(assess(desk, name), closed_at(desk, name), desk.book.building(name)) for name in desk.book.names()]


def status_view(desk: Desk, job: str) -> StatusView:
    """One job as it stands now, with what to do about its air while it is open."""
    found = assess(desk, job)
    frame = desk.book.frame_at(job, found.as_of)
    told = notes(frame, desk, found, display(desk, job)) if frame.close is None else ()
    return _view(desk, found, frame)._replace(notes=told)


def advised_of(desk: Desk, job: str, asked: Asked) -> Advised:
    """Advice about a job's room now. Raises RecordError."""
    found = assess(desk, job)
    return advised(desk.book.frame_at(job, found.as_of), desk, found, asked, display(desk, job).units)


def view_of(desk: Desk, found: Assessment) -> StatusView:
    """One job as an Assessment has it."""
    return _view(desk, found, desk.book.frame_at(found.job, found.as_of))


def _view(desk: Desk, found: Assessment, frame: Frame) -> StatusView:
    board = board_view(desk, found, frame)
    return StatusView(found, facts_of(desk, found, frame), frame.profile, away_of(desk, frame), board=board)


def facts_of(desk: Desk, found: Assessment, frame: Frame) -> JobFacts:
    """What was said of the job."""
    job = found.job
    log = desk.book.log(job)
    return JobFacts(
        length=frame.job.length,
        height=frame.job.height,
        units=cast(System, frame.job.units),
        boxes_place=frame.job.boxes_place,
        wall_place=frame.job.wall_place,
        outdoor_place=frame.job.outdoor_place,
        opened_at=frame.job.opened,
        opened_by=log[0].who,
        install_start=frame.start,
        install_finish=frame.finish,
        closed_at=frame.close,
        open_at_start=open_at_start(log, found.as_of, lambda at: assess(desk, job, at=at)),
        looser=tuple(warnings(documents_of(desk, job, at=found.as_of), frame.profile, display(desk, job))),
    )
