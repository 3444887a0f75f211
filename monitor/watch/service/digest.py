"""The morning's digest of each contact, and the summary of the last week or month: gathered, worded, put on its way.

Each is known by its period, so that it is told once whatever the clock does: see `Local` of schedule for when.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, time, timedelta
from functools import partial
from typing import Literal

from monitor.basis.alarm import HOUSE, Alarm, Message
from monitor.basis.times import DAY, HOUR, datetime_of, zone_of
from monitor.config.alarms import Contact
from monitor.rules.alarm.alarms import Change, Tells
from monitor.rules.alarm.grouping import wanted
from monitor.rules.alarm.within import coverage_within
from monitor.tell.alarm import digest as telling
from monitor.tell.alarm.digest import Page, Wall
from monitor.tell.pages.summary import Summary
from monitor.tell.words import Display
from monitor.watch.desk import Desk
from monitor.watch.job.life import items_of
from monitor.watch.judging import assess
from monitor.watch.papers.summary import EVER, ended, summary_of, watched_until
from monitor.watch.service.alarming import buildings, message_id, open_jobs, shown_to
from monitor.watch.service.schedule import Local, Work

MORNING = time(7)  # where a contact asks for summaries and for no digest; ours
AHEAD = 7 * DAY  # how far a digest looks ahead for care that falls due; ours [ms]

Once = Literal["week", "month"]


def works(desk: Desk) -> Iterator[Work]:
    """A work for each digest and summary that a contact asks for."""
    for contact in desk.settings.contacts:
        at, zone = contact.digest or MORNING, zone_of(contact.zone)
        if contact.digest is not None:
            yield Work(f"digest for {contact.name}", Local(at, zone), partial(tell_morning, desk, contact))
        once: tuple[tuple[Once, bool], ...] = (("week", contact.weekly), ("month", contact.monthly))
        for length, asked in once:
            if asked:
                run = partial(tell_summary, desk, contact, length)
                yield Work(f"{length} for {contact.name}", Local(at, zone, length), run)


# --- the morning -----------------------------------------------------------------------------------


def tell_morning(desk: Desk, contact: Contact, day: str) -> Message:
    """Put the digest of a day, like 2026-01-05, on its way to a contact. Raises StoreError."""
    page = morning(desk, contact)
    return _post(desk, contact, "digest", day, telling.subject(page), telling.text(page), _names(page.walls))


def morning(desk: Desk, contact: Contact) -> Page:
    """How every open wall that concerns a contact is now, and was in the last 24 hours."""
    now = desk.clock.now()
    zone = zone_of(contact.zone)
    found = [*_standing(desk, contact), *_over(desk, contact, now - DAY)]
    shown, where = shown_to(desk, None), buildings(desk)
    jobs = [job for job in open_jobs(desk) if concerns(contact, job, where)]
    walls = [_wall(desk, job, shown(job), where.get(job, ""), found, now) for job in jobs]
    house = tuple(one for one in found if one.job == HOUSE)
    title = f"Walls {datetime_of(now, zone).date().isoformat()}"
    return Page(title, now - DAY, now, shown_to(desk, contact)(HOUSE), tuple(walls), house)


def concerns(contact: Contact, job: str, where: Mapping[str, str]) -> bool:
    """Whether a contact hears of a job; `where` names the building of each that has one."""
    if not contact.jobs and not contact.buildings:
        return True
    return job in contact.jobs or where.get(job) in contact.buildings


def _standing(desk: Desk, contact: Contact) -> list[Alarm]:
    """The alarms that stand, and concern a contact."""
    return _concerning(desk, contact, [one for one in desk.store.alarms() if one.standing.active])


def _over(desk: Desk, contact: Contact, since: int) -> list[Alarm]:
    """The alarms that were over at or after `since`, and concern a contact. [ms]"""
    past = [one for one in desk.store.alarm_history(since=since) if not one.standing.active and not one.notice]
    return _concerning(desk, contact, [one for one in past if (one.returned or 0) >= since])


def _concerning(desk: Desk, contact: Contact, found: Sequence[Alarm]) -> list[Alarm]:
    tells: Tells = "second contact" if contact.second else "first"
    contacts, where = desk.settings.contacts, buildings(desk)
    return [one for one in found if wanted(contact, Change(one, "raised", tells), contacts, where)]


def _wall(desk: Desk, job: str, shown: Display, building: str, alarms: Sequence[Alarm], now: int) -> Wall:
    own = tuple(one for one in alarms if one.job == job)
    try:
        found = assess(desk, job)
        frame = desk.book.frame_at(job, found.as_of)
    except Exception as exc:  # whatever it is, the digest of the other walls is not to suffer from it
        return Wall(job, shown, building, trouble=str(exc) or type(exc).__name__, alarms=own)
    items = () if frame.finish is None else items_of(desk, frame, frame.finish, now)
    return Wall(
        job=job,
        display=shown,
        building=building,
        found=found,
        watched=watched_until(frame, EVER, now + 1) is not None,
        ended=ended(frame, EVER, now + 1),
        alarms=own,
        items=tuple(sorted((i for i in items if not i.over and i.opens <= now + AHEAD), key=lambda i: (i.due, i.what))),
        coverage=coverage_within(found, now - DAY, now),
    )


# --- a week, a month -------------------------------------------------------------------------------


def tell_summary(desk: Desk, contact: Contact, once: Once, period: str) -> Message:
    """Put on its way to a contact what the days before a week (2026-W02) or month (2026-01) were. Raises StoreError."""
    found = _for(desk, contact, summary_of(desk, *days_before(once, period)))
    shown = shown_to(desk, contact)
    standing = [(one, shown(one.job)) for one in _standing(desk, contact) if not one.notice]
    text = telling.summary_text(found, standing)
    jobs = tuple(sorted({wall.job for wall in found.walls}))
    return _post(desk, contact, "summary", period, telling.summary_subject(found), text, jobs)


def days_before(once: Once, period: str) -> tuple[date, date]:
    """The week or month before the one that a period names: its first day, and the first after it."""
    if once == "week":
        after = date.fromisoformat(f"{period}-1")
        return after - timedelta(days=7), after
    after = date.fromisoformat(f"{period}-01")
    return (after - timedelta(days=1)).replace(day=1), after


def _for(desk: Desk, contact: Contact, found: Summary) -> Summary:
    """Of a summary the walls that concern a contact."""
    where = buildings(desk)
    return found._replace(walls=tuple(wall for wall in found.walls if concerns(contact, wall.job, where)))


# --- on its way ------------------------------------------------------------------------------------


def _names(walls: Sequence[Wall]) -> tuple[str, ...]:
    return tuple(wall.job for wall in walls)


def _post(
    desk: Desk, contact: Contact, kind: str, period: str, subject: str, text: str, jobs: tuple[str, ...]
) -> Message:
    now = desk.clock.now()
    made = Message(
        id=message_id(contact.name, kind, period),
        contact=contact.name,
        kind=kind,
        subject=subject,
        text=text,
        body={"period": period},
        made=now,
        not_before=now,
        expires=now + (DAY - HOUR if kind == "digest" else AHEAD),
        jobs=jobs,
    )
    desk.store.record_alarms([], [], [made])
    return made
