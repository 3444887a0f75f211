"""The life of a finished wall: its care, its inspections, what happened to it, and what became of an episode."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from shlex import quote
from typing import Any, NamedTuple

from monitor.basis.errors import RecordError
from monitor.basis.times import rfc3339, zone_of
from monitor.basis.values import Draft, Entry, Kind
from monitor.rules.assessment import Episode
from monitor.rules.begun import up_before
from monitor.rules.board.causes import episode_at
from monitor.rules.frame import Frame, effective
from monitor.rules.install.care import Item, cared, in_order, plan
from monitor.rules.install.inspection import Joint, compared, inspections
from monitor.watch.desk import Desk
from monitor.watch.job.bodies import check_body
from monitor.watch.job.entering import add
from monitor.watch.job.jobs import closed_at, past
from monitor.watch.judging import assess

EPISODES_NAMED = 5  # of the episodes that a refusal lists


class Due(NamedTuple):
    """What the finished walls ask for as of `as_of` [ms], in the order to do it; `zones` has each wall's zone.

    `never`: the walls that nobody has cared for since their finish, of those whose record knows it.
    """

    as_of: int
    items: tuple[tuple[str, Item], ...]
    never: tuple[str, ...]
    zones: Mapping[str, str]


def care(desk: Desk, job: str, did: str, text: str, *, at: int | None, who: str) -> Entry:
    """Record that the wall was dusted, wiped, looked over or repaired: {did, text}. Raises RecordError."""
    return _lived(desk, job, Kind.CARE, "log care", {"did": did, "text": text}, at=at, who=who)


def inspect(
    desk: Desk, job: str, joints: Mapping[str, float], text: str, *, at: int | None, who: str
) -> tuple[Entry, tuple[Joint, ...]]:
    """Record the gaps at marked joints: {joints_m: {name: gap}, text}; each joint beside its last inspection. [m]

    Raises RecordError.
    """
    body = {"joints_m": dict(joints), "text": text}
    entry = _lived(desk, job, Kind.INSPECTION, "log inspect", body, at=at, who=who)
    return entry, compared(effective(desk.book.log(job)), entry)


def _lived(desk: Desk, job: str, kind: Kind, what: str, body: Mapping[str, Any], *, at: int | None, who: str) -> Entry:
    when = past(desk, at, what)
    _, finish = finished_wall(desk, job)
    if when < finish:
        raise RecordError(
            f"{rfc3339(when)} is before the finish, {rfc3339(finish)}", where=what, mend="Check the date, or correct it"
        )
    check_body(kind, body)
    return add(desk, job, Draft(kind, when, who, body))


def event(desk: Desk, job: str, what: str, text: str, *, start: int | None, end: int | None, who: str) -> Entry:
    """Record what happened to the home from `start` (now) to `end`: {what, text, until}. It may explain an episode.

    Without an end it is taken as of its start alone. Raises RecordError. [ms]
    """
    at = past(desk, start, "log event --from")
    if end is not None:
        past(desk, end, "log event --to")
    body = {"what": what, "text": text, "until": end}
    check_body(Kind.EVENT, body)
    return add(desk, job, Draft(Kind.EVENT, at, who, body))


def cause(
    desk: Desk, job: str, *, number: int | None, at: int | None, cause: str, remedy: str, who: str
) -> tuple[Entry, Episode]:
    """Record the cause of an episode, told by its number (from 1, in order) or by a time in it, and what was done.

    {cause, remedy, until}: the entry speaks of the whole episode as it stands now. Nothing is removed by it. Raises
    RecordError. [ms]
    """
    episodes = assess(desk, job).episodes
    found = _episode(job, episodes, number, at)
    body = {"cause": cause, "remedy": remedy, "until": found.end}
    check_body(Kind.CAUSE, body)
    return add(desk, job, Draft(Kind.CAUSE, found.start, who, body)), found


def _episode(job: str, episodes: Sequence[Episode], number: int | None, at: int | None) -> Episode:
    if (number is None) == (at is None):
        raise RecordError("it is not clear of what", where="log cause", mend="Give --episode NUMBER or --at TIME")
    if not episodes:
        raise RecordError("the room never left the band", where=f"job {job}", mend="There is no episode to explain")
    if number is not None:
        if 1 <= number <= len(episodes):
            return episodes[number - 1]
        raise RecordError(f"there is no episode {number}", where=f"job {job}", mend=_named(episodes))
    found = episode_at(episodes, at or 0)
    if found is None:
        raise RecordError(f"the room was in no episode {rfc3339(at or 0)}", where=f"job {job}", mend=_named(episodes))
    return found


def _named(episodes: Sequence[Episode]) -> str:
    """ "Episodes are 1: 2026-01-06T10:00:00Z to 2026-01-06T12:10:00Z": the latest ones."""
    told = [
        f"{number}: {rfc3339(one.start)} to {'now' if one.end is None else rfc3339(one.end)}"
        for number, one in enumerate(episodes, 1)
    ]
    which = "The last episodes" if len(told) > EPISODES_NAMED else "Episodes"
    return f"{which} are {', '.join(told[-EPISODES_NAMED:])}"


# --- what is due -----------------------------------------------------------------------------------


def due(desk: Desk, *, within: int = 0) -> Due:
    """What every finished wall that is not closed asks for by `within` from now. [ms]"""
    now = desk.clock.now()
    frames = [desk.book.frame_at(name, now) for name in desk.book.names() if closed_at(desk, name) is None]
    walls = [(frame, frame.finish) for frame in frames if frame.finish is not None]
    items = [(frame.job.name, item) for frame, finish in walls for item in items_of(desk, frame, finish, now)]
    logs = [(frame, finish, _standing(desk, frame)) for frame, finish in walls]
    never = [frame.job.name for frame, finish, log in logs if not cared(log, finish, now) and not up_before(log)]
    zones = {frame.job.name: frame.job.zone for frame, _ in walls}
    return Due(now, tuple(in_order(items, now, within)), tuple(never), zones)


def items_of(desk: Desk, frame: Frame, finish: int, as_of: int) -> tuple[Item, ...]:
    """The care and the two inspections of a wall that was finished at `finish`. [ms]

    Of one that was up before its record began they count from then on: nobody knows what was done before.
    """
    log, zone = _standing(desk, frame), frame.job.zone
    since = max(finish, frame.job.opened) if up_before(log) else finish
    return (
        *plan(frame.profile.care, log, since, as_of),
        *inspections(log, since, as_of, zone_of(zone), southern=is_southern(zone)),
    )


def finished_wall(desk: Desk, job: str) -> tuple[Frame, int]:
    """The frame of a job whose wall is finished, and when that was. Raises RecordError. [ms]"""
    frame = desk.book.frame_at(job, desk.clock.now())
    if frame.finish is None:
        mend = f"Enter it first: wallclime log install {quote(job)} --start TIME --finish TIME"
        raise RecordError("the wall is not finished by the log", where=f"job {job}", mend=mend)
    return frame, frame.finish


def _standing(desk: Desk, frame: Frame) -> list[Entry]:
    return effective(desk.book.log(frame.job.name))


def is_southern(zone: str) -> bool:
    """Whether an IANA zone's chief place lies south of the equator, by the tz database's own coordinates.

    zone.tab lists the places, tzdata.zi the other names of a zone (`L target name`). A zone without a place, such as
    UTC, counts as northern.
    """
    latitudes, names = _zones()
    return latitudes.get(names.get(zone, zone), "+").startswith("-")


@cache
def _zones() -> tuple[Mapping[str, str], Mapping[str, str]]:
    folder = resources.files("tzdata") / "zoneinfo"
    rows = [line.split("\t") for line in (folder / "zone.tab").read_text(encoding="utf-8").splitlines()]
    links = [line.split() for line in (folder / "tzdata.zi").read_text(encoding="utf-8").splitlines()]
    return (
        {row[2]: row[1] for row in rows if not row[0].startswith("#")},
        {words[2]: words[1] for words in links if words and words[0] == "L"},
    )
