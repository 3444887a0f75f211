"""Thinning: of days long past most readings of a sensor go; their seals stay, and an entry says what is left.

Only sealed days, never under a hold, and never those on which an acclimation or an installation rests: from a day
before the first delivery of each job that has to do with the sensor to 30 days after its wall was finished. What is
left is judged anew: a verdict on such days may differ.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from shlex import quote
from typing import NamedTuple

from monitor.basis.errors import RecordError
from monitor.basis.packing import pack
from monitor.basis.segment import Segment, encode
from monitor.basis.times import DAY, MINUTE, day_of, rfc3339
from monitor.basis.units import format_duration
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind, Quantity
from monitor.keep.thin import YOUNGEST, Left
from monitor.rules.frame import effective
from monitor.rules.thinning import left_of
from monitor.seal import records
from monitor.seal.thinned import Thinned, said_of, thinned_leaves
from monitor.watch.desk import Desk
from monitor.watch.evidence.forgetting import older_stores, refuse_held
from monitor.watch.evidence.sealcheck import check_day
from monitor.watch.evidence.sealing import sealed_segment
from monitor.watch.job.jobs import given_reason
from monitor.watch.sensing.sensors import known

BEFORE, AFTER = DAY, 30 * DAY  # what stays whole around a job's delivery and the end of its work; ours [ms]
SHORTEST, LONGEST = MINUTE, DAY  # of the stretches of which some readings stay; ours [ms]
MOST = 366  # days of one entry

_READINGS = (records.SEGMENT, records.AMENDMENT)


class Done(NamedTuple):
    """What was done: an entry for each year's worth of days, none where nothing was left to go.

    `readings` there were on these days, `left` there are; `older`: stores and copies beside this one that hold all.
    """

    entries: tuple[Entry, ...]
    readings: int
    left: int
    older: tuple[Path, ...]


class _Day(NamedTuple):
    """A day as it is to be left: for the store, for the entry, how many readings it had."""

    left: Left
    said: list[dict[str, object]]
    readings: int


def thin(desk: Desk, name: str, *, before: int, each: int | None = None, reason: str, who: str) -> Done:
    """Thin the sealed days of a sensor that were over at `before` [ms].

    Of each stretch of `each` ms (the sensor's hold by default: then no known time is lost) the first, lowest, highest
    and last reading of each quantity stay. Raises RecordError, StoreError.
    """
    given_reason(reason, "sensor thin")
    known(desk, name)
    sensor = desk.book.sensors()[name]
    each = min(sensor.hold, LONGEST) if each is None else each
    _check_asked(desk, before, each)
    jobs = desk.book.jobs_of().get(sensor.stream, [])
    spared = [_spared(job, desk.book.log(job), before) for job in jobs]
    days = list(_days(desk, sensor.stream, before, spared, each))
    entries = []
    for some in (days[at : at + MOST] for at in range(0, len(days), MOST)):
        draft = _draft(desk, name, sensor.stream, some, each, reason, who)
        entries.append(desk.store.thin(sensor.stream, [one.left for one in some], draft, jobs=jobs, check=refuse_held))
    for job in jobs:
        desk.store.forget_checkpoints(job)  # what was derived of these days tells of them
    desk.store.scrub(readings=True)
    left = sum(len(times) for one in days for times in one.left.times.values())
    return Done(tuple(entries), sum(one.readings for one in days), left, older_stores(desk))


def _check_asked(desk: Desk, before: int, each: int) -> None:
    if before > desk.clock.now() - YOUNGEST:
        mend = f"Name a day at least {YOUNGEST // DAY} days ago"
        raise RecordError(f"{rfc3339(before)} is not long past", where="sensor thin", mend=mend)
    if not SHORTEST <= each <= LONGEST:
        mend = f"Give {format_duration(SHORTEST)} to {format_duration(LONGEST)}"
        raise RecordError(f"--each is {format_duration(each)}", where="sensor thin", mend=mend)


def _spared(job: str, log: Sequence[Entry], before: int) -> tuple[int, int]:
    """From when to when nothing is thinned for the sake of a job. Raises RecordError where it is not over by then."""
    refuse_held(job, log)
    standing = effective(log)
    closed = [entry.at for entry in standing if entry.kind is Kind.CLOSE]
    finished = [entry.body["finish"] for entry in standing if entry.kind is Kind.INSTALL and entry.body["finish"]]
    if not (finished or closed):
        mend = f"Close it first: wallclime job close {quote(job)} --reason TEXT"
        raise RecordError("its wall is not finished, and it is still open", where=f"job {job}", mend=mend)
    end = max(finished or closed) + AFTER
    if end > before:
        mend = f"What is older than {rfc3339(end)} can be thinned then"
        raise RecordError(f"what it rests on goes up to {rfc3339(end)}", where=f"job {job}", mend=mend)
    delivered = [entry.at for entry in standing if entry.kind is Kind.DELIVER]
    return (min(delivered) - BEFORE if delivered else 0), end


def _days(desk: Desk, stream: str, before: int, spared: Sequence[tuple[int, int]], each: int) -> Iterator[_Day]:
    """The sealed days of which something goes, in order."""
    waiting = {mark.day for mark in desk.store.unsealed(before, [("sensor", stream)])}
    thinned = thinned_leaves(desk.store.entries(SENSORS_CHAIN))
    leaves: dict[int, list[int]] = {}
    for leaf in desk.store.leaves("sensor", stream):
        if leaf.record in _READINGS and leaf.day is not None:
            leaves.setdefault(leaf.day, []).append(leaf.number)
    for day in sorted(leaves):
        over = day + DAY <= day_of(before) and day not in waiting
        if over and not any(start < day + DAY and day < end for start, end in spared):
            found = _day(desk, stream, day, leaves[day], each, thinned)
            if found.said:
                yield found


def _day(desk: Desk, stream: str, day: int, leaves: Sequence[int], each: int, thinned: Mapping[int, Thinned]) -> _Day:
    """A day as it is to be left. Raises RecordError where it is not as it was sealed: that must stay to be seen."""
    faults = check_day(desk, stream, day, thinned)
    if faults:
        raise RecordError(faults[0], where="seals", mend="Nothing is thinned; see wallclime doctor")
    whole = {leaf: sealed_segment(desk, leaf) for leaf in leaves}
    left = {leaf: left_of(segment, each) for leaf, segment in whole.items()}
    fewer = [leaf for leaf in leaves if len(left[leaf]) < len(whole[leaf])]
    times, before = _times(left.values()), _times(whole.values())
    gone = {quantity: len(before[quantity]) - len(times[quantity]) for quantity in before}
    contents = {leaf: pack(encode(left[leaf])) for leaf in fewer}
    said = [said_of(leaf, left[leaf]) for leaf in fewer]
    return _Day(Left(day, times, gone, contents), said, sum(map(len, whole.values())))


def _times(segments: Iterable[Segment]) -> dict[Quantity, list[int]]:
    found: dict[Quantity, list[int]] = {}
    for segment in segments:
        for column in segment.columns:
            found.setdefault(column.quantity, []).extend(column.t.tolist())
    return found


def _draft(desk: Desk, name: str, stream: str, days: Sequence[_Day], each: int, reason: str, who: str) -> Draft:
    body = {
        "sensor": name,
        "stream": stream,
        "each_ms": each,
        "rule": "of each stretch since midnight UTC the first, lowest, highest and last reading of each quantity",
        "reason": reason,
        "readings": sum(one.readings for one in days),
        "left": sum(len(times) for one in days for times in one.left.times.values()),
        "days": [said for one in days for said in one.said],
    }
    return Draft(Kind.THINNED, desk.clock.now(), who, body)
