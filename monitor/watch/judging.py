"""Assessing a job from the store: dirty marks settled, checkpoints used and kept, completions written to the log."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import replace

from monitor.basis.errors import RecordError
from monitor.basis.times import rfc3339
from monitor.basis.values import PROGRAM as PROGRAM
from monitor.basis.values import SENSORS_CHAIN, Draft, Entry, Kind
from monitor.keep.rows import Checkpoint as Row
from monitor.keep.rows import Stale
from monitor.keep.store import Store
from monitor.rules.assessment import Assessment, OtherVerdict
from monitor.rules.frame import effective, frame_of
from monitor.rules.judge import judge, other_verdict
from monitor.rules.replay import Checkpoint, Forgetful, Head
from monitor.watch.desk import Desk
from monitor.watch.service.lately import Lately


class Shelf:
    """The checkpoints that the store keeps of one job under one profile."""

    def __init__(self, store: Store, job: str, variant: str, generation: int | None = None) -> None:
        """`generation`: that of the job before its readings were asked for, where that was long ago."""
        self._store, self._job, self._variant = store, job, variant
        self._generation = store.generation(job) if generation is None else generation
        self._products: dict[int, bytes] = {}

    def heads(self) -> Sequence[Head]:
        """All of them in order of midnight."""
        rows = self._store.checkpoint_heads(self._job, self._variant)
        self._products = {row.midnight: row.product for row in rows}
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
            for row in rows
        ]

    def state(self, midnight: int) -> bytes:
        """The state at one of them."""
        return self._store.checkpoint_state(self._job, self._variant, midnight)

    def products(self, midnights: Sequence[int]) -> list[bytes]:
        """What happened in the blocks of those that `heads` found."""
        return [self._products[midnight] for midnight in midnights]

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

    def moved(self) -> bool:
        """Whether another evaluator has settled new readings since: what was read here may be of two minds."""
        return self._store.generation(self._job) != self._generation


def settle(desk: Desk) -> set[str]:
    """Mark the checkpoints that new readings may change; the jobs that heard something new."""
    marks = desk.store.dirty()
    if not marks:
        return set()
    jobs_of = desk.book.still().jobs_of({mark.stream for mark in marks})
    stale = [
        Stale(job, mark.stream, mark.first_t, mark.last_t) for mark in marks for job in jobs_of.get(mark.stream, ())
    ]
    desk.store.settle_dirty([mark.id for mark in marks], stale)
    return {one.job for one in stale}


def assess(
    desk: Desk, job: str, *, at: int | None = None, recompute: bool = False, lots: Sequence[str] = ()
) -> Assessment:
    """The Assessment of a job as of `at` (now by default) under the profile in force then.

    `recompute` looks at nothing that was derived before; the answer is the same. `lots`: as if these were the lots that
    the log says are used. Raises RecordError. [ms]
    """
    now = desk.clock.now()
    as_of = now if at is None else at
    if as_of > now:
        raise RecordError(
            f"{rfc3339(as_of)} is in the future", where=f"job {job}", mend="An Assessment can be had up to now"
        )
    desk = desk.still()
    settle(desk)
    with nullcontext(Lately(desk.store)) if recompute else desk.book.lately.out() as lately:
        return _assess(desk, job, as_of, lately, alone=True, lots=tuple(lots), recompute=recompute)


def assess_in_round(desk: Desk, job: str, at: int, lately: Lately) -> Assessment:
    """The Assessment of one of many jobs as of `at`, when what all of them heard was settled and `lately` begun. [ms]

    Raises RecordError.
    """
    return _assess(desk, job, at, lately, alone=False)


def _assess(
    desk: Desk,
    job: str,
    as_of: int,
    lately: Lately,
    *,
    alone: bool,
    lots: tuple[str, ...] = (),
    recompute: bool = False,
) -> Assessment:
    """The verdict under the profile in force, and beside it under every other; `alone`: its sensors are asked anew."""

    def under(text: str) -> Assessment:
        profile = desk.book.parsed(text, job)
        frame = desk.book.frame(job, profile, as_of)
        frame = replace(frame, lots_used=lots) if lots else frame
        while True:
            with desk.store.together():
                if alone:
                    lately.turn(job, frame.streams, desk.clock.now())
                conflicts = lately.conflicts(frame.streams, frame.judged_from, as_of) if frame.streams else 0
                if recompute:
                    return judge(frame, as_of, lately, Forgetful(), conflicts=conflicts)
                shelf = Shelf(desk.store, job, profile.sha256, lately.generation(job))
                found = judge(frame, as_of, lately, shelf, conflicts=conflicts)
            if not shelf.moved():
                return found
            if not alone:
                lately.again(job, frame.streams)

    in_force = desk.book.profile(job, as_of)
    others = [
        other_verdict(under(one.text), one.since)
        for one in desk.book.profiles(job)
        if one.since <= as_of and one.text != in_force.text
    ]
    return under(in_force.text)._replace(other_verdicts=tuple(others))


def as_first_written(desk: Desk, found: Assessment) -> OtherVerdict | None:
    """The verdict by the entries without their corrections; None where nothing was corrected, or where they
    contradict each other so."""
    log, sensor_log = desk.book.log(found.job), desk.book.entries(SENSORS_CHAIN)
    first, sensors_first = (
        [entry for entry in entries if entry.kind is not Kind.CORRECTION] for entries in (log, sensor_log)
    )
    if (len(first), len(sensors_first)) == (len(log), len(sensor_log)):
        return None
    in_force = desk.book.profile(found.job, found.as_of)
    try:
        frame = frame_of(first, sensors_first, desk.book.parsed(in_force.text, found.job), found.as_of)
    except RecordError:
        return None
    return other_verdict(judge(frame, found.as_of, desk.store), in_force.since)


class _GrownError(Exception):
    """The log got entries while it was judged."""


def judge_and_note(
    desk: Desk, job: str, judge: Callable[[Desk, str], Assessment] | None = None
) -> tuple[Assessment, list[Entry]]:
    """The Assessment of now, by `judge` if given, and the entries that tell what is new of the job's completions.

    A completion that was reached, or one that was told and is no more. What the log has told is read from the log
    itself, and written only if nobody has written to it meanwhile, so that nothing is told twice whoever asks.
    """
    while True:
        log = desk.book.log(job)
        found = (judge or assess)(desk, job)
        drafts = _news(log, found, desk.clock.now())
        try:
            return found, desk.store.append(job, drafts, check=_of_length(len(log))) if drafts else []
        except _GrownError:
            desk = desk._replace(book=desk.book.anew())


def note_completions(desk: Desk, job: str) -> list[Entry]:
    """Write to the log what is new of the job's completions, as `judge_and_note`."""
    return judge_and_note(desk, job)[1]


def _of_length(length: int) -> Callable[[Sequence[Entry]], None]:
    def check(entries: Sequence[Entry]) -> None:
        if len(entries) != length:
            raise _GrownError

    return check


def note_all_completions(desk: Desk, stream: str) -> None:
    """As `note_completions`, for every job that a sensor bears on."""
    for job in desk.book.jobs_of().get(stream, ()):
        note_completions(desk, job)


def _news(log: Sequence[Entry], found: Assessment, now: int) -> list[Draft]:
    """What the log has not told yet. A delivery is known by its entry's number, whatever is corrected about it."""
    told = _told(log)
    deliveries = sorted(
        (entry for entry in effective(log) if entry.kind is Kind.DELIVER and entry.at <= found.as_of),
        key=lambda entry: (entry.at, entry.number),
    )
    news: list[Draft] = []
    lots = [lot for lot in found.lots if lot.delivered_at is not None]
    for delivery, lot in zip(deliveries, lots, strict=False):  # unequal only where the log has grown: then told anew
        before = told.pop(delivery.number, [])
        reached = [completion.completed_at for completion in lot.clock.history]
        about = {"delivery": delivery.number, "lot": lot.name, "place": lot.place}
        if reached[: len(before)] == before:
            new = reached[len(before) :]
            news += [Draft(Kind.COMPLETION, at, PROGRAM, {**about, "completed": at}) for at in new]
        else:
            news.append(Draft(Kind.COMPLETION_REVISED, now, PROGRAM, {**about, "was": before, "is": reached}))
    gone = [(number, was) for number, was in sorted(told.items()) if was]
    return news + [
        Draft(Kind.COMPLETION_REVISED, now, PROGRAM, {"delivery": number, "was": was, "is": []}) for number, was in gone
    ]


def _told(log: Sequence[Entry]) -> dict[int, list[int]]:
    """Of each delivery, by number, the completions that the log has told last."""
    told: dict[int, list[int]] = {}
    for entry in effective(log):
        if entry.kind is Kind.COMPLETION:
            told.setdefault(entry.body["delivery"], []).append(entry.body["completed"])
        elif entry.kind is Kind.COMPLETION_REVISED:
            told[entry.body["delivery"]] = list(entry.body["is"])
    return told
