"""The installation: how it was begun, under what conditions, and what was done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from monitor.basis.errors import Fault, RecordError
from monitor.basis.values import Draft, Entry, Kind
from monitor.rules.frame import effective
from monitor.watch.book import as_if
from monitor.watch.desk import Desk
from monitor.watch.entering import add, consistent
from monitor.watch.jobs import given_reason, past
from monitor.watch.judging import assess


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

    Raises RecordError when the job is not ready and that was not said, when it started at another time, when the
    finish is before the start, or when a lot was never delivered.
    """
    start = past(desk, told.start, "log install --start")
    if told.finish is not None:
        past(desk, told.finish, "log install --finish")
    entries = desk.book.log(job)
    log = effective(entries)
    _delivered(log, told.lots)
    body: dict[str, Any] = {"finish": told.finish, "lots": list(told.lots)}
    draft = Draft(Kind.INSTALL, start, who, body)
    consistent(job, as_if(entries, job, [draft]))
    before = [entry for entry in log if entry.kind is Kind.INSTALL]
    if before:
        _adds(before, told)
    else:
        draft = replace(draft, body={**body, **_open_conditions(desk, job, told)})
    return add(desk, job, draft)


def _delivered(log: Sequence[Entry], lots: Sequence[str]) -> None:
    known = [entry.body["lot"] for entry in log if entry.kind is Kind.DELIVER]
    for lot in lots:
        if lot not in known:
            mend = f"Delivered were {', '.join(map(repr, known))}" if known else "Enter it first: wallclime log deliver"
            raise RecordError(f"no lot {lot!r} was delivered", where="--lot", mend=mend)


def _adds(before: Sequence[Entry], told: Installing) -> None:
    finishes = [entry.body["finish"] for entry in before]
    lots = {lot for entry in before for lot in entry.body["lots"]}
    if told.finish in (None, *finishes) and lots.issuperset(told.lots):
        raise RecordError("the log says so already", where="log install", mend="Give --finish TIME once it is done")


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
    reason = given_reason(told.reason, "log install --not-ready")
    return {"not_ready": still, "reason": reason, "asked_by": told.asked_by}


_MEND = "Settle it, or start all the same: --not-ready --reason TEXT"
