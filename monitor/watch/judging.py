"""Assessing a job from the store: dirty marks settled, checkpoints used and kept, completions written to the log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from monitor.basis.errors import RecordError
from monitor.basis.times import rfc3339
from monitor.basis.values import Draft, Entry, Kind
from monitor.keep.rows import Checkpoint as Row
from monitor.keep.rows import Stale
from monitor.keep.store import Store
from monitor.rules.assessment import Assessment, Lot
from monitor.rules.frame import Frame, effective
from monitor.rules.judge import judge, other_verdict
from monitor.rules.replay import Checkpoint, Forgetful, Head, Memory
from monitor.watch.desk import Desk

PROGRAM = "wallclime"  # who claims an entry that the program itself writes


class Shelf:
    """The checkpoints that the store keeps of one job under one profile."""

    def __init__(self, store: Store, job: str, variant: str) -> None:
        self._store, self._job, self._variant = store, job, variant
        self._generation = store.generation(job)

    def heads(self) -> Sequence[Head]:
        """All of them in order of midnight."""
        return [
            Head(
                midnight=row.midnight,
                covers_from=row.covers_from,
                depends_until=row.depends_until,
                open=row.open,
                rules_version=row.rules_version,
                key=row.frame,
                before=row.before,
                after=row.after,
                stale=row.stale,
            )
            for row in self._store.checkpoint_heads(self._job, self._variant)
        ]

    def state(self, midnight: int) -> bytes:
        """The state at one of them."""
        return self._store.checkpoint_state(self._job, self._variant, midnight)

    def products(self, midnights: Sequence[int]) -> list[bytes]:
        """What happened in their blocks."""
        return self._store.products(self._job, self._variant, midnights)

    def put(self, rows: Sequence[Checkpoint]) -> None:
        """Keep new ones, unless readings have come meanwhile that they may hang on: then they are made again later."""
        kept = [
            Row(
                midnight=row.head.midnight,
                covers_from=row.head.covers_from,
                depends_until=row.head.depends_until,
                open=row.head.open,
                rules_version=row.head.rules_version,
                frame=row.head.key,
                before=row.head.before,
                after=row.head.after,
                exit_state=row.state,
                product=row.product,
            )
            for row in rows
        ]
        if kept:
            self._store.put_checkpoints(self._job, self._variant, kept, generation=self._generation)


def settle(desk: Desk) -> set[str]:
    """Mark the checkpoints that new readings may change; the jobs that heard something new."""
    marks = desk.store.dirty()
    if not marks:
        return set()
    jobs_of = desk.book.jobs_of()
    stale = [
        Stale(job, mark.stream, mark.first_t, mark.last_t) for mark in marks for job in jobs_of.get(mark.stream, ())
    ]
    desk.store.settle_dirty([mark.id for mark in marks], stale)
    return {one.job for one in stale}


def assess(desk: Desk, job: str, *, at: int | None = None, recompute: bool = False) -> Assessment:
    """The Assessment of a job as of `at` (now by default) under the profile in force then.

    `recompute` looks at nothing that was derived before; the answer is the same. Raises RecordError. [ms]
    """
    now = desk.clock.now()
    as_of = now if at is None else at
    if as_of > now:
        raise RecordError(
            f"{rfc3339(as_of)} is in the future", where=f"job {job}", mend="An Assessment can be had up to now"
        )
    settle(desk)
    return _assess(desk, job, as_of, recompute)


def _assess(desk: Desk, job: str, as_of: int, recompute: bool) -> Assessment:
    in_force = desk.book.profile(job, as_of)
    others = [
        other_verdict(_under(desk, job, one.text, as_of, recompute), one.since)
        for one in desk.book.profiles(job)
        if one.since <= as_of and one.text != in_force.text
    ]
    return replace(_under(desk, job, in_force.text, as_of, recompute), other_verdicts=tuple(others))


def _under(desk: Desk, job: str, text: str, as_of: int, recompute: bool) -> Assessment:
    """The verdict under one profile."""
    profile = desk.book.parsed(text, job)
    frame = desk.book.frame(job, profile, as_of)
    memory: Memory = Forgetful() if recompute else Shelf(desk.store, job, profile.sha256)
    return judge(frame, as_of, desk.store, memory, conflicts=_conflicts(desk, frame, as_of))


def _conflicts(desk: Desk, frame: Frame, as_of: int) -> int:
    """How many readings of the job's sensors were set aside as conflicting."""
    streams = sorted({sensor.stream for sensor in frame.sensors.values()})
    start = frame.begin if frame.begin is not None else min((stay.start for stay in frame.stays), default=0)
    return desk.store.conflicts(streams, start, as_of) if streams else 0


def note_completions(desk: Desk, job: str) -> list[Entry]:
    """Write to the log what is new of the job's completions: one that was reached, or one that was told and is no more.

    What the log has told is read from the log itself, so that nothing is told twice whoever asks.
    """
    found = assess(desk, job)
    drafts = [draft for lot in found.lots if lot.delivered_at is not None for draft in _news(desk, job, lot)]
    return desk.store.append(job, drafts) if drafts else []


def _news(desk: Desk, job: str, lot: Lot) -> list[Draft]:
    told = _told(desk.book.log(job), lot)
    reached = [completion.completed_at for completion in lot.clock.history]
    if reached[: len(told)] == told:
        return [
            Draft(Kind.COMPLETION, at, PROGRAM, {"lot": lot.name, "place": lot.place, "completed": at})
            for at in reached[len(told) :]
        ]
    body = {"lot": lot.name, "place": lot.place, "was": told, "is": reached}
    return [Draft(Kind.COMPLETION_REVISED, desk.clock.now(), PROGRAM, body)]


def _told(log: Sequence[Entry], lot: Lot) -> list[int]:
    """The completions of a lot as the log has told them last."""
    told: list[int] = []
    for entry in effective(log):
        if (entry.body.get("lot"), entry.body.get("place")) != (lot.name, lot.place):
            continue
        if entry.kind is Kind.COMPLETION:
            told.append(entry.body["completed"])
        elif entry.kind is Kind.COMPLETION_REVISED:
            told = list(entry.body["is"])
    return told
