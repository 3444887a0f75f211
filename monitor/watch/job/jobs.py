"""Jobs: opened, listed, given another profile, closed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

from monitor.basis.errors import Fault, RecordError
from monitor.basis.times import datetime_of, rfc3339, zone_of
from monitor.basis.units import System
from monitor.basis.values import Draft, Entry, Kind
from monitor.config.jobfile import option
from monitor.config.profile import Profile, load_profile
from monitor.rules.alarm.building import building_of
from monitor.rules.assessment import Condition
from monitor.rules.frame import effective
from monitor.rules.install import suitability
from monitor.rules.install.suitability import QUESTIONS, objections
from monitor.watch.desk import Desk
from monitor.watch.judging import note_completions

if TYPE_CHECKING:
    from monitor.rules.install.takeoff import Lay
    from monitor.rules.install.wall import WallShape

LONGEST_NAME = 120  # of a job, lot, place or sensor [characters]


@dataclass(frozen=True, slots=True)
class Opening:
    """What `job open` is told. A place left out is one of the job's own name; `near` is where the profile may lie.

    `split`: the wall is to be parted as its take-off proposes. `answers` are those of rules.suitability, of which what
    speaks against the place needs a `reason`. `up_since` is when the wall was finished, as written, where it hangs
    already (see openings).
    """

    name: str
    zone: str
    shape: WallShape
    units: System
    profile: str
    boxes_place: str | None = None
    wall_place: str | None = None
    outdoor_place: str | None = None
    lay: Lay = "horizontal"
    split: bool = False
    answers: Mapping[str, Any] = field(default_factory=dict)
    reason: str = ""
    near: Path | None = None
    building: str | None = None
    up_since: str | None = None


def checked_name(name: str, what: str) -> str:
    """A name that can stand in a line: not empty, printable, not too long, no blanks around. Raises RecordError."""
    if not name.strip() or name != name.strip() or not name.isprintable() or len(name) > LONGEST_NAME:
        raise RecordError(
            f"{name[:LONGEST_NAME]!r} can't be a name",
            where=what,
            mend=f"Use 1 to {LONGEST_NAME} printable characters without blanks around",
        )
    return name


def past(desk: Desk, at: int | None, what: str) -> int:
    """The time an entry speaks of: now by default, never later. Raises RecordError. [ms]"""
    now = desk.clock.now()
    if at is not None and at > now:
        raise RecordError(
            f"{rfc3339(at)} is in the future", where=what, mend="The log holds what has happened; check the date"
        )
    return now if at is None else at


def given_reason(reason: str, what: str) -> str:
    """A reason that was given. Raises RecordError for a blank one."""
    if not reason.strip():
        raise RecordError("no reason is given", where=what, mend="Add --reason TEXT")
    return reason


def open_job(desk: Desk, opening: Opening, *, who: str) -> list[Entry]:
    """Open a job with its profile frozen in, the take-off of its wall, and what was said of the place.

    Raises RecordError when the name is taken or when what speaks against the place has no reason, ProfileError,
    QuantityError, TimeError.
    """
    return desk.store.append(opening.name, drafts_of(desk, opening, who=who), new=True)


def drafts_of(desk: Desk, opening: Opening, *, who: str) -> list[Draft]:
    """The entries with which a job begins.

    Raises RecordError when what speaks against the place has no reason, ProfileError, QuantityError, TimeError.
    """
    name = checked_name(opening.name, "job open")
    zone_of(opening.zone, where="--zone")
    profile = load_profile(opening.profile, near=opening.near)
    for key in ("boxes_place", "wall_place", "outdoor_place", "building"):
        if getattr(opening, key) is not None:
            checked_name(getattr(opening, key), option(key))
    boxes = opening.boxes_place or opening.wall_place or name
    now = desk.clock.now()
    body = {
        "zone": opening.zone,
        "length_m": opening.shape.length,
        "height_m": opening.shape.height,
        "units": opening.units,
        "boxes_place": boxes,
        "wall_place": opening.wall_place or boxes,
        "outdoor_place": opening.outdoor_place,
    }
    from monitor.watch.job.takeoff import draft_of, measure

    measured = measure(opening.shape, profile, lay=opening.lay, split=opening.split, system=opening.units)
    drafts = [Draft(Kind.JOB, now, who, body), _profile_draft(profile, now, who), draft_of(measured, now, who)]
    if opening.answers or opening.reason:
        answers = _answers(desk, opening.zone, opening.answers, opening.reason, f"job {name}")
        drafts.append(Draft(Kind.SUITABILITY, now, who, answers))
    if opening.building is not None:
        drafts.append(Draft(Kind.BUILDING, now, who, {"building": opening.building}))
    return drafts


def _answers(desk: Desk, zone: str, answers: Mapping[str, Any], reason: str, where: str) -> dict[str, Any]:
    """What is said of a place, as an entry says it. Raises RecordError for dates to come and what needs a reason."""
    today = datetime_of(desk.clock.now(), zone_of(zone)).date().isoformat()
    faults = [
        Fault(f"{said} is still to come", option(key), 'Write "no" while it is not so')
        for key, said in answers.items()
        if QUESTIONS[key].dated and said and said > today
    ]
    if not reason.strip():
        mend = "The planks are not made for it: choose another wall, or add --reason TEXT, which is written down"
        faults += [Fault(what, f"{where}, {option(key)}", mend) for key, what in objections(answers).items()]
    if faults:
        raise RecordError.of(faults)
    return {**answers, **({"reason": reason} if reason.strip() else {})}


def say_place(
    desk: Desk, job: str, answers: Mapping[str, Any], *, reason: str = "", at: int | None = None, who: str
) -> Entry:
    """Say later what the place of a job's wall is like; the last answer to a question stands. Raises RecordError."""
    found = desk.book.job(job)
    if not answers:
        options = ", ".join(option(key) for key in QUESTIONS)
        raise RecordError("nothing is said of the place", where="job place", mend=f"Give one or more of {options}")
    body = _answers(desk, found.zone, answers, reason, f"job {job}")
    return desk.store.append(job, [Draft(Kind.SUITABILITY, past(desk, at, "job place"), who, body)])[0]


def say_building(desk: Desk, job: str, building: str, *, who: str) -> Entry:
    """Say which building a job's wall is in; the last one said stands. Raises RecordError."""
    if checked_name(building, "job building") == building_of(desk.book.log(job)):
        raise RecordError(
            f"it is in {building!r} by the log already", where=f"job {job}", mend="Nothing needs to be done"
        )
    return desk.store.append(job, [Draft(Kind.BUILDING, desk.clock.now(), who, {"building": building})])[0]


def place_condition(desk: Desk, job: str) -> Condition:
    """Whether the planks are made for the place, by all that was said of it so far."""
    return suitability.condition(suitability.place_of(effective(desk.book.log(job))))


def _profile_draft(profile: Profile, at: int, who: str, reason: str = "") -> Draft:
    body = {"name": profile.name, "sha256": profile.sha256, "text": profile.text}
    return Draft(Kind.PROFILE, at, who, {**body, "reason": reason} if reason else body)


def change_profile(desk: Desk, job: str, profile: str, *, reason: str, who: str) -> Entry:
    """Judge the job under another profile from now on; the verdict under the first is shown beside it.

    Raises RecordError, ProfileError.
    """
    given_reason(reason, "job profile")
    found = load_profile(profile)
    if found.text == desk.book.profile(job, desk.clock.now()).text:
        raise RecordError(
            "this profile is in force already", where=f"profile of {job}", mend="Nothing needs to be done"
        )
    entry = desk.store.append(job, [_profile_draft(found, desk.clock.now(), who, reason)])[0]
    note_completions(desk, job)
    return entry


def close_job(desk: Desk, job: str, *, at: int | None, reason: str, who: str) -> Entry:
    """End the judged span of a job. Raises RecordError when it is closed already."""
    closed = _closed(desk, job)
    if closed is not None:
        raise RecordError(
            f"it was closed {rfc3339(closed.at)}",
            where=f"job {job}",
            mend=f"If that was wrong: wallclime log correct {quote(job)} {closed.number} --withdraw --reason TEXT",
        )
    body = {"reason": given_reason(reason, "job close")}
    entry = desk.store.append(job, [Draft(Kind.CLOSE, past(desk, at, "job close"), who, body)])[0]
    note_completions(desk, job)
    return entry


def _closed(desk: Desk, job: str) -> Entry | None:
    return desk.book.told(job, _close_of)


def _close_of(log: Sequence[Entry]) -> Entry | None:
    return next((entry for entry in effective(log) if entry.kind is Kind.CLOSE), None)


def closed_at(desk: Desk, job: str) -> int | None:
    """When the job was closed, None while it is open."""
    closed = _closed(desk, job)
    return None if closed is None else closed.at


def facts_of(desk: Desk, job: str) -> dict[str, Any]:
    """What was said of a job, JSON-safe."""
    found, log = desk.book.job(job), desk.book.log(job)
    closed = closed_at(desk, job)
    return {
        "job": job,
        "opened": rfc3339(found.opened),
        "opened_by": log[0].who,
        "zone": found.zone,
        "length_m": found.length,
        "height_m": found.height,
        "units": found.units,
        "boxes_place": found.boxes_place,
        "wall_place": found.wall_place,
        "outdoor_place": found.outdoor_place,
        "building": building_of(log) or None,
        "profiles": [
            f"{rfc3339(one.since)} {desk.book.parsed(one.text, job).name}{': ' + one.reason if one.reason else ''}"
            for one in desk.book.profiles(job)
        ],
        "entries": len(log),
        "closed": None if closed is None else rfc3339(closed),
    }
