"""Walls as they are opened: one, or all of a list; and those that hang already when their record begins."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TypeVar

from monitor.basis.errors import Fault, RecordError, WallclimeError
from monitor.basis.times import parse_time, zone_of
from monitor.basis.values import Entry
from monitor.rules.begun import UP_BEFORE
from monitor.watch.desk import Desk
from monitor.watch.job.installing import Installing, install
from monitor.watch.job.jobs import Opening, drafts_of, open_job, past

_T = TypeVar("_T")


def open_one(desk: Desk, opening: Opening, *, who: str) -> list[Entry]:
    """Open a job; of a wall that is up already, that it is.

    Raises RecordError, ProfileError, QuantityError, TimeError: then nothing was opened.
    """
    up = _up_since(desk, opening)
    entries = open_job(desk, opening, who=who)
    if up is not None:
        told = Installing(up, up, not_ready=True, reason=UP_BEFORE)
        entries.append(install(desk, opening.name, told, who=who))
    return entries


def _up_since(desk: Desk, opening: Opening) -> int | None:
    """When it was finished, None where it is not up yet. Raises RecordError, TimeError. [ms]"""
    if opening.up_since is None:
        return None
    return past(desk, parse_time(opening.up_since, zone_of(opening.zone), where="--up-since"), "--up-since")


def each_of(made: Sequence[tuple[str, Callable[[], _T]]]) -> list[_T]:
    """What each of several makes, which are named. Raises RecordError with the faults of all, each with its name."""
    found: list[_T] = []
    faults: list[Fault] = []
    for name, make in made:
        try:
            found.append(make())
        except WallclimeError as exc:
            faults += [Fault(one.what, f"{name}: {one.where}", one.mend) for one in exc.faults]
    if faults:
        raise RecordError.of(faults)
    return found


def open_all(desk: Desk, walls: Sequence[tuple[Opening, str]]) -> list[Opening]:
    """Open several jobs, each as somebody says it; those that were opened. What is a job already is left as it is.

    All are looked over first. Raises RecordError with every fault: then nothing was opened.
    """
    known = set(desk.book.names())
    new = [(one, who) for one, who in walls if one.name not in known]
    each_of([(one.name, partial(_looked_over, desk, one, who)) for one, who in new])
    for opening, who in new:
        open_one(desk, opening, who=who)
    return [one for one, _ in new]


def _looked_over(desk: Desk, opening: Opening, who: str) -> None:
    drafts_of(desk, opening, who=who)
    _up_since(desk, opening)
