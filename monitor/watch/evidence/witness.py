"""Witnesses: the heads that are made when something happens, their codes to be sent, and what came back."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from shlex import quote
from typing import NamedTuple

from monitor.basis.errors import RecordError, WallclimeError
from monitor.basis.values import Draft, Entry, Kind
from monitor.keep.rows import HeadRow
from monitor.rules.assessment import Assessment
from monitor.seal import codes, keys, layout
from monitor.seal.heads import SignedHead, conflicts
from monitor.tell.pages.evidence import HeadView, Sealed, to_send
from monitor.watch.desk import Desk
from monitor.watch.evidence import keyring, sealing
from monitor.watch.job.attach import LONGEST_TEXT
from monitor.watch.job.jobs import checked_name, past
from monitor.watch.papers.shown import display

READY = "ready"  # why a head was made


def view_of(signed: SignedHead) -> HeadView:
    """A head as it is shown."""
    head = signed.head
    return HeadView(
        head.number, signed.hash, codes.code_of(signed.hash), head.made, head.closes, head.reason, head.size
    )


def sealed(desk: Desk) -> Sealed:
    """How far the record is sealed. Raises StoreError."""
    heads = tuple(view_of(sealing.signed_of(row)) for row in desk.store.heads())
    marks = [mark for mark in desk.store.unsealed() if mark.kind == "sensor"]
    known = keyring.epochs(desk)
    return Sealed(
        heads=heads,
        closed=sum(head.closes is not None for head in heads),
        unsealed=len(marks),
        unsealed_from=min((mark.day for mark in marks), default=None),
        fingerprint=known[-1].fingerprint if known else "",
        keys=len(known),
    )


def witnessed(desk: Desk, job: str, reason: str) -> list[str]:
    """Seal the job for `reason` and say what to send; where that fails, what stopped it: what was written stands."""
    try:
        head = sealing.seal_now(desk, reason, job, anyway=True)
        return [] if head is None else to_send(job, view_of(head), display(desk, job))
    except WallclimeError as exc:
        return [f"mind: not sealed: {exc}"]


def witnessed_ready(desk: Desk, found: Assessment) -> list[str]:
    """As `witnessed`, when a job is ready for the first time since it was complete."""
    if not found.ready:
        return []
    since = found.lot.clock.completed_at or 0
    known = [row for row in _of(desk, found.job) if sealing.signed_of(row).head.reason == READY]
    if any(row.made >= since for row in known):
        return []
    return witnessed(desk, found.job, READY)


def again(desk: Desk, job: str) -> list[str]:
    """What to send of the last head that was made for a job. Raises RecordError where there is none."""
    desk.book.log(job)
    rows = _of(desk, job)
    if not rows:
        raise RecordError(
            "no head was made for it yet", where=f"job {job}", mend=f"wallclime seal now --job {quote(job)} makes one"
        )
    return to_send(job, view_of(sealing.signed_of(rows[-1])), display(desk, job))


def _of(desk: Desk, job: str) -> list[HeadRow]:
    return [row for row in desk.store.heads() if row.job == job]


def reply(desk: Desk, job: str, code: str, *, text: str, at: int | None, who: str) -> Entry:
    """Record that `who` confirmed a code. Raises RecordError for a code that is of no head of this record."""
    desk.book.log(job)
    when, wanted = past(desk, at, "log witness"), codes.read_code(code)
    checked_name(who, "--by")
    if len(text) > LONGEST_TEXT:
        raise RecordError(
            f"the text is longer than {LONGEST_TEXT} characters", where="--text", mend="Keep the letter as a document"
        )
    found = [head for head in map(sealing.signed_of, desk.store.heads()) if codes.fits(wanted, head.hash)]
    if not found:
        raise RecordError(
            "no head of this record has it",
            where=f"code {code}",
            mend=f"Compare it with what was sent: wallclime witness {quote(job)}",
        )
    head = view_of(found[0])
    body = {"head": head.number, "code": head.code, "hash": head.hash, "text": text}
    return desk.store.append(job, [Draft(Kind.WITNESS, when, who, body)])[0]


# --- other copies of the record ---------------------------------------------------------------------------------------


class Compared(NamedTuple):
    """Heads of this store held against those of another copy: `faults` lines, `common` the number of the last shared.

    `ahead` are the numbers of the other's heads that this store has not.
    """

    faults: tuple[str, ...]
    common: int
    ahead: tuple[int, ...]

    @property
    def same(self) -> bool:
        """Whether the other copy is a part of this record."""
        return not self.faults and not self.ahead


def compare(desk: Desk, path: Path) -> Compared:
    """Hold the heads of a bundle, or of a file of heads, against those of this store. Raises RecordError."""
    own = [sealing.signed_of(row) for row in desk.store.heads()]
    others = _heads_of(path)
    public = {one.fingerprint: one.public for one in keyring.epochs(desk)}
    faults = []
    for one in others:
        key = one.head.key
        if key not in public:
            faults.append(f"head {one.head.number} there was made with a key that this store does not know")
        elif not keys.is_signed(public[key], keys.HEAD, one.text, one.signature):
            faults.append(f"the signature of head {one.head.number} there does not hold")
    for mine, other in conflicts(own, others):
        faults.append(
            f"head {mine.head.number} here and head {other.head.number} there can't both belong to one record: "
            "two were kept, or a copy was put back and went on"
        )
    hashes = {one.hash for one in own}
    numbers = [one.head.number for one in others if one.hash in hashes]
    newest = own[-1].head.number if own else 0
    ahead = tuple(one.head.number for one in others if one.head.number > newest)
    return Compared(tuple(faults), max(numbers, default=0), ahead)


def _heads_of(path: Path) -> Sequence[SignedHead]:
    file = path / "data" / layout.HEADS if path.is_dir() else path
    try:
        found = [layout.read_head_line(line).signed for line in file.read_text(encoding="utf-8").splitlines()]
        for one in found:
            one.head  # noqa: B018 - reading it is the check
    except (OSError, ValueError) as exc:
        what = exc.strerror if isinstance(exc, OSError) else str(exc)
        raise RecordError(
            f"its heads can't be read ({what})", where=str(path), mend="Give a bundle, or its data/seals/heads.jsonl"
        ) from exc
    return found
