"""What is done on schedule, as a table of 80 columns and as JSON; in UTC, and by the clocks that a work keeps to."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from monitor.basis.times import MINUTE, SECOND, datetime_of, rfc3339, zone_of
from monitor.keep.rows import Doing, Scheduled
from monitor.tell.words import visible

WIDTH = 80
_NAME, _RUNS, _TIME = 16, 18, 20  # of the columns
_LONG = MINUTE  # a run that goes on for longer is told [ms]


def timetable(works: Sequence[Scheduled], now: int) -> str:
    """A line for each work, and below it what else is to be known; "" without any. [ms]"""
    lines = [line for work in works for line in _lines(work, now)]
    return "\n".join([_row("work", "runs", "last", "next"), *lines]) if works else ""


def timetable_json(works: Iterable[Scheduled]) -> list[dict[str, Any]]:
    """The same for machines."""
    return [
        {
            "name": work.name,
            "runs": work.runs,
            "zone": work.zone,
            "state": work.state.value,
            "last": _rfc3339(work.started),
            "ended": _rfc3339(work.ended),
            "next": _rfc3339(work.next),
            "failed": _rfc3339(work.failed),
            "error": work.error,
        }
        for work in works
    ]


def _rfc3339(at: int | None) -> str | None:
    return None if at is None else rfc3339(at)


def _row(name: str, runs: str, last: str, then: str) -> str:
    return f"{name:<{_NAME}}  {runs:<{_RUNS}}  {last:<{_TIME}}  {then}".rstrip()


def _lines(work: Scheduled, now: int) -> Iterator[str]:
    name = visible(work.name)
    if len(name) > _NAME:
        yield from textwrap.wrap(name, WIDTH)
        name = ""
    yield _row(name, work.runs, _second(work.started, "never"), _second(work.next, "not known"))
    for text in _more(work, now):
        yield from textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")


def _more(work: Scheduled, now: int) -> Iterator[str]:
    if work.zone is not None:
        local = ((said, at) for said, at in (("last", work.started), ("next", work.next)) if at is not None)
        yield f"{work.zone}: " + ", ".join(f"{said} {_local(at, work.zone)}" for said, at in local)
    if work.state is Doing.RUNNING and work.started is not None and now - work.started > _LONG:
        yield f"has not ended since {_second(work.started, '')}"
    if work.failed is not None:
        when = "failed" if work.state is Doing.FAILED else "last error"
        yield f"{when} {_second(work.failed, '')}: {visible(work.error or '')}"


def _second(at: int | None, none: str) -> str:
    return none if at is None else rfc3339(at - at % SECOND)


def _local(at: int, zone: str) -> str:
    return f"{datetime_of(at, zone_of(zone)):%Y-%m-%d %H:%M}"
