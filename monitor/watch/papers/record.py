"""The record of conditions before an installation, sealed as it is written."""

from __future__ import annotations

from pathlib import Path

import monitor
from monitor.basis.values import Kind
from monitor.rules.frame import Frame, Sensor, effective
from monitor.rules.readiness import INSTRUMENT
from monitor.tell import words
from monitor.tell.pages.record import RecordPage
from monitor.tell.words import CHECK, Display
from monitor.watch.desk import Desk
from monitor.watch.evidence.witness import sealed, witnessed
from monitor.watch.job.attach import documents_of
from monitor.watch.judging import assess
from monitor.watch.papers.pages import level_of
from monitor.watch.papers.printing import page_file, write_page
from monitor.watch.papers.screens import view_of
from monitor.watch.papers.shown import display

RECORD = "record of conditions"  # why a head was made
_CHECKED = {"site check": Kind.SITE_CHECK, "wall moisture": Kind.WALL_MOISTURE}


def write_record(desk: Desk, job: str, path: Path, *, at: int | None = None) -> list[str]:
    """Seal the job and write the sheet as of `at`, as HTML or PDF; what to send so that others can witness the head.

    By default it is as of the start of the installation, or of now before that. Raises RecordError, ReportError. [ms]
    """
    from monitor.tell.pages.record import render_record

    page_file(path)
    start = desk.book.frame_at(job, desk.clock.now()).start
    found = assess(desk, job, at=start if at is None else at)
    told = witnessed(desk, job, RECORD)
    view, frame = view_of(desk, found), desk.book.frame_at(job, found.as_of)
    page = RecordPage(
        assessment=found,
        facts=view.facts,
        profile=view.profile,
        documents=tuple(documents_of(desk, job, at=found.as_of)),
        told=_told(desk, job, found.as_of, display(desk, job)),
        sensors=tuple(_sensors(frame, found.as_of)),
        sealed=sealed(desk),
        started=start if start is not None and start < found.as_of else None,
        written_at=desk.clock.now(),
        software=f"wallclime {monitor.__version__}",
        building=desk.book.building(job),
    )
    write_page(path, render_record(page), view.facts.units)
    return told


def _told(desk: Desk, job: str, as_of: int, shown: Display) -> dict[str, str]:
    """Who looked at the wall last, and when, by the name of the condition."""
    found = {}
    for entry in effective(desk.book.log(job)):
        for name, kind in _CHECKED.items():
            if entry.kind is kind and entry.at <= as_of:
                found[name] = f"{words.when(entry.at, shown)} by {entry.who}"
    return found


def _sensors(frame: Frame, as_of: int) -> list[tuple[str, str]]:
    """The sensors of the room's air at `as_of`, each with what backs its humidity, and its temperature."""
    names = {stay.sensor for stay in frame.air_stays if stay.covers(as_of)}
    return [(name, _backed(frame.sensors[name], as_of)) for name in sorted(names)]


def _backed(sensor: Sensor, as_of: int) -> str:
    humidity, temperature = (CHECK[level_of(sensor, quantity, as_of)] for quantity in INSTRUMENT)
    if humidity == temperature:
        return f"humidity and temperature backed by {humidity}"
    return f"humidity backed by {humidity}; temperature backed by {temperature}"
