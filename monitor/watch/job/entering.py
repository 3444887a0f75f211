"""How an entry gets into a job's log: checked against what stands there while nobody else can write."""

from __future__ import annotations

from collections.abc import Sequence
from shlex import quote
from typing import Any

from monitor.basis.errors import RecordError
from monitor.basis.times import rfc3339
from monitor.basis.values import Draft, Entry, Kind
from monitor.watch.book import as_if
from monitor.watch.desk import Desk
from monitor.watch.judging import note_completions


def add(desk: Desk, job: str, draft: Draft) -> Entry:
    """Append one entry and note what it makes of the completions.

    Raises RecordError where the log would contradict itself.
    """
    desk.book.log(job)
    entry = desk.store.append(job, [draft], check=lambda entries: consistent(job, as_if(entries, job, [draft])))[0]
    if draft.kind in (Kind.DELIVER, Kind.INSTALL):
        note_completions(desk, job)
    return entry


def consistent(job: str, log: Sequence[Entry]) -> None:
    """Raises RecordError where a log, corrections applied, contradicts itself or says the same delivery twice."""
    installs = [entry for entry in log if entry.kind is Kind.INSTALL]
    finishes = [entry for entry in installs if entry.body["finish"] is not None]
    for entry in installs:
        if entry.at != installs[0].at:
            raise _otherwise(job, "started", installs[0], installs[0].at, "--at TIME")
    for entry in finishes:
        if entry.body["finish"] < entry.at:
            raise RecordError("the finish is before the start", where="log install", mend="Check the two times")
        if entry.body["finish"] != finishes[0].body["finish"]:
            raise _otherwise(job, "was finished", finishes[0], finishes[0].body["finish"], "--set finish=TIME")
    _told_once(job, log)
    for entry in log:
        if entry.kind in (Kind.EVENT, Kind.CAUSE) and (entry.body["until"] or entry.at) < entry.at:
            what = f"the {entry.kind.value} ends before it begins"
            raise RecordError(what, where=f"log of {job}", mend="Check the two times")


def _told_once(job: str, log: Sequence[Entry]) -> None:
    told: dict[tuple[Any, ...], int] = {}
    for entry in log:
        what = (entry.at, entry.body.get("lot"), entry.body.get("place"))
        if entry.kind is Kind.DELIVER and told.setdefault(what, entry.number) != entry.number:
            raise RecordError(
                f"entry {told[what]} says so already", where=f"log of {job}", mend="Give another lot its own --lot NAME"
            )


def _otherwise(job: str, what: str, entry: Entry, at: int, option: str) -> RecordError:
    return RecordError(
        f"the installation {what} {rfc3339(at)} by the log",
        where=f"job {job}",
        mend=f"Give that time, or correct it: wallclime log correct {quote(job)} {entry.number} {option} --reason TEXT",
    )
