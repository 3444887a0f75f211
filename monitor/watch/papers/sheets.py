"""Sheets of paper: what is handed to the people who live with the wall, and what is signed before it goes up."""

from __future__ import annotations

import re
from pathlib import Path

import monitor
from monitor.basis.errors import StoreError
from monitor.basis.values import Entry, Kind
from monitor.rules.frame import effective
from monitor.watch.desk import Desk
from monitor.watch.job.life import finished_wall, items_of
from monitor.watch.judging import assess
from monitor.watch.papers.pages import hears
from monitor.watch.papers.printing import page_file, write_page
from monitor.watch.papers.screens import view_of
from monitor.watch.papers.shown import display

SOFTWARE = f"wallclime {monitor.__version__}"


def write_handover(desk: Desk, job: str, path: Path) -> None:
    """Write the sheet for the people who live with the wall, as HTML or PDF. Raises RecordError, ReportError."""
    from monitor.tell.pages.handover import HandoverPage, SensorHere, render_handover

    page_file(path)
    frame, finish = finished_wall(desk, job)
    view = view_of(desk, assess(desk, job))
    page = HandoverPage(
        assessment=view.assessment,
        facts=view.facts,
        profile=view.profile,
        items=items_of(desk, frame, finish, view.assessment.as_of),
        sensors=tuple(
            SensorHere(stay.sensor, stay.place, stay.start, stay.end, hears(stay, frame)) for stay in frame.stays
        ),
        entries=tuple(effective(desk.book.log(job))),
        written_at=desk.clock.now(),
        software=SOFTWARE,
    )
    write_page(path, render_handover(page), view.facts.units)


def write_not_ready(desk: Desk, job: str, path: Path | None) -> Path | None:
    """Write the page to be signed of a start that was not ready, and say where; None when every condition was met.

    Without a `path` it goes into the folder `pages` of the home. Raises RecordError, ReportError, StoreError.
    """
    from monitor.tell.pages.notready import NotReadyPage, render_not_ready

    installs = [entry for entry in effective(desk.book.log(job)) if entry.kind is Kind.INSTALL]
    started = next((entry for entry in installs if "not_ready" in entry.body), None)
    if started is None:
        return None
    found = assess(desk, job, at=started.at)
    facts = view_of(desk, found).facts
    page = NotReadyPage(facts, started, display(desk, job), found.training, SOFTWARE)
    path = _place(desk, started) if path is None else page_file(path)
    write_page(path, render_not_ready(page), facts.units)
    return path


def _place(desk: Desk, started: Entry) -> Path:
    """A file of the home named after the job and the entry."""
    folder = desk.settings.home / "pages"
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
    except OSError as exc:
        raise StoreError(
            f"the folder can't be made ({exc.strerror})", where=str(folder), mend="Name a file with --page FILE.html"
        ) from exc
    name = re.sub(r"[^\w-]+", "-", started.chain).strip("-") or "job"
    return folder / f"{name}-not-ready-{started.link.hex()[:8]}.html"
