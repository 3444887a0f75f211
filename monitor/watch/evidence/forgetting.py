"""Holds and forgetting: what must not go, and what somebody asked to have erased.

A held job is neither thinned nor forgotten. What is forgotten leaves its place in the chain, and an entry that says
which, why, when and who asked. Of a job that goes on being judged only what no verdict rests on can go. Readings stay:
they are the air of a place, hold no name, and are sealed by sensor and day for every job that shares the place.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from shlex import quote
from typing import Any

from monitor.basis.errors import RecordError
from monitor.basis.values import Draft, Entry, Kind
from monitor.rules.frame import effective
from monitor.seal.chain import body_hash
from monitor.watch.desk import Desk
from monitor.watch.disk import store_file
from monitor.watch.job.jobs import given_reason
from monitor.watch.judging import PROGRAM
from monitor.watch.upkeep import copies_in

# What people wrote down or photographed; no verdict rests on it. Of alarms it is why somebody shelved one.
PERSONAL = (Kind.NOTE, Kind.PHOTO, Kind.EVENT, Kind.CAUSE, Kind.CARE, Kind.INSPECTION)
FREE = (*PERSONAL, Kind.READING, Kind.DOCUMENT)


def is_personal(entry: Entry) -> bool:
    """Whether it says what people wrote down or photographed."""
    return entry.kind in PERSONAL or (entry.kind is Kind.ALARM and bool(entry.body.get("reason")))


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What was done: the entry that tells of it (None: all was erased before), what it erased, files that went along.

    `names`: whoever is still named by entries that stay, and by which; `older`: stores of earlier days that lie beside
    this one, moved on or replaced, and copies made on schedule, which say all of it still.
    """

    entry: Entry | None
    numbers: tuple[int, ...] = ()
    files: int = 0
    names: Mapping[str, Sequence[int]] = field(default_factory=dict)
    older: tuple[Path, ...] = ()


# --- holds ------------------------------------------------------------------------------------------------------------


def held(log: Sequence[Entry]) -> Entry | None:
    """The entry by which a job is held; None while it is not."""
    last = next((entry for entry in reversed(log) if entry.kind is Kind.HOLD), None)
    return last if last is not None and last.body["held"] else None


def hold(desk: Desk, job: str, *, reason: str, who: str) -> Entry:
    """Keep a job from being thinned or forgotten: {held, reason}. Raises RecordError."""

    def check(log: Sequence[Entry]) -> None:
        if (since := held(log)) is not None:
            raise RecordError(_since(since), where=f"job {job}", mend="Nothing needs to be done")

    return _held(desk, job, True, given_reason(reason, "job hold"), who, check)


def release(desk: Desk, job: str, *, reason: str, who: str) -> Entry:
    """End the hold of a job. Raises RecordError."""

    def check(log: Sequence[Entry]) -> None:
        if held(log) is None:
            raise RecordError("it is not held", where=f"job {job}", mend="Nothing needs to be done")

    return _held(desk, job, False, given_reason(reason, "job release"), who, check)


def _held(desk: Desk, job: str, now_held: bool, reason: str, who: str, check: Any) -> Entry:
    desk.book.log(job)
    draft = Draft(Kind.HOLD, desk.clock.now(), who, {"held": now_held, "reason": reason})
    return desk.store.append(job, [draft], check=check)[0]


def refuse_held(job: str, log: Sequence[Entry]) -> None:
    """Raises RecordError while the job is held."""
    if (since := held(log)) is not None:
        mend = f"Release it first: wallclime job release {quote(job)} --reason TEXT"
        raise RecordError(_since(since), where=f"job {job}", mend=mend)


def _since(entry: Entry) -> str:
    return f"it is held since entry {entry.number}: {entry.body['reason']}"


# --- forgetting -------------------------------------------------------------------------------------------------------


def forget(
    desk: Desk, job: str, *, numbers: Sequence[int] = (), personal: bool = False, reason: str, who: str
) -> Forgotten:
    """Erase what entries say, and the files that only they name, out of the store and its free space.

    The entries `numbers` with their corrections, all that is `personal`, or without either the whole job. What is
    erased already is cleaned out of the file again. With the whole job go its alarms and the messages that name it,
    told or not. Raises RecordError, StoreError.
    """
    given_reason(reason, "job forget")
    if numbers and personal:
        raise RecordError("it is not clear what is to go", where="job forget", mend="Give --entries or --personal")
    if job in desk.store.forgotten():
        desk.store.scrub()
        return Forgotten(None, older=older_stores(desk))

    def tombstone(log: Sequence[Entry]) -> Draft:
        going = _going(job, log, numbers, personal, desk.clock.now())
        kinds = Counter(entry.kind.value for entry in log if entry.number in going and entry.kind is not Kind.ERASED)
        if not kinds:
            raise _NothingLeftError
        body = {"reason": reason, "entries": going, "kinds": dict(sorted(kinds.items())), "whole": 1 in going}
        return Draft(Kind.FORGOTTEN, desk.clock.now(), who, body)

    desk.book.log(job)
    try:
        entry, files = desk.store.forget(job, tombstone, body_hash=body_hash)
    except _NothingLeftError:
        desk.store.scrub()
        return Forgotten(None, older=older_stores(desk))
    desk.store.scrub()
    names = _names(desk.store.entries(job))
    return Forgotten(entry, tuple(entry.body["entries"]), files, names, older_stores(desk))


def older_stores(desk: Desk) -> tuple[Path, ...]:
    """Stores that were moved on to a new version or replaced, and were kept beside this one, and its scheduled copies.

    None of PostgreSQL.
    """
    file, copied = store_file(desk.settings), desk.settings.backup
    if file is None:
        return ()
    found = [*file.parent.glob("*.before-*"), *file.parent.glob("*.replaced-*")]
    beside = sorted(path for path in found if path.name.startswith(f"{file.stem}."))
    return (*beside, *(copies_in(copied.to) if copied is not None else ()))


class _NothingLeftError(Exception):
    """All that was to be erased is erased already."""


def _going(job: str, log: Sequence[Entry], numbers: Sequence[int], personal: bool, now: int) -> list[int]:
    """The numbers of the entries to erase, in order. Raises RecordError."""
    refuse_held(job, log)
    standing = effective(log)
    closed = any(entry.kind is Kind.CLOSE for entry in standing)
    finished = any(entry.kind is Kind.INSTALL and (entry.body["finish"] or now) < now for entry in standing)
    if not (closed or (finished and (numbers or personal))):
        mend = f"Close it first: wallclime job close {quote(job)} --reason TEXT"
        raise RecordError("it is still open", where=f"job {job}", mend=mend)
    if not (numbers or personal):
        return [entry.number for entry in log]
    for number in numbers:
        _check_free(job, log, number)
    chosen = {entry.number for entry in log if entry.number in numbers or (personal and is_personal(entry))}
    return sorted(chosen | {entry.number for entry in log if entry.corrects in chosen})


def _check_free(job: str, log: Sequence[Entry], number: int) -> None:
    if not 1 <= number <= len(log):
        mend = f"See wallclime log list {quote(job)}"
        raise RecordError(f"there is no entry {number}", where=f"log of {job}", mend=mend)
    entry = log[number - 1]
    if entry.kind is Kind.CORRECTION:
        what = f"entry {number} only corrects entry {entry.corrects}"
        raise RecordError(what, where=f"log of {job}", mend="Give that one; its corrections go with it")
    if entry.kind not in (*FREE, Kind.ERASED) and not is_personal(entry):
        what = f"the record rests on entry {number} ({entry.kind.value})"
        mend = f"Leave it, or forget the whole job: wallclime job forget {quote(job)} --reason TEXT"
        raise RecordError(what, where=f"log of {job}", mend=mend)


def _names(log: Sequence[Entry]) -> dict[str, list[int]]:
    names: dict[str, list[int]] = {}
    for entry in log:
        if entry.kind not in (Kind.ERASED, Kind.FORGOTTEN) and entry.who != PROGRAM:
            names.setdefault(entry.who, []).append(entry.number)
    return names
