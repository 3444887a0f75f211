"""A month or a week over all walls: gathered here once for the page of it and for the mail."""

from __future__ import annotations

import re
from datetime import date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

import monitor
from monitor.basis.alarm import Alarm
from monitor.basis.errors import OutOfReachError, RecordError, WallclimeError
from monitor.basis.times import ms_of, zone_of
from monitor.basis.values import Kind
from monitor.rules.alarm.within import coverage_within, excursions_within
from monitor.rules.assessment import Assessment
from monitor.rules.frame import Frame, effective
from monitor.rules.install.care import Item, cared
from monitor.tell import words
from monitor.tell.pages.summary import Summary, WallSpan
from monitor.watch.desk import Desk
from monitor.watch.job.jobs import closed_at
from monitor.watch.job.life import items_of
from monitor.watch.judging import assess
from monitor.watch.papers.shown import display

EVER = 0  # as far back as any record goes [ms]
_MONTH = re.compile(r"(20\d\d)-(0[1-9]|1[0-2])")


def month_named(text: str) -> tuple[date, date]:
    """ "2027-01" -> its first day and that of the month after. Raises RecordError."""
    found = _MONTH.fullmatch(text.strip())
    if found is None:
        raise RecordError(f"{text!r} is no month", where="--month", mend='Write it like "2027-01"')
    year, month = int(found[1]), int(found[2])
    return date(year, month, 1), date(year + month // 12, month % 12 + 1, 1)


def summary_of(desk: Desk, first: date, after: date, *, building: str | None = None) -> Summary:
    """Every wall that was open in the days from `first` up to `after`, each by its own zone's calendar.

    What has not happened yet is left out, and a wall that can't be judged is named apart. Raises RecordError for days
    to come, or a building without a wall.
    """
    walls, unjudged = [], []
    for job in desk.book.names():
        if building not in (None, desk.book.building(job)):
            continue
        try:
            walls += [] if (found := _wall(desk, job, first, after)) is None else [found]
        except OutOfReachError:
            raise
        except WallclimeError as exc:
            unjudged.append((job, exc.faults[0].what))
    if building is not None and building not in map(desk.book.building, desk.book.names()):
        raise RecordError(
            f"no wall is in {building!r}", where="--building", mend="wallclime job list shows the buildings there are"
        )
    if not walls and ms_of(datetime.combine(first, time(), ZoneInfo("UTC"))) > desk.clock.now():
        raise RecordError(f"{first.isoformat()} is still to come", where="summary", mend="Name days that have begun")
    software = f"wallclime {monitor.__version__}"
    return Summary(first, after, desk.clock.now(), tuple(walls), building, software, tuple(unjudged))


def _wall(desk: Desk, job: str, first: date, after: date) -> WallSpan | None:
    """One wall; None where it was not open then."""
    found = desk.book.job(job)
    zone = zone_of(found.zone, where=f"job {job}")
    start, end = midnight(first, zone), midnight(after, zone)
    now, closed = desk.clock.now(), closed_at(desk, job)
    if start >= now or _opened(desk, job) >= end or (closed is not None and closed <= start):
        return None
    return _gathered(desk, assess(desk, job, at=min(end, now)), start, end - start)


def _opened(desk: Desk, job: str) -> int:
    """When the wall's record begins: when it was opened, or what was entered later speaks of. [ms]"""
    return min(entry.at for entry in effective(desk.book.log(job)))


def _gathered(desk: Desk, found: Assessment, start: int, length: int) -> WallSpan:
    job, end = found.job, found.as_of
    frame, shown = desk.book.frame_at(job, end), display(desk, job)
    over = end if frame.close is None else min(end, frame.close)
    return WallSpan(
        job=job,
        building=desk.book.building(job),
        display=shown,
        profile=frame.profile,
        as_of=end,
        tag=words.tag(found) if frame.close is None else "CLOSED",
        watched=watched_until(frame, start, over) is not None,
        ended=ended(frame, start, over),
        coverage=coverage_within(found, start, end),
        excursions=excursions_within(found, start, end),
        alarms=_alarms(desk, job, start, end),
        done=_done(desk, frame, start, end),
        due=_due(desk, frame, end, length),
        training=found.training,
        closed_at=frame.close,
    )


def midnight(day: date, zone: ZoneInfo) -> int:
    """When a day begins in `zone`: the first of two midnights, or the first instant where there is none. [ms]"""
    return ms_of(datetime.combine(day, time(), zone))


def watched_until(frame: Frame, start: int, end: int) -> int | None:
    """Until when a sensor of the air was assigned to what is judged in [start, end): `end` where one still is then.

    None where none ever was: the wall was not watched. Before the installation the air of every place of the job is
    judged, from then on that of the wall. [ms]
    """
    begun = end if frame.start is None else min(frame.start, end)
    last = [
        min(until, end if stay.end is None else stay.end)
        for stay in frame.air_stays
        for since, until in ((start, begun), (max(start, begun), end))
        if stay.start < until and (stay.end is None or stay.end > since) and since < until
        if since < begun or stay.place == frame.job.wall_place
    ]
    return max(last, default=None)


def ended(frame: Frame, start: int, end: int) -> int | None:
    """When the record of a wall ended that was watched in [start, end) and is not any more; None of any other. [ms]"""
    last = watched_until(frame, start, end)
    return None if last is None or last >= end else last


def _alarms(desk: Desk, job: str, start: int, end: int) -> tuple[Alarm, ...]:
    """What was raised in [start, end): what changed since includes all of it. [ms]"""
    return tuple(one for one in desk.store.alarm_history(job, since=start) if start <= one.raised < end)


def _done(desk: Desk, frame: Frame, start: int, end: int) -> tuple[tuple[str, int], ...]:
    if frame.finish is None:
        return ()
    entries = cared(effective(desk.book.log(frame.job.name)), frame.finish, end)
    told = [entry for entry in entries if entry.at >= start]
    return tuple(("inspection" if e.kind is Kind.INSPECTION else str(e.body["did"]), e.at) for e in told)


def _due(desk: Desk, frame: Frame, as_of: int, length: int) -> tuple[Item, ...]:
    """What is overdue, or falls due within a span as long as this one. [ms]"""
    if frame.finish is None or frame.close is not None:
        return ()
    items = [one for one in items_of(desk, frame, frame.finish, as_of) if not one.over and one.due < as_of + length]
    return tuple(sorted(items, key=lambda one: (one.due, one.what)))


def write_summary(desk: Desk, month: str, path: Path, *, building: str | None = None) -> Summary:
    """Write the page of a month, as HTML or PDF. Raises RecordError, ReportError."""
    from monitor.tell.pages.summary import units_of
    from monitor.tell.pages.summary_page import render_summary
    from monitor.watch.papers.printing import page_file, write_page

    page_file(path)
    found = summary_of(desk, *month_named(month), building=building)
    write_page(path, render_summary(found), units_of(found.walls))
    return found
