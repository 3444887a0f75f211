"""Entries of a job's condition log: what people say happened, and when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from monitor.basis.errors import Fault, RecordError
from monitor.basis.times import rfc3339
from monitor.basis.values import Draft, Entry, Kind, Quantity
from monitor.rules.assessment import Assessment
from monitor.rules.frame import effective
from monitor.watch.desk import Desk
from monitor.watch.jobs import checked_name, past
from monitor.watch.judging import assess, note_completions


def deliver(
    desk: Desk,
    job: str,
    *,
    at: int | None,
    lot: str | None,
    place: str | None,
    boxes: int | None,
    facts: Mapping[str, Any],
    who: str,
) -> Entry:
    """Record that boxes came. A lot left out is numbered; a place left out is the job's place of boxes."""
    count = sum(entry.kind is Kind.DELIVER for entry in effective(desk.book.log(job)))
    body = {
        "lot": checked_name(lot or f"lot {count + 1}", "--lot"),
        "place": checked_name(place or desk.book.job(job).boxes_place, "--place"),
        "boxes": boxes,
        **facts,
    }
    return _add(desk, job, Draft(Kind.DELIVER, past(desk, at, "log deliver"), who, body))


@dataclass(frozen=True, slots=True)
class Installing:
    """What `log install` is told. Times in UTC ms."""

    start: int
    finish: int | None = None
    not_ready: bool = False
    reason: str = ""
    asked_by: str = ""
    lots: tuple[str, ...] = ()


def install(desk: Desk, job: str, told: Installing, *, who: str) -> Entry:
    """Record that the installation started, or finished.

    Raises RecordError when the job is not ready and that was not said, when it started at another time, or when the
    finish is before the start.
    """
    start = past(desk, told.start, "log install --start")
    if told.finish is not None and past(desk, told.finish, "log install --finish") < start:
        raise RecordError("the finish is before the start", where="log install", mend="Check the two times")
    before = [entry for entry in effective(desk.book.log(job)) if entry.kind is Kind.INSTALL]
    body: dict[str, Any] = {"finish": told.finish, "lots": list(told.lots)}
    if before:
        _continues(job, before[0], start)
    else:
        body |= _open_conditions(desk, job, told)
    return _add(desk, job, Draft(Kind.INSTALL, start, who, body))


def _continues(job: str, first: Entry, start: int) -> None:
    if first.at != start:
        raise RecordError(
            f"the installation started {rfc3339(first.at)} by the log",
            where=f"job {job}",
            mend=f"Give that start, or correct it: wallclime log correct {job} {first.number} --at TIME --reason TEXT",
        )


def _open_conditions(desk: Desk, job: str, told: Installing) -> dict[str, Any]:
    """The conditions that were open at the start; starting all the same takes a reason."""
    found = assess(desk, job, at=told.start)
    still = [condition.to_json() for condition in found.readiness if condition.verdict != "pass"]
    if not still:
        return {}
    if not told.not_ready:
        raise RecordError.of(
            [
                Fault(f"{one['condition']}: {one['verdict']} ({one['evidence']})", f"job {job} is not ready", _MEND)
                for one in still
            ]
        )
    if not told.reason.strip():
        raise RecordError("no reason is given", where="log install --not-ready", mend="Add --reason TEXT")
    return {"not_ready": still, "reason": told.reason, "asked_by": told.asked_by}


_MEND = "Settle it, or start all the same: --not-ready --reason TEXT"


def hand_reading(
    desk: Desk, job: str, values: Mapping[Quantity, float], *, at: int | None, instrument: str, who: str
) -> Entry:
    """Record what somebody read off an instrument of their own: drawn and compared, never counted. degC, %RH."""
    if not values:
        raise RecordError("nothing was read", where="log reading", mend="Give --temperature or --humidity, or both")
    body = {"values": {quantity.value: value for quantity, value in values.items()}, "instrument": instrument}
    return _add(desk, job, Draft(Kind.READING, past(desk, at, "log reading"), who, body))


def note(desk: Desk, job: str, text: str, *, at: int | None, who: str) -> Entry:
    """Record a remark."""
    if not text.strip():
        raise RecordError("the note is empty", where="log note", mend="Write what happened")
    return _add(desk, job, Draft(Kind.NOTE, past(desk, at, "log note"), who, {"text": text}))


@dataclass(frozen=True, slots=True)
class Corrected:
    """A correction and the verdicts before and after it."""

    entry: Entry
    before: Assessment
    after: Assessment


def correct(
    desk: Desk,
    job: str,
    number: int,
    *,
    at: int | None = None,
    instead: Mapping[str, Any] | None = None,
    withdraw: bool = False,
    reason: str,
    who: str,
) -> Corrected:
    """Say that an entry was wrong: about its time, about what it said, or altogether. Both stay in the log.

    Raises RecordError when there is no such entry, or it is one that can't be corrected.
    """
    standing = {entry.number: entry for entry in effective(desk.book.log(job))}
    if number not in standing:
        raise RecordError(
            f"there is no entry {number} to correct", where=f"log of {job}", mend=f"See wallclime log list {job}"
        )
    if standing[number].kind in (Kind.JOB, Kind.COMPLETION, Kind.COMPLETION_REVISED):
        raise RecordError(
            f"entry {number} ({standing[number].kind.value}) can't be corrected",
            where=f"log of {job}",
            mend="Write a note instead: wallclime log note",
        )
    if not (withdraw or instead or at is not None):
        raise RecordError(
            "nothing is corrected", where="log correct", mend="Give --at TIME, --set KEY=VALUE or --withdraw"
        )
    if not reason.strip():
        raise RecordError("no reason is given", where="log correct", mend="Add --reason TEXT")
    body: dict[str, Any] = {"reason": reason}
    if withdraw:
        body["withdrawn"] = True
    if at is not None:
        body["at"] = past(desk, at, "log correct --at")
    if instead:
        body["instead"] = dict(instead)
    before = assess(desk, job)
    entry = desk.store.append(job, [Draft(Kind.CORRECTION, desk.clock.now(), who, body, corrects=number)])[0]
    note_completions(desk, job)
    return Corrected(entry, before, assess(desk, job))


def _add(desk: Desk, job: str, draft: Draft) -> Entry:
    desk.book.log(job)
    entry = desk.store.append(job, [draft])[0]
    if draft.kind in (Kind.DELIVER, Kind.INSTALL):
        note_completions(desk, job)
    return entry


def entries(desk: Desk, job: str) -> Sequence[Entry]:
    """The whole log of a job, in the order of writing."""
    return desk.book.log(job)
