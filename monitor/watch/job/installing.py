"""The installation: how it was begun, under what conditions, and what was done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from monitor.basis.errors import Fault, RecordError
from monitor.basis.values import Draft, Entry, Kind
from monitor.climate.wood import moves_with_moisture
from monitor.rules.assessment import Assessment
from monitor.rules.board.boards import came_with, measured_moistures
from monitor.rules.frame import effective
from monitor.tell import words
from monitor.watch.book import as_if
from monitor.watch.desk import Desk
from monitor.watch.job.bodies import check_body
from monitor.watch.job.entering import add, consistent
from monitor.watch.job.jobs import given_reason, past
from monitor.watch.judging import assess
from monitor.watch.papers.shown import display


@dataclass(frozen=True, slots=True)
class Installing:
    """What `log install` is told. Times in UTC ms; `facts` as `install` writes them into the entry."""

    start: int
    finish: int | None = None
    not_ready: bool = False
    reason: str = ""
    asked_by: str = ""
    lots: tuple[str, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)


def install(desk: Desk, job: str, told: Installing, *, who: str, again: bool = False) -> Entry:
    """Record that the installation started, or was finished, or more of what was done.

    The entry's time is the start. Its body has `finish` [ms or None] and `lots` (names of those used), and where they
    were told `who_installed`, `gaps_m` (left, right, top, bottom), `stagger_kept_m`, `rejected_planks`, `lot_areas`
    (lot: where on the wall), `fastening`, `adhesive`, `pinned` (what pins a row), `departures` (from the maker's
    instructions) and `offcut` (where one is kept). The first entry also has `conditions`: what the record says of that
    minute (see `_conditions`), judged by the lots that are named; with conditions open `not_ready` (each one with its
    verdict and evidence), `reason` and `asked_by`.

    Raises RecordError when the job is not ready and that was not said, when it started at another time, when the
    finish is before the start, when a lot was never delivered, or when the log says all of it already (`again`: then
    the first entry is answered).
    """
    start = past(desk, told.start, "log install --start")
    if told.finish is not None:
        past(desk, told.finish, "log install --finish")
    entries = desk.book.log(job)
    log = effective(entries)
    lots = list(dict.fromkeys([*told.lots, *told.facts.get("lot_areas", {})]))
    _delivered(log, lots)
    body: dict[str, Any] = {"finish": told.finish, "lots": lots, **told.facts}
    check_body(Kind.INSTALL, body)
    draft = Draft(Kind.INSTALL, start, who, body)
    consistent(job, as_if(entries, job, [draft]))
    before = [entry for entry in log if entry.kind is Kind.INSTALL]
    if not before:
        return add(desk, job, replace(draft, body={**body, **_at_the_start(desk, job, told, lots)}))
    if _news(before, body):
        return add(desk, job, draft)
    if not again:
        raise RecordError("the log says so already", where="log install", mend="Give --finish TIME once it is done")
    return before[0]


def _delivered(log: Sequence[Entry], lots: Sequence[str]) -> None:
    known = [entry.body["lot"] for entry in log if entry.kind is Kind.DELIVER]
    for lot in lots:
        if lot not in known:
            mend = f"Delivered were {', '.join(map(repr, known))}" if known else "Enter it first: wallclime log deliver"
            raise RecordError(f"no lot {lot!r} was delivered", where="--lot", mend=mend)


def _news(before: Sequence[Entry], body: Mapping[str, Any]) -> bool:
    """Whether a body says anything that no entry `before` says."""
    lots = {lot for entry in before for lot in entry.body["lots"]}
    said = [(key, value) for key, value in body.items() if key != "lots" and value is not None]
    told = all(any(entry.body.get(key) == value for entry in before) for key, value in said)
    return not (told and lots.issuperset(body["lots"]))


def _at_the_start(desk: Desk, job: str, told: Installing, lots: Sequence[str]) -> dict[str, Any]:
    """What the record says of the start; with conditions open, starting all the same takes a reason."""
    found = assess(desk, job, at=told.start, lots=lots)
    still = [condition.to_json() for condition in found.readiness if condition.verdict != "pass"]
    conditions = {"conditions": {**_conditions(found), "boards": _boards(desk, found)}}
    if not still:
        return conditions
    if not told.not_ready:
        shown, where = display(desk, job), f"job {job} is not ready"
        raise RecordError.of(
            [
                Fault(f"{one.name}: {one.verdict} ({words.evidence(one.evidence, shown)})", where, _MEND)
                for one in found.readiness
                if one.verdict != "pass"
            ]
        )
    reason = given_reason(told.reason, "log install --not-ready")
    return {**conditions, "not_ready": still, "reason": reason, "asked_by": told.asked_by}


def _conditions(found: Assessment) -> dict[str, Any]:
    """The room, the boards and the clock of the lot furthest back, as an Assessment has them; times in ms.

    `heard`: what each sensor says, degC and %RH; `open`: the names of the conditions that do not pass.
    """
    lot, clock = found.lot, found.lot.clock
    return {
        "at": found.as_of,
        "room": found.now.state,
        "since": found.now.since,
        "heard": {name: {q.value: v for q, v in said.items()} for name, said in found.now.values.items()},
        "lot": lot.name,
        "counted_ms": clock.counted,
        "required_ms": clock.required,
        "complete": clock.completed_at,
        "open": [one.name for one in found.readiness if one.verdict != "pass"],
    }


def _boards(desk: Desk, found: Assessment) -> dict[str, Any] | None:
    """The boxes' core as a condition, and `came_with_pct` (lowest, central, highest) of boards that moisture moves."""
    core = next((one.to_json() for one in found.readiness if one.name == "box core"), None)
    profile = desk.book.profile_at(found.job, found.as_of)
    if not moves_with_moisture(profile.board.core):
        return core
    frame = desk.book.frame(found.job, profile, found.as_of)
    came = {"came_with_pct": list(came_with(frame)), "came_with_measured": bool(measured_moistures(frame))}
    return {**(core or {}), **came}


_MEND = "Settle it, or start all the same: --not-ready --reason TEXT"
