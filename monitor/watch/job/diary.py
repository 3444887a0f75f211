"""Entries of a job's condition log: what people say happened, and when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from shlex import quote
from typing import Any, NamedTuple

from monitor.basis.errors import RecordError
from monitor.basis.values import Draft, Entry, Kind, Quantity
from monitor.rules.assessment import Assessment
from monitor.rules.begun import open_at_start
from monitor.rules.frame import effective
from monitor.watch.book import as_if
from monitor.watch.desk import Desk
from monitor.watch.job.bodies import check_body
from monitor.watch.job.entering import add, consistent
from monitor.watch.job.jobs import given_reason, past
from monitor.watch.judging import assess, note_completions
from monitor.watch.sensing.sensors import MOST_UNCERTAIN

# As the rules take sensors' values [degC, %RH]
AIR_RANGE = {Quantity.AIR_TEMPERATURE: (-40.0, 85.0), Quantity.AIR_HUMIDITY: (0.0, 105.0)}


def hand_reading(
    desk: Desk,
    job: str,
    values: Mapping[Quantity, float],
    *,
    at: int | None,
    instrument: str,
    who: str,
    uncertainty: Mapping[Quantity, float] | None = None,
) -> Entry:
    """Record what somebody read off an instrument of their own: drawn and compared, never counted. degC, %RH.

    `uncertainty`: expanded, of that instrument [K, %RH]. Raises RecordError.
    """
    if not values:
        raise RecordError("nothing was read", where="log reading", mend="Give --temperature or --humidity, or both")
    for quantity, value in values.items():
        low, high = AIR_RANGE[quantity]
        if not low <= value <= high:
            unit = "%" if quantity is Quantity.AIR_HUMIDITY else "degC"
            raise RecordError(
                f"{value:g} {unit} is no air of a room", where="log reading", mend=f"Read it again: {low:g} to {high:g}"
            )
    for u in (uncertainty or {}).values():
        if not 0 < u <= MOST_UNCERTAIN:
            mend = "Take it from the instrument's data sheet"
            raise RecordError(f"{u:g} is not above 0 and at most {MOST_UNCERTAIN:g}", where="--uncertainty", mend=mend)
    body: dict[str, Any] = {"values": {quantity.value: value for quantity, value in values.items()}}
    body["instrument"] = instrument
    if uncertainty:
        body["uncertainty"] = {quantity.value: u for quantity, u in uncertainty.items()}
    return add(desk, job, Draft(Kind.READING, past(desk, at, "log reading"), who, body))


def note(desk: Desk, job: str, text: str, *, at: int | None, who: str) -> Entry:
    """Record a remark. Raises RecordError."""
    body = {"text": text}
    check_body(Kind.NOTE, body)
    return add(desk, job, Draft(Kind.NOTE, past(desk, at, "log note"), who, body))


class Corrected(NamedTuple):
    """A correction, of several entries where they say the same, and the verdicts before and after it.

    Each with how many conditions were open at the start of the installation.
    """

    entries: tuple[Entry, ...]
    before: Assessment
    after: Assessment
    open_before: int
    open_after: int


_FIXED = (
    Kind.JOB,
    Kind.IMPORT,
    Kind.COMPLETION,
    Kind.COMPLETION_REVISED,
    Kind.HOLD,
    Kind.FORGOTTEN,
    Kind.ERASED,
    Kind.ALARM,
    Kind.ALARM_SETTINGS,
)


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

    The start of the installation is corrected in all entries that say it. Raises RecordError when there is no such
    entry, when it is one that can't be corrected, or when the log would contradict itself.
    """
    standing = effective(desk.book.log(job))
    entry = _correctable(job, standing, number)
    instead = _set(entry, instead or {}, desk)
    if withdraw == bool(instead or at is not None):
        what = "it can't be both withdrawn and set right" if withdraw else "nothing is corrected"
        raise RecordError(what, where="log correct", mend="Give --at TIME, --set KEY=VALUE or --withdraw")
    body: dict[str, Any] = {"reason": given_reason(reason, "log correct")}
    body |= {"withdrawn": True} if withdraw else {}
    body |= {} if at is None else {"at": past(desk, at, "log correct --at")}
    now = desk.clock.now()
    drafts = [Draft(Kind.CORRECTION, now, who, {**body, **({"instead": instead} if instead else {})}, corrects=number)]
    if entry.kind is Kind.INSTALL:
        drafts += [
            Draft(Kind.CORRECTION, now, who, body, corrects=other)
            for other in _with_the_start(standing, entry, moved=at is not None, withdrawn=withdraw)
        ]
    before, open_before = _judged(desk, job)
    added = desk.store.append(job, drafts, check=lambda entries: consistent(job, as_if(entries, job, drafts)))
    note_completions(desk, job)
    after, open_after = _judged(desk, job)
    return Corrected(tuple(added), before, after, open_before, open_after)


def _judged(desk: Desk, job: str) -> tuple[Assessment, int]:
    found = assess(desk, job)
    return found, open_at_start(desk.book.log(job), found.as_of, lambda at: assess(desk, job, at=at))


def standing_entry(desk: Desk, job: str, number: int) -> Entry:
    """An entry as it stands, of those that can be corrected. Raises RecordError."""
    return _correctable(job, effective(desk.book.log(job)), number)


def _correctable(job: str, standing: Sequence[Entry], number: int) -> Entry:
    entry = next((entry for entry in standing if entry.number == number), None)
    if entry is None:
        raise RecordError(
            f"there is no entry {number} to correct", where=f"log of {job}", mend=f"See wallclime log list {quote(job)}"
        )
    frozen = entry.kind is Kind.PROFILE and "reason" not in entry.body  # the one the job was opened with
    if entry.kind in _FIXED or frozen:
        raise RecordError(
            f"entry {number} ({entry.kind.value}) can't be corrected",
            where=f"log of {job}",
            mend="Write a note instead: wallclime log note",
        )
    return entry


def _set(entry: Entry, instead: Mapping[str, Any], desk: Desk) -> dict[str, Any]:
    """What an entry is to say instead, checked. Raises RecordError."""
    for key in instead:
        if key not in entry.body:
            raise RecordError(
                f"entry {entry.number} ({entry.kind.value}) has no {key}",
                where="--set",
                mend=f"See wallclime log list {quote(entry.chain)} --json",
            )
    for key in ("finish", "until"):
        if isinstance(instead.get(key), int):
            past(desk, instead[key], f"--set {key}")
    check_body(entry.kind, {**entry.body, **instead})
    return dict(instead)


def _with_the_start(standing: Sequence[Entry], entry: Entry, *, moved: bool, withdrawn: bool) -> list[int]:
    """The other entries that say the start of the installation and are corrected with `entry`."""
    others = [other.number for other in standing if other.kind is Kind.INSTALL and other.number != entry.number]
    first = all(entry.number < other for other in others)
    return others if moved or (withdrawn and first) else []


def entries(desk: Desk, job: str) -> Sequence[Entry]:
    """The whole log of a job, in the order of writing."""
    return desk.book.log(job)
